"""How much light a picture or a target holds, in the words that suit it: hours, or the frames of a film."""

from __future__ import annotations

from noctuary.facts.exposure import Frames
from noctuary.facts.picture import PictureFacts
from noctuary.facts.target import TargetFacts
from noctuary.plain_record import plain_record


@plain_record
class LightNote:
    """Seconds in all, ``None`` where no exposures are recorded, a lower bound where those of some sessions are not.

    ``film`` has the frames by exposure where every one is shorter than a second.
    """

    total_s: float | None
    sessions_not_recorded: int
    film: tuple[Frames, ...]


def light_note(facts: PictureFacts | TargetFacts) -> LightNote:
    return LightNote(facts.integration.total_s, facts.integration.sessions_not_recorded, facts.film)

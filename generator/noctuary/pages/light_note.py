"""How much light a picture or a target holds, in the words that suit it: hours, or the frames of a film."""

from __future__ import annotations

from noctuary.facts.exposure import Frames
from noctuary.facts.picture import PictureFacts
from noctuary.facts.target import TargetFacts
from noctuary.plain_record import plain_record


@plain_record
class PanelsNote:
    """The panels of a mosaic, and the least and the greatest of their seconds; ``None`` if one is not recorded."""

    count: int
    least_s: float | None
    most_s: float | None


@plain_record
class LightNote:
    """Seconds in all, ``None`` where no exposures are recorded, a lower bound where those of some sessions are not.

    ``panels`` of a mosaic, which share the hours among them. ``film`` has the frames by exposure where every one is
    shorter than a second.
    """

    total_s: float | None
    sessions_not_recorded: int
    film: tuple[Frames, ...]
    panels: PanelsNote | None


def light_note(facts: PictureFacts | TargetFacts) -> LightNote:
    return LightNote(facts.integration.total_s, facts.integration.sessions_not_recorded, facts.film, _panels(facts))


def _panels(facts: PictureFacts | TargetFacts) -> PanelsNote | None:
    if not isinstance(facts, PictureFacts) or not facts.panels:
        return None
    seconds = [p.total_s for p in facts.panels if p.total_s is not None]
    known = len(seconds) == len(facts.panels)
    return PanelsNote(len(facts.panels), min(seconds) if known else None, max(seconds) if known else None)

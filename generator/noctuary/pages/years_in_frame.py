"""The years of a target in one frame, as its page shows them: each picture with its season, hours and rig."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

from noctuary.archive.partial_date import PartialDate
from noctuary.facts.target import TargetFacts
from noctuary.pages.light_note import LightNote, light_note
from noctuary.pages.picture_view import PictureView, Source
from noctuary.pages.registered_picture import RegisteredPicture
from noctuary.pages.rig_parts import RigParts, rig_parts
from noctuary.plain_record import plain_record


@plain_record
class FrameStep:
    """One picture of the frame's years. ``only_of_its_year``: its year alone tells it from the others."""

    shown: PictureView
    finished: PartialDate
    only_of_its_year: bool
    light: LightNote
    rigs: RigParts
    drawn: Source
    outline: tuple[tuple[float, float], ...]


@plain_record
class YearsInFrame:
    """Two pictures or more in the frame of the newest, oldest first; ``ratio`` is its width over its height."""

    ratio: float
    steps: tuple[FrameStep, ...]


def years_in_frame(
    target: TargetFacts, registered: tuple[RegisteredPicture, ...], shown: Mapping[str, PictureView]
) -> YearsInFrame | None:
    """What the target's page shows of them; ``None`` where there are fewer than two."""
    if len(registered) < 2:
        return None
    facts = {f.picture.id: f for f in target.pictures}
    years = Counter(facts[r.picture_id].picture.finished.year for r in registered)
    newest = registered[-1].drawn
    return YearsInFrame(
        ratio=newest.width / newest.height,
        steps=tuple(
            FrameStep(
                shown=shown[r.picture_id],
                finished=(own := facts[r.picture_id]).picture.finished,
                only_of_its_year=years[own.picture.finished.year] == 1,
                light=light_note(own),
                rigs=rig_parts(own.rigs),
                drawn=r.drawn,
                outline=r.lies.outline,
            )
            for r in registered
        ),
    )

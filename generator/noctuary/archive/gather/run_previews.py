"""One preview a target, and where one can be placed by its stars, the name of a target that had none."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from noctuary.archive.gather.frame_field import FrameField
from noctuary.archive.gather.frame_views import FrameViews, sample_of
from noctuary.archive.gather.shots import Shot
from noctuary.archive.gather.target_names import Target, TargetNames


def named_by_stars(
    shots: Sequence[Shot], names: TargetNames, views: FrameViews, field: Callable[[Shot], FrameField | None]
) -> list[Shot]:
    """The shots, with a name for every target without one whose preview the solver could place.

    Only with a scale from the equipment or the header; what cannot be placed with certainty keeps its question.
    """
    named: dict[Target, Target] = {}
    for target, members in _by_target(shots).items():
        if target.name is not None:
            continue
        sample = sample_of([s.header for s in members])
        scale = field(members[0])
        centre = views.centre_from_stars(sample, scale) if scale is not None else None
        likely = names.likely(*centre, scale.shorter_side_deg) if centre is not None and scale is not None else None
        if likely is not None:
            evidence = f"by the stars of a preview it is {likely.away_arcmin:.0f}′ from the middle"
            named[target] = replace(names.target(likely.name, evidence), sure=likely.sure)
    return [replace(s, target=named[s.target]) if s.target in named else s for s in shots]


def previews_of(shots: Sequence[Shot], views: FrameViews) -> Mapping[Target, bytes]:
    """A small JPEG of every target that has one."""
    pictures = {t: views.preview(sample_of([s.header for s in members])) for t, members in _by_target(shots).items()}
    return {target: picture for target, picture in pictures.items() if picture is not None}


def _by_target(shots: Sequence[Shot]) -> dict[Target, list[Shot]]:
    targets: dict[Target, list[Shot]] = {}
    for shot in shots:
        targets.setdefault(shot.target, []).append(shot)
    return targets

"""The rigs of a picture as its one sentence names them: each with its hours, by what tells it from the others."""

from __future__ import annotations

from typing import Literal

from noctuary.facts.rig_shares import RigShares
from noctuary.plain_record import plain_record

#: What distinguishes a rig from the others beside it.
By = Literal["focal length", "f-ratio", "name"]


@plain_record
class RigPart:
    """A rig and the seconds that it gave; ``by`` says what is enough to tell it from the others as they are set."""

    rig: str
    focal_length_mm: float | None
    f_ratio: float | None
    integration_s: float
    by: By


@plain_record
class RigParts:
    """The rigs that are named, and the seconds that others gave."""

    named: tuple[RigPart, ...]
    others_s: float


def rig_parts(shares: RigShares) -> RigParts:
    """The rigs of a picture; focal lengths are set to the millimetre, f-ratios to a tenth."""
    focal = [None if s.focal_length_mm is None else round(s.focal_length_mm) for s in shares.named]
    both = [(f, None if s.f_ratio is None else round(s.f_ratio, 1)) for f, s in zip(focal, shares.named, strict=True)]

    def by(number: int) -> By:
        if focal[number] is None:
            return "name"
        if focal.count(focal[number]) == 1:
            return "focal length"
        return "f-ratio" if both[number][1] is not None and both.count(both[number]) == 1 else "name"

    return RigParts(
        tuple(
            RigPart(s.rig, s.focal_length_mm, s.f_ratio, s.integration_s, by(number))
            for number, s in enumerate(shares.named)
        ),
        shares.others_s,
    )

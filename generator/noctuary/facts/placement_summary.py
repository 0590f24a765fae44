"""Where a picture lies, in numbers that need no engine to be read again."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from noctuary.plain_record import plain_record

if TYPE_CHECKING:
    from noctuary.sky.placement import Placement


@plain_record
class PlacementSummary:
    """The numbers of a placement: ICRS degrees, arcseconds per picture pixel, position angle of the picture's up.

    ``corners_deg`` are the outer edges, top left first, clockwise as seen on the picture; ``field_deg`` is
    (width, height, diagonal) on the sphere; ``plain`` is all that the placement itself is made of again.
    """

    centre: tuple[float, float]
    image_scale_arcsec_px: float
    position_angle_deg: float
    mirrored: bool
    corners_deg: tuple[tuple[float, float], ...]
    field_deg: tuple[float, float, float]
    plain: Mapping[str, Any]

    @property
    def key(self) -> str:
        """Text that is the same for the same placement of a picture of the same size."""
        return repr(self.plain)

    @property
    def made_for(self) -> tuple[int, int] | None:
        """The size (width, height) that its header or AVM record states, where it is not the picture's."""
        wide, high = self.plain.get("made_for") or (0, 0)
        return (wide, high) if wide else None

    @property
    def from_header(self) -> bool:
        """Whether a program wrote it into a header or AVM, at some step before the picture was finished."""
        return self.plain["source"] in ("header", "picture header", "AVM")

    def placement(self) -> Placement:
        """The placement itself, between pixels and sky."""
        from noctuary.sky.placement import from_plain

        return from_plain(self.plain)


def placement_numbers(placement: Placement) -> PlacementSummary:
    """The numbers of a placement."""
    ra, dec = placement.centre
    width, height, diagonal = placement.field_deg
    return PlacementSummary(
        centre=(float(ra), float(dec)),
        image_scale_arcsec_px=float(placement.image_scale_arcsec_px),
        position_angle_deg=float(placement.position_angle_deg),
        mirrored=bool(placement.mirrored),
        corners_deg=tuple((float(a), float(d)) for a, d in placement.corners_deg),
        field_deg=(float(width), float(height), float(diagonal)),
        plain=placement.to_plain(),
    )

"""How large the extended objects are, as checked against a second source; see the head of tables/extents.csv."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache

from noctuary.plain_record import plain_record
from noctuary.sky.shipped_table import read_table

#: An ellipse slimmer than this has a direction; without one it would be drawn across the object.
SLIM = 0.7


@plain_record
class Extent:
    """What replaces a database's entry: degrees (ICRS), axes in arcminutes, the angle of the major axis.

    ``centre_deg`` is the middle, None where that is the object's place; ``moved``: its place is that middle too.
    ``magnitude`` is None where the database's holds, ``no_magnitude`` is true where it has a star's.
    ``size_arcmin`` is None where the sources disagree. ``outline``: whether it fits what the eye sees.
    """

    centre_deg: tuple[float, float] | None
    size_arcmin: tuple[float, float] | None
    position_angle_deg: float | None
    magnitude: float | None
    no_magnitude: bool
    outline: bool
    moved: bool


@lru_cache(maxsize=1)
def extents() -> Mapping[str, Extent]:
    """Checked extents by catalogue designation."""
    return {row["name"]: _extent(row) for row in read_table("extents.csv")}


def has_direction(size_arcmin: tuple[float, float] | None, position_angle_deg: float | None) -> bool:
    """Whether an ellipse of that size can be drawn: it is nearly round, or its angle is known."""
    return size_arcmin is not None and (position_angle_deg is not None or size_arcmin[1] >= SLIM * size_arcmin[0])


def _extent(row: Mapping[str, str]) -> Extent:
    magnitude = row["magnitude"]
    return Extent(
        centre_deg=(float(row["ra_deg"]), float(row["dec_deg"])) if row["ra_deg"] else None,
        size_arcmin=(float(row["major_arcmin"]), float(row["minor_arcmin"])) if row["major_arcmin"] else None,
        position_angle_deg=float(row["position_angle_deg"]) if row["position_angle_deg"] else None,
        magnitude=float(magnitude) if magnitude not in ("", "-") else None,
        no_magnitude=magnitude == "-",
        outline=row["drawn"] == "yes",
        moved=row["moved"] == "yes",
    )

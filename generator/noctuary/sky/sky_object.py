"""One object of the sky, with the facts that a catalogue gives of it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from noctuary.geometry import separation_deg
from noctuary.sky.constellation import constellation_of, galactic
from noctuary.sky.designation import name_key
from noctuary.sky.extents import extents, has_direction

#: Bodies whose place the ephemeris computes.
FOLLOWED = ("Sun", "Moon", "Mercury", "Venus", "Mars", "Jupiter", "Saturn", "Uranus", "Neptune")


@dataclass(frozen=True, slots=True)
class SkyObject:
    """One object of the sky.

    Coordinates are ICRS in degrees, None for what has no fixed place; the decimals are those of the seconds
    of time and of arc that the source gives. ``size_arcmin`` is (major, minor) axis, ``position_angle_deg``
    the angle of the major axis from north through east. ``outline`` is true where an ellipse of that size can be
    trusted to fit what the eye sees; its middle is ``outline_centre_deg``, or the object's place where that is None.
    ``magnitude`` is V, or B where V is unknown.
    ``also`` holds the common names and other designations, never ``name`` itself. ``moves`` is true for the
    Sun, the Moon, planets and minor planets, whose place depends on the time.
    """

    name: str
    kind: str
    ra_deg: float | None
    dec_deg: float | None
    ra_decimals: int
    dec_decimals: int
    constellation: str | None
    galactic_l_deg: float | None
    galactic_b_deg: float | None
    magnitude: float | None
    size_arcmin: tuple[float, float] | None
    position_angle_deg: float | None
    common_name: str | None
    also: tuple[str, ...]
    note: str | None
    moves: bool
    outline: bool = False
    outline_centre_deg: tuple[float, float] | None = None

    @property
    def reach_deg(self) -> float:
        """How far from its place the object can be seen: to the far end of its outline, 0 without one."""
        if not self.outline or self.size_arcmin is None or self.ra_deg is None or self.dec_deg is None:
            return 0.0
        middle = self.outline_centre_deg or (self.ra_deg, self.dec_deg)
        return self.size_arcmin[0] / 120.0 + separation_deg(self.ra_deg, self.dec_deg, *middle)

    @property
    def body(self) -> str | None:
        """The name by which the ephemeris knows a moving object, None for what it does not follow."""
        return self.name if self.moves and self.name in FOLLOWED else None


def axes(major: float | None, minor: float | None) -> tuple[float, float] | None:
    return None if major is None else (major, major if minor is None else minor)


def other_names(name: str, names: Iterable[str]) -> tuple[str, ...]:
    """The names, each once however it is spelt, without the object's own."""
    keys, kept = {name_key(name)}, []
    for other in names:
        key = name_key(other)
        if key and key not in keys:
            keys.add(key)
            kept.append(other)
    return tuple(kept)


def unplaced_object(
    name: str, kind: str, common_name: str | None = None, also: Iterable[str] = (), *, moves: bool = False
) -> SkyObject:
    """An object without a fixed place, or whose place nobody gives."""
    others = other_names(name, (*([common_name] if common_name else ()), *also))
    return SkyObject(name, kind, None, None, 0, 0, None, None, None, None, None, None, common_name or None, others,
                     None, moves)  # fmt: skip


def object_at(
    name: str,
    kind: str,
    ra: tuple[float, int],
    dec: tuple[float, int],
    *,
    magnitude: float | None = None,
    size: tuple[float, float] | None = None,
    angle: float | None = None,
    outline: bool = False,
    common_name: str | None = None,
    also: Iterable[str] = (),
    note: str | None = None,
) -> SkyObject:
    """An object at a place of (degrees, decimals of the seconds), with its extent as extents.csv has it checked.

    ``outline``: whether a size that no second source has checked may be drawn.
    """
    middle = None
    if extent := extents().get(name):
        size, angle, outline = extent.size_arcmin, extent.position_angle_deg, extent.outline
        middle = None if extent.moved else extent.centre_deg
        if extent.moved and extent.centre_deg:
            ra, dec = ((value, 0) for value in extent.centre_deg)
        if extent.magnitude is not None or extent.no_magnitude:
            magnitude = extent.magnitude
    l_deg, b_deg = galactic(ra[0], dec[0])
    return SkyObject(
        name=name,
        kind=kind,
        ra_deg=ra[0],
        dec_deg=dec[0],
        ra_decimals=ra[1],
        dec_decimals=dec[1],
        constellation=constellation_of(ra[0], dec[0]),
        galactic_l_deg=l_deg,
        galactic_b_deg=b_deg,
        magnitude=magnitude,
        size_arcmin=size,
        position_angle_deg=angle,
        common_name=common_name,
        also=other_names(name, (*([common_name] if common_name else ()), *also)),
        note=note or None,
        moves=False,
        outline=outline and has_direction(size, angle),
        outline_centre_deg=middle,
    )

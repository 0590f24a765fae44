"""One object of the sky, with the facts that a catalogue gives of it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from noctuary.sky.constellation import constellation_of, galactic
from noctuary.sky.designation import name_key


@dataclass(frozen=True, slots=True)
class SkyObject:
    """One object of the sky.

    Coordinates are ICRS in degrees, None for what has no fixed place; the decimals are those of the seconds
    of time and of arc that the source gives. ``size_arcmin`` is (major, minor) axis, ``size_angle_deg`` the
    position angle of the major axis from north through east. ``magnitude`` is V, or B where V is unknown.
    ``also`` holds the common names and other designations, never ``name`` itself. ``moves`` is true for the
    Sun, the Moon and the planets, whose place depends on the time.
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
    size_angle_deg: float | None
    common_name: str | None
    also: tuple[str, ...]
    note: str | None
    moves: bool


def axes(major: float | None, minor: float | None) -> tuple[float, float] | None:
    return None if major is None else (major, major if minor is None else minor)


def other_names(name: str, names: Iterable[str]) -> tuple[str, ...]:
    """The names, each once however it is spelt, without the object's own."""
    seen, kept = {name_key(name)}, []
    for other in names:
        key = name_key(other)
        if key and key not in seen:
            seen.add(key)
            kept.append(other)
    return tuple(kept)


def placed(
    name: str,
    kind: str,
    ra: tuple[float, int],
    dec: tuple[float, int],
    *,
    magnitude: float | None = None,
    size: tuple[float, float] | None = None,
    angle: float | None = None,
    common_name: str | None = None,
    also: Iterable[str] = (),
    note: str | None = None,
) -> SkyObject:
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
        size_angle_deg=angle,
        common_name=common_name,
        also=other_names(name, (*([common_name] if common_name else ()), *also)),
        note=note or None,
        moves=False,
    )

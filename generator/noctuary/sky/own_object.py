"""Objects that a person declares: new ones, and what they say of known ones."""

from __future__ import annotations

from dataclasses import dataclass, replace

from noctuary.sky.constellation import constellation_of, galactic
from noctuary.sky.designation import designation_of, first_in_words, name_key, plain_text
from noctuary.sky.extents import has_direction
from noctuary.sky.sky_object import SkyObject, object_at, other_names


@dataclass(frozen=True, slots=True)
class OwnObject:
    """An object that a person declares: everything but the name may be left out.

    If the catalogue knows the name, only what is given is added or replaced.
    """

    name: str
    ra_deg: float | None = None
    dec_deg: float | None = None
    kind: str | None = None
    size_arcmin: tuple[float, float] | None = None
    also: tuple[str, ...] = ()
    note: str | None = None


def _decimals(value: float, limit: int) -> int:
    """The fewest decimals, at most ``limit``, that write ``value`` in full."""
    return next((n for n in range(limit) if abs(value - round(value, n)) < 10.0 ** (-limit - 2)), limit)


def _own_place(own: OwnObject) -> tuple[tuple[float, int], tuple[float, int]] | None:
    if own.ra_deg is None or own.dec_deg is None:
        return None
    return (own.ra_deg, _decimals(own.ra_deg * 240.0, 2)), (own.dec_deg, _decimals(own.dec_deg * 3600.0, 1))


def amended_by(known: SkyObject, own: OwnObject) -> SkyObject:
    """The catalogue's object with what a person says of it.

    An entry headed by a name in words makes that the common name: it is what the person calls the object.
    """
    preferred = None if name_key(own.name) == name_key(known.name) else first_in_words([own.name])
    common = preferred or known.common_name or first_in_words(own.also)
    size = own.size_arcmin or known.size_arcmin
    given = replace(
        known,
        kind=own.kind or known.kind,
        size_arcmin=size,
        outline=has_direction(size, known.position_angle_deg) if own.size_arcmin else known.outline,
        common_name=common,
        also=other_names(known.name, (*([common] if common else ()), own.name, *own.also, *known.also)),
        note=own.note or known.note,
    )
    place = _own_place(own)
    if place is None:
        return given
    (ra, ra_decimals), (dec, dec_decimals) = place
    l_deg, b_deg = galactic(ra, dec)
    return replace(
        given,
        ra_deg=ra,
        dec_deg=dec,
        ra_decimals=ra_decimals,
        dec_decimals=dec_decimals,
        constellation=constellation_of(ra, dec),
        galactic_l_deg=l_deg,
        galactic_b_deg=b_deg,
        moves=False,
        outline_centre_deg=None,
    )


def declared(own: OwnObject) -> SkyObject:
    """An object that only the person knows."""
    kind = own.kind or "object"
    common = first_in_words(own.also) if designation_of(plain_text(own.name)) else None
    place = _own_place(own)
    if place is not None:
        return object_at(own.name, kind, *place, size=own.size_arcmin, outline=True, also=own.also,
                      common_name=common, note=own.note)  # fmt: skip
    return SkyObject(own.name, kind, None, None, 0, 0, None, None, None, None, own.size_arcmin, None, common,
                     other_names(own.name, own.also), own.note, False)  # fmt: skip

"""An object of the sky as pages describe it, with the pages that lead on from it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from noctuary.facts.object_names import common_name_beside, designations_beside
from noctuary.pages.site_model import SiteModel
from noctuary.plain_record import plain_record
from noctuary.sky.designation import name_key

if TYPE_CHECKING:
    from noctuary.sky.catalogue import SkyObject


@plain_record
class ObjectNote:
    """What a page says of an object: ICRS degrees with the decimals of the source's seconds, sizes in arcmin.

    ``name`` is the archive's; ``common_name`` is printed beside a designation, ``designations``, the catalogues',
    are printed beside either; ``also`` are the other names.
    ``page``, ``kind_page`` and ``constellation_page`` are ``None`` where there is no such page.
    """

    name: str
    common_name: str | None
    designations: tuple[str, ...]
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
    also: tuple[str, ...]
    note: str | None
    page: str | None
    kind_page: str | None
    constellation_page: str | None


def object_note(known: SkyObject, model: SiteModel) -> ObjectNote:
    addresses, name = model.addresses, model.facts.names.of(known)
    common = common_name_beside(known, name)
    beside = designations_beside(known, name)
    printed = {name_key(text) for text in (name, common, *beside) if text}
    return ObjectNote(
        name=name,
        common_name=common,
        designations=beside,
        kind=known.kind,
        ra_deg=known.ra_deg,
        dec_deg=known.dec_deg,
        ra_decimals=known.ra_decimals,
        dec_decimals=known.dec_decimals,
        constellation=known.constellation,
        galactic_l_deg=known.galactic_l_deg,
        galactic_b_deg=known.galactic_b_deg,
        magnitude=known.magnitude,
        size_arcmin=known.size_arcmin,
        also=tuple(other for other in (known.name, *known.also) if name_key(other) not in printed),
        note=known.note,
        page=addresses.targets.get(known.name),
        kind_page=addresses.kinds.get(known.kind),
        constellation_page=addresses.constellations.get(known.constellation) if known.constellation else None,
    )

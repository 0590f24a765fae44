"""Which object a field of the sky was likely pointed at: the one near its middle that people speak of."""

from __future__ import annotations

from noctuary.archive.gather.target_names import LikelyTarget
from noctuary.facts.object_names import usual_name, well_known
from noctuary.geometry import separation_deg
from noctuary.sky.catalogue import Catalogue
from noctuary.sky.sky_object import SkyObject

_FIELD_UNKNOWN_DEG = 1.0
_NARROWEST_DEG = 0.3
"""Radius within which a mount without a pointing model finds its target all the same."""
_TOO_LARGE = 8.0  # times the field: nobody aims at the middle of a whole complex
_RIVAL = 0.12
_SURELY_WITHIN = 0.2


def likely_target(
    catalogue: Catalogue, ra_deg: float, dec_deg: float, field_deg: float | None
) -> LikelyTarget | None:
    """The likeliest target of a field with this middle (ICRS, degrees) and shorter side; ``None`` where none is near.

    Nearness counts in fields; a number of Messier's, a name in words and a size that suits the field count for an
    object, as far as a tenth of the field each.
    """
    field = field_deg or _FIELD_UNKNOWN_DEG
    radius = max(field / 2, _NARROWEST_DEG)
    scored: list[tuple[float, float, SkyObject]] = []
    for item in catalogue.around(ra_deg, dec_deg, radius):
        if item.ra_deg is None or item.dec_deg is None or item.moves or not well_known(item):
            continue
        away = separation_deg(ra_deg, dec_deg, item.ra_deg, item.dec_deg)
        size = (item.size_arcmin[0] if item.size_arcmin else 0.0) / 60
        if away <= radius and size <= _TOO_LARGE * field:
            scored.append((away / field - _prominence(item, size, field), away, item))
    if not scored:
        return None
    scored.sort(key=lambda entry: entry[0])
    score, away, best = scored[0]
    rivals = sum(other < score + _RIVAL and not _within(item, best) for other, _, item in scored[1:])
    sure = away <= _SURELY_WITHIN * field and not rivals and _prominence(best, 0.0, field) > 0
    return LikelyTarget(usual_name(best), away * 60, sure)


def _within(item: SkyObject, larger: SkyObject) -> bool:
    """Whether one object is a part of another, as M 43 is of what everybody calls M 42."""
    if item.ra_deg is None or item.dec_deg is None or larger.ra_deg is None or larger.dec_deg is None:
        return False
    reach = larger.size_arcmin[0] / 120 if larger.size_arcmin else 0.0
    return separation_deg(item.ra_deg, item.dec_deg, larger.ra_deg, larger.dec_deg) <= reach


def _prominence(item: SkyObject, size_deg: float, field_deg: float) -> float:
    messier = 0.1 if usual_name(item).startswith("M ") else 0.0
    named = 0.05 if item.common_name is not None else 0.0
    return messier + named + 0.1 * min(size_deg / field_deg, 1.0)

"""The query with which a person gets a deeper table of stars from a public archive, in a browser."""

from __future__ import annotations

import math

_DEEPEST = 18.0


def magnitude_for(field_deg: float) -> float:
    """G magnitude to which a field of that diagonal holds some dozens of stars, away from the Milky Way too.

    Star counts grow by a factor of about 2.5 a magnitude there (common practice; 0.9° needs 12, 0.5° needs 13).
    """
    return min(math.ceil(2.0 * (12.5 + 5.0 * math.log10(0.9 / min(field_deg, 0.9)))) / 2.0, _DEEPEST)


def star_query(ra_deg: float, dec_deg: float, radius_deg: float, field_deg: float) -> str:
    """What to ask for: in ADQL (IVOA 2008) for an archive of Gaia DR3, and as a plain cone search."""
    limit = magnitude_for(field_deg)
    return (
        "save the answer to this query from a public archive as CSV or VOTable and name it with --stars FILE:\n"
        "  SELECT ra, dec, phot_g_mean_mag FROM gaiadr3.gaia_source\n"
        "  WHERE 1 = CONTAINS(POINT('ICRS', ra, dec), "
        f"CIRCLE('ICRS', {ra_deg:.5f}, {dec_deg:.5f}, {radius_deg:.2f}))\n"
        f"  AND phot_g_mean_mag < {limit:g}\n"
        f"or a cone search of any star catalogue: centre {ra_deg:.5f} {dec_deg:+.5f} (ICRS, degrees), radius "
        f"{radius_deg:.2f}°, to magnitude {limit:g}; columns right ascension, declination, magnitude"
    )

"""A placement as the cards of a FITS header, rows counted from the bottom: what ``placement: FILE`` reads.

TAN, or TAN-SIP (Shupe et al. 2005, ADASS XIV, ASP Conf. 347, 491) fitted to a placement that is anything else.
"""

from __future__ import annotations

import numpy as np

from noctuary.sky.placement import Placement
from noctuary.sky.projection import Gnomonic

#: Points each way of the grid to which a distortion is fitted, and the highest order of its polynomials.
_GRID = 21
_ORDER = 5


def header_text(placement: Placement) -> bytes:
    """A header without data: a whole FITS file, in blocks of 2,880 bytes, that any reader of FITS opens."""
    from astropy.io import fits

    width, height = placement.width_px, placement.height_px
    if isinstance(placement.projection, Gnomonic):
        cards = _tan(placement.projection, height)
    else:
        cards = _fitted(placement)
    header = fits.Header([("SIMPLE", True), ("BITPIX", 8), ("NAXIS", 0)])
    header["IMAGEW"], header["IMAGEH"] = width, height
    header.extend(cards)
    text: str = header.tostring()
    return text.encode("ascii")


def _tan(projection: Gnomonic, height: int) -> list[tuple[str, object]]:
    a, b, c, d = projection.matrix
    return [
        ("WCSAXES", 2), ("CTYPE1", "RA---TAN"), ("CTYPE2", "DEC--TAN"), ("CUNIT1", "deg"), ("CUNIT2", "deg"),
        ("RADESYS", "ICRS"), ("CRVAL1", projection.ra_deg), ("CRVAL2", projection.dec_deg),
        # Our pixels count from 0 at the top, those of FITS from 1 at the bottom.
        ("CRPIX1", projection.x + 1.0), ("CRPIX2", height - projection.y),
        ("CD1_1", a), ("CD1_2", -b), ("CD2_1", c), ("CD2_2", -d),
    ]  # fmt: skip


def _fitted(placement: Placement) -> list[tuple[str, object]]:
    from astropy import units
    from astropy.coordinates import SkyCoord
    from astropy.wcs.utils import fit_wcs_from_points

    x, y = np.meshgrid(
        np.linspace(0, placement.width_px - 1, _GRID), np.linspace(0, placement.height_px - 1, _GRID)
    )
    ra, dec = placement.sky(x.ravel(), y.ravel())
    ra_deg, dec_deg = placement.centre
    middle = SkyCoord(ra_deg, dec_deg, unit=units.deg)
    rows = placement.height_px - 1 - y.ravel()
    points = SkyCoord(ra, dec, unit=units.deg)
    wcs = fit_wcs_from_points((x.ravel(), rows), points, proj_point=middle, projection="TAN", sip_degree=_ORDER)
    return [(card.keyword, card.value) for card in wcs.to_header(relax=True).cards]

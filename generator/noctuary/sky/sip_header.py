"""A placement with distortion as a FITS header: TAN-SIP (Shupe et al. 2005, ADASS XIV, ASP Conf. 347, 491).

The header is of cards of 80 letters, as ``placement: FILE`` reads it, with rows counted from the bottom.
"""

from __future__ import annotations

import math

import numpy as np

from noctuary.sky.solve import Solution

_LEAST_STARS = 40
_LEAST_MISS_PX = 1.0
_ORDER = 7


def worst_miss_px(found: Solution, width: int, height: int) -> float:
    """How far, at most, the placement without distortion is from the one with it, in pixels inside the frame."""
    share = np.linspace(0.0, 1.0, 101)
    even = found.middle_scale_arcsec / found.image_scale_arcsec
    bent = 1.0 + found.bends[0] * share**2 + found.bends[1] * share**4
    return float(np.abs(share * (bent - even)).max() * math.hypot(width, height) / 2.0)


def needs_header(found: Solution, width: int, height: int) -> bool:
    """Whether enough stars show a distortion that centre, scale and angle cannot express."""
    miss = worst_miss_px(found, width, height)
    return found.matched >= _LEAST_STARS and miss > max(_LEAST_MISS_PX, 2.0 * found.rms_px)


def sip_header(found: Solution, width: int, height: int) -> str:
    """The placement as header cards; exact to 0.02 px for distortions of some per cent."""
    turn, step = math.radians(found.position_angle_deg), found.middle_scale_arcsec / 3600.0
    up = math.sin(turn), math.cos(turn)
    right = (up[1], -up[0]) if found.mirrored else (-up[1], up[0])
    half = math.hypot(width, height) / 2.0
    cards: list[tuple[str, object]] = [
        ("WCSAXES", 2), ("CTYPE1", "RA---TAN-SIP"), ("CTYPE2", "DEC--TAN-SIP"),
        ("CUNIT1", "deg"), ("CUNIT2", "deg"), ("RADESYS", "ICRS"), ("IMAGEW", width), ("IMAGEH", height),
        ("CRVAL1", found.ra_deg), ("CRVAL2", found.dec_deg),
        ("CRPIX1", (width + 1) / 2), ("CRPIX2", (height + 1) / 2),
        ("CD1_1", right[0] * step), ("CD1_2", up[0] * step), ("CD2_1", right[1] * step), ("CD2_2", up[1] * step),
    ]  # fmt: skip
    # Outwards from the undistorted picture is what was fitted; the way back is a polynomial of its own.
    true = np.linspace(0.0, 1.15, 400)
    bent = true * (1.0 + found.bends[0] * true**2 + found.bends[1] * true**4)
    powers = np.stack([bent**3, bent**5, bent**7], axis=1)
    back = np.linalg.lstsq(powers, true - bent, rcond=None)[0]
    cards += _terms("A", "B", [float(c) for c in back], half, _ORDER)
    cards += _terms("AP", "BP", list(found.bends), half, 5)
    return "".join(_card(key, value) for key, value in cards) + "END".ljust(80)


def _terms(first: str, second: str, radial: list[float], half: float, order: int) -> list[tuple[str, object]]:
    """Coefficients of u and v times (u² + v²)ᵏ, k = 1, 2, …, multiplied out."""
    cards: list[tuple[str, object]] = [(f"{first}_ORDER", order), (f"{second}_ORDER", order)]
    for k, factor in enumerate(radial, start=1):
        for i in range(k + 1):
            value = factor * math.comb(k, i) / half ** (2 * k)
            cards.append((f"{first}_{1 + 2 * i}_{2 * (k - i)}", value))
            cards.append((f"{second}_{2 * i}_{1 + 2 * (k - i)}", value))
    return cards


def _card(key: str, value: object) -> str:
    text = f"'{value:<8}'" if isinstance(value, str) else f"{value!r:>20}".replace("e", "E")
    return f"{key:<8}= {text}".ljust(80)

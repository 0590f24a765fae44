"""How deep a picture goes: light gathered, depth against a reference, what half a magnitude costs.

Sky-limited noise falls as the square root of the light and rises as the square root of the sky's own
brightness. So a source that stands just above the noise is fainter by 1.25·log10 of the ratio of light
(2.5 · ½), and by half of what the sky is darker.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from noctuary.archive.records import Rig, Session
from noctuary.facts.exposure import distinct, session_integration_s
from noctuary.facts.optics import collecting_area_m2, mean_sky_brightness

REFERENCE_SKY = 21.0
HALF_MAGNITUDE = 10**0.4


def light_m2_h(sessions: Iterable[Session]) -> float | None:
    """Σ π/4 · D² × integration in m²·h over distinct sessions, each with its own rig.

    A session whose aperture or integration is not known adds nothing; ``None`` where that holds of all.
    """
    known = [light for s in distinct(sessions) if (light := _light_m2_h(s)) is not None]
    return sum(known) if known else None


def _light_m2_h(session: Session) -> float | None:
    area, light_s = collecting_area_m2(session.rig), session_integration_s(session)
    return area * light_s / 3600 if area is not None and light_s is not None else None


def depth_mag(light: float | None, sky: float | None, reference: Rig | None) -> float | None:
    """Depth in mag/arcsec² against one hour with the reference rig under a sky of 21.0.

    ``1.25 · log10(light / reference light) + 0.5 · (sky − 21.0)``; the second term is left out where
    the sky is not known. ``None`` without light or without a reference.
    """
    area = collecting_area_m2(reference)
    if area is None or light is None or light <= 0:
        return None
    depth = 1.25 * math.log10(light / area)
    return depth if sky is None else depth + 0.5 * (sky - REFERENCE_SKY)


def depth_of(sessions: Iterable[Session], reference: Rig | None) -> float | None:
    """Depth of everything that distinct sessions gathered together."""
    once = distinct(sessions)
    return depth_mag(light_m2_h(once), mean_sky_brightness(once), reference)


def hours_to_half_magnitude(sessions: Iterable[Session]) -> float | None:
    """Hours still needed on the latest rig for another 0.5 mag: light × (10^0.4 − 1) over its area."""
    once = distinct(sessions)
    light = light_m2_h(once)
    known = [s for s in once if collecting_area_m2(s.rig) is not None]
    if light is None or light <= 0:
        return None
    latest = max(known, key=lambda s: (s.night, s.start.timestamp() if s.start else 0.0, s.identity))
    area = collecting_area_m2(latest.rig)
    return light * (HALF_MAGNITUDE - 1) / area if area is not None else None

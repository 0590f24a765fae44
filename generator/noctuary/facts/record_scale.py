"""The scale that a record states, and what to write where the picture's stars say another."""

from __future__ import annotations

from noctuary.facts.picture import PictureFacts

AGREES = 0.03
"""Scales that differ by less are the same: focal lengths on labels are rounded."""
_COMMON_REDUCTIONS = (1.0, 2 / 3, 1 / 2, 1 / 3, 1 / 4)
_COMMON_FACTORS = (0.5, 0.63, 0.67, 0.7, 0.72, 0.73, 0.75, 0.79, 0.8, 0.85, 0.95, 1.4, 1.5, 1.6, 1.7, 1.8, 2.0)


def stated_scale(facts: PictureFacts) -> float | None:
    """Arcseconds a pixel from focal length, pixel size and resampling; ``None`` where one of them is not known."""
    optics = facts.optics
    if optics is None or optics.sensor_scale_arcsec_px is None or optics.resampling.factor is None:
        return None
    return optics.sensor_scale_arcsec_px / optics.resampling.factor


def scale_advice(facts: PictureFacts, found_arcsec: float) -> str | None:
    """What in the record does not fit the scale that was found, and the line to write; ``None`` where all fits."""
    stated, optics = stated_scale(facts), facts.optics
    if optics is None or optics.sensor_scale_arcsec_px is None:
        return None
    made = optics.resampling
    factor = optics.sensor_scale_arcsec_px / found_arcsec
    if stated is None:
        return f"with the optics as recorded it was resampled: write resampling: {factor:.4g} into the sidecar"
    if abs(found_arcsec / stated - 1.0) <= AGREES:
        return None
    says = f"the record says {stated:.4g}″/px and the stars say {found_arcsec:.4g}″/px: "
    reductions = [*_COMMON_REDUCTIONS, *([made.least] if made.least is not None else [])]
    nearest = min(reductions, key=lambda usual: abs(factor / usual - 1.0))
    if abs(factor / nearest - 1.0) <= AGREES and (made.least is None or factor > 0.98 * made.least):
        return says + f"the picture was resampled; write resampling: {nearest:.4g} into the sidecar"
    if optics.focal_length_mm is None:
        return says + f"write resampling: {factor:.4g} into the sidecar"
    focal = optics.focal_length_mm * stated / found_arcsec
    ratio = focal / optics.focal_length_mm
    usual = min(_COMMON_FACTORS, key=lambda each: abs(ratio / each - 1.0))
    if abs(ratio / usual - 1.0) <= AGREES:
        glass = "a reducer" if usual < 1 else "an extender"
        line = f"{glass} is missing? write focal_factor: {usual:g} of the rig into equipment.yaml"
    else:
        line = (
            f"the focal length was {focal:.0f} mm and not {optics.focal_length_mm:.0f} mm? write focal_length: "
            f"{focal:.0f} mm of the optic into equipment.yaml"
        )
    return says + line + f"; if the picture was resampled, write resampling: {factor:.4g} into the sidecar"

"""Derived facts as plain data: what ``noctuary facts --format json`` prints and the site publishes.

Units stand in the names; what is not known is ``None`` (``null``), never zero. Angles are degrees,
ICRS; pixels count from the centre of the top-left pixel = (0, 0), x right, y down.
"""

from __future__ import annotations

import math
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from noctuary.facts.archive_facts import ArchiveFacts
from noctuary.facts.exposure import Integration
from noctuary.facts.optics import Optics
from noctuary.facts.picture import PictureFacts, SessionFacts
from noctuary.facts.target import TargetFacts
from noctuary.pages.exports.outline import outline_deg, stc_s

if TYPE_CHECKING:
    from noctuary.facts.placement_summary import PlacementSummary
    from noctuary.sky.catalogue import SkyObject

Plain = dict[str, Any]


def picture_json(facts: PictureFacts) -> Plain:
    """One picture."""
    return {
        "picture": facts.picture.id,
        "title": facts.picture.title,
        "pixels": list(facts.pixels) if facts.pixels else None,
        "integration": _integration(facts.integration),
        "optics": _optics(facts.optics),
        "objects": [_object(o, name) for o, name in zip(facts.objects, facts.object_names, strict=True)],
        "placement": _placement(facts.placement),
        "in_field": [{"name": o.name, "x_px": x, "y_px": y} for o, x, y in facts.in_field]
        if facts.in_field is not None
        else None,
        "sessions": [_session(f) for f in facts.sessions],
        "panels": [{"picture": p.picture_id, "total_s": p.total_s} for p in facts.panels],
        "light_m2_h": facts.light_m2_h,
        "depth_mag": facts.depth.mag,
        "depth_sessions_without_sky": facts.depth.sessions_without_sky,
    }


def published_json(facts: PictureFacts) -> Plain:
    """One picture as the site publishes it: with its outline as regions are written in the Virtual Observatory.

    Besides: the seconds of every rig; how the resampling is known that scale and field rest on; the full width at
    half maximum that the record states for the frames; the share of the field's shorter side that the target takes.
    """
    corners = outline_deg(facts.placement) if facts.placement else None
    outline = {"stc_s": stc_s(corners), "icrs_deg": [list(corner) for corner in corners]} if corners else None
    optics = facts.optics
    return {
        **picture_json(facts),
        "by_rig_s": facts.rigs.by_rig_s,
        "resampling": {"factor": optics.resampling.factor, "basis": optics.resampling.basis} if optics else None,
        "star_width_arcsec": optics.star_width_arcsec if optics else None,
        "frame_fill": facts.frame_fill,
        "outline": outline,
    }


def archive_json(facts: ArchiveFacts) -> Plain:
    """The archive: totals over the sessions of listed pictures."""
    return {
        "pictures": [p.picture.id for p in facts.listed],
        "targets": [_target(t) for t in facts.targets],
        "total_s": facts.integration.total_s,
        "nights": facts.integration.nights,
        "by_year_s": _by_year(facts.integration),
    }


def _target(facts: TargetFacts) -> Plain:
    return {
        "name": facts.name,
        "identity": facts.identity,
        "pictures": [p.picture.id for p in facts.pictures],
        "total_s": facts.integration.total_s,
        "by_filter_s": facts.integration.by_filter_s,
        "by_year_s": _by_year(facts.integration),
        "nights": facts.integration.nights,
    }


def _by_year(total: Integration) -> dict[str, float]:
    return {str(year): light_s for year, light_s in total.by_year_s.items()}


def _integration(total: Integration) -> Plain:
    return {
        "total_s": total.total_s,
        "by_filter_s": total.by_filter_s,
        "kept": total.kept,
        "taken": total.taken,
        "kept_share": total.kept_share,
        "nights": total.nights,
        "first_night": _date(total.first_night),
        "last_night": _date(total.last_night),
    }


def _optics(optics: Optics | None) -> Plain | None:
    if optics is None:
        return None
    return {
        "rig": optics.rig,
        "focal_length_mm": optics.focal_length_mm,
        "aperture_mm": optics.aperture_mm,
        "f_ratio": optics.f_ratio,
        "image_scale_arcsec_px": optics.image_scale_arcsec_px,
        "field_width_deg": optics.field_width_deg,
        "field_height_deg": optics.field_height_deg,
        "field_diagonal_deg": optics.field_diagonal_deg,
        "sampling_px": optics.sampling_px,
        "diffraction_limit_arcsec": optics.diffraction_limit_arcsec,
    }


def _object(sky: SkyObject, name: str) -> Plain:
    return {
        "name": name,
        "identity": sky.name,
        "ra_deg": sky.ra_deg,
        "dec_deg": sky.dec_deg,
        "galactic_l_deg": sky.galactic_l_deg,
        "galactic_b_deg": sky.galactic_b_deg,
        "constellation": sky.constellation,
        "kind": sky.kind,
        "magnitude": sky.magnitude,
        "size_arcmin": list(sky.size_arcmin) if sky.size_arcmin else None,
        "also": list(sky.also),
    }


def _placement(placement: PlacementSummary | None) -> Plain | None:
    if placement is None:
        return None
    ra, dec = placement.centre
    return {
        "ra_deg": ra,
        "dec_deg": dec,
        "image_scale_arcsec_px": placement.image_scale_arcsec_px,
        "position_angle_deg": placement.position_angle_deg,
        "mirrored": placement.mirrored,
        "corners_deg": [[_finite(ra), _finite(dec)] for ra, dec in placement.corners_deg],
    }


def _session(facts: SessionFacts) -> Plain:
    session, sky = facts.session, facts.sky
    return {
        "night": session.night.isoformat(),
        "place": session.place.name if session.place else None,
        "rig": session.rig.name if session.rig else None,
        "start_utc": _utc(session.start_utc),
        "end_utc": _utc(session.end_utc),
        "integration_s": facts.integration_s,
        "shutter_open_share": facts.shutter_open_share,
        "target": {
            "altitude_start_deg": sky.target_altitude_start_deg if sky else None,
            "altitude_middle_deg": sky.target_altitude_middle_deg if sky else None,
            "altitude_end_deg": sky.target_altitude_end_deg if sky else None,
            "altitude_least_deg": sky.target_altitude_least_deg if sky else None,
            "altitude_greatest_deg": sky.target_altitude_greatest_deg if sky else None,
            "airmass_middle": sky.airmass_middle if sky else None,
        },
        "moon": {
            "illuminated_fraction": facts.moon_fraction,
            "altitude_middle_deg": sky.moon_altitude_middle_deg if sky else None,
            "separation_deg": sky.moon_separation_deg if sky else None,
        },
        "sun": {
            "altitude_start_deg": sky.sun_altitude_start_deg if sky else None,
            "altitude_end_deg": sky.sun_altitude_end_deg if sky else None,
        },
        "dark_share": sky.dark_share if sky else None,
    }


def _finite(value: float) -> float | None:
    """A number, or ``None`` where a corner is outside the projection."""
    return value if math.isfinite(value) else None


def _date(day: date | None) -> str | None:
    return day.isoformat() if day else None


def _utc(moment: datetime | None) -> str | None:
    return moment.strftime("%Y-%m-%dT%H:%M:%SZ") if moment else None

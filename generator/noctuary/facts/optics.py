"""What a rig makes of the sky: image scale, field, f-ratio, sampling, diffraction.

p is the pixel size times the binning, f the focal length times the focal factor, D the aperture. A picture may build
on others that were taken with other rigs: what its pixels are comes from the sessions with the rig that is shown.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from noctuary.archive.records import Picture, Rig, Session
from noctuary.facts.exposure import distinct, session_integration_s
from noctuary.facts.resampling import Resampling, resampling, sensor_pixels
from noctuary.plain_record import plain_record

# One radian in arcseconds, per µm of pixel and mm of focal length: 648 000 / π / 1000.
ARCSEC_PER_UM_MM = 206.26480624709637
WAVELENGTH_M = 550e-9


@plain_record
class Optics:
    """The optics of one picture. Angles of the sky in degrees, scales in arcseconds per picture pixel.

    ``pixel_size_um`` is the sensor's, times the binning. ``inferred``: no placement measures scale and field, which
    rest on what the sizes of picture and sensor suggest. ``star_width_arcsec`` is the full width at half maximum that
    the record states for the frames, and ``sampling_px`` the same in picture pixels; what is measured on the finished
    picture is another number (:class:`noctuary.archive.star_file.StarShapes`). What cannot be known is ``None``.
    """

    rig: str | None
    focal_length_mm: float | None
    aperture_mm: float | None
    f_ratio: float | None
    pixel_size_um: float | None
    resampling: Resampling
    inferred: bool
    sensor_scale_arcsec_px: float | None
    image_scale_arcsec_px: float | None
    field_width_deg: float | None
    field_height_deg: float | None
    field_diagonal_deg: float | None
    sampling_px: float | None
    star_width_arcsec: float | None
    diffraction_limit_arcsec: float | None
    measured_focal_length_mm: float | None


def focal_length_mm(rig: Rig) -> float | None:
    """Focal length of the whole rig: the optic's times the reducer's or extender's factor."""
    if rig.optic is None or rig.optic.focal_length_mm is None:
        return None
    return rig.optic.focal_length_mm * rig.focal_factor


def aperture_mm(rig: Rig) -> float | None:
    """Diameter of the light that enters: the optic's own, or f over a stopped-down working f-ratio."""
    if rig.working_f_ratio is not None:
        focal = focal_length_mm(rig)
        return focal / rig.working_f_ratio if focal is not None else None
    return rig.optic.aperture_mm if rig.optic is not None else None


def f_ratio(rig: Rig) -> float | None:
    """f / D, or the written f-ratio where the two lengths are not known."""
    focal, diameter = focal_length_mm(rig), aperture_mm(rig)
    if focal is not None and diameter is not None:
        return focal / diameter
    if rig.working_f_ratio is not None:
        return rig.working_f_ratio
    return rig.optic.f_ratio * rig.focal_factor if rig.optic is not None and rig.optic.f_ratio is not None else None


def collecting_area_m2(rig: Rig | None) -> float | None:
    """π/4 · D²; an obstruction is not known to the record and so not taken off."""
    diameter = aperture_mm(rig) if rig is not None else None
    return None if diameter is None else math.pi / 4 * (diameter / 1000) ** 2


def image_scale_arcsec_px(pixel_size_um: float, focal_mm: float) -> float:
    """Plate scale: 206.2648 × p / f, the arc that one pixel spans at the optical axis."""
    return ARCSEC_PER_UM_MM * pixel_size_um / focal_mm


def angle_of_view_deg(length_mm: float, focal_mm: float) -> float:
    """2·atan(length / 2f): the field that a length on the sensor sees through a rectilinear optic."""
    return math.degrees(2 * math.atan(length_mm / (2 * focal_mm)))


def rayleigh_limit_arcsec(diameter_mm: float) -> float:
    """1.22 λ/D for λ = 550 nm (Rayleigh's criterion)."""
    return math.degrees(1.22 * WAVELENGTH_M / (diameter_mm / 1000)) * 3600


def mean_star_width_arcsec(sessions: Iterable[Session]) -> float | None:
    """Mean full width at half maximum of the sessions that state it, weighted by integration."""
    return _weighted((s.star_width_arcsec, session_integration_s(s) or 0.0) for s in distinct(sessions))


def sky_brightness(session: Session) -> float | None:
    """Sky in mag/arcsec² above a session: its own value, else its place's."""
    if session.sky_brightness is not None or session.place is None:
        return session.sky_brightness
    return session.place.sky_brightness


def mean_sky_brightness(sessions: Iterable[Session]) -> float | None:
    """Sky in mag/arcsec² averaged by integration: the session's own value, else its place's.

    ``None`` when one session that gave light has neither.
    """
    pairs: list[tuple[float | None, float]] = []
    for session in distinct(sessions):
        weight = session_integration_s(session) or 0.0
        sky = sky_brightness(session)
        if sky is None and weight > 0:
            return None
        pairs.append((sky, weight))
    return _weighted(pairs)


def _weighted(pairs: Iterable[tuple[float | None, float]]) -> float | None:
    known = [(value, weight) for value, weight in pairs if value is not None]
    total = sum(weight for _, weight in known)
    if not known:
        return None
    if total == 0:  # nothing kept: every value counts alike
        return sum(value for value, _ in known) / len(known)
    return sum(value * weight for value, weight in known) / total


def main_rig(rig: Rig | None, sessions: Iterable[Session]) -> Rig | None:
    """The picture's own rig, else the one with most integration (the first named, when equal)."""
    if rig is not None:
        return rig
    light: dict[str, float] = {}
    rigs: dict[str, Rig] = {}
    for session in distinct(sessions):
        if session.rig is not None:
            rigs[session.rig.name] = session.rig
            light[session.rig.name] = light.get(session.rig.name, 0.0) + (session_integration_s(session) or 0.0)
    return rigs[max(light, key=lambda name: light[name])] if light else None


def rig_of(picture: Picture, sessions: Iterable[Session]) -> Rig | None:
    """The rig of a picture's optics: the one it names, else that of most of its own sessions, else of all of them."""
    return main_rig(picture.rig, picture.own_sessions) or main_rig(None, sessions)


def sessions_with(rig: Rig | None, own: Iterable[Session], every: Iterable[Session]) -> list[Session]:
    """The sessions that tell binning and star width of a picture with this rig: its own.

    Of a picture that has no session of its own with the rig, those among ``every`` that it contains; none where the
    rig is not known.
    """
    name = rig.name if rig is not None else None
    for sessions in (own, every):
        if found := [s for s in distinct(sessions) if s.rig is not None and s.rig.name == name]:
            return found
    return []


def smallest_binning(sessions: Iterable[Session]) -> int:
    """The smallest binning among the frames, 1 where there are none: it has the finest scale of a stack."""
    return min((group.binning for session in sessions for group in session.frames), default=1)


def optics(
    rig: Rig | None,
    sessions: Iterable[Session],
    pixels: tuple[int, int] | None,
    written_resampling: float | None,
    placed_scale_arcsec_px: float | None = None,
    placed_field_deg: tuple[float, float, float] | None = None,
    mosaic: bool = False,
) -> Optics | None:
    """The optics of a picture; ``None`` when its dimensions are not known, or neither its rig nor its placement is.

    ``sessions`` are those of :func:`sessions_with`. ``placed_scale_arcsec_px`` and ``placed_field_deg`` (width,
    height, diagonal) come from the placement and take precedence: what lies on the sky is truer than what is printed
    on a lens. Without a placement they follow from the resampling, which may be inferred.
    """
    if pixels is None or (rig is None and placed_scale_arcsec_px is None):
        return None
    once = distinct(sessions)
    binning = smallest_binning(once)
    made = resampling(written_resampling, pixels, sensor_pixels(rig, binning), mosaic)
    own_um = rig.camera.pixel_size_um if rig is not None and rig.camera is not None else None
    pixel_um = own_um * binning if own_um is not None else None
    focal, diameter, ratio = (focal_length_mm(rig), aperture_mm(rig), f_ratio(rig)) if rig else (None, None, None)
    sensor_scale = image_scale_arcsec_px(pixel_um, focal) if pixel_um is not None and focal is not None else None
    scale, field = placed_scale_arcsec_px, placed_field_deg
    if scale is None and sensor_scale is not None and made.factor is not None:
        scale = sensor_scale / made.factor
    if field is None and pixel_um is not None and focal is not None and made.factor is not None:
        mm = pixel_um / 1000 / made.factor
        width, height = (angle_of_view_deg(n * mm, focal) for n in pixels)
        field = width, height, angle_of_view_deg(math.hypot(*pixels) * mm, focal)
    star_width = mean_star_width_arcsec(once)
    return Optics(
        rig=rig.name if rig else None,
        focal_length_mm=focal,
        aperture_mm=diameter,
        f_ratio=ratio,
        pixel_size_um=pixel_um,
        resampling=made,
        inferred=made.inferred and placed_scale_arcsec_px is None and scale is not None,
        sensor_scale_arcsec_px=sensor_scale,
        image_scale_arcsec_px=scale,
        field_width_deg=field[0] if field else None,
        field_height_deg=field[1] if field else None,
        field_diagonal_deg=field[2] if field else None,
        sampling_px=star_width / scale if star_width is not None and scale is not None else None,
        star_width_arcsec=star_width,
        diffraction_limit_arcsec=rayleigh_limit_arcsec(diameter) if diameter is not None else None,
        measured_focal_length_mm=measured_focal_length_mm(pixel_um, placed_scale_arcsec_px, made, focal)
        if placed_scale_arcsec_px is not None and pixel_um is not None
        else None,
    )


def measured_focal_length_mm(
    pixel_um: float, placed_scale_arcsec_px: float, made: Resampling, stated_mm: float | None
) -> float | None:
    """The focal length that a placed picture shows: 206.2648 × p / (placed scale × resampling).

    A picture with its sensor's proportions, of which nobody wrote the resampling, may be a crop at full size as well
    as the whole sensor made smaller: of the two the focal length counts that is nearer to the stated one. ``None``
    where the resampling is not known, or where it is inferred and no focal length is stated that could settle it.
    """
    if made.factor is None:
        return None
    factors = (made.factor, 1.0) if made.basis == "whole sensor" else (made.factor,)
    lengths_mm = [ARCSEC_PER_UM_MM * pixel_um / (placed_scale_arcsec_px * factor) for factor in factors]
    if stated_mm is None:
        return lengths_mm[0] if made.basis in ("written", "full size") else None
    return min(lengths_mm, key=lambda focal: abs(math.log(focal / stated_mm)))


def frame_fill(size_arcmin: tuple[float, float] | None, field: Optics | None) -> float | None:
    """An object's major axis over the shorter side of the field; above 1 it does not fit."""
    if size_arcmin is None or field is None or field.field_width_deg is None or field.field_height_deg is None:
        return None
    return size_arcmin[0] / 60 / min(field.field_width_deg, field.field_height_deg)

"""Exposure and optics against handbook values and the definitions behind them."""

import math

import pytest
from noctuary.facts.optics import (
    ARCSEC_PER_UM_MM,
    angle_of_view_deg,
    image_scale_arcsec_px,
    optics,
    rayleigh_limit_arcsec,
)

from tests.builders.records import rig, session


# Lens handbooks' angle-of-view tables for 36 x 24 mm (from memory; the definition 2 atan(d / 2f) gives the same).
@pytest.mark.parametrize(
    ("focal_mm", "width", "height", "diagonal"),
    [
        (24, 73.7, 53.1, 84.1),
        (50, 39.6, 27.0, 46.8),
        (135, 15.2, 10.2, 18.2),
        (300, 6.87, 4.58, 8.25),
    ],
)
def test_angles_of_view_on_36_by_24_mm(focal_mm, width, height, diagonal):
    assert angle_of_view_deg(36, focal_mm) == pytest.approx(width, abs=0.1)
    assert angle_of_view_deg(24, focal_mm) == pytest.approx(height, abs=0.1)
    assert angle_of_view_deg(math.hypot(36, 24), focal_mm) == pytest.approx(diagonal, abs=0.1)
    # The same field from pixels: 6000 x 4000 of 6 um.
    seen = optics(rig(focal=focal_mm, aperture=focal_mm / 4, pixel_size=6.0), [session()], (6000, 4000), 1.0)
    assert seen.field_width_deg == pytest.approx(width, abs=0.1)
    assert seen.field_height_deg == pytest.approx(height, abs=0.1)
    assert seen.field_diagonal_deg == pytest.approx(diagonal, abs=0.1)


def test_plate_scale_is_the_definition_of_the_radian():
    # 206 264.8 arcsec per focal length: 180 * 3600 / pi.
    assert math.isclose(ARCSEC_PER_UM_MM * 1000, 180 * 3600 / math.pi, rel_tol=1e-15)
    assert image_scale_arcsec_px(1000, 1) == pytest.approx(206264.8, abs=0.05)


def test_rayleigh_limit_of_100_mm_at_550_nm():
    # 1.22 lambda / D: 1.384 arcsec.
    assert rayleigh_limit_arcsec(100) == pytest.approx(1.384, abs=0.0005)

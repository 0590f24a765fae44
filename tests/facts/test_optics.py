from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from noctuary.facts.optics import frame_fill, main_rig, optics, rig_of, sessions_with

from tests.builders.records import archive, frames, picture, rig, session


def test_a_reducer_shortens_and_brightens():
    reduced = optics(rig(focal_factor=0.8), [session()], (6248, 4176), 1.0)
    assert reduced.focal_length_mm == pytest.approx(384)
    assert reduced.f_ratio == pytest.approx(4.8)
    assert reduced.aperture_mm == 80


def test_a_lens_stopped_down_gathers_less():
    stopped = optics(rig(focal=135, aperture=67.5, working_f_ratio=2.8), [session()], (6000, 4000), 1.0)
    assert stopped.aperture_mm == pytest.approx(135 / 2.8)
    assert stopped.f_ratio == pytest.approx(2.8)


def test_binning_is_the_smallest_of_the_frames():
    both = session(groups=(frames(binning=2), frames(binning=1)))
    assert optics(rig(), [both], (100, 100), 1.0).pixel_size_um == pytest.approx(3.76)
    binned = session(groups=(frames(binning=2),))
    assert optics(rig(), [binned], (100, 100), 1.0).pixel_size_um == pytest.approx(7.52)


@given(st.floats(0.25, 4), st.integers(100, 9000), st.integers(100, 9000))
def test_resampling_changes_pixels_and_not_the_sky(factor, width, height):
    plain = optics(rig(), [session()], (width, height), 1.0)
    twice = optics(rig(), [session()], (width * 2, height * 2), 2.0)
    assert twice.field_width_deg == pytest.approx(plain.field_width_deg)
    assert twice.field_diagonal_deg == pytest.approx(plain.field_diagonal_deg)
    assert twice.image_scale_arcsec_px == pytest.approx(plain.image_scale_arcsec_px / 2)
    other = optics(rig(), [session()], (width, height), factor)
    assert other.image_scale_arcsec_px * factor == pytest.approx(other.sensor_scale_arcsec_px)


def test_sampling_counts_picture_pixels_across_a_star():
    # 206.2648 * 3.76 / 480 = 1.6157 arcsec a pixel; a star of 3.2 arcsec spans 1.98: just undersampled (Nyquist).
    seen = optics(rig(), [session(star_width_arcsec=3.2)], (6248, 4176), 1.0)
    assert seen.image_scale_arcsec_px == pytest.approx(1.6157, abs=1e-4)
    assert seen.sampling_px == pytest.approx(1.98, abs=0.005)
    assert optics(rig(), [session()], (6248, 4176), 1.0).sampling_px is None


def test_star_width_is_averaged_by_integration_over_those_that_say():
    sessions = [
        session(0, star_width_arcsec=2.0, groups=(frames(60, 60),)),
        session(1, star_width_arcsec=4.0, groups=(frames(180, 60),)),
        session(2, groups=(frames(600, 60),)),
    ]
    assert optics(rig(), sessions, (100, 100), 1.0).star_width_arcsec == pytest.approx(3.5)


def test_the_placed_scale_tells_the_focal_length():
    # A picture at half the sensor's pixels that lies at 3.2314 arcsec a pixel was taken at 480 mm.
    seen = optics(
        rig(), [session()], (3124, 2088), 0.5, placed_scale_arcsec_px=3.23148, placed_field_deg=(2.8, 1.9, 3.4)
    )
    assert seen.measured_focal_length_mm == pytest.approx(480, abs=0.05)
    assert seen.field_width_deg == 2.8


def test_the_rig_with_most_light_speaks_for_a_picture_without_one():
    short, long = rig("short"), rig("long")
    sessions = [session(0, rig=short, groups=(frames(60, 10),)), session(1, rig=long, groups=(frames(60, 20),))]
    assert main_rig(None, sessions).name == "long"
    assert main_rig(short, sessions).name == "short"


def test_what_a_picture_builds_on_tells_nothing_of_its_own_pixels():
    # A telescope binned 2 × 2 adds to a picture with a lens that was not binned and had stars of 11.3″:
    # 206.2648 × 2 × 3.76 / 480 = 3.2314″/px, and stars of 2.4″ are 0.743 px wide.
    lens, tele = rig("lens", focal=135, aperture=48), rig("tele")
    earlier = session(written_in="wide", rig=lens, star_width_arcsec=11.3, groups=(frames(60, 300),))
    own = session(written_in="close", rig=tele, star_width_arcsec=2.4, groups=(frames(180, 40, binning=2),))
    wide, close = picture("wide", (earlier,)), picture("close", (own,), builds_on=("wide",))
    every = archive(wide, close).sessions_of(close)
    assert len(every) == 2
    assert rig_of(close, every) == tele
    seen = optics(tele, sessions_with(tele, close.own_sessions, every), (3124, 2088), None)
    assert seen.image_scale_arcsec_px == pytest.approx(3.2314, abs=1e-4)
    assert seen.sampling_px == pytest.approx(0.743, abs=5e-4)
    assert (seen.resampling.factor, seen.resampling.basis) == (1.0, "full size")
    # Placed at that scale, it shows 480 mm.
    placed = optics(tele, [own], (3124, 2088), None, 3.2314, (2.8, 1.87, 3.37))
    assert placed.measured_focal_length_mm == pytest.approx(480, abs=0.05)


def test_a_picture_without_sessions_of_its_own_is_told_by_those_it_builds_on():
    tele = rig("tele")
    first = session(written_in="first", rig=tele, star_width_arcsec=3.0, groups=(frames(binning=2),))
    other = session(written_in="other", rig=rig("lens"), star_width_arcsec=9.0)
    assert sessions_with(tele, [], [first, other]) == [first]
    assert sessions_with(tele, [other], [first, other]) == [first]


def test_a_placed_picture_of_an_unknown_rig_has_a_scale_and_a_field():
    seen = optics(None, [], (3000, 2000), None, 4.0, (3.33, 2.22, 4.0))
    assert (seen.rig, seen.focal_length_mm, seen.measured_focal_length_mm) == (None, None, None)
    assert (seen.image_scale_arcsec_px, seen.field_width_deg) == (4.0, 3.33)
    assert optics(None, [], (3000, 2000), None) is None


def test_a_camera_without_pixels_has_no_scale_without_a_word():
    # Nobody wrote how many pixels it has, so that 3000 of them may be all or half of it.
    unknown = rig(pixels=None)
    seen = optics(unknown, [session()], (3000, 2000), None)
    assert (seen.image_scale_arcsec_px, seen.field_width_deg, seen.sampling_px) == (None, None, None)
    assert optics(unknown, [session()], (3000, 2000), 0.5).image_scale_arcsec_px == pytest.approx(3.2314, abs=1e-4)
    nameless = rig(pixel_size=None)
    assert optics(nameless, [session()], (3124, 2088), None).image_scale_arcsec_px is None
    assert not optics(nameless, [session()], (3124, 2088), None).inferred
    assert optics(nameless, [session()], (3124, 2088), None).diffraction_limit_arcsec is not None


def test_a_mosaic_is_larger_than_its_sensor_and_says_nothing_of_it():
    seen = optics(rig(), [session()], (3124, 2088), None, mosaic=True)
    assert seen.image_scale_arcsec_px is None
    assert optics(rig(), [session()], (9000, 3000), 0.5, mosaic=True).image_scale_arcsec_px == pytest.approx(
        3.2314, abs=1e-4
    )


def test_a_reduced_picture_has_the_scale_and_field_of_the_whole_sensor():
    # 3456 × 2304 of 6.4 µm behind 50 mm: 26.402″/px on the sensor, 57.03″ on 1600 pixels, and in both cases
    # 2 · atan(3456 · 0.0064 / 100) = 24.95° across.
    camera: dict[str, Any] = {"focal": 50, "aperture": 25, "pixels": (3456, 2304), "pixel_size": 6.4}
    seen = optics(rig(**camera), [session()], (1600, 1067), None)
    assert seen.image_scale_arcsec_px == pytest.approx(57.03, abs=0.01)
    assert seen.field_width_deg == pytest.approx(24.95, abs=0.01)
    crop = optics(rig(**camera), [session()], (1600, 1067), 1.0)
    assert crop.image_scale_arcsec_px == pytest.approx(26.40, abs=0.01)
    assert crop.field_width_deg == pytest.approx(11.70, abs=0.01)


def test_an_object_larger_than_the_field_fills_more_than_the_frame():
    seen = optics(rig(), [session()], (6248, 4176), 1.0)
    assert frame_fill((180.0, 60.0), seen) == pytest.approx(3.0 / seen.field_height_deg)
    assert frame_fill(None, seen) is None

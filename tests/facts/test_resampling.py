"""How a finished picture's pixels relate to its sensor's, when the record does not say."""

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from noctuary.facts.resampling import resampling, sensor_pixels

from tests.builders.records import rig

SENSOR = (3456, 2304)


def test_a_picture_with_the_proportions_of_its_sensor_is_the_whole_of_it_made_smaller():
    # 1600 / 3456 = 0.46296; 1067 / 2304 = 0.46311.
    seen = resampling(None, (1600, 1067), SENSOR)
    assert (seen.basis, seen.inferred) == ("whole sensor", True)
    assert seen.factor == pytest.approx(0.46296, abs=1e-5)
    assert resampling(None, (1067, 1600), SENSOR) == seen


def test_another_shape_is_a_crop_at_full_size():
    seen = resampling(None, (1600, 1600), SENSOR)
    assert (seen.factor, seen.basis, seen.inferred) == (1.0, "crop", True)
    # Made smaller instead, it would be at least 1600 / 2304 of its sensor pixels.
    assert seen.least == pytest.approx(0.69444, abs=1e-5)


def test_the_proportions_may_differ_by_a_hundredth():
    # 1.5 · 1.01 = 1.515
    assert resampling(None, (1514, 1000), SENSOR).basis == "whole sensor"
    assert resampling(None, (1516, 1000), SENSOR).basis == "crop"


def test_trimmed_edges_leave_the_full_size():
    # A stack loses its edges to the shifts between frames: 3400 × 2250 of 3456 × 2304 is no reduction.
    trimmed = resampling(None, (3400, 2250), SENSOR)
    assert (trimmed.factor, trimmed.basis, trimmed.inferred) == (1.0, "full size", False)
    assert resampling(None, (3456, 1000), SENSOR).basis == "full size"
    assert resampling(None, (3470, 2310), SENSOR).basis == "full size"
    assert resampling(None, (3600, 1000), SENSOR).basis == "larger"


def test_what_is_written_settles_it():
    assert resampling(1.0, (1600, 1067), SENSOR).factor == 1.0
    assert resampling(2.0, (6912, 4608), SENSOR).basis == "written"
    assert resampling(0.5, (100, 100), None).factor == 0.5


def test_nothing_is_inferred_from_a_sensor_that_is_not_known():
    seen = resampling(None, (1600, 1067), None)
    assert (seen.factor, seen.basis, seen.least, seen.inferred) == (None, "unknown", None, False)
    assert sensor_pixels(None, 1) is None


def test_the_size_of_a_mosaic_tells_nothing():
    assert resampling(None, (1600, 1067), SENSOR, mosaic=True).factor is None
    assert resampling(None, (9000, 6000), SENSOR, mosaic=True).basis == "mosaic"
    assert resampling(0.5, (3000, 2000), SENSOR, mosaic=True).factor == 0.5


def test_binning_makes_a_sensor_of_fewer_pixels():
    # 6248 × 4176 binned 2 × 2 is read out as 3124 × 2088, and a picture of that size is at full size.
    binned = sensor_pixels(rig(), 2)
    assert binned == (3124, 2088)
    assert resampling(None, (3124, 2088), binned).basis == "full size"
    assert resampling(None, (3124, 2088), sensor_pixels(rig(), 1)).factor == pytest.approx(0.5)


@given(st.integers(600, 9000), st.integers(400, 9000), st.floats(0.1, 0.95))
def test_a_reduction_is_found_again(width, height, factor):
    pixels = round(width * factor), round(height * factor)
    assume(min(pixels) >= 300)
    assert resampling(None, pixels, (width, height)).factor == pytest.approx(factor, rel=0.01)

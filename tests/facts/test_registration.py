"""Pictures of a target in the frame of the newest: what each covers, where its edge lies, which share too little."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from noctuary.facts.placement_summary import placement_numbers
from noctuary.facts.registration import registration
from noctuary.sky.placement import from_centre

FRAME = from_centre(83.8, -5.4, 2.0, 0.0, False, 600, 400)


def test_a_picture_in_its_own_frame_fills_it():
    lies = registration(placement_numbers(FRAME), placement_numbers(FRAME))
    assert lies is not None
    assert lies.fills
    assert lies.covers == 1


def test_a_wider_picture_fills_the_frame_however_it_is_turned():
    wider = from_centre(83.8, -5.4, 6.0, 73.0, True, 600, 400)
    lies = registration(placement_numbers(FRAME), placement_numbers(wider))
    assert lies is not None
    assert lies.fills


def test_a_picture_of_half_the_scale_covers_a_quarter_and_its_edge_lies_in_the_middle():
    narrower = from_centre(83.8, -5.4, 1.0, 0.0, False, 600, 400)
    lies = registration(placement_numbers(FRAME), placement_numbers(narrower))
    assert lies is not None
    assert lies.covers == pytest.approx(0.25, abs=0.02)
    xs, ys = zip(*lies.outline, strict=True)
    assert (min(xs), max(xs)) == (pytest.approx(0.25, abs=1e-3), pytest.approx(0.75, abs=1e-3))
    assert (min(ys), max(ys)) == (pytest.approx(0.25, abs=1e-3), pytest.approx(0.75, abs=1e-3))


@given(share=st.floats(0.15, 0.9))
def test_a_picture_moved_along_the_frame_covers_the_rest_of_it(share):
    # Along declination, where degrees are degrees: 400 px of 2″.
    moved = from_centre(83.8, -5.4 + (1 - share) * 400 * 2 / 3600, 2.0, 0.0, False, 600, 400)
    lies = registration(placement_numbers(FRAME), placement_numbers(moved))
    assert lies is not None
    assert lies.covers == pytest.approx(share, abs=0.03)


@pytest.mark.parametrize("north_deg", [0.22, 5.0, 90.0])
def test_pictures_that_share_next_to_nothing_are_not_in_one_frame(north_deg):
    # 0.2222° would be an edge on an edge.
    away = from_centre(83.8, -5.4 + north_deg, 2.0, 0.0, False, 600, 400)
    assert registration(placement_numbers(FRAME), placement_numbers(away)) is None


def test_a_small_picture_within_a_large_frame_counts_by_its_own_field():
    small = from_centre(83.9, -5.35, 0.2, 10.0, False, 600, 400)
    lies = registration(placement_numbers(FRAME), placement_numbers(small))
    assert lies is not None
    assert lies.covers < 0.02
    assert len(lies.outline) == 32

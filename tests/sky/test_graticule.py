"""Grid, arrow and scale bar, by numbers."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from noctuary.sky.graticule import graticule, north_east, scale_bar
from noctuary.sky.placement import Placement, from_centre


@pytest.mark.parametrize("dec", [0.0, 41.0, 89.0, -89.0])
@pytest.mark.parametrize(
    ("angle", "mirrored", "north", "east"),
    [
        (0, False, (0, -1), (-1, 0)), (90, False, (1, 0), (0, -1)), (180, False, (0, 1), (1, 0)),
        (0, True, (0, -1), (1, 0)), (90, True, (-1, 0), (0, -1)), (180, True, (0, 1), (-1, 0)),
    ],
)  # fmt: skip
def test_arrows(
    dec: float, angle: float, mirrored: bool, north: tuple[float, float], east: tuple[float, float]
) -> None:
    n, e = north_east(from_centre(0.02, dec, 2.0, angle, mirrored, 1501, 1000))
    assert n == pytest.approx(north, abs=1e-6)
    assert e == pytest.approx(east, abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(
    st.builds(
        from_centre, st.floats(0, 359.99), st.sampled_from([-90.0, -89.0, -60.0, 0.0, 35.0, 88.5, 89.0, 90.0]),
        st.floats(0.3, 90), st.floats(0, 359), st.booleans(), st.integers(300, 2000), st.integers(300, 2000),
    )
)  # fmt: skip
def test_lines_lie_where_they_say_inside_the_frame(placement: Placement) -> None:
    grid = graticule(placement)
    assert {line.kind for line in grid.lines} == {"ra", "dec"}
    assert 4 <= len(grid.lines) <= 60
    for line in grid.lines:
        for run in line.runs:
            x, y = np.array(run).T
            inside = placement.contains(np.round(x, 6), np.round(y, 6))
            assert inside.all()
            _assert_on(placement, line.kind, line.value_deg, x, y)
        for mark in line.marks:
            _assert_on(placement, line.kind, line.value_deg, np.array([mark.x]), np.array([mark.y]))
            away = {
                "left": mark.x + 0.5, "right": placement.width_px - 0.5 - mark.x, "top": mark.y + 0.5,
                "bottom": placement.height_px - 0.5 - mark.y,
            }[mark.edge]  # fmt: skip
            assert away == pytest.approx(0, abs=1e-6)


def _assert_on(placement: Placement, kind: str, value: float, x: np.ndarray, y: np.ndarray) -> None:
    ra, dec = placement.sky(x, y)
    off = (ra - value + 180) % 360 - 180 if kind == "ra" else dec - value
    if kind == "ra":
        off = np.degrees(np.arcsin(np.clip(np.sin(np.radians(off)), -1, 1))) * np.cos(np.radians(dec))
    assert np.abs(off).max() * 3600 / placement.image_scale_arcsec_px < 0.5


def test_across_0h_lines_come_once_and_on_both_sides() -> None:
    grid = graticule(from_centre(0.0, 10.0, 10.0, 0.0, False, 1500, 1000))
    values = [line.value_deg for line in grid.lines if line.kind == "ra"]
    assert len(values) == len(set(values))
    assert 0.0 in values
    assert any(v > 350 for v in values)
    assert any(0 < v < 10 for v in values)


@pytest.mark.parametrize("dec", [89.0, -89.0])
def test_with_the_pole_inside_meridians_run_all_around(dec: float) -> None:
    placement = from_centre(40.0, dec, 10.0, 30.0, False, 1500, 1200)
    grid = graticule(placement)
    assert len([line for line in grid.lines if line.kind == "ra"]) == 12
    pole = placement.pixel(0.0, math.copysign(90.0, dec))
    for line in grid.lines:
        if line.kind == "ra":
            ends = [p for run in line.runs for p in run]
            assert min(math.hypot(px - float(pole[0]), py - float(pole[1])) for px, py in ends) < 1e-3
    assert all(abs(line.value_deg) < 90 for line in grid.lines if line.kind == "dec")


def test_steps_are_round_in_time_and_in_arc() -> None:
    grid = graticule(from_centre(98.0, 5.0, 2.1, 0.0, False, 3000, 2000))
    assert grid.dec_step_deg * 60 == pytest.approx(round(grid.dec_step_deg * 60))
    assert grid.ra_step_deg * 4 == pytest.approx(round(grid.ra_step_deg * 4))
    for line in grid.lines:
        step = grid.ra_step_deg if line.kind == "ra" else grid.dec_step_deg
        assert line.value_deg / step == pytest.approx(round(line.value_deg / step), abs=1e-6)


@given(st.floats(0.1, 200), st.integers(200, 6000))
def test_the_scale_bar_is_round_and_about_a_fifth_of_the_width(scale: float, width: int) -> None:
    placement = from_centre(10.0, 10.0, scale, 0.0, False, width, 1000)
    arcmin, px = scale_bar(placement)
    assert px * scale / 60 == pytest.approx(arcmin, rel=1e-3)
    assert 0.11 * width < px < 0.36 * width

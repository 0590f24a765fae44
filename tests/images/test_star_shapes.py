"""Star shapes and star positions against simulated frames whose truth is known."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from noctuary.images.star_patterns import MEANINGS
from noctuary.images.star_shapes import ShapeReport, measure
from noctuary.images.stars import detect
from numpy.random import Generator, default_rng

from tests.images import simulated_stars
from tests.images.simulated_stars import Shape, draw


def _tilt(rng: Generator) -> Callable[[float, float], Shape]:
    way, growth, fwhm = rng.uniform(0, 2 * math.pi), rng.uniform(0.4, 0.8), rng.uniform(2, 3.2)

    def shape(x: float, y: float) -> Shape:
        bad = max(0.0, x * math.cos(way) + y * math.sin(way))
        return fwhm * (1 + growth * bad), 1 + 0.3 * bad, math.degrees(-way) % 180

    return shape


def _corners(rng: Generator) -> Callable[[float, float], Shape]:
    growth, fwhm = rng.uniform(0.35, 0.7), rng.uniform(2, 3.2)

    def shape(x: float, y: float) -> Shape:
        square = (x * x * 2.25 + y * y) / 3.25
        return fwhm * (1 + 0.2 * square), 1 + growth * square, math.degrees(math.atan2(-y, 1.5 * x)) % 180

    return shape


def _same(fwhm: float, elongation: float, direction: float) -> Callable[[float, float], Shape]:
    return lambda x, y: (fwhm, elongation, direction)


def _drawn(pattern: str, rng: Generator) -> Callable[[float, float], Shape]:
    """A frame's shapes as each cause makes them (common practice)."""
    if pattern == "round":
        return _same(rng.uniform(1.8, 3.5), rng.uniform(1, 1.05), rng.uniform(0, 180))
    if pattern == "same direction everywhere":
        return _same(rng.uniform(2, 4), rng.uniform(1.2, 1.8), rng.uniform(0, 180))
    if pattern == "wide all round":
        return _same(rng.uniform(5.5, 8), rng.uniform(1, 1.05), rng.uniform(0, 180))
    return _corners(rng) if pattern == "radial in the corners" else _tilt(rng)


PATTERNS = ("round", "same direction everywhere", "radial in the corners", "one side", "wide all round")


@pytest.mark.slow
@pytest.mark.parametrize(
    ("shape", "moffat"),
    [
        ((2.0, 1.0, 0.0), None),
        ((3.0, 1.3, 30.0), None),
        ((2.5, 1.15, 120.0), 2.5),
        ((4.0, 1.6, 75.0), 3.5),
        ((1.7, 1.2, 170.0), 3.0),
        ((3.0, 2.2, 90.0), None),
    ],
)
def test_a_hundred_stars_a_zone(shape: Shape, moffat: float | None) -> None:
    frame = simulated_stars.frame(default_rng(3), 1800, 1200, 100, _same(*shape), moffat=moffat)
    report = measure(frame, scale_arcsec=2.0)
    for zone in report.zones:
        assert zone.count >= 80
        assert zone.width_px == pytest.approx(shape[0], rel=0.05)
        assert zone.width_arcsec == pytest.approx(2.0 * shape[0], rel=0.05)
        assert zone.elongation == pytest.approx(shape[1], abs=0.05)
        assert zone.direction_deg is not None
        assert 0 <= zone.direction_deg < 180
        if shape[1] > 1.1:
            assert abs((zone.direction_deg - shape[2] + 90) % 180 - 90) < 10
        assert zone.width_scatter_px is not None
        assert 0 < zone.width_scatter_px < 0.1 * shape[0]


@pytest.mark.parametrize("pattern", PATTERNS)
@pytest.mark.parametrize("seed", range(3))
def test_patterns_are_told_apart(pattern: str, seed: int) -> None:
    rng = default_rng(seed)
    frame = simulated_stars.frame(rng, 1200, 800, 25, _drawn(pattern, rng), moffat=float(rng.uniform(2.5, 5)))
    report = measure(frame)
    assert report.pattern == pattern, report
    assert report.meaning
    assert report.advice


def test_each_zone_has_its_own_shape() -> None:
    def shape(x: float, y: float) -> Shape:
        return (4.0, 1.5, 45.0) if x > 1 / 3 and y < -1 / 3 else (2.5, 1.0, 0.0)

    report = measure(simulated_stars.frame(default_rng(5), 1500, 1000, 50, shape))
    odd = report.zone(0, 2)
    assert (odd.row, odd.column) == (0, 2)
    assert odd.width_px == pytest.approx(4.0, rel=0.05)
    assert odd.elongation == pytest.approx(1.5, abs=0.07)
    assert odd.direction_deg == pytest.approx(45, abs=5)
    assert report.zone(2, 0).width_px == pytest.approx(2.5, rel=0.05)
    assert report.zone(2, 0).elongation == pytest.approx(1.0, abs=0.05)


def test_turning_the_picture_turns_the_zones() -> None:
    frame = simulated_stars.frame(default_rng(8), 1200, 900, 30, _tilt(default_rng(1)))
    upright, turned = measure(frame), measure(np.rot90(frame, 2).copy())
    for one, other in zip(upright.zones, reversed(turned.zones), strict=True):
        assert one.width_px == pytest.approx(other.width_px, rel=0.03)
        assert one.elongation == pytest.approx(other.elongation, abs=0.03)


def _empty(report: ShapeReport) -> None:
    assert report.pattern == "too few stars"
    assert report.width_px is None or report.count > 0


@pytest.mark.parametrize("frame", [np.zeros((200, 300)), np.full((200, 300), 7), np.full((50, 50), np.nan)])
def test_flat_frames_have_no_stars(frame: np.ndarray) -> None:
    assert len(detect(frame)) == 0
    _empty(measure(frame))


def test_noise_has_no_stars_to_speak_of() -> None:
    frame = default_rng(2).normal(100, 5, (800, 1200))
    assert len(detect(frame)) < 5
    _empty(measure(frame))


def test_what_is_no_picture_of_one_channel() -> None:
    with pytest.raises(ValueError, match="one channel"):
        detect(np.zeros((10, 10)))
    with pytest.raises(ValueError, match="one channel"):
        detect(np.zeros((100, 100, 3)))


def test_every_pattern_has_a_meaning_and_an_advice() -> None:
    assert set(PATTERNS) < set(MEANINGS)
    assert all(meaning and advice for meaning, advice in MEANINGS.values())


class TestDetection:
    def test_positions_in_noise_nebula_and_hot_pixels(self) -> None:
        rng = default_rng(4)
        light = np.full((900, 1200), 200.0)
        down, right = np.mgrid[0:900, 0:1200]
        light += 400 * np.exp(-((right - 500) ** 2 + (down - 450) ** 2) / (2 * 180**2))
        light += 60 * np.sin(right / 60) * np.cos(down / 45)
        spots = rng.uniform(20, 880, (200, 2)) * [1200 / 900, 1]
        flux = 10 ** rng.uniform(3.3, 5.5, 200)
        for (x, y), much in zip(spots, flux, strict=True):
            draw(light, x, y, much, (3.0, 1.0, 0.0), moffat=3.0)
        picture = rng.poisson(light).astype(float)
        hot = rng.integers([0, 0], [900, 1200], (400, 2))
        picture[hot[:, 0], hot[:, 1]] += rng.uniform(500, 20000, 400)
        picture = np.clip(picture, 0, 4000)
        found = detect(picture)
        assert (np.diff(found.flux) <= 0).all()
        assert found.saturated[:5].any()
        apart = np.hypot(found.x[:, None] - spots[:, 0], found.y[:, None] - spots[:, 1])
        # Every bright star that stands alone is found, where it is.
        alone = np.sort(np.hypot(*(spots[:, None] - spots).transpose(2, 0, 1)), axis=1)[:, 1] > 25
        nearest = apart.min(axis=0)[alone & (flux > 5000)]
        assert np.mean(nearest < 0.35) > 0.97
        # What is found is a star: hardly a hot pixel or a ridge of the nebula among the brightest 150.
        assert np.mean(apart.min(axis=1)[:150] < 1.5) > 0.95

    def test_a_cut_off_star_keeps_its_middle(self) -> None:
        light = np.full((200, 200), 100.0)
        draw(light, 100.3, 90.6, 3e6, (4.0, 1.0, 0.0), moffat=3.0, reach=60)
        found = detect(np.minimum(light, 3000) + default_rng(1).normal(0, 3, light.shape))
        assert found.saturated[0]
        assert found.x[0] == pytest.approx(100.3, abs=0.2)
        assert found.y[0] == pytest.approx(90.6, abs=0.2)

    def test_pixels_without_a_value_are_no_stars(self) -> None:
        frame = default_rng(2).normal(100, 5, (300, 300))
        draw(frame, 150.0, 120.0, 8000.0, (3.0, 1.0, 0.0))
        frame[40:60, 200:240] = np.nan
        frame[10, 10] = np.inf
        found = detect(frame)
        assert len(found) == 1
        assert found.x[0] == pytest.approx(150.0, abs=0.1)

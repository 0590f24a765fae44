"""Stars that a search on the whole sky needs, in pictures drawn with astropy's WCS (FITS WCS standard)."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from noctuary.images.stars import Stars, detect, detect_points, detect_small, detect_spots, starlike
from numpy.random import default_rng
from scipy.ndimage import gaussian_filter
from scipy.spatial import cKDTree

from tests.sky import simulated_sky
from tests.sky.hard_pictures import hard_picture
from tests.sky.simulated_sky import Field


def field_and_picture(seed: int, kind: str) -> tuple[Field, Any]:
    rng = default_rng(seed)
    field = simulated_sky.field(rng, 30.0, 900, 600)
    return field, hard_picture(rng, field, kind)


def share_found(field: Field, stars: Stars, brightest: int) -> float:
    """How many of the brightest stars are found to 1.5 px among so many times as many."""
    first = np.argsort(field.mag, kind="stable")[:brightest]
    listed = stars.brightest(4 * brightest)
    apart, _ = cKDTree(np.stack([listed.x, listed.y], axis=1)).query(np.stack([field.x, field.y], axis=1)[first])
    return float((apart < 1.5).mean())


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_stars_with_spikes_and_halos_are_among_the_spots(seed: int) -> None:
    field, pixels = field_and_picture(seed, "spikes and halos")
    assert share_found(field, detect_spots(pixels), 20) >= 0.6


def test_sure_stars_are_those_spots_that_are_alike() -> None:
    _, pixels = field_and_picture(4, "nothing")
    spots, stars = detect_spots(pixels), detect(pixels)
    assert (starlike(spots).x == stars.x).all()
    assert 0 < len(stars) <= len(spots)


@pytest.mark.parametrize("detection", [detect_spots, detect_points, detect_small])
@pytest.mark.parametrize("kind", ["nothing", "bright nebula"])
def test_a_picture_may_be_overwritten_without_other_stars(detection: Any, kind: str) -> None:
    _, pixels = field_and_picture(5, kind)
    light = pixels.astype(np.float32)
    kept, overwritten = detection(light), light.copy()
    again = detection(overwritten, in_place=True)
    assert (light == pixels).all()
    assert not (overwritten == light).all()
    assert (again.x == kept.x).all()
    assert (again.flux == kept.flux).all()


def test_points_stand_out_of_the_picture_smoothed_twice_as_much() -> None:
    # Strip by strip must give what the whole picture at once does: one point at each strip's edge, and the corners.
    light = default_rng(6).normal(0, 0.5, (700, 90)).astype(np.float32)
    truth = [(0 + 3, 4), (255, 30), (256, 60), (511, 45), (512, 75), (696, 86)]
    for row, column in truth:
        light[row, column] += 4000
    light = gaussian_filter(light, 1.2)
    found = detect_points(light).brightest(len(truth))
    pairs = {(round(float(y)), round(float(x))) for x, y in zip(found.x, found.y, strict=True)}
    assert pairs == set(truth)

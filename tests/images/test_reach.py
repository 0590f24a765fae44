"""How much deeper one picture goes than another, on pairs drawn with limits that are known."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from noctuary.images.common_sky import CannotTell, Plane
from noctuary.images.faint_stars import fitted_light
from noctuary.images.reach import PairReach, pair_reach
from noctuary.sky.placement import from_centre
from numpy.random import default_rng

from tests.images.simulated_pairs import Pair, pair
from tests.sky.hard_pictures import KINDS


def measured(both: Pair) -> PairReach:
    return pair_reach(both.older.plane, both.newer.plane)


@pytest.mark.parametrize(
    ("seed", "deeper", "finishes", "jpeg"),
    [
        (1, 0.6, ("linear", "linear"), (False, False)),
        (2, -1.4, ("arcsinh", "gamma"), (False, False)),
        (3, 1.0, ("gamma", "linear"), (True, False)),
        (4, 2.2, ("linear", "arcsinh"), (False, False)),
        (5, -0.4, ("arcsinh", "arcsinh"), (True, True)),
    ],
)
def test_the_difference_lies_within_its_uncertainty(
    seed: int, deeper: float, finishes: tuple[str, str], jpeg: tuple[bool, bool]
) -> None:
    both = pair(default_rng(seed), deeper, finishes, 3000, jpeg)
    result = measured(both)
    assert abs(result.deeper_mag - deeper) <= result.uncertainty_mag < 0.5
    assert (result.stars_newer > result.stars_older) == (deeper > 0)
    assert result.common >= 50
    for side, width in ((both.older, result.fwhm_older_arcsec), (both.newer, result.fwhm_newer_arcsec)):
        if side.plane.eight_bits is False:
            assert width == pytest.approx(side.fwhm_arcsec, rel=0.15)


def test_turned_round_it_is_the_same_with_the_other_sign() -> None:
    both = pair(default_rng(6), 1.1, ("gamma", "linear"), 3000)
    one, other = measured(both), measured(Pair(both.newer, both.older, -1.1))
    assert one.deeper_mag == pytest.approx(-other.deeper_mag)
    assert (one.stars_newer, one.fwhm_newer_arcsec) == (other.stars_older, other.fwhm_older_arcsec)


@pytest.mark.parametrize(
    ("what", "who"),
    [("noise reduction", "newer"), ("starless", "older"), ("starless", "newer"), ("black sky", "older")],
)
def test_what_cannot_be_told_is_not_said(what: str, who: str) -> None:
    rng = default_rng(7)
    both = pair(rng, 1.2, ("arcsinh", "gamma"), 3000)
    side = getattr(both, who)
    spoilt = np.clip(np.rint(_spoilt(what, rng, side.pixels.astype(np.float32))), 0, 255).astype(np.uint8)
    with pytest.raises(CannotTell, match=r"lost stars|no stars|in common|cut off"):
        measured(replace(both, **{who: replace(side, pixels=spoilt)}))


def _spoilt(what: str, rng: np.random.Generator, pixels: Any) -> Any:
    from scipy import ndimage

    if what == "noise reduction":
        return KINDS[what](rng, None, pixels)
    if what == "starless":
        return ndimage.grey_closing(ndimage.grey_opening(pixels, 13), 5)
    return np.maximum(pixels - np.percentile(pixels, 60), 0)


def test_few_stars_in_common_say_nothing() -> None:
    with pytest.raises(CannotTell, match="fewer than 50"):
        measured(pair(default_rng(8), 0.5, ("linear", "linear"), 150))


def test_pictures_of_other_skies_say_nothing() -> None:
    values = default_rng(9).normal(100, 5, (300, 400)).astype(np.float32)
    here, elsewhere = (from_centre(ra, 20.0, 2.0, 0.0, False, 400, 300) for ra in (50.0, 60.0))
    with pytest.raises(CannotTell, match="share no sky"):
        pair_reach(Plane(values, here, False), Plane(values, elsewhere, False))


def test_the_light_of_a_star_does_not_depend_on_the_level_below_it() -> None:
    steps = np.arange(41) - 20.3
    star = 7.0 * np.exp(-(steps[None, :] ** 2 + steps[:, None] ** 2) / (2 * (3.0 / 2.3548) ** 2))
    for level in (0.0, 50.0):
        light = fitted_light((star + level).astype(np.float32), np.array([20.3]), np.array([20.3]), 3.0)
        assert light[0] == pytest.approx(7.0, rel=1e-4)

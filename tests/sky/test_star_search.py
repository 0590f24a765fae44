"""The search over scales and over the whole sky, on star lists drawn with astropy's WCS (FITS WCS standard)."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from noctuary.geometry import separations_deg
from noctuary.sky import star_table
from noctuary.sky.solve import GREATEST_CHANCE, Refusal, Solution
from noctuary.sky.star_query import magnitude_for, star_query
from noctuary.sky.star_search import scale_bands, search_everywhere, search_near
from noctuary.sky.star_table import StarTable
from numpy.random import default_rng

from tests.sky import simulated_sky

SIZE = (1500, 1000)


def near(ra: float, dec: float, radius: float) -> StarTable:
    return star_table.shipped(ra, dec, radius, 2016.0)


@given(st.floats(0.1, 200), st.floats(0.26, 3.9))
def test_every_scale_from_a_quarter_to_four_times_lies_in_a_band(stated: float, times: float) -> None:
    bands = scale_bands(stated, 1000.0)
    assert bands[0].arcsec == stated
    assert any(b.arcsec / (1 + b.tolerance) <= stated * times <= b.arcsec * (1 + b.tolerance) for b in bands)


@given(st.floats(0.3, 59), st.floats(300, 9000))
def test_every_field_lies_in_a_band_where_nothing_is_stated(field_deg: float, diagonal_px: float) -> None:
    scale = math.degrees(2 * math.tan(math.radians(field_deg / 2)) / diagonal_px) * 3600
    bands = scale_bands(None, diagonal_px)
    assert any(b.arcsec / (1 + b.tolerance) <= scale * 1.001 and scale <= b.arcsec * (1 + b.tolerance) for b in bands)


@pytest.mark.parametrize(("seed", "scale", "times"), [(1, 4.0, 0.3), (2, 6.0, 2.9), (3, 20.0, 0.55), (4, 8.0, 1.0)])
def test_a_field_near_its_target(seed: int, scale: float, times: float) -> None:
    rng = default_rng(seed)
    field = simulated_sky.field(rng, scale, *SIZE)
    seen = simulated_sky.observed(rng, field)
    outcome = search_near([seen], *SIZE, scale_bands(scale / times, math.hypot(*SIZE)), (field.ra, field.dec), near)
    assert isinstance(outcome.found, Solution), outcome
    assert separations_deg(outcome.found.ra_deg, outcome.found.dec_deg, field.ra, field.dec) * 3600 < field.scale
    assert outcome.found.image_scale_arcsec == pytest.approx(scale, rel=1e-3)
    assert outcome.found.mirrored == field.mirrored


def test_a_field_anywhere_on_the_sky() -> None:
    rng = default_rng(12)
    field = simulated_sky.field(rng, 14.0, *SIZE, place=(301.0, 88.0))
    seen = simulated_sky.observed(rng, field)
    outcome = search_everywhere([seen], *SIZE, scale_bands(14.3, math.hypot(*SIZE))[:1], near)
    assert isinstance(outcome.found, Solution), outcome
    assert separations_deg(outcome.found.ra_deg, outcome.found.dec_deg, field.ra, field.dec) * 3600 < 14.0


def test_false_spots_brighter_than_all_stars_in_one_quarter_do_not_hide_a_field() -> None:
    # As bright nebulosity gives them; the sixty brightest alone show nothing of the sky.
    rng, scale = default_rng(22), 20.0
    field = simulated_sky.field(rng, scale, *SIZE)
    x, y, flux = simulated_sky.observed(rng, field, lost_share=0.1)
    x, y = np.concatenate([x, rng.uniform(0, 750, 60)]), np.concatenate([y, rng.uniform(0, 500, 60)])
    seen = x, y, np.concatenate([flux, flux.max() * rng.uniform(1, 2, 60)])
    outcome = search_everywhere([seen], *SIZE, scale_bands(scale * 1.1, math.hypot(*SIZE))[1:2], near)
    assert isinstance(outcome.found, Solution), outcome
    assert separations_deg(outcome.found.ra_deg, outcome.found.dec_deg, field.ra, field.dec) * 3600 < scale


@pytest.mark.slow
def test_points_without_a_sky_are_found_nowhere_on_it() -> None:
    rng = default_rng(9)
    points = rng.uniform(0, SIZE[0], 150), rng.uniform(0, SIZE[1], 150), rng.pareto(1.5, 150)
    outcome = search_everywhere([points, points], *SIZE, scale_bands(None, math.hypot(*SIZE)), near)
    assert isinstance(outcome.found, Refusal), outcome
    assert outcome.tried > 1000


@pytest.mark.slow
def test_wrong_skies_are_refused_at_every_scale() -> None:
    for seed in range(3):
        rng = default_rng(200 + seed)
        field = simulated_sky.field(rng, rng.uniform(2, 12), *SIZE)
        x, y, flux = simulated_sky.observed(rng, field)
        elsewhere = (field.ra + 180) % 360, -field.dec
        bands = scale_bands(field.scale, math.hypot(*SIZE))
        outcome = search_near([(x, y, flux)], *SIZE, bands, elsewhere, near)
        assert isinstance(outcome.found, Refusal), outcome
        assert outcome.found.log10_chance > GREATEST_CHANCE


@pytest.mark.slow
def test_random_points_are_no_picture_of_the_sky() -> None:
    for seed in range(4):
        rng = default_rng(seed)
        points = rng.uniform(0, SIZE[0], 120), rng.uniform(0, SIZE[1], 120), rng.pareto(1.5, 120)
        bands = scale_bands(5.0, math.hypot(*SIZE))
        outcome = search_near([points], *SIZE, bands, simulated_sky.random_place(rng), near)
        assert isinstance(outcome.found, Refusal), outcome


def test_the_query_reaches_deep_enough() -> None:
    # Fields with a dozen stars and more by trial: 0.9° needs magnitude 12, 0.5–0.7° needs 13.
    assert magnitude_for(0.9) >= 12
    assert magnitude_for(0.5) >= 13
    assert magnitude_for(0.01) <= 18
    text = star_query(83.822, -5.391, 0.7, 0.4)
    assert "CIRCLE('ICRS', 83.82200, -5.39100, 0.70)" in text
    assert "--stars FILE" in text


def test_counts_of_tries_only_grow() -> None:
    rng = default_rng(5)
    points = rng.uniform(0, SIZE[0], 60), rng.uniform(0, SIZE[1], 60), rng.pareto(1.5, 60)
    bands = scale_bands(9.0, math.hypot(*SIZE))
    tried = [search_near([points], *SIZE, bands[:n], (120.0, 30.0), near).tried for n in (1, 3, 9)]
    assert tried == sorted(tried)
    assert np.diff(tried).sum() > 0

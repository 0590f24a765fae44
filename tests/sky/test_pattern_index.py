"""The shipped index of patterns of the whole sky: against its script, its stars, and comparison one by one."""

from __future__ import annotations

import hashlib
import math
from itertools import permutations
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from noctuary.geometry import lons_lats_deg, unit_vectors
from noctuary.sky import pattern_index, star_table
from noctuary.sky.four_stars import all_fours, fours_of, nearest, shapes
from noctuary.sky.pattern_index import HEAD, STEPS, field_deg, index_step, packed, step_for, unpacked
from noctuary.sky.star_cells import DamagedTable
from noctuary.sky.tables import make_patterns
from numpy.random import default_rng

SHIPPED = Path(make_patterns.__file__).with_name("patterns.bin")
WIDE = 7
"""A step whose patterns are few enough to be compared one by one."""


def test_it_was_made_of_the_shipped_stars() -> None:
    with SHIPPED.open("rb") as file:
        _, table, steps, _ = HEAD.unpack(file.read(HEAD.size))
    assert table == hashlib.sha256(make_patterns.TABLE.read_bytes()).digest()
    assert steps == STEPS


@pytest.mark.parametrize("step", [4, 9])
def test_a_part_made_anew_has_the_same_bytes(step: int) -> None:
    shipped = index_step(step)
    patterns, bits, body = make_patterns.step_bytes(shipped.stars, step)
    assert (patterns, 1 << bits) == (len(shipped.entries), len(shipped.counts))
    assert body == shipped.counts.tobytes() + shipped.entries.tobytes()


@pytest.mark.slow
def test_the_script_makes_the_index(tmp_path: Path) -> None:
    make_patterns.main(tmp_path)
    assert (tmp_path / "patterns.bin").read_bytes() == SHIPPED.read_bytes()


def test_a_reach_is_the_distance_to_the_fourth_brighter_star() -> None:
    stars = unit_vectors(default_rng(3).uniform(0, 30, 400), default_rng(4).uniform(-20, 20, 400))
    fourth, first = make_patterns.reaches(stars)
    assert (fourth[:4] == 2.0).all()
    for star in range(4, 400):
        brighter = np.sort(np.linalg.norm(stars[:star] - stars[star], axis=1))
        assert fourth[star] == pytest.approx(brighter[3])
        assert first[star] == pytest.approx(brighter[0])


def test_stars_are_evenly_spread() -> None:
    # So many to a field of 3 : 2 by the rule; in any one of them, in the Milky Way or far from it, some.
    stars = index_step(3).stars
    diagonal = math.radians(field_deg(3))
    area = 6 / 13 * diagonal**2
    assert len(stars) * area / (4 * math.pi) == pytest.approx(14, rel=0.15)
    middles = unit_vectors(*lons_lats_deg(default_rng(1).normal(size=(500, 3))))
    inside = index_step(3).tree.query_ball_point(middles, math.sqrt(area / math.pi), return_length=True)
    assert inside.min() >= 6
    assert inside.max() <= 40


def test_its_stars_are_those_of_the_table() -> None:
    # Packed to 0.08″ in right ascension; seven-year-old light of a moving star is no matter at the table's epoch.
    ra, dec = lons_lats_deg(index_step(9).stars[::60])
    for a, d in zip(ra, dec, strict=True):
        near = star_table.shipped(float(a), float(d), 0.01, 2000.0)
        apart = np.linalg.norm(unit_vectors(near.ra, near.dec) - unit_vectors(a, d), axis=1)
        assert np.degrees(apart.min()) * 3600 < 0.06


@settings(max_examples=10, deadline=None)
@given(st.integers(0, 2**31), st.floats(0.0, 1.0))
def test_it_finds_every_pattern_that_is_like_one(seed: int, noise: float) -> None:
    step, rng = index_step(WIDE), default_rng(seed)
    fours, _ = all_fours(nearest(step.stars, pattern_index.NEIGHBOURS, step.farthest))
    _, fours, shape, size = shapes(step.stars, fours, 0.0)
    some = rng.integers(0, len(shape), 20)
    asked = shape[some] + noise * 0.01 * rng.uniform(-1, 1, (20, 6))
    found = step.likenesses(asked, size[some], 0.2)
    pairs = {(int(own), *map(int, four)) for own, four in zip(found.own, found.fours, strict=True)}
    for own in range(20):
        alike = (np.abs(shape - asked[own]).max(axis=1) < 0.0119) & (np.abs(size - size[some[own]]) < 0.199)
        assert {(own, *map(int, four)) for four in fours[alike]} <= pairs
    assert (found.apart <= pattern_index.TOLERANCE).all()
    assert (np.abs(found.growth) <= 0.2001).all()


@given(st.lists(st.integers(0, 2**24 - 1), min_size=1))
def test_three_bytes_hold_their_numbers(numbers: list[int]) -> None:
    assert unpacked(packed(np.array(numbers))).tolist() == numbers


@given(st.integers(0, 2**31), st.floats(0, 2 * math.pi), st.floats(0.1, 10), st.booleans())
def test_a_shape_knows_neither_turn_nor_scale_nor_hand(seed: int, turn: float, scale: float, mirrored: bool) -> None:
    points = default_rng(seed).uniform(-1, 1, (4, 3)) * [1, 1, 0]
    spin = np.array([[math.cos(turn), -math.sin(turn), 0], [math.sin(turn), math.cos(turn), 0], [0, 0, 1]])
    other = scale * points @ spin * [-1 if mirrored else 1, 1, 1]
    four = np.array([[0, 1, 2, 3]])
    _, _, one, size = shapes(points, four, 0.0)
    _, _, two, other_size = shapes(other, four, 0.0)
    if len(one) and len(two) and np.abs(np.diff(np.sort(_sums(points)))).min() > 1e-9:
        assert two == pytest.approx(one)
        assert other_size - size == pytest.approx(math.log(scale))
        for order in permutations(range(4)):
            assert shapes(points, np.array([order]), 0.0)[2] == pytest.approx(one)


def _sums(points: np.ndarray) -> np.ndarray:
    return np.linalg.norm(points[:, None] - points[None], axis=2).sum(axis=1)


def test_numbers_of_patterns_lead_back_to_them() -> None:
    near = nearest(default_rng(2).uniform(0, 1, (50, 3)), 5, 0.3)
    fours, numbers = all_fours(near)
    assert (np.sort(fours_of(numbers, near), axis=1) == fours).all()
    assert len(np.unique(fours, axis=0)) == len(fours)
    # A chord of 0.3 leaves some without five neighbours, and nobody's neighbour is itself.
    assert (near == -1).any()
    assert (near != np.arange(50)[:, None]).all()


def test_a_field_has_the_step_nearest_in_size() -> None:
    assert [step_for(size) for size in (1.0, 3.0, 3.4, 3.6, 10.0, 300.0)] == [0, 0, 0, 1, 4, STEPS - 1]


@pytest.mark.parametrize("content", [b"", b"NOCTPAT1", b"x" * 1000, SHIPPED.read_bytes()[:-1]])
def test_a_damaged_index_says_what_to_type(content: bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "patterns.bin").write_bytes(content)
    monkeypatch.setattr("noctuary.sky.pattern_index.resources.files", lambda package: tmp_path)
    index_step.cache_clear()
    try:
        with pytest.raises(DamagedTable, match="pip install --force-reinstall noctuary"):
            index_step(2)
    finally:
        index_step.cache_clear()

"""What changed between two pictures, on pairs drawn with changes that are known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from noctuary.geometry import separation_deg
from noctuary.images.brightness_relation import relation
from noctuary.images.changes import Change, changes
from noctuary.images.common_sky import CannotTell
from noctuary.images.cut_outs import SIDE_PX, cut_out
from noctuary.images.magnitude_scale import magnitude_scale
from noctuary.sky.placement import from_centre
from noctuary.sky.star_table import shipped
from numpy.random import default_rng
from PIL import Image

from tests.images.simulated_changes import Injected, missed_by, moved_bodies, new_stars, star_by_star, variables
from tests.images.simulated_pairs import FieldStars, Pair, pair


def candidates(both: Pair) -> tuple[Change, ...]:
    return changes(both.older.plane, both.newer.plane).candidates


@pytest.mark.parametrize(
    ("seed", "finishes", "jpeg"),
    [(1, ("linear", "arcsinh"), (False, False)), (2, ("gamma", "arcsinh"), (True,) * 2)],
)
def test_where_nothing_changed_nothing_is_found(
    seed: int, finishes: tuple[str, str], jpeg: tuple[bool, bool]
) -> None:
    rng = default_rng(seed)
    both = pair(rng, 0.7, finishes, 2000, jpeg, star_by_star(rng, 0.05), missed_by(rng, 0.4))
    result = changes(both.older.plane, both.newer.plane)
    assert result.candidates == ()
    assert result.tried > 100
    assert result.common >= 50


def test_a_star_that_faded_one_that_came_and_one_that_moved_are_found_where_they_are() -> None:
    rng, injected = default_rng(3), Injected()
    ways = (
        variables(rng, injected, 1, 1.5, 0.03), new_stars(rng, injected, 1, 0.0), moved_bodies(rng, injected, 1, 0.0)
    )  # fmt: skip

    def changed(stars: FieldStars) -> tuple[FieldStars, FieldStars]:
        """Each change made to what the one before it left."""
        bright = replace(stars, limits=(stars.limits[0] - 2.0, stars.limits[1] - 2.0))
        older, newer = ways[0](bright)
        for way in ways[1:]:
            one, other = way(bright)
            extra = len(stars.mag)
            older, newer = (_joined(a, b, extra) for a, b in ((older, one), (newer, other)))
        return older, newer

    both = pair(rng, 0.5, ("linear", "gamma"), 1500, (False, False), changed, missed_by(rng, 0.3))
    found = candidates(both)
    assert sum(injected.shared(both)) >= 3
    assert [hit for hit, shared in zip(injected.found(found), injected.shared(both), strict=True) if shared] == [
        True
    ] * sum(injected.shared(both))
    assert injected.false(found) == 0
    for each in found:
        nearest = min(
            separation_deg(each.ra_deg, each.dec_deg, ra, dec) * 3600
            for ra, dec in zip(injected.ra, injected.dec, strict=True)
        )
        assert nearest < 2.0
        assert each.chance <= 0.02
        assert each.form == "star"
    assert {each.missing for each in found} == {True, False}


def _joined(stars: FieldStars, more: FieldStars, extra: int) -> FieldStars:
    return replace(
        stars,
        ra=np.append(stars.ra, more.ra[extra:]),
        dec=np.append(stars.dec, more.dec[extra:]),
        mag=np.append(stars.mag, more.mag[extra:]),
    )


def test_turned_round_the_same_is_found_in_the_other_picture() -> None:
    rng, injected = default_rng(5), Injected()
    both = pair(rng, 0.4, ("linear", "linear"), 1500, changed=new_stars(rng, injected, 3, 0.03))
    one, other = candidates(both), candidates(Pair(both.newer, both.older, -0.4))
    assert one
    swapped = {"older": "newer", "newer": "older"}
    assert [(c.ra_deg, swapped[c.brighter_in]) for c in one] == [(c.ra_deg, c.brighter_in) for c in other]


def test_what_is_gone_with_all_stars_is_no_change() -> None:
    from scipy import ndimage

    both = pair(default_rng(7), 1.2, ("arcsinh", "gamma"), 3000)
    pixels = both.newer.pixels.astype(np.float32)
    starless = ndimage.grey_closing(ndimage.grey_opening(pixels, 13), 5)
    with pytest.raises(CannotTell, match=r"lost stars|no stars|in common|cut off"):
        candidates(replace(both, newer=replace(both.newer, pixels=starless.astype(np.uint8))))


def test_too_few_stars_say_nothing() -> None:
    with pytest.raises(CannotTell, match="fewer than 50"):
        candidates(pair(default_rng(8), 0.5, ("linear", "linear"), 150))


@pytest.mark.parametrize("stretch", [np.asarray, np.arcsinh, lambda light: light**0.45])
def test_any_stretch_gives_the_brightness_to_expect(stretch) -> None:
    rng = default_rng(9)
    light = 10 ** rng.uniform(0.8, 2.6, 600)
    strong = light + rng.normal(0, 1, 600)
    true = 12.0 * stretch(light)
    weak = 12.0 * stretch(light * rng.normal(1, 0.08, 600)) + rng.normal(0, 1, 600)
    x, y = rng.uniform(-1, 1, (2, 600))
    dimmer = 1.0 - 0.2 * x**2  # towards two edges, as vignetting is
    found = relation(strong, weak * dimmer, (np.ones(600), np.ones(600)), np.stack([x, y, x * x - 0.33], axis=1))
    bright = light > 20
    assert np.median(np.abs(found.expected / (true * dimmer) - 1.0)[bright]) < 0.04
    low = ((found.expected - weak * dimmer) / found.scatter)[bright]
    assert 0.6 < low.std() < 1.3


def test_magnitudes_come_from_the_stars_of_the_table() -> None:
    """Light made of VT magnitudes of Tycho-2 (Høg et al. 2000, A&A 355, L27) around the Pleiades gives them back."""
    table = shipped(56.75, 24.12, 0.8, 2020.0)
    light = 10 ** (-0.4 * (table.mag - 15.0)) * default_rng(1).normal(1.0, 0.05, len(table))
    some = slice(0, None, 2)
    scale = magnitude_scale(table.ra[some], table.dec[some], light[some], table, 3.0)
    assert scale is not None
    assert scale.proportional
    for magnitude in (9.0, 11.0, 14.0):
        measured = scale.magnitude(10 ** (-0.4 * (magnitude - 15.0)))
        assert measured is not None
        assert measured[0] == pytest.approx(magnitude, abs=0.1)
        assert measured[1] >= 0.03
    bent = magnitude_scale(table.ra, table.dec, np.arcsinh(light / 10.0), table, 3.0)
    assert bent is None or bent.magnitude(1e-3) is None
    assert magnitude_scale(table.ra[:5], table.dec[:5], light[:5], table, 3.0) is None


def test_a_cut_out_has_its_place_in_the_middle_and_north_up() -> None:
    of = from_centre(80.0, 30.0, 2.0, 137.0, True, 300, 200)
    pixels = np.zeros((200, 300, 3), dtype=np.uint8)
    ra, dec = 80.01, 30.02
    for name, (a, d) in {"at": (ra, dec), "north": (ra, dec + 20 / 3600)}.items():
        x, y = of.pixel(a, d)
        pixels[round(float(y)), round(float(x))] = 255 if name == "at" else 160
    square = np.asarray(cut_out(Image.fromarray(pixels), of, ra, dec, 80.0).convert("L")).astype(float)
    middle = SIDE_PX // 2
    assert square[middle - 5 : middle + 6, middle - 5 : middle + 6].max() > 200
    above = square[middle - 50 : middle - 30, middle - 8 : middle + 8]
    below = square[middle + 30 : middle + 50, middle - 8 : middle + 8]
    assert above.max() > below.max() + 100

"""The chain of sizes: light is kept, nothing is enlarged, no rings."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from noctuary.images import recipe
from noctuary.images.deep_resize import binned, light_of, values_of
from noctuary.images.dither import as_8_bit
from noctuary.images.resize import chain, halves, mean_colour
from PIL import Image


def linear(levels: np.ndarray) -> np.ndarray:
    """IEC 61966-2-1."""
    c = levels / 255.0
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


@given(st.integers(1, 40000), st.integers(1, 40000))
def test_sizes_are_never_larger_and_end_with_the_full_size(width: int, height: int) -> None:
    planned = recipe.sizes(width, height)
    full = planned[0]
    assert full.width <= width
    assert full.height <= height
    if width * height <= recipe.FULL_MAX_PIXELS:
        assert (full.width, full.height) == (width, height)
    assert full.width * full.height <= recipe.FULL_MAX_PIXELS
    assert all(a.width > b.width and a.height >= b.height >= 1 for a, b in pairwise(planned))
    assert all("jpeg" in p.formats for p in planned if p.width not in (240, 640, 1440))


@pytest.mark.parametrize("deep", [False, True])
def test_faint_stars_keep_their_light_and_bright_ones_get_no_rings(deep: bool) -> None:
    side, sky = 1600, 20.0
    y, x = np.mgrid[-12:13, -12:13]
    field = np.full((side, side), sky)
    places = [(100 + 200 * i, 100 + 200 * j) for i in range(8) for j in range(8)]
    for at, (row, column) in enumerate(places):
        star = (60.0 if at % 2 else 4000.0) * np.exp(-(x**2 + y**2) / (2 * 1.5**2))
        field[row - 12 : row + 13, column - 12 : column + 13] += star
    field = np.minimum(field, 255)
    pixels = np.rint(field * 257).astype(np.uint16) if deep else Image.fromarray(np.rint(field).astype(np.uint8))
    sizes = [(1600, 1600), (1200, 1200), (800, 800), (400, 400), (160, 160)]
    before = linear(field) - linear(np.array(sky))
    for image in chain(pixels, sizes):
        after = np.asarray(image)
        scale = side / image.width
        if image.width <= 800:
            assert after.min() >= sky - 2
        kept = []
        for row, column in places[1::2]:
            near = before[row - 60 : row + 60, column - 60 : column + 60].sum()
            top, left = round((row - 60) / scale), round((column - 60) / scale)
            n = round(120 / scale)
            small = (linear(after[top : top + n, left : left + n].astype(float)) - linear(np.array(sky))).sum()
            kept.append(small * scale**2 / near)
        # Resized in gamma space a tenth the size keeps 0.5 to 0.75.
        assert 0.85 < np.median(kept) < 1.12, image.width


def test_colours_of_flat_pictures_do_not_move() -> None:
    for colour in [(0, 0, 0), (1, 2, 3), (20, 30, 40), (128, 64, 200), (255, 255, 255)]:
        flat = Image.new("RGB", (1000, 700), colour)
        for image in chain(flat, [(800, 560), (480, 336), (100, 70)]):
            assert image.getextrema() == tuple((c, c) for c in colour)
        assert mean_colour(flat) == "#{:02x}{:02x}{:02x}".format(*colour)


def test_dark_gradients_of_deep_pictures_stay_smooth_at_every_size() -> None:
    gradient = np.tile(np.linspace(600, 1400, 2000), (512, 1)).astype(np.uint16)
    for image in chain(gradient, [(2000, 512), (1000, 256), (500, 128)]):
        levels = np.asarray(image).astype(float)
        means = levels.mean(axis=0).reshape(50, -1).mean(axis=1)
        wanted = np.linspace(600, 1400, 2000).reshape(50, -1).mean(axis=1) / 257
        assert np.abs(means - wanted).max() < 0.1


LARGE = pytest.param((1999, 1499), marks=pytest.mark.slow)


@pytest.mark.parametrize("size", [(1000, 733), (997, 401), (100, 1500), (3, 1), LARGE])
def test_the_first_step_is_lanczos_of_the_whole_picture(size: tuple[int, int]) -> None:
    # Within the range that no overshoot of the filter leaves, so that nothing is cut off between its two passes.
    pixels = np.random.default_rng(2).integers(90, 160, (1500, 2000, 3)).astype(np.uint8)
    whole = np.asarray(Image.fromarray(pixels).resize(size, Image.Resampling.LANCZOS)).astype(int)
    (first,) = chain(Image.fromarray(pixels), [size])
    assert np.abs(np.asarray(first).astype(int) - whole).max() <= 2
    (deep,) = chain(pixels.astype(np.uint16) * 257, [size])
    assert np.abs(np.asarray(deep).astype(int) - whole).max() <= 2


@pytest.mark.parametrize("size", [(1000, 750), (667, 500)])
def test_the_first_step_is_binning_where_whole_pixels_make_one(size: tuple[int, int]) -> None:
    pixels = np.random.default_rng(3).integers(0, 256, (1500, 2000, 3)).astype(np.uint8)
    (first,) = chain(Image.fromarray(pixels), [size])
    number = round(2000 / size[0])
    whole = pixels[: 1500 // number * number, : 2000 // number * number].astype(float)
    means = whole.reshape(1500 // number, number, 2000 // number, number, 3).mean(axis=(1, 3))
    assert np.abs(np.asarray(first)[: means.shape[0], : means.shape[1]] - means).max() <= 1
    deep = binned(pixels.astype(np.uint16) * 257, number)
    assert deep.shape == np.asarray(first).shape
    assert np.abs(deep[: means.shape[0], : means.shape[1]] - means * 257).max() <= 0.5
    # At the edges fewer pixels make one: as Pillow has it, to a level.
    assert np.abs(deep / 257.0 - np.asarray(first)).max() <= 1


def test_every_16_bit_value_is_dithered_to_one_of_its_two_neighbours_and_to_itself_on_average() -> None:
    values = np.arange(65536, dtype=np.uint16)
    for pixels in (values.reshape(256, 256), np.repeat(values.reshape(256, 256, 1), 3, axis=2)):
        levels = np.asarray(as_8_bit(pixels)).astype(int)
        exact = pixels / 257.0
        assert (levels >= np.floor(exact)).all()
        assert (levels <= np.ceil(exact)).all()
        assert abs(float((levels - exact).mean())) < 0.01


def test_light_and_back_is_the_same_to_a_hundredth_of_a_level() -> None:
    values = np.arange(65536, dtype=np.uint16).reshape(256, 256)
    back = values_of(light_of(values)).astype(int)
    assert np.abs(back - values).max() <= 2


@pytest.mark.parametrize(
    ("width", "height", "second"),
    [(5472, 3648, 2736), (6000, 4000, 3000), (9576, 6388, 3192), (4000, 3000, 2880), (4656, 3520, 2880)],
)
def test_the_largest_smaller_size_is_binned_where_that_comes_near(width: int, height: int, second: int) -> None:
    planned = recipe.sizes(width, height)[1]
    assert planned.width == second
    assert abs(planned.height / planned.width - height / width) < 1e-3


@given(st.integers(1, 700), st.integers(1, 700), st.integers(1, 4), st.sampled_from(["L", "RGB"]))
@settings(max_examples=40, deadline=None)
def test_halves_are_rounded_up_and_each_pixel_is_the_mean_of_its_own(
    width: int, height: int, times: int, mode: str
) -> None:
    pixels = np.random.default_rng(width * height).integers(60, 70, (height, width)).astype(np.uint8)
    image = Image.fromarray(pixels).convert(mode)
    for turn, level in enumerate(halves(image, times), 1):
        step = 2**turn
        across, down = -(-width // step), -(-height // step)
        cut = level.crop((0, 0, across, down))
        assert (cut.mode, cut.size) == (mode, (across, down))
        x, y = across // 2, down // 2
        own = pixels[y * step : (y + 1) * step, x * step : (x + 1) * step]
        # At an odd edge a pixel is made of fewer, each of which counts for more.
        assert own.min() - 1 <= np.asarray(cut.convert("L"))[y, x] <= own.max() + 1
        if own.shape == (step, step):
            assert abs(float(np.asarray(cut.convert("L"))[y, x]) - own.mean()) <= 1.1


def test_stars_keep_their_light_in_halves() -> None:
    field = np.full((1024, 1024), 20.0)
    y, x = np.mgrid[-12:13, -12:13]
    places = [(64 + 128 * i + 3 * j, 64 + 128 * j + 5 * i) for i in range(7) for j in range(7)]
    for row, column in places:
        field[row - 12 : row + 13, column - 12 : column + 13] += 60 * np.exp(-(x**2 + y**2) / (2 * 1.5**2))
    image = Image.fromarray(np.rint(field).astype(np.uint8))
    before = (linear(np.asarray(image).astype(float)) - linear(np.array(20.0))).sum()
    for turn, level in enumerate(halves(image, 3), 1):
        after = np.asarray(level.crop((0, 0, 1024 // 2**turn, 1024 // 2**turn))).astype(float)
        assert after.min() >= 19
        kept = (linear(after) - linear(np.array(20.0))).sum() * 4**turn / before
        assert 0.85 < kept < 1.1, turn


@given(st.integers(1, 20_000), st.integers(1, 20_000), st.integers(480, 20_000))
def test_no_side_is_longer_than_what_may_be_published(width: int, height: int, largest: int) -> None:
    planned = recipe.sizes(width, height, largest)
    assert all(max(p.width, p.height) <= max(largest, 1) for p in planned)
    full = planned[0]
    if max(width, height) > largest and width * height <= recipe.FULL_MAX_PIXELS:
        assert largest - max(full.width, full.height) <= 1, "as large as it may be"
    assert full.formats[0] == "jpeg"

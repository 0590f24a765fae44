"""Finished pictures as strangers have them, drawn from fields of known placement: a function for each fault.

Each takes a drawn picture (height × width, 0–255) and gives another of the same size. How such pictures come about
is common practice, without a source.
"""

from __future__ import annotations

import io
import math
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from PIL import Image
from scipy import ndimage

from tests.sky.drawn_picture import drawn
from tests.sky.simulated_sky import Field

Pixels = NDArray[np.float32]
Harm = Callable[[Generator, Field, Pixels], Any]


def hard_picture(rng: Generator, field: Field, kind: str) -> NDArray[np.uint8]:
    """The field drawn and finished in one of ``KINDS``, saved as JPEG of quality 70."""
    pixels = KINDS[kind](rng, field, drawn(rng, field).astype(np.float32))
    stream = io.BytesIO()
    Image.fromarray(np.clip(np.rint(pixels), 0, 255).astype(np.uint8)).save(stream, "JPEG", quality=70)
    return np.asarray(Image.open(stream))


def _plain(rng: Generator, field: Field, pixels: Pixels) -> Any:
    return pixels


def _trails(rng: Generator, field: Field, pixels: Pixels) -> Any:
    return np.mean([np.roll(pixels, step, axis=1) for step in range(-3, 4)], axis=0)


def _black_corners(rng: Generator, field: Field, pixels: Pixels) -> Any:
    """Two turned panels of a mosaic: black outside both, and a step in brightness where they meet."""
    down, right = np.mgrid[0 : field.height, 0 : field.width]
    inside = np.zeros(pixels.shape, dtype=bool)
    for share in (0.32, 0.68):
        turn = rng.uniform(-0.25, 0.25)
        x, y = right - share * field.width, down - field.height * rng.uniform(0.42, 0.58)
        along, across = x * math.cos(turn) + y * math.sin(turn), y * math.cos(turn) - x * math.sin(turn)
        panel = (np.abs(along) < 0.27 * field.width) & (np.abs(across) < 0.42 * field.height)
        pixels = np.where(panel & ~inside, pixels + rng.uniform(0, 20), pixels)
        inside |= panel
    return np.where(inside, pixels, 0)


def _bright_nebula(rng: Generator, field: Field, pixels: Pixels) -> Any:
    """Light and dust with structure at every size, as bright as the middling stars."""
    cloud = np.zeros(pixels.shape, dtype=np.float32)
    for octave in range(6):
        cells = 3 * 2**octave
        coarse = rng.normal(size=(cells, cells)).astype(np.float32)
        size = Image.fromarray(coarse).resize((field.width, field.height), Image.Resampling.BICUBIC)
        cloud += np.asarray(size) * 0.62**octave
    cloud = (cloud - cloud.min()) / (cloud.max() - cloud.min())
    ridges = 1.0 - np.abs(2.0 * cloud - 1.0)
    light = 190.0 * np.clip(0.6 * cloud + 0.9 * ridges**6 - 0.15, 0, 1)
    return 255.0 * (1.0 - (1.0 - np.clip(pixels, 0, 255) / 255.0) * (1.0 - light / 255.0))


def _reduced_stars(rng: Generator, field: Field, pixels: Pixels) -> Any:
    return 0.25 * pixels + 0.75 * ndimage.grey_erosion(pixels, size=(3, 3))


def _coma(rng: Generator, field: Field, pixels: Pixels) -> Any:
    """Tails that point outwards and grow with the square of the distance from the middle, 8 px in the corners."""
    down, right = np.mgrid[0 : field.height, 0 : field.width].astype(np.float32)
    x, y = right - (field.width - 1) / 2, down - (field.height - 1) / 2
    far = np.hypot(x, y) / (math.hypot(field.width, field.height) / 2)
    length = np.hypot(x, y) + 1e-3
    layers, weights = [], []
    for step in np.linspace(0, 8, 9):
        shift = step * far**2
        layers.append(
            ndimage.map_coordinates(pixels, [down - y / length * shift, right - x / length * shift], order=1)
        )
        weights.append(1.0 - step / 10)
    return np.average(layers, axis=0, weights=weights)


def _noise_reduction(rng: Generator, field: Field, pixels: Pixels) -> Any:
    """Smoothed where it is dark, so that the faint stars are eaten and the bright ones stand in oil."""
    smooth = ndimage.gaussian_filter(ndimage.median_filter(pixels, 5), 1.5)
    kept = np.clip((ndimage.gaussian_filter(pixels, 1.0) - smooth - 12) / 25, 0, 1)
    return kept * pixels + (1 - kept) * smooth


def _spikes(rng: Generator, field: Field, pixels: Pixels) -> Any:
    """Spikes and halos at the fortieth part of the stars that are brightest."""
    light = np.zeros_like(pixels)
    turn = rng.uniform(0, math.pi / 2)
    bright = np.argsort(field.mag)[: max(len(field.mag) // 40, 4)][:60]
    for star in bright:
        length = min(20.0 * 10 ** (-0.2 * (field.mag[star] - field.mag[bright].max())), 0.2 * field.width)
        reach = int(2 * length)
        column, row = round(field.x[star]), round(field.y[star])
        top, left = max(row - reach, 0), max(column - reach, 0)
        box = light[top : row + reach, left : column + reach]
        down, right = np.mgrid[top : top + box.shape[0], left : left + box.shape[1]].astype(np.float32)
        x, y = right - field.x[star], down - field.y[star]
        along, across = x * math.cos(turn) + y * math.sin(turn), y * math.cos(turn) - x * math.sin(turn)
        for a, b in ((along, across), (across, along)):
            box += 200 * np.exp(-((b / 0.9) ** 2) / 2 - np.abs(a) / (length / 2))
        box += 70 * np.exp(-(x**2 + y**2) / (2 * (length / 4) ** 2))
    return pixels + light


def _comet(rng: Generator, field: Field, pixels: Pixels) -> Any:
    """A coma and a tail across a third of the picture, over stars that are left a little long."""
    down, right = np.mgrid[0 : field.height, 0 : field.width].astype(np.float32)
    turn = rng.uniform(0, 2 * math.pi)
    x = right - field.width * rng.uniform(0.35, 0.65)
    y = down - field.height * rng.uniform(0.35, 0.65)
    along, across = x * math.cos(turn) + y * math.sin(turn), y * math.cos(turn) - x * math.sin(turn)
    reach = 0.03 * field.width
    coma = 230 / (1 + (x**2 + y**2) / reach**2)
    wide = 0.5 * reach + 0.18 * np.maximum(along, 0)
    tail = np.where(along > 0, 120 * np.exp(-along / (0.3 * field.width) - (across / wide) ** 2), 0)
    long = np.mean([np.roll(pixels, step, axis=0) for step in (-1, 0, 1)], axis=0)
    return np.maximum(long, 0.5 * long + coma + tail)


KINDS: dict[str, Harm] = {
    "nothing": _plain,
    "trails": _trails,
    "coma": _coma,
    "black corners": _black_corners,
    "bright nebula": _bright_nebula,
    "reduced stars": _reduced_stars,
    "noise reduction": _noise_reduction,
    "spikes and halos": _spikes,
    "comet": _comet,
}
"""What went wrong, by name."""

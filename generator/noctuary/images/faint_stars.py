"""The faint stars of a picture, measured against the noise of its sky, whatever stretch the picture had.

Near the sky's own level every smooth stretch is a straight line: a faint star and the noise beside it are drawn
higher by the same factor, and their ratio is what it was. So everything here is a ratio to the noise, of stars that
stand only a little above it.

The light of a star is that of the Gaussian which fits its pixels best, with a background of its own: the sum of the
pixels under weights that add up to nothing. The noise is the scatter of the same sum in places without stars, so
that noise which a reduction or a JPEG has smoothed counts as what it does to a star.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.random import default_rng
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

FOUND_FROM = 6.0
"""A star counts as found from so many times the noise."""
_MOST_STARS = 20_000
_MESH_PX = 32
_CELLS = 4  # the noise is taken in so many parts of the picture along each side
_EMPTY_PLACES = 4_000
_WIDTHS_PX = np.geomspace(1.2, 11.0, 60)  # FWHM
_REACH = 14
_FAINT_PEAK, _STACKED = 5.0, 150
_SIGMA = 1.0 / math.sqrt(8.0 * math.log(2.0))


@dataclass(frozen=True)
class FaintStars:
    """Stars of a picture, brightest first, and its noise.

    ``above`` is the picture with its background taken off; ``x`` and ``y`` are pixels from the centre of the top left
    one; ``signal`` is the light over the noise; ``fwhm_px`` the width of faint stars.
    """

    above: NDArray[np.float32]
    x: Floats
    y: Floats
    signal: Floats
    fwhm_px: float
    noise: Floats

    def signal_at(self, x: Floats, y: Floats) -> Floats:
        """The light over the noise at any places; ``nan`` too near the edge."""
        return fitted_light(self.above, x, y, self.fwhm_px) / self.noise_at(x, y)

    def noise_at(self, x: Floats, y: Floats) -> Floats:
        """The noise of the part of the picture in which each place lies."""
        height, width = self.above.shape
        return np.asarray(self.noise[_cell(y, height), _cell(x, width)])

    def light_at(self, x: Floats, y: Floats) -> Floats:
        """The light over the usual noise of the whole picture, which no border between its parts makes uneven."""
        return fitted_light(self.above, x, y, self.fwhm_px) / float(np.median(self.noise))


def faint_stars(luminance: NDArray[Any], grain: float = 0.0) -> FaintStars | None:
    """The stars of one channel, shape (height, width), in any units; ``None`` where there are none to measure.

    ``grain`` is the height below which the file holds no shapes, in the picture's units: a JPEG's. Values that are no
    number are left out. A picture of less than 64 pixels a side gives ``None``.
    """
    import sep

    data = np.array(luminance, dtype=np.float32, order="C")
    if data.ndim != 2 or min(data.shape) < 64:
        return None
    bad = ~np.isfinite(data)
    data[bad] = np.float32(np.median(data[~bad])) if not bad.all() else np.float32(0)
    background = sep.Background(data, mask=bad, bw=_MESH_PX, bh=_MESH_PX, fw=3, fh=3)
    background.subfrom(data)
    rms = background.rms()
    if float(np.median(rms)) <= 0:
        return None
    rms = np.maximum(rms, np.float32(0.2 * float(np.median(rms))))
    spots = _extracted(data, rms, bad)
    if len(spots) < 5:
        return None
    fwhm = _width_px(data, np.maximum(rms, np.float32(grain)), spots)
    if fwhm is None:
        return None
    x, y = spots["x"].astype(np.float64), spots["y"].astype(np.float64)
    noise = _noise(data, fwhm, x, y, bad)
    if noise is None:
        return None
    stars = FaintStars(data, x, y, np.empty(0), fwhm, noise)
    signal = stars.signal_at(x, y)
    good = np.flatnonzero(np.isfinite(signal) & (signal >= FOUND_FROM))
    good = good[np.argsort(-signal[good], kind="stable")][:_MOST_STARS]
    return FaintStars(data, x[good], y[good], signal[good], fwhm, noise)


def fitted_light(above: NDArray[np.float32], x: Floats, y: Floats, fwhm_px: float) -> Floats:
    """Heights of Gaussians of one width fitted at places, each with its own background; ``nan`` at the edge."""
    height, width = above.shape
    reach = math.ceil(1.8 * fwhm_px) + 1
    column, row = np.rint(x).astype(np.intp), np.rint(y).astype(np.intp)
    inside = (column >= reach) & (row >= reach) & (column < width - reach) & (row < height - reach)
    light = np.full(len(x), np.nan)
    steps = np.arange(-reach, reach + 1)
    for part in np.array_split(np.flatnonzero(inside), max(1, int(inside.sum()) // 2000)):
        if not len(part):
            continue
        stamps = above[row[part, None, None] + steps[:, None], column[part, None, None] + steps[None, :]]
        weights = _gaussians(x[part] - column[part], y[part] - row[part], steps, fwhm_px)
        light[part] = (stamps * weights).sum(axis=(1, 2)) / (weights**2).sum(axis=(1, 2))
    return light


def _gaussians(dx: Floats, dy: Floats, steps: NDArray[np.intp], fwhm_px: float) -> Floats:
    """Weights (n, k, k) that add up to nothing: within a circle a Gaussian less its mean, outside zero."""
    right, down = steps[None, None, :] - dx[:, None, None], steps[None, :, None] - dy[:, None, None]
    square = right**2 + down**2
    round_it = square <= (1.8 * fwhm_px) ** 2
    height = np.exp(-square / (2.0 * (fwhm_px * _SIGMA) ** 2)) * round_it
    mean = height.sum(axis=(1, 2)) / round_it.sum(axis=(1, 2))
    return np.asarray((height - mean[:, None, None]) * round_it)


def _extracted(data: NDArray[np.float32], rms: NDArray[np.float32], bad: Flags) -> Any:
    """Spots above three times the noise, wide scraps left out."""
    import sep

    sep.set_extract_pixstack(4_000_000)
    threshold = 2.5
    while True:
        try:
            spots = sep.extract(data, threshold, err=rms, mask=bad, minarea=3, deblend_nthresh=32)
            break
        except Exception as error:  # sep has no exception class of its own
            if threshold > 100 or not ("buffer" in str(error) or "overflow" in str(error)):
                raise
            threshold *= 1.5
    spots = spots[(spots["flux"] > 0) & np.isfinite(spots["a"]) & (spots["b"] > 0)]
    if not len(spots):
        return spots
    usual = float(np.median(spots["a"]))
    return spots[(spots["a"] < 3.0 * usual + 1.0) & (spots["a"] < 3.0 * spots["b"])]


def _width_px(data: NDArray[np.float32], noise: NDArray[np.float32], spots: Any) -> float | None:
    """FWHM of faint stars: that of the mean of their pixels, in two groups by height, drawn out to no height.

    A stretch widens a star the more the higher it is. Neighbours, which lie on all sides of many stars, come out of
    the mean as a level of its own.
    """
    height, width = data.shape
    x, y = spots["x"].astype(np.float64), spots["y"].astype(np.float64)
    column, row = np.rint(x).astype(np.intp), np.rint(y).astype(np.intp)
    inside = (column >= _REACH) & (row >= _REACH) & (column < width - _REACH) & (row < height - _REACH)
    high = spots["peak"] / noise[np.clip(row, 0, height - 1), np.clip(column, 0, width - 1)]
    usable = np.flatnonzero(inside & (high > _FAINT_PEAK))
    usable = usable[np.argsort(high[usable], kind="stable")][: 2 * _STACKED]
    if len(usable) < 10:
        return None
    widths, heights = [], []
    for group in np.array_split(usable, 2):
        profile = _mean_profile(data, x[group], y[group], high[group])
        fitted = None if profile is None else _fitted_width(*profile)
        if fitted is None:
            return None
        widths.append(fitted)
        heights.append(float(np.median(high[group])))
    slope = (widths[1] - widths[0]) / max(heights[1] - heights[0], 1.0)
    return float(np.clip(widths[0] - slope * heights[0], 0.75 * widths[0], widths[0]))


def _mean_profile(
    data: NDArray[np.float32], x: Floats, y: Floats, high: NDArray[Any]
) -> tuple[Floats, Floats, Floats] | None:
    """Radius (px), median light and number of pixels in rings around stars that all count alike."""
    column, row = np.rint(x).astype(np.intp), np.rint(y).astype(np.intp)
    steps = np.arange(-_REACH, _REACH + 1)
    stamps = data[row[:, None, None] + steps[:, None], column[:, None, None] + steps[None, :]]
    light = (stamps / high[:, None, None]).ravel().astype(np.float64)
    dx, dy = x - column, y - row
    square = (steps[None, None, :] - dx[:, None, None]) ** 2 + (steps[None, :, None] - dy[:, None, None]) ** 2
    edges = np.concatenate([np.arange(0.0, 6.0, 0.5), np.arange(6.0, _REACH + 0.5, 1.0)])
    number = np.digitize(np.sqrt(square).ravel(), edges) - 1
    rings = [which for ring in range(len(edges) - 1) if len(which := np.flatnonzero(number == ring)) >= 8]
    if len(rings) < 5:
        return None
    radius = np.array([math.sqrt(float(square.ravel()[which].mean())) for which in rings])
    middle = np.array([float(np.median(light[which])) for which in rings])
    return radius, middle, np.array([float(len(which)) for which in rings])


def _fitted_width(radius: Floats, light: Floats, counts: Floats) -> float | None:
    """FWHM of the Moffat profile on a level that fits best, looked for among ``_WIDTHS_PX`` and a few exponents."""
    best: tuple[float, float] | None = None
    for fwhm in _WIDTHS_PX:
        within = radius <= max(2.0 * fwhm, 3.0)
        weight = np.sqrt(counts[within])
        for power in (2.5, 4.0, 50.0):
            shape = (1.0 + (2.0 ** (1.0 / power) - 1.0) * 4.0 * radius[within] ** 2 / fwhm**2) ** -power
            line = np.stack([shape, np.ones_like(shape)], axis=1)
            height, level = np.linalg.lstsq(line * weight[:, None], light[within] * weight, rcond=None)[0]
            if height <= 0:
                continue
            rest = float(((light[within] - height * shape - level) ** 2 * counts[within]).sum())
            rest /= height**2 * counts[within].sum()
            if best is None or rest < best[0]:
                best = rest, float(fwhm)
    return None if best is None else best[1]


def _noise(data: NDArray[np.float32], fwhm_px: float, x: Floats, y: Floats, bad: Flags) -> Floats | None:
    """The scatter of fitted light where no star is, in each part of the picture; ``None`` where it is nothing."""
    height, width = data.shape
    rng = default_rng(5)
    across, down = rng.uniform(0, width - 1, _EMPTY_PLACES), rng.uniform(0, height - 1, _EMPTY_PLACES)
    taken = np.zeros(data.shape, dtype=bool)
    reach = math.ceil(2.0 * fwhm_px)
    for right in range(-reach, reach + 1):
        for below in range(-reach, reach + 1):
            if right**2 + below**2 <= reach**2:
                taken[
                    np.clip(np.rint(y).astype(int) + below, 0, height - 1),
                    np.clip(np.rint(x).astype(int) + right, 0, width - 1),
                ] = True
    taken |= bad
    free = ~taken[np.rint(down).astype(int), np.rint(across).astype(int)]
    across, down = across[free], down[free]
    light = fitted_light(data, across, down, fwhm_px)
    whole = np.isfinite(light)
    everywhere = _scatter(light[whole])
    if whole.sum() < 100 or everywhere <= 0:
        return None
    noise = np.full((_CELLS, _CELLS), everywhere)
    for line in range(_CELLS):
        for place in range(_CELLS):
            here = whole & (_cell(down, height) == line) & (_cell(across, width) == place)
            if here.sum() >= 60:
                noise[line, place] = max(_scatter(light[here]), 0.2 * everywhere)
    return noise


def _scatter(values: Floats) -> float:
    """Standard deviation from the median distance to the median, which stars that nobody found hardly lift."""
    if not len(values):
        return 0.0
    middle = np.median(values)
    return float(1.4826 * np.median(np.abs(values - middle)))


def _cell(pixels: Floats, side: int) -> NDArray[np.intp]:
    return np.asarray(np.clip(np.floor(pixels * _CELLS / side), 0, _CELLS - 1), dtype=np.intp)

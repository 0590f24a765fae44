"""Stars in a picture: where they are, how bright, and which of them are no stars at all.

The detection is ``sep``'s, chosen against two others: ``photutils`` does the same in Python and needs many times
as long for a picture of 20 megapixels, and ``scipy.ndimage`` offers labels and filters but neither a background
that follows nebulosity, nor deblending, nor windowed centroids, all of which would be ours to write. ``sep`` is one
compiled module that needs NumPy alone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

MESH_PX = 64
"""Side of the squares over which the background is taken: wider than a star, narrower than most nebulosity."""
_SMALLEST_AREA_PX = 4
_POINT_PX = 1.3  # standard deviation of what is looked for among nebulosity
_FILTER_REACH = 4.0  # standard deviations
_STRIP_ROWS = 256
_PIXEL_STACKS = 100_000, 500_000, 4_000_000  # pixels above the threshold that there is room for, the most at last


@dataclass(frozen=True, slots=True)
class Stars:
    """Stars in order of falling flux; arrays of one length.

    ``x`` and ``y`` are pixels from the centre of the top-left pixel = (0, 0), x right, y down; ``flux`` and ``peak``
    are above the background in the picture's own units; ``spread`` is the standard deviation along the longer axis
    in pixels; ``saturated`` marks stars whose middle is flat.
    """

    x: Floats
    y: Floats
    flux: Floats
    peak: Floats
    spread: Floats
    saturated: Flags

    def __len__(self) -> int:
        return len(self.x)

    def brightest(self, number: int) -> Stars:
        """The first ``number`` of them."""
        return self.only(slice(0, number))

    def only(self, which: Any) -> Stars:
        """Those that an index or a mask picks."""
        return Stars(
            self.x[which],
            self.y[which],
            self.flux[which],
            self.peak[which],
            self.spread[which],
            self.saturated[which],
        )


@dataclass(frozen=True, slots=True)
class Sky:
    """A picture with its background taken off, and the noise left in it."""

    above: NDArray[np.float32]
    noise: float
    highest: float
    bad: Flags | None


def without_background(luminance: NDArray[Any], *, in_place: bool = False) -> Sky:
    """Take the background off a picture of one channel, in any units, of at least 16 × 16 pixels.

    ``in_place`` takes it off the array itself where that is of 32-bit floats, row by row, and saves a copy. Values
    that are no number are bad pixels. The noise has a floor of a thousandth of the picture's range, so that
    a finished picture with its sky cut to black does not turn every rounding step into a star.
    """
    import sep

    data = _floats(luminance, in_place)
    if data.ndim != 2 or min(data.shape) < 16:
        raise ValueError("stars are looked for in one channel of at least 16 × 16 pixels")
    finite = np.isfinite(data)
    bad: Flags | None = None
    if not finite.all():
        bad = np.ascontiguousarray(~finite)
        data[bad] = np.float32(np.median(data[finite])) if finite.any() else np.float32(0)
    highest, lowest = float(data.max()), float(data.min())
    mesh = max(16, min(MESH_PX, min(data.shape) // 4))
    background = sep.Background(data, mask=bad, bw=mesh, bh=mesh, fw=3, fh=3)
    top = highest - float(background.globalback)
    background.subfrom(data)
    noise = max(float(background.globalrms), 1e-3 * (highest - lowest))
    return Sky(data, noise, top, bad)


def detect(luminance: NDArray[Any], *, sigmas: float = 5.0, sky: Sky | None = None) -> Stars:
    """The stars of a picture of one channel, shape (height, width), in any units, brightest first.

    ``sigmas`` is how far above the noise a star rises. Hot pixels and cosmic rays (a middle with nothing round it),
    scraps of a bright star's halo or spikes, and patches of nebulosity much wider than the stars are left out.
    A picture without stars gives none; one smaller than 16 × 16 pixels is a :class:`ValueError`.
    """
    return starlike(detect_spots(luminance, sigmas=sigmas, sky=sky))


def starlike(spots: Stars) -> Stars:
    """Of the spots of a picture those that are surely stars: about as wide as each other, and no scraps of one."""
    if not len(spots):
        return spots
    stars = spots.only(_as_wide_as_each_other(spots))
    return stars.only(~_scraps(stars))


def detect_spots(
    luminance: NDArray[Any], *, sigmas: float = 5.0, sky: Sky | None = None, in_place: bool = False
) -> Stars:
    """Whatever stands out of the background but for hot pixels: stars, however much their light spread, and patches.

    Stars with spikes and halos are among them, which :func:`detect` may take for patches. Input and order as there;
    ``in_place`` as for :func:`without_background`.
    """
    sky = sky if sky is not None else without_background(luminance, in_place=in_place)
    if sky.noise <= 0:
        return _none()
    found = _extracted(sky.above, sigmas, sky.noise, mask=sky.bad, minarea=_SMALLEST_AREA_PX)
    found = found[(found["flux"] > 0) & (found["peak"] > 0) & np.isfinite(found["a"]) & (found["a"] > 0)]
    found = found[~_lonely_pixels(sky.above, found)]
    if not len(found):
        return _none()
    order = np.argsort(-found["flux"], kind="stable")
    found = found[order]
    saturated = _flat_tops(sky, found)
    spread = found["a"].astype(np.float64)
    x, y = _centroids(sky, found, spread)
    return Stars(x, y, found["flux"].astype(np.float64), found["peak"].astype(np.float64), spread, saturated)


def detect_small(luminance: NDArray[Any], *, sigmas: float = 3.0, in_place: bool = False) -> Stars:
    """Stars that :func:`detect` passes over: of a pixel or two, in bright nebulosity, or faint beside strong noise.

    The background follows structure of 16 pixels and the noise is taken from each place by itself. Many of what is
    found are no stars, which a search for a pattern can bear and a measurement cannot. Input and order as there;
    ``in_place`` as for :func:`without_background`.
    """
    import sep

    data = _floats(luminance, in_place)
    finite = np.isfinite(data)
    if not finite.any():
        return _none()
    data[~finite] = np.float32(np.median(data[finite]))
    top = float(data.max())
    background = sep.Background(data, bw=16, bh=16, fw=3, fh=3)
    floor = max(0.003 * (top - float(data.min())), 0.3 * float(background.globalrms))
    if floor <= 0:
        return _none()
    noise = background.rms()
    np.maximum(noise, np.float32(floor), out=noise)
    background.subfrom(data)
    spots = _extracted(data, sigmas, noise, minarea=2, filter_kernel=None)
    spots = spots[(spots["flux"] > 0) & np.isfinite(spots["a"])]
    if not len(spots):
        return _none()
    spots = spots[spots["a"] < 4.0 * np.median(spots["a"]) + 1.0]
    spots = spots[np.argsort(-spots["flux"], kind="stable")]
    x, y, flux, peak, spread = (spots[name].astype(np.float64) for name in ("x", "y", "flux", "peak", "a"))
    return Stars(x, y, flux, peak, spread, np.asarray(peak > 0.97 * top))


def detect_points(luminance: NDArray[Any], *, sigmas: float = 5.0, in_place: bool = False) -> Stars:
    """Stars among bright structured nebulosity: round points that stand out of what is twice as wide as they are.

    What is taken off is the picture itself smoothed, so that ridges and knots go with it; the noise is that of each
    place. Stars of 2–4 px come out best. Input and order as for :func:`detect`, the brightest being the highest here;
    ``in_place`` as for :func:`without_background`.
    """
    import sep

    data = _floats(luminance, in_place)
    finite = np.isfinite(data)
    if not finite.any():
        return _none()
    data[~finite] = np.float32(np.median(data[finite]))
    top = float(data.max())
    _raise_points(data)
    background = sep.Background(data, bw=24, bh=24, fw=3, fh=3)
    if background.globalrms <= 0:
        return _none()
    noise = background.rms()
    np.maximum(noise, np.float32(0.3 * background.globalrms), out=noise)
    spots = _extracted(data, sigmas, noise, minarea=2, filter_kernel=None)
    spots = spots[(spots["peak"] > 0) & np.isfinite(spots["a"]) & (spots["a"] < 1.7 * spots["b"])]
    if not len(spots):
        return _none()
    spots = spots[spots["a"] < 2.5 * np.median(spots["b"])]
    spots = spots[np.argsort(-spots["peak"], kind="stable")]
    x, y, flux, peak, spread = (spots[name].astype(np.float64) for name in ("x", "y", "peak", "peak", "a"))
    return Stars(x, y, flux, peak, spread, np.asarray(peak > 0.97 * top))


def _floats(luminance: NDArray[Any], in_place: bool) -> NDArray[np.float32]:
    if in_place:
        return np.ascontiguousarray(luminance, dtype=np.float32)
    return np.array(luminance, dtype=np.float32, order="C")


def _raise_points(data: NDArray[np.float32]) -> None:
    """Put the picture smoothed less the picture smoothed twice as widely in its own place, strip by strip."""
    from scipy.ndimage import gaussian_filter

    height, width = data.shape
    reach = math.ceil(_FILTER_REACH * 2.0 * _POINT_PX)
    before = np.empty((0, width), dtype=np.float32)
    for top in range(0, height, _STRIP_ROWS):
        below = min(top + _STRIP_ROWS, height)
        rows = np.concatenate([before, data[top : min(below + reach, height)]])
        raised = gaussian_filter(rows, _POINT_PX, truncate=_FILTER_REACH)
        raised -= gaussian_filter(rows, 2.0 * _POINT_PX, truncate=_FILTER_REACH)
        data[top:below] = raised[len(before) : len(before) + below - top]
        before = rows[: len(before) + below - top][-reach:].copy()


def _extracted(data: NDArray[np.float32], sigmas: float, noise: Any, **options: Any) -> Any:
    """Spots above so many times the noise, or above more where they would be too many: the bright ones matter."""
    import sep

    stacks = list(_PIXEL_STACKS)
    while True:
        sep.set_extract_pixstack(stacks[0])
        try:
            return sep.extract(data, sigmas, err=noise, deblend_nthresh=16, **options)
        except Exception as error:  # sep has no exception class of its own
            if sigmas > 500 or not ("buffer" in str(error) or "overflow" in str(error)):
                raise
            if len(stacks) > 1:
                del stacks[0]
            else:
                sigmas *= 1.5


def _none() -> Stars:
    empty = np.empty(0)
    return Stars(empty, empty, empty, empty, empty, np.empty(0, dtype=bool))


def _lonely_pixels(above: NDArray[np.float32], found: Any) -> Flags:
    """Whether the eight pixels round the highest one hold less than half of what it holds.

    A star of 1 px full width at half maximum, narrower than any lens draws, has 0.73 of its middle pixel's light in
    the ring when it is on that pixel's centre, and more when it does not.
    """
    height, width = above.shape
    column = np.clip(found["xpeak"], 1, width - 2)
    row = np.clip(found["ypeak"], 1, height - 2)
    block = np.zeros(len(found))
    for down in (-1, 0, 1):
        for right in (-1, 0, 1):
            block += above[row + down, column + right]
    middle = above[found["ypeak"], found["xpeak"]].astype(np.float64)
    return np.asarray(block - middle < 0.5 * middle)


def _flat_tops(sky: Sky, found: Any) -> Flags:
    """Whether a star's middle is as bright as the picture can be and flat: the light there is cut off."""
    height, width = sky.above.shape
    column = np.clip(found["xpeak"], 1, width - 2)
    row = np.clip(found["ypeak"], 1, height - 2)
    near_top = np.zeros(len(found))
    for down in (-1, 0, 1):
        for right in (-1, 0, 1):
            near_top += sky.above[row + down, column + right] > 0.97 * found["peak"]
    return np.asarray((near_top >= 4) & (found["peak"] > 0.5 * sky.highest))


def _centroids(sky: Sky, found: Any, spread: Floats) -> tuple[Floats, Floats]:
    """Windowed centroids, the window as wide as the star, so that a flat middle is balanced by its rim."""
    import sep

    x, y = found["x"].astype(np.float64), found["y"].astype(np.float64)
    new_x, new_y, _ = sep.winpos(sky.above, x, y, np.clip(spread, 0.7, 30.0), mask=sky.bad)
    moved = np.hypot(new_x - x, new_y - y)
    good = np.isfinite(moved) & (moved < np.maximum(1.0, spread))
    return np.where(good, new_x, x), np.where(good, new_y, y)


def _as_wide_as_each_other(stars: Stars) -> Flags:
    """Stars are all about as wide as each other; a patch of nebulosity is not, and only a cut-off star may be."""
    firm = stars.flux >= np.median(stars.flux)
    usual = float(np.median(stars.spread[firm]))
    # Light over peak is the area; a bright star grows a little through its wings, a patch a lot.
    return np.asarray(stars.saturated | (stars.spread < 3.0 * usual + 1.0))


def _scraps(stars: Stars) -> Flags:
    """Faint detections inside the reach of a wide bright star: pieces of its halo or its spikes."""
    scrap = np.zeros(len(stars), dtype=bool)
    usual = float(np.median(stars.spread)) if len(stars) else 0.0
    wide = np.flatnonzero(stars.saturated | (stars.spread > 2.0 * usual))[:300]
    for index in wide:
        if scrap[index]:
            continue
        near = np.hypot(stars.x - stars.x[index], stars.y - stars.y[index]) < 4.0 * stars.spread[index]
        scrap |= near & (stars.flux < 0.1 * stars.flux[index])
    return scrap

"""The lines drawn over a placed picture: a grid of right ascension and declination, an arrow, a bar of scale.

All in the picture's pixels (see ``placement``): y runs down, the outer edges are −0.5 and W − 0.5 or H − 0.5.
Right at the poles, across 0h and on mirrored pictures, because every line is traced on the sky and brought to
pixels, never drawn from angles at the picture's middle.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from noctuary.geometry import lons_lats_deg, unit_vector
from noctuary.sky.placement import Placement

Floats = NDArray[np.float64]
Edge = Literal["left", "right", "top", "bottom"]

_ARCSEC, _ARCMIN = 1 / 3600, 1 / 60
_DEC_STEPS_DEG = (
    *(n * _ARCSEC for n in (1, 2, 5, 10, 20, 30)), *(n * _ARCMIN for n in (1, 2, 5, 10, 20, 30)),
    1.0, 2.0, 5.0, 10.0, 15.0, 30.0,
)  # fmt: skip
_RA_STEPS_DEG = (
    *(n / 240 for n in (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 30)), *(n / 4 for n in (1, 2, 5, 10, 20, 30)),
    15.0, 30.0, 45.0, 60.0,
)  # fmt: skip
_BAR_ARCMIN = (0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 20, 30, 60, 120, 300, 600, 1200, 1800, 3600)
_SAMPLES = 181


@dataclass(frozen=True, slots=True)
class EdgeMark:
    """Where a grid line meets an edge of the picture, and there a label belongs."""

    x: float
    y: float
    edge: Edge


@dataclass(frozen=True, slots=True)
class GridLine:
    """A line of one right ascension or declination, clipped to the frame: one or more runs of (x, y)."""

    kind: Literal["ra", "dec"]
    value_deg: float
    runs: tuple[tuple[tuple[float, float], ...], ...]
    marks: tuple[EdgeMark, ...]


@dataclass(frozen=True, slots=True)
class Graticule:
    """The grid, and its steps, from which a label knows how many digits it needs."""

    lines: tuple[GridLine, ...]
    ra_step_deg: float
    dec_step_deg: float


def graticule(placement: Placement, about: int = 5) -> Graticule:
    """Lines of RA and Dec at round steps (of time and of arc), about so many of each across the picture.

    Empty where the picture's middle is outside its projection.
    """
    ra0, _ = placement.centre
    if not math.isfinite(ra0):
        return Graticule((), _RA_STEPS_DEG[-1], _DEC_STEPS_DEG[-1])
    right, bottom = placement.width_px - 0.5, placement.height_px - 0.5
    x, y = np.meshgrid(np.linspace(-0.5, right, 65), np.linspace(-0.5, bottom, 65))
    ra, dec = placement.sky(x.ravel(), y.ravel())
    visible = np.isfinite(ra) & np.isfinite(dec)
    turn = (ra[visible] - ra0 + 180) % 360 - 180
    low, high = float(dec[visible].min()), float(dec[visible].max())
    west, east = float(turn.min()), float(turn.max())
    poles = [pole for pole in (-90.0, 90.0) if bool(placement.contains(*placement.pixel(0.0, pole)))]
    if poles:
        west, east = -180.0, 180.0
        low, high = (-90.0 if -90.0 in poles else low), (90.0 if 90.0 in poles else high)
    # A pole inside puts every circle of declination twice along a side of the picture.
    dec_step = _step(_DEC_STEPS_DEG, (high - low) * (2 if poles else 1), about)
    ra_step = 30.0 if poles else _step(_RA_STEPS_DEG, east - west, about)
    margin_dec, margin_ra = (high - low) * 0.02, (east - west) * 0.02
    bottom_dec, top_dec = max(low - margin_dec, -90.0), min(high + margin_dec, 90.0)
    west, east = max(west - margin_ra, -180.0), min(east + margin_ra, 180.0)

    lines = []
    first, last = math.ceil((ra0 + west) / ra_step - 1e-9), math.floor((ra0 + east) / ra_step + 1e-9)
    around = round(360 / ra_step)
    for k in sorted({k % around for k in range(first, last + 1)}):
        lines.append(_line(placement, "ra", k * ra_step, np.full(_SAMPLES, k * ra_step),
                           np.linspace(bottom_dec, top_dec, _SAMPLES)))  # fmt: skip
    samples = _SAMPLES * 2 if poles else _SAMPLES
    for k in range(math.ceil(bottom_dec / dec_step - 1e-9), math.floor(top_dec / dec_step + 1e-9) + 1):
        if abs(k * dec_step) < 90 - 1e-9:
            lines.append(_line(placement, "dec", k * dec_step, (ra0 + np.linspace(west, east, samples)) % 360,
                               np.full(samples, k * dec_step)))  # fmt: skip
    return Graticule(tuple(line for line in lines if line.runs), ra_step, dec_step)


def north_east(placement: Placement) -> tuple[tuple[float, float], tuple[float, float]]:
    """Directions of north and of east at the picture's middle, as unit vectors (dx, dy) of pixels, y down."""
    ra, dec = placement.centre
    x, y = placement.middle_px
    # A step of half a pixel on the sky, along the meridian's tangent and across it, also where dec is ±90°.
    step = math.radians(placement.image_scale_arcsec_px / 3600) / 2
    a, d = math.radians(ra), math.radians(dec)
    middle = np.array(unit_vector(ra, dec))
    north = np.array([-math.sin(d) * math.cos(a), -math.sin(d) * math.sin(a), math.cos(d)])
    east = np.array([-math.sin(a), math.cos(a), 0.0])
    arrows = []
    for direction in (north, east):
        ends = np.stack([middle - step * direction, middle + step * direction])
        px, py = placement.pixel(*lons_lats_deg(ends))
        dx, dy = float(px[1] - px[0]), float(py[1] - py[0])
        size = math.hypot(dx, dy)
        if not size > 0:
            raise ValueError(f"the sky around pixel {x}, {y} cannot be brought to pixels")
        arrows.append((dx / size, dy / size))
    return arrows[0], arrows[1]


def scale_bar(placement: Placement) -> tuple[float, float]:
    """A round number of arcminutes whose length at the middle is nearest a fifth of the width, and its pixels."""
    per_px = placement.image_scale_arcsec_px / 60
    wanted = placement.width_px / 5 * per_px
    arcmin = float(min(_BAR_ARCMIN, key=lambda a: abs(math.log(a / wanted))))
    return arcmin, arcmin / per_px


def _step(steps: tuple[float, ...], span: float, about: int) -> float:
    return min(steps, key=lambda s: abs(math.log(max(span, 1e-9) / about / s)))


def _line(placement: Placement, kind: Literal["ra", "dec"], value: float, ra: Floats, dec: Floats) -> GridLine:
    x, y = placement.pixel(ra, dec)
    right, bottom = placement.width_px - 0.5, placement.height_px - 0.5
    jump = math.hypot(right + 0.5, bottom + 0.5) / 4  # the seam of a map of the whole sky, not a line
    runs: list[list[tuple[float, float]]] = []
    marks: list[EdgeMark] = []
    open_run = False
    for x0, y0, x1, y1 in zip(x[:-1].tolist(), y[:-1].tolist(), x[1:].tolist(), y[1:].tolist(), strict=True):
        clipped = None if math.hypot(x1 - x0, y1 - y0) > jump else _clip(x0, y0, x1, y1, right, bottom)
        if clipped is None:
            open_run = False
            continue
        (t0, t1), dx, dy = clipped, x1 - x0, y1 - y0
        begin, end = (x0 + t0 * dx, y0 + t0 * dy), (x0 + t1 * dx, y0 + t1 * dy)
        if t0 > 0:
            marks.append(_mark(*begin, right, bottom))
        if not open_run:
            runs.append([begin])
        runs[-1].append(end)
        if t1 < 1:
            marks.append(_mark(*end, right, bottom))
        open_run = t1 == 1
    return GridLine(kind, value, tuple(tuple(run) for run in runs), tuple(marks))


def _clip(x0: float, y0: float, x1: float, y1: float, right: float, bottom: float) -> tuple[float, float] | None:
    """The part of a segment inside the frame, as shares of its length (Liang & Barsky 1984); None if none is."""
    if not all(map(math.isfinite, (x0, y0, x1, y1))):
        return None
    t0, t1 = 0.0, 1.0
    for step, room in (
        (x0 - x1, x0 + 0.5), (x1 - x0, right - x0), (y0 - y1, y0 + 0.5), (y1 - y0, bottom - y0)
    ):  # fmt: skip
        if step == 0:
            if room < 0:
                return None
        elif step < 0:
            t0 = max(t0, room / step)
        else:
            t1 = min(t1, room / step)
    return (t0, t1) if t0 < t1 else None


def _mark(x: float, y: float, right: float, bottom: float) -> EdgeMark:
    away: dict[Edge, float] = {"left": x + 0.5, "right": right - x, "top": y + 0.5, "bottom": bottom - y}
    return EdgeMark(x, y, min(away, key=lambda e: abs(away[e])))

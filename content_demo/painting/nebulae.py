"""The nebulae of the demo, drawn by rule at their true places."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from painting.layers import Layers, dark
from painting.noise import Floats, fbm, gauss, smooth, warped


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

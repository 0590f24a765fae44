"""The galaxies and the globular cluster of the demo, drawn by rule at their true places."""

from __future__ import annotations

import math

import numpy as np
from painting.layers import Layers, dark
from painting.noise import Floats, fbm, gauss, smooth, warped


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

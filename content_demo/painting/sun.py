"""The solar picture: the disc through a front filter."""

from __future__ import annotations

import numpy as np
from painting.noise import fbm, gauss, perlin, smooth, warped
from PIL import Image
from scipy import ndimage

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

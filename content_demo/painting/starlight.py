"""Stars through optics: the point-spread function, and all stars of a picture."""

from __future__ import annotations

import math

import numpy as np
from painting.capture import REFERENCE_SCALE
from painting.looks import Look
from painting.noise import Floats
from painting.plane import Frame
from painting.stars import Stars, colour_of
from scipy import fft

ZERO_MAGNITUDE = 15.0


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

"""From light to a picture: what filters pass, and the tone curve."""

from __future__ import annotations

import math

import numpy as np
from painting.layers import Layers
from painting.looks import Look
from painting.noise import Floats, smooth

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

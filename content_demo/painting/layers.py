"""A piece of sky as layers: light by kind, and the dust in front of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from painting.noise import Floats


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

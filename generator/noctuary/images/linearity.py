"""Whether the values of a picture are proportional to the light, judged by its own stars.

Through the same air and optics a bright star and a faint one have one width, as long as values are proportional to
light. A stretch lifts the faint skirts of a bright star more than its top, so bright stars come out wider than faint
ones: the growth of width with brightness is the stretch. Widths measured on a stretched picture say how it was
stretched, and nothing of focus or air.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

LINEAR_BELOW = 0.08
"""Growth of width for ten times the height, as a share, up to which a picture is taken to be linear.

Simulated linear frames stay within 0.03; the square root of the light or a gamma of 2.2 gives 0.2 and more, the usual
stretches by an inverse hyperbolic sine 0.4 to 1.7. A stretch so mild that it stays below leaves widths right to a few
percent.
"""
_FEWEST = 20
_LEAST_RANGE_DEX = 0.4
_WORST_ERROR = 0.04
_CUT_FROM = 0.2


@dataclass(frozen=True, slots=True)
class Linearity:
    """``linear``: yes, no, or ``None`` where it cannot be known; ``reason``: how that is known, half a sentence.

    ``growth`` is that of ln(width) for ten times the height, 0 where it was not measured.
    """

    linear: bool | None
    reason: str
    growth: float = 0.0


def linearity_of(
    widths: Floats, heights: Floats, x: Floats, y: Floats, values: NDArray[Any], *, eight_bits: bool
) -> Linearity:
    """Judge a picture by its stars: their widths (px), heights above the sky (any unit) and places.

    ``values`` are the picture's own; ``eight_bits`` says that its file has no more, which is a picture for a screen.
    """
    growth, error = _growth(widths, heights, x, y)
    if eight_bits:
        return Linearity(False, "a file of 8 bits holds a picture made for the screen", growth)
    finite = values[np.isfinite(values)]
    if finite.size and float(np.mean(finite <= finite.min())) > _CUT_FROM:
        return Linearity(False, "its sky is cut off to black", growth)
    if growth - 3.0 * error > LINEAR_BELOW:
        return Linearity(
            False, f"bright stars are wider than faint ones, {growth:.0%} for ten times the height", growth
        )
    if growth + 3.0 * error < -LINEAR_BELOW:
        return Linearity(False, "bright stars are narrower than faint ones, as processing leaves them", growth)
    spread = float(np.ptp(np.percentile(np.log10(heights), [5, 95]))) if len(heights) else 0.0
    if len(widths) < _FEWEST or spread < _LEAST_RANGE_DEX or error > _WORST_ERROR or abs(growth) > LINEAR_BELOW:
        return Linearity(None, "there are too few stars of different brightness to see whether it is stretched")
    return Linearity(True, "bright and faint stars have the same width")


def _growth(widths: Floats, heights: Floats, x: Floats, y: Floats) -> tuple[float, float]:
    """Growth of ln(width) for ten times the height, strays left out, and its standard error.

    What the optics add over the field is a surface of the second degree beside it.
    """
    if len(widths) < _FEWEST:
        return 0.0, math.inf
    wide, high = np.log(widths), np.log10(heights)
    high -= high.mean()
    across, down = (place / max(float(np.abs(place).max()), 1.0) for place in (x, y))
    terms = np.stack([high, np.ones_like(high), across, down, across**2, across * down, down**2], axis=1)
    kept = np.ones(len(wide), dtype=bool)
    for _ in range(5):
        found = np.linalg.lstsq(terms[kept], wide[kept], rcond=None)[0]
        left = wide - terms @ found
        scatter = 1.4826 * float(np.median(np.abs(left[kept])))
        kept = np.abs(left) <= 3.5 * max(scatter, 1e-6)
    spread = float(high[kept].std())
    if spread == 0.0:
        return 0.0, math.inf
    return float(found[0]), float(left[kept].std()) / (spread * math.sqrt(kept.sum()))

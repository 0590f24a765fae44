"""What nine zones of star shapes say together: one pattern, what it means, and what to look at first.

Which shape points to which cause is common practice among imagers, without a source; a pattern narrows the search and
proves nothing, so every cause is named as the first to suspect.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from noctuary.images.star_zone import Zone

Complex = NDArray[np.complex128]

Pattern = Literal[
    "round", "same direction everywhere", "radial in the corners", "along arcs", "one side", "wider to the corners",
    "wider in the middle", "wide all round", "mixed", "too few stars",
]  # fmt: skip

MEANINGS: dict[Pattern, tuple[str, str]] = {
    "round": (
        "The stars are round from corner to corner.",
        "Nothing to do: go on as you are.",
    ),
    "same direction everywhere": (
        "The stars are long in one direction all over the picture: most likely the picture moved during the "
        "exposure; the optics rarely do this.",
        "Check tracking and guiding (polar alignment, balance, periodic error), wind and cables, and switch off the "
        "stabiliser of a lens or camera. A shorter exposure that is rounder confirms it.",
    ),
    "radial in the corners": (
        "The stars are long along lines from the middle, more so towards the corners: coma or another error of the "
        "optics, or a corrector at the wrong distance.",
        "Stop a lens down by a stop, or check the distance between corrector and sensor. It is the same at every "
        "exposure time.",
    ),
    "along arcs": (
        "The stars are long along arcs round one point, more so the farther from it: the field most likely turned "
        "during the exposures.",
        "Improve the polar alignment; on a mount that does not follow the turning sky, use a derotator or shorter "
        "exposures. If a short exposure shows the same arcs, round the middle of the picture, suspect the distance "
        "between corrector and sensor.",
    ),
    "one side": (
        "The stars are worse on one side than on the other: most likely the sensor, the focuser or an adapter is "
        "tilted.",
        "Tighten the adapters, then turn the camera by 180°: if the bad side turns with it, the tilt is in the "
        "camera.",
    ),
    "wider to the corners": (
        "The stars are round and grow wider towards all corners alike: the field is curved, or a flattener is at "
        "the wrong distance.",
        "Check the distance between flattener and sensor; without a flattener focus on a star a third of the way "
        "out, or stop the lens down.",
    ),
    "wider in the middle": (
        "The stars are round and wider in the middle than in the corners: the field is curved, and the focus suits "
        "the corners.",
        "Focus on a star a third of the way out from the middle, and check the distance between flattener and "
        "sensor.",
    ),
    "wide all round": (
        "The stars are round but wide everywhere: the focus is off, or the air was restless.",
        "Focus again on a bright star, let the optics cool, and look for dew; if it stays, it is the seeing.",
    ),
    "mixed": (
        "The stars are not round, and their shapes follow no single pattern.",
        "Two causes may add up: put the focus and the tracking right first, then measure again.",
    ),
    "too few stars": (
        "There are too few clean stars to say anything about shapes.",
        "Measure a longer exposure, or a frame with more stars in it.",
    ),
}
"""For each pattern what it means, and what to do about it."""

ROUND_BELOW = 0.085
"""Ellipticity (a² − b²)/(a² + b²) below which a zone counts as round: 1.09 in elongation, hardly seen by eye."""
TILT_FROM = 0.16
"""Growth of width from one side to the other, as a share of the usual, from which it is a tilt."""
BOWL_FROM = 0.14
"""Growth of width from the middle zone to the corner zones, as a share of the usual, from which it is reported."""
WIDE_FROM_PX = 4.5
WIDE_FROM_ARCSEC = 5.0
"""Stars are wide from here on: in pixels, and in arcseconds too where the scale is known (common practice)."""
FEWEST_ZONES = 6
"""So many zones must be measured for a pattern."""

_EXPLAINED = 0.6  # share of the zones' elongation that a single cause must account for
_CENTRE_REACH = 1.6  # how far from the middle a centre is looked for; 1 is the centre of a corner zone
_CENTRE_STEPS = 33
_OFF_CENTRE = 0.7


@dataclass(frozen=True, slots=True)
class Finding:
    """A pattern, and for stars along arcs the point they turn about: shares of width and height from the top left."""

    pattern: Pattern
    centre: tuple[float, float] | None = None


def pattern_of(
    zones: Sequence[Zone], width: int, height: int, scale_arcsec: float | None, *, linear: bool
) -> Finding:
    """What nine zones say together; widths as such are judged only where the picture is ``linear``.

    On a stretched picture, where nebulosity changes the width of a star, their growth must be greater by a fifth.

    Widths are taken along the shorter axis, which a moving picture leaves alone, and compared with a plane and a
    bowl: the plane's slope is what one side has over the other. Elongations are compared with three causes: the same
    everywhere; growing with the square of the distance from a point and pointing at it; the same across. A turn by
    the angle t draws a star at the distance r into an arc of the length t·r, which adds (t·r)²/12 to the second
    moment along it, whence the square.
    """
    known = [zone for zone in zones if zone.width_px is not None]
    if len(known) < FEWEST_ZONES:
        return Finding("too few stars")
    wide = np.array([zone.width_px for zone in known], dtype=np.float64)
    long = np.array([zone.elongation for zone in known], dtype=np.float64)
    direction = np.array([zone.direction_deg for zone in known], dtype=np.float64)
    diagonal = math.hypot(width, height)
    spots = [(zone.column - 1) * width + 1j * (zone.row - 1) * height for zone in known]
    at: Complex = np.array(spots, dtype=np.complex128) / diagonal
    shorter = wide / np.sqrt(long)
    usual = float(np.median(shorter))
    slope, bowl = _growth(shorter / usual, at, width / diagonal, height / diagonal)
    sure = 1.0 if linear else 1.2
    if slope > sure * TILT_FROM and slope >= abs(bowl):
        return Finding("one side")
    ellipticity = (long**2 - 1.0) / (long**2 + 1.0)
    if ellipticity.max() > ROUND_BELOW:
        # Half the difference of the squared axes; the ellipticity but for the growth of the width. y runs down.
        turned: Complex = np.exp(-2j * np.radians(direction).astype(np.complex128))
        moments = 0.5 * (long - 1.0 / long) * (wide / usual) ** 2 * turned
        found = _elongated(moments, at)
        if found is not None:
            if found.centre is None:
                return found
            x, y = found.centre
            return Finding(found.pattern, (0.5 + x * diagonal / (3 * width), 0.5 + y * diagonal / (3 * height)))
        plane = np.stack([np.ones_like(shorter), at.real, at.imag], axis=1)
        steep = np.linalg.lstsq(plane, ellipticity, rcond=None)[0]
        if 2.0 * math.hypot(steep[1] * width, steep[2] * height) / diagonal > 1.5 * ROUND_BELOW:
            return Finding("one side")
        if ellipticity.max() > 2.0 * ROUND_BELOW:
            return Finding("mixed")
    if abs(bowl) > sure * BOWL_FROM:
        return Finding("wider to the corners" if bowl > 0 else "wider in the middle")
    middle = float(np.median(wide))
    if linear and middle > WIDE_FROM_PX and (scale_arcsec is None or middle * scale_arcsec > WIDE_FROM_ARCSEC):
        return Finding("wide all round")
    return Finding("round")


def _growth(relative: NDArray[Any], at: Complex, half_width: float, half_height: float) -> tuple[float, float]:
    """Growth of relative widths from side to side, and from the middle to the corner zones."""
    surface = np.stack([np.ones_like(relative), at.real, at.imag, np.abs(at) ** 2], axis=1)
    _, right, down, bowl = np.linalg.lstsq(surface, relative, rcond=None)[0]
    return 2.0 * math.hypot(right * half_width, down * half_height), float(bowl)


def _elongated(moments: Complex, at: Complex) -> Finding | None:
    """The single cause that accounts for the elongations, its centre in the units of ``at``; ``None`` without one."""
    power = float(np.mean(np.abs(moments) ** 2))
    same = moments.mean()
    left_same = float(np.mean(np.abs(moments - same) ** 2))
    strength, centre, left_round = _about_a_point(moments, at)
    count = 2 * len(moments)
    if left_round / (count - 3) < left_same / (count - 2):
        if left_round < (1.0 - _EXPLAINED) * power and abs(strength) * np.max(np.abs(at - centre) ** 2) > ROUND_BELOW:
            if strength > 0:
                # Optics draw round their own middle; where that is far from the picture's, something is tilted.
                return Finding("radial in the corners" if abs(centre) < _OFF_CENTRE else "one side")
            return Finding("along arcs", (centre.real, centre.imag))
    elif left_same < (1.0 - _EXPLAINED) * power and abs(same) > ROUND_BELOW:
        return Finding("same direction everywhere")
    return None


def _about_a_point(moments: Complex, at: Complex) -> tuple[float, complex, float]:
    """The best moments = strength · (at − centre)²: strength (radial above 0), centre, mean square left."""
    steps = np.linspace(-_CENTRE_REACH, _CENTRE_REACH, _CENTRE_STEPS)
    centres = (steps[:, None] + 1j * steps[None, :]).ravel()
    for _ in range(3):
        square = (at[None, :] - centres[:, None]) ** 2
        strength = (moments[None, :] * square.conj()).real.sum(axis=1) / (np.abs(square) ** 2).sum(axis=1)
        left = np.mean(np.abs(moments[None, :] - strength[:, None] * square) ** 2, axis=1)
        best = int(np.argmin(left))
        found = float(strength[best]), complex(centres[best]), float(left[best])
        steps = steps / 6.0
        centres = (found[1] + steps[:, None] + 1j * steps[None, :]).ravel()
    return found

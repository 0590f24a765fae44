"""Which darks, flats and bias frames belong to a session's lights.

Darks fit lights of the same camera, exposure, gain or ISO, binning and temperature (common practice); flats
those of the same camera, filter and binning; bias frames those of the same camera, gain or ISO and binning.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from noctuary.archive.gather.frame_header import FrameHeader, filter_key

_EXPOSURE_TOLERANCE = 0.02
_TEMPERATURE_TOLERANCE_C = 2.0


@dataclass(frozen=True, slots=True)
class CalibrationFrame:
    """A calibration frame, the names of its camera, and the evening it belongs to, where that is known."""

    header: FrameHeader
    cameras: frozenset[str]
    night: date | None


@dataclass(frozen=True, slots=True)
class Lights:
    """What a session's lights of one kind have in common, for matching."""

    cameras: frozenset[str]
    exposure_s: float | None
    filter: str | None
    gain: float | None
    iso: float | None
    binning: int
    temperature_c: float | None


@dataclass(frozen=True, slots=True)
class Matched:
    """The calibration of a session as a sidecar writes it, and what did not fit, in words."""

    darks: int = 0
    dark_exposure_s: float | None = None
    flats: int = 0
    bias: int = 0
    dark_flats: int = 0
    unfitting: tuple[str, ...] = ()

    @property
    def any(self) -> bool:
        return bool(self.darks or self.flats or self.bias or self.dark_flats)


def matched(night: date, lights: Sequence[Lights], frames: Sequence[CalibrationFrame]) -> Matched:
    """The calibration frames that fit a session's lights, which come with the longest integration first."""
    own = [f for f in frames if any(f.cameras & light.cameras for light in lights)]
    all_darks = [f for f in own if f.header.kind == "dark"]
    darks: list[CalibrationFrame] = []
    dark_exposure: float | None = None
    for light in lights:
        fitting = [f for f in all_darks if dark_trouble(light, f.header) is None]
        if fitting:
            darks, dark_exposure = _of_the_night(night, fitting), light.exposure_s
            break
    flats = _of_the_night(night, [f for f in own if f.header.kind == "flat" and _flat_fits(lights, f.header)])
    bias = [f for f in own if f.header.kind == "bias" and any(_same_amplifier(li, f.header) for li in lights)]
    dark_flats = [
        f
        for f in own
        if f.header.kind == "dark flat" and any(_close_exposure(flat.header.exposure_s, f.header) for flat in flats)
    ]
    unfitting = () if darks else _troubles(lights, _of_the_night(night, all_darks))
    return Matched(
        len(darks), dark_exposure if darks else None, len(flats), len(_of_the_night(night, bias)),
        len(_of_the_night(night, dark_flats)), unfitting,
    )  # fmt: skip


def dark_trouble(light: Lights, dark: FrameHeader) -> str | None:
    """Why a dark does not fit these lights; ``None`` when it does. What is not known does not count."""
    if not _close_exposure(light.exposure_s, dark):
        return f"exposed {_number(dark.exposure_s)} s, the lights {_number(light.exposure_s)} s"
    if _differ(light.gain, dark.gain):
        return f"taken at gain {_number(dark.gain)}, the lights at {_number(light.gain)}"
    if _differ(light.iso, dark.iso):
        return f"taken at ISO {_number(dark.iso)}, the lights at {_number(light.iso)}"
    if light.binning != dark.binning:
        return f"binned {dark.binning}×, the lights {light.binning}×"
    warm = dark.set_temperature_c if dark.set_temperature_c is not None else dark.sensor_temperature_c
    if (
        warm is not None
        and light.temperature_c is not None
        and abs(warm - light.temperature_c) > _TEMPERATURE_TOLERANCE_C
    ):
        return f"at {warm:.0f} °C, the lights at {light.temperature_c:.0f} °C"
    return None


def _troubles(lights: Sequence[Lights], darks: Sequence[CalibrationFrame]) -> tuple[str, ...]:
    if not lights or not darks:
        return ()
    troubles = Counter(t for f in darks if (t := dark_trouble(lights[0], f.header)))
    return tuple(f"{count} darks are {trouble}" for trouble, count in sorted(troubles.items()))


def _of_the_night(night: date, frames: Sequence[CalibrationFrame]) -> list[CalibrationFrame]:
    """Those of the session's own evening; where there are none, those of the nearest evening."""
    nights = {f.night for f in frames if f.night is not None}
    if not nights:
        return list(frames)
    # Flats at noon after the night already count to the evening that follows: the later of two as near.
    nearest = min(nights, key=lambda n: (abs(n - night), night - n))
    return [f for f in frames if f.night in (nearest, None)]


def _flat_fits(lights: Sequence[Lights], flat: FrameHeader) -> bool:
    return any(
        light.binning == flat.binning
        and (light.filter is None or flat.filter is None or filter_key(light.filter) == filter_key(flat.filter))
        for light in lights
    )


def _same_amplifier(light: Lights, frame: FrameHeader) -> bool:
    return (
        light.binning == frame.binning and not _differ(light.gain, frame.gain) and not _differ(light.iso, frame.iso)
    )


def _close_exposure(exposure_s: float | None, frame: FrameHeader) -> bool:
    return (
        exposure_s is not None
        and frame.exposure_s is not None
        and math.isclose(exposure_s, frame.exposure_s, rel_tol=_EXPOSURE_TOLERANCE, abs_tol=1e-4)
    )


def _differ(one: float | None, other: float | None) -> bool:
    return one is not None and other is not None and not math.isclose(one, other, rel_tol=1e-3)


def _number(value: float | None) -> str:
    return "?" if value is None else f"{value:.6g}"

"""Lights, darks, flats and bias of an unsorted card, recognised by exposure, brightness, temperature and hour.

A bias frame has the shortest exposure that a camera knows; a flat is short and evenly bright; a dark is as black as a
bias and as long as the lights that it is for (common practice). Where a preview can be looked at, its brightness
decides; where it cannot, exposure and hour do, and what they leave open is asked once for a whole run.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta

from noctuary.archive.gather.frame_header import FrameHeader, FrameKind

SHORTEST_LIGHT_S = 2.0
LONGEST_BIAS_S = 1 / 500
_SURELY_BIAS_S = 1 / 2000
BLACK = 0.035
"""Brightness, of 1, below which a preview is black: a camera's noise, and not the sky of any site in a minute."""
_BRIGHT = 0.12
_EVEN = 0.35
_SAME = 0.02
_BETWEEN_RUNS = timedelta(minutes=2)
_DAY_H = (8.5, 16.5)
_WARMER_C = 4.0
_MOST_LOOKS = 60  # runs of one camera; a bracket has a run in every frame
_SHORT_BY_NATURE = {"sun", "moon", "mercury", "venus", "mars", "jupiter", "saturn", "uranus", "neptune"}
"""Targets whose lights are as short as flats."""


@dataclass(frozen=True, slots=True)
class Brightness:
    """Of a preview, from 0 to 1: its median, and by how much of it parts of the picture differ from each other."""

    median: float
    unevenness: float
    stars: bool = False


Look = Callable[[FrameHeader], Brightness | None]
"""How bright the preview of a frame is; ``None`` where it has none that is quickly had."""


def told_apart(headers: Sequence[FrameHeader], look: Look | None = None) -> list[FrameHeader]:
    """The headers, those without a kind with one where it can be found; ``None`` stays where it cannot."""
    kinds: dict[int, FrameKind] = {}
    cameras: dict[object, list[int]] = {}
    for index, header in enumerate(headers):
        short = (header.target or "").casefold().removeprefix("the ") in _SHORT_BY_NATURE
        if header.kind is None and header.exposure_s is not None and not header.combined and not short:
            cameras.setdefault(header.camera, []).append(index)
    for members in cameras.values():
        runs = _runs(headers, members)
        lit = _light_settings(headers, runs)
        for number, run in enumerate(runs):
            frame = headers[run[len(run) // 2]]
            brightness = look(frame) if look is not None and number < _MOST_LOOKS else None
            kind = _by_brightness(frame, brightness) if brightness is not None else None
            kind = kind or _by_exposure(headers, run, runs, lit)
            if kind is not None:
                kinds |= dict.fromkeys(run, kind)
    return [replace(h, kind=kinds[i], kind_from="exposure") if i in kinds else h for i, h in enumerate(headers)]


def _runs(headers: Sequence[FrameHeader], members: Iterable[int]) -> list[list[int]]:
    """Frames of one camera, exposure and ISO that follow each other."""

    def moment(index: int) -> float:
        start = headers[index].start
        return start.timestamp() if start is not None else math.inf

    runs: list[list[int]] = []
    for index in sorted(members, key=lambda i: (moment(i), headers[i].path)):
        header = headers[index]
        if runs:
            before = headers[runs[-1][-1]]
            pause = moment(index) - moment(runs[-1][-1]) - (before.exposure_s or 0.0)
            if _alike(before, header) and (math.isnan(pause) or pause <= _BETWEEN_RUNS.total_seconds()):
                runs[-1].append(index)
                continue
        runs.append([index])
    return runs


def _alike(one: FrameHeader, other: FrameHeader) -> bool:
    return (
        one.iso == other.iso
        and one.gain == other.gain
        and math.isclose(one.exposure_s or 0.0, other.exposure_s or 0.0, rel_tol=_SAME)
    )


def _by_brightness(frame: FrameHeader, brightness: Brightness) -> FrameKind | None:
    exposure = frame.exposure_s or 0.0
    if brightness.median <= BLACK and not brightness.stars:
        return "bias" if exposure <= LONGEST_BIAS_S else "dark" if exposure >= SHORTEST_LIGHT_S else None
    if brightness.median >= _BRIGHT and brightness.unevenness <= _EVEN and not brightness.stars and exposure < 15:
        return "flat"
    return "light" if exposure >= SHORTEST_LIGHT_S else None


def _light_settings(headers: Sequence[FrameHeader], runs: Sequence[Sequence[int]]) -> dict[tuple[object, ...], int]:
    """Exposure and ISO of what may be lights → the first run of them."""
    first: dict[tuple[object, ...], int] = {}
    for number, run in enumerate(runs):
        frame = headers[run[0]]
        if (frame.exposure_s or 0.0) >= SHORTEST_LIGHT_S and not _by_day(frame):
            first.setdefault((f"{frame.exposure_s:.2g}", frame.iso, frame.gain), number)
    return first


def _by_exposure(
    headers: Sequence[FrameHeader], run: Sequence[int], runs: Sequence[Sequence[int]],
    lit: dict[tuple[object, ...], int],
) -> FrameKind | None:  # fmt: skip
    frame = headers[run[0]]
    exposure = frame.exposure_s or 0.0
    if exposure >= SHORTEST_LIGHT_S:
        if _by_day(frame):
            return "dark"
        number = runs.index(run)
        first = lit.get((f"{frame.exposure_s:.2g}", frame.iso, frame.gain), number)
        is_last = not any((headers[r[0]].exposure_s or 0.0) >= SHORTEST_LIGHT_S for r in runs[number + 1 :])
        # The last run of a night may be its darks, or one more target, unless folder or header name what it shows.
        is_last = is_last and frame.target is None
        return None if is_last and number > first and _may_be_darks(headers, runs[first], run) else "light"
    shorter = [headers[r[0]].exposure_s or 0.0 for r in runs if (headers[r[0]].exposure_s or 0.0) < SHORTEST_LIGHT_S]
    if exposure <= _SURELY_BIAS_S or (exposure <= LONGEST_BIAS_S and max(shorter) >= 4 * exposure):
        return "bias"
    return "flat" if exposure < SHORTEST_LIGHT_S and len(run) > 1 else None


def _may_be_darks(headers: Sequence[FrameHeader], lights: Sequence[int], run: Sequence[int]) -> bool:
    """Whether the temperature leaves it open: a cooled sensor keeps it, and one without a cooler seldom tells."""
    one, other = headers[lights[0]].sensor_temperature_c, headers[run[0]].sensor_temperature_c
    return one is None or other is None or abs(one - other) <= _WARMER_C


def _by_day(frame: FrameHeader) -> bool:
    """Whether a camera's own clock showed the middle of the day, when no light of the night sky is taken."""
    start = frame.start
    if start is None or start.utcoffset() == timedelta(0) or (start.tzinfo is not None and frame.is_fits):
        return False
    return _DAY_H[0] <= start.hour + start.minute / 60 <= _DAY_H[1]

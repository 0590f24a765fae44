"""Where the target may have changed, for lights whose headers name none.

Where headers say where the telescope pointed, that alone decides: a slew to another field is another target, and
coming back is the first one again. Where they do not, a change is proposed at a pause, and where another exposure
or ISO begins for good. Every run of lights between two changes is a target of its own until it gets a name.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import combinations, pairwise
from statistics import median

from noctuary.archive.gather.frame_header import filter_key
from noctuary.archive.gather.shots import Shot, in_time, night_of
from noctuary.archive.gather.target_names import Target, TargetNames
from noctuary.geometry import separation_deg

SHORTEST_PAUSE_S = 300.0
_PAUSES_TO_CADENCE = 5.0
_FEWEST_OF_A_RUN = 3
_FIELD_UNKNOWN_DEG = 1.0
_ANOTHER_FIELD = 0.6  # of the shorter side: what dithering and a flip of the mount do not do
_ANOTHER_PANEL = 0.3
_FARTHEST_PANEL = 4.0
_MOST_PANELS = 64
_REMEMBERED = 200  # fields that a night may come back to
_LEAST_OF_A_PANEL = 0.2  # of the frames of another: less is a target that was missed at first

FieldSide = Callable[[Shot], float | None]
"""The shorter side of a shot's field in degrees, where it is known."""


@dataclass(frozen=True, slots=True)
class Change:
    """A proposed change of target: the night, the first shot of the new one, and what speaks for it."""

    night: date
    first: Shot
    reason: str


def named_runs(shots: Sequence[Shot], names: TargetNames, side: FieldSide) -> tuple[list[Shot], list[Change]]:
    """The shots with a target each, and the changes that had to be guessed."""
    done: list[Shot] = []
    changes: list[Change] = []
    rigs: dict[tuple[object, ...], list[Shot]] = {}
    for shot in in_time(shots):
        rigs.setdefault(shot.rig_key, []).append(shot)
    for members in rigs.values():
        fields: list[tuple[tuple[float, float], Target]] = []
        for run, reason in _runs(members, side):
            if run[0].target.key:
                done += run
                continue
            target = _target_of(run, fields, names, side)
            done += [replace(shot, target=target) for shot in run]
            if reason:
                changes.append(Change(run[0].night, run[0], reason))
    return in_time(done), changes


def _runs(shots: Sequence[Shot], side: FieldSide) -> Iterator[tuple[list[Shot], str | None]]:
    """Stretches of one target, known or not, and what made an unknown one begin after another unknown one."""
    gaps = [max(0.0, (b.start - a.end).total_seconds()) for a, b in pairwise(shots)]
    longest = max(SHORTEST_PAUSE_S, _PAUSES_TO_CADENCE * median(gaps)) if gaps else SHORTEST_PAUSE_S
    settings = _lasting_settings(shots, longest)
    run: list[Shot] = []
    begun_by: str | None = None
    for index, shot in enumerate(shots):
        if run:
            before = run[-1]
            if shot.target.key != before.target.key or (shot.target.key and shot.target != before.target):
                reason: str | None = ""
            elif shot.target.key:
                reason = None
            else:
                reason = _change(before, shot, longest, settings[index - 1], settings[index], side)
            if reason is not None:
                yield run, begun_by
                run, begun_by = [], reason or None
        run.append(shot)
    if run:
        yield run, begun_by


def _change(
    before: Shot, shot: Shot, longest_s: float, was: object, now: object, side: FieldSide
) -> str | None:
    if before.header.pointing is not None and shot.header.pointing is not None:
        moved = separation_deg(*before.header.pointing, *shot.header.pointing)
        limit = _ANOTHER_FIELD * (side(shot) or _FIELD_UNKNOWN_DEG)
        return f"a slew of {moved:.2g}°" if moved > limit else None
    pause_s = shot.start.timestamp() - before.end.timestamp()
    if shot.night != before.night:
        return "another night"
    if pause_s > longest_s:
        return f"a pause of {round(pause_s / 60)} min"
    if was != now and was is not None and now is not None:
        return f"{_setting(shot)} after {_setting(before)}"
    return None


def _setting(shot: Shot) -> str:
    header = shot.header
    parts = [f"{header.exposure_s:.4g} s" if header.exposure_s is not None else "an unknown exposure"]
    return " at ISO ".join([*parts, *([f"{header.iso:g}"] if header.iso else [])])


def _lasting_settings(shots: Sequence[Shot], longest_s: float) -> list[object]:
    """For every shot the exposure and ISO of the stretch that it is in; ``None`` where they change to and fro."""
    lasting: list[object] = [None] * len(shots)
    stretch: list[int] = []

    def close() -> None:
        blocks: list[tuple[object, list[int]]] = []
        for index in stretch:
            if blocks and blocks[-1][0] == _settings(shots[index]):
                blocks[-1][1].append(index)
            else:
                blocks.append((_settings(shots[index]), [index]))
        long = [b for b in blocks if len(b[1]) >= _FEWEST_OF_A_RUN]
        filters = {f for _, members in long for i in members if (f := shots[i].header.filter)}
        if len({b[0] for b in long}) == len(long) and len({filter_key(f) for f in filters}) <= 1:
            for setting, members in long:
                for index in members:
                    lasting[index] = setting
            # A few frames between two long series are tests for the one that follows.
            following: object = long[-1][0] if long else None
            for index in reversed(stretch):
                lasting[index] = following = lasting[index] or following

    for index, shot in enumerate(shots):
        if stretch and (shot.start - shots[index - 1].end).total_seconds() > longest_s:
            close()
            stretch = []
        stretch.append(index)
    close()
    return lasting


def _settings(shot: Shot) -> object:
    exposure = shot.header.exposure_s
    return (f"{exposure:.2g}" if exposure else None, shot.header.iso)


def _target_of(
    run: Sequence[Shot], fields: list[tuple[tuple[float, float], Target]], names: TargetNames, side: FieldSide
) -> Target:
    """The target of a run without a name: by where it points, else one of its own."""
    key = run_key(run[0])
    pointing = next((s.header.pointing for s in run if s.header.pointing is not None), None)
    if pointing is None:
        return Target(None, key)
    width = side(run[0])
    for centre, target in fields[-_REMEMBERED:]:
        if separation_deg(*centre, *pointing) <= _ANOTHER_FIELD * (width or _FIELD_UNKNOWN_DEG):
            return target
    likely = names.likely(*pointing, width)
    if likely is None:
        target = Target(None, key)
    else:
        target = names.target(likely.name, f"the headers point {likely.away_arcmin:.0f}′ from it")
    fields.append((pointing, target))
    return target


def run_key(first: Shot) -> str:
    """What a run without a name is called: its night and the time that its first header shows, place or no place."""
    start = first.header.start or first.start
    return f"{night_of(start, None)}-{start:%H%M}"


def with_panels(shots: Sequence[Shot], side: FieldSide) -> list[Shot]:
    """The shots with panels of a mosaic, where one target was pointed at in several places in one night."""
    by_target: dict[tuple[object, ...], list[Shot]] = {}
    for shot in shots:
        if shot.target.key and shot.target.panel is None and shot.header.pointing is not None:
            by_target.setdefault((shot.rig_key, shot.target.key), []).append(shot)
    panels: dict[str, str] = {}
    for members in by_target.values():
        width = side(members[0]) or _FIELD_UNKNOWN_DEG
        places = _places(members, _ANOTHER_PANEL * width)
        if len(places) < 2:
            continue
        close = all(separation_deg(*places[0][0], *place) < _FARTHEST_PANEL * width for place, _ in places)
        nights = [{s.night for s in place_shots} for _, place_shots in places]
        together = any(a & b for a, b in combinations(nights, 2))
        fewest = max(_FEWEST_OF_A_RUN, _LEAST_OF_A_PANEL * max(len(m) for _, m in places))
        if close and together and all(len(m) >= fewest for _, m in places):
            for number, (_, place_shots) in enumerate(places, start=1):
                panels |= {shot.header.path: str(number) for shot in place_shots}
    return [
        replace(s, target=replace(s.target, panel=panels[s.header.path])) if s.header.path in panels else s
        for s in shots
    ]


def _places(shots: Sequence[Shot], limit_deg: float) -> list[tuple[tuple[float, float], list[Shot]]]:
    """Where they were pointed: what drifts or is dithered stays one place, as the last shot of each is compared.

    Nothing where they are too many for a mosaic.
    """
    last: list[tuple[float, float]] = []
    places: list[tuple[tuple[float, float], list[Shot]]] = []
    for shot in shots:
        pointing = shot.header.pointing
        if pointing is None:
            continue
        away = [separation_deg(*p, *pointing) for p in last]
        nearest = min(range(len(away)), key=away.__getitem__, default=-1)
        if nearest >= 0 and away[nearest] <= limit_deg and math.isfinite(away[nearest]):
            last[nearest] = pointing
            places[nearest][1].append(shot)
        elif len(places) == _MOST_PANELS:
            return []
        else:
            last.append(pointing)
            places.append((pointing, [shot]))
    return places

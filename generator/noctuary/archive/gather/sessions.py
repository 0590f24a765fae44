"""Frames → sessions: the work of one rig on one target in one evening at one place.

A pause is reported and does not end its session. When another target came in between, the same target is taken
up again in a new session, because sessions of one rig do not overlap.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from statistics import median

from noctuary.archive.gather.calibration import Lights, Matched
from noctuary.archive.gather.equipment import Kit
from noctuary.archive.gather.frame_header import FrameHeader, filter_key
from noctuary.archive.gather.shots import ClockKind, Shot, in_time
from noctuary.archive.gather.target_names import Target

LONG_PAUSE = timedelta(minutes=30)
_EXPOSURE_TOLERANCE = 0.01  # a timer's 60 s come out as 59.9 and 60.1


@dataclass(frozen=True, slots=True)
class Group:
    """Frames of one exposure, filter, gain or ISO and binning; ``kept`` is ``None`` where nobody said.

    ``proposed`` is how many may be kept, ``proposed_why`` what speaks for it. ``taken`` is ``None`` where only a
    finished stack is known. ``asked``: nothing said that these are lights. ``set_point_c`` is what the sensor was to
    keep.
    """

    exposure_s: float | None
    filter: str | None
    gain: float | None
    iso: float | None
    binning: int
    taken: int | None
    kept: int | None
    sensor_temperature_c: float | None
    set_point_c: float | None
    asked: bool
    proposed: int = 0
    proposed_why: str | None = None


@dataclass(frozen=True, slots=True)
class GatheredSession:
    """A session as the frames tell it. ``zone`` is ``None`` where no place or time zone is known.

    ``stacked``: it is known from a finished stack alone, whose header does not say when the night began and ended;
    ``integration_s`` is what that says where it does not say of how many frames.
    """

    night: date
    target: Target
    kit: Kit
    place: str | None
    zone: str | None
    start: datetime
    end: datetime
    groups: tuple[Group, ...]
    pauses: tuple[tuple[datetime, datetime], ...]
    sample: FrameHeader
    place_assumed: str | None = None
    known_places: tuple[str, ...] = ()
    calibration: Matched = field(default_factory=Matched)
    clock: ClockKind = "place"
    integration_s: float | None = None
    stacked: bool = False

    @property
    def frames(self) -> int:
        return sum(group.taken or 0 for group in self.groups)

    @property
    def rig_key(self) -> tuple[object, ...]:
        """The same for all sessions of one rig, known to the archive or not."""
        return (self.kit.rig,) if self.kit.rig is not None else (None, self.kit.camera, self.kit.focal_length_mm)

    def lights(self) -> list[Lights]:
        """Its frame groups for the matching of calibration frames, the longest integration first."""
        ordered = sorted(self.groups, key=lambda g: -(g.exposure_s or 0.0) * (g.taken or 0))
        return [
            Lights(self.kit.camera_names, g.exposure_s, g.filter, g.gain, g.iso, g.binning,
                   g.set_point_c if g.set_point_c is not None else g.sensor_temperature_c)
            for g in ordered
        ]  # fmt: skip


def grouped(shots: Iterable[Shot], zone_of: Mapping[str | None, str | None]) -> list[GatheredSession]:
    """All sessions in order of their beginnings. ``zone_of``: place → the name of its time zone."""
    known = tuple(place for place in zone_of if place is not None)
    rigs: dict[tuple[tuple[object, ...], str | None, date], list[Shot]] = {}
    for shot in in_time(shots):
        rigs.setdefault((shot.rig_key, shot.place, shot.night), []).append(shot)
    sessions = []
    for (_, place, night), run in rigs.items():
        for part in _by_target(run):
            sessions.append(_session(night, part, zone_of.get(place), known))
    return sorted(sessions, key=lambda s: (s.start.timestamp(), s.kit.camera, s.target.key))


def _by_target(run: Sequence[Shot]) -> list[list[Shot]]:
    parts: list[list[Shot]] = []
    for shot in run:
        if parts and _aim(parts[-1][0]) == _aim(shot):
            parts[-1].append(shot)
        else:
            parts.append([shot])
    return parts


def _aim(shot: Shot) -> tuple[str, str | None, str | None]:
    # Runs that were drafted apart stay sessions of their own, so that what was written of each stays true.
    return shot.target.key, shot.target.panel, shot.target.run


def _session(night: date, shots: Sequence[Shot], zone: str | None, known_places: tuple[str, ...]) -> GatheredSession:
    first = shots[0]
    pauses = []
    reached = shots[0].end
    for shot in shots[1:]:
        if shot.start - reached > LONG_PAUSE:
            pauses.append((reached, shot.start))
        reached = max(reached, shot.end)
    return GatheredSession(
        night=night,
        target=first.target,
        kit=first.kit,
        place=first.place,
        zone=zone,
        start=first.start,
        end=reached,
        groups=tuple(_groups(shots)),
        pauses=tuple(pauses),
        sample=first.header,
        place_assumed=first.place_assumed,
        known_places=known_places,
        clock=first.clock,
    )


def _groups(shots: Sequence[Shot]) -> list[Group]:
    exposures = _clusters(s.header.exposure_s for s in shots)
    kinds: dict[tuple[float | None, str | None, float | None, float | None, int, bool], list[Shot]] = {}
    for shot in shots:
        h = shot.header
        exposure = exposures.get(h.exposure_s) if h.exposure_s is not None else None
        filter_name = filter_key(h.filter) if h.filter else None
        # A camera has a gain or an ISO; where a header tells both, ISO is what its owner set.
        gain = None if h.iso is not None else h.gain
        kinds.setdefault((exposure, filter_name, gain, h.iso, h.binning, h.kind is None), []).append(shot)
    groups = []
    for (seconds, _, gain, iso, binning, asked), members in kinds.items():
        measured = [t for s in members if (t := s.header.sensor_temperature_c) is not None]
        set_points = [t for s in members if (t := s.header.set_temperature_c) is not None]
        set_point = median(set_points) if set_points else None
        temperature = median(measured) if measured else set_point
        kept = [s.kept for s in members if s.kept is not None]
        proposed, why = _proposed(members)
        groups.append(
            Group(
                exposure_s=seconds,
                filter=members[0].header.filter,
                gain=gain,
                iso=iso,
                binning=binning,
                taken=len(members),
                kept=sum(kept) if kept else None,
                proposed=proposed,
                proposed_why=why,
                sensor_temperature_c=None if temperature is None else float(round(temperature)),
                set_point_c=set_point,
                asked=asked,
            )
        )
    return groups


def _clusters(exposures: Iterable[float | None]) -> dict[float, float]:
    """Exposure as measured → the exposure meant: values within 1 % of the next count as one."""
    counts = Counter(e for e in exposures if e is not None)
    meant: dict[float, float] = {}
    cluster: list[float] = []
    for value in [*sorted(counts), math.inf]:
        if cluster and not math.isclose(value, cluster[-1], rel_tol=_EXPOSURE_TOLERANCE):
            common = max(cluster, key=lambda e: (counts[e], e == round(e)))
            whole = float(round(common))
            label = whole if common >= 2 and math.isclose(common, whole, rel_tol=_EXPOSURE_TOLERANCE) else common
            meant.update(dict.fromkeys(cluster, label))
            cluster = []
        cluster.append(value)
    return meant


def _proposed(members: Sequence[Shot]) -> tuple[int, str | None]:
    """How many of these may be in the picture, and what speaks for it."""
    taken, aside = len(members), sum(s.set_aside for s in members)
    if aside:
        return taken - aside, f"{aside} of the {taken} are among the rejects"
    processed = sum(s.processed for s in members)
    if 0 < processed < taken:
        return processed, f"{processed} of the {taken} have calibrated or registered copies"
    return taken, None

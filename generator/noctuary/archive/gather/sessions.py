"""Frames → sessions: the work of one rig on one target in one evening at one place.

A pause is told and stays inside its session. When another target came in between, the same target is taken
up again in a new session, because sessions of one rig do not overlap.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta, timezone, tzinfo
from itertools import pairwise
from statistics import median

from noctuary.archive.clock import NotAClock, moment, read_clock
from noctuary.archive.gather.calibration import Lights, Matched
from noctuary.archive.gather.equipment import Kit
from noctuary.archive.gather.frame_header import FrameHeader, filter_key

LONG_PAUSE = timedelta(minutes=30)
_SUN = {"sun", "the sun", "sol"}
_EXPOSURE_TOLERANCE = 0.01  # a timer's 60 s come out as 59.9 and 60.1


@dataclass(frozen=True, slots=True)
class Shot:
    """One light with what was found out about it. ``start`` is in the place's time zone.

    ``place_assumed`` says in words why the place was taken, where the header did not tell it.
    """

    header: FrameHeader
    kit: Kit
    place: str | None
    start: datetime
    kept: bool | None
    place_assumed: str | None = None

    @property
    def end(self) -> datetime:
        return self.start + timedelta(seconds=self.header.exposure_s or 0.0)

    @property
    def target(self) -> str:
        return folded(self.header.target or "")


@dataclass(frozen=True, slots=True)
class Group:
    """Frames of one exposure, filter, gain or ISO and binning; ``kept`` is ``None`` where nobody said.

    ``asked``: nothing said that these are lights. ``set_point_c`` is what the sensor was told to keep.
    """

    exposure_s: float | None
    filter: str | None
    gain: float | None
    iso: float | None
    binning: int
    taken: int
    kept: int | None
    sensor_temperature_c: float | None
    set_point_c: float | None
    asked: bool


@dataclass(frozen=True, slots=True)
class GatheredSession:
    """A session as the frames tell it. ``zone`` is ``None`` where no place or time zone is known."""

    night: date
    target: str | None
    target_guessed: bool
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

    @property
    def frames(self) -> int:
        return sum(group.taken for group in self.groups)

    def lights(self) -> list[Lights]:
        """Its frame groups for the matching of calibration frames, the longest integration first."""
        ordered = sorted(self.groups, key=lambda g: -(g.exposure_s or 0.0) * g.taken)
        return [
            Lights(self.kit.camera_names, g.exposure_s, g.filter, g.gain, g.iso, g.binning,
                   g.set_point_c if g.set_point_c is not None else g.sensor_temperature_c)
            for g in ordered
        ]  # fmt: skip


def folded(name: str) -> str:
    """A target's name without what spelling leaves free: ``M 42``, ``m42`` and ``Messier 42`` are one."""
    text = "".join(c for c in name.casefold() if c.isalnum())
    if text.startswith("messier") and text[7:].isdigit():
        return "m" + text[7:]
    if text.startswith("sharpless2") and text[10:].isdigit():
        return "sh2" + text[10:]
    return text


def night_of(start: datetime, target: str | None) -> date:
    """The date on which the evening began; for the Sun, which is shot by day, the date itself."""
    if target is not None and target.casefold() in _SUN:
        return start.date()
    return (start - timedelta(hours=12)).date()


def grouped(shots: Iterable[Shot], zone_of: Mapping[str | None, str | None]) -> list[GatheredSession]:
    """All sessions in order of their beginnings. ``zone_of``: place → the name of its time zone."""
    known = tuple(place for place in zone_of if place is not None)
    rigs: dict[tuple[tuple[object, ...], str | None, date], list[Shot]] = {}
    for shot in sorted(shots, key=lambda s: (s.start.timestamp(), s.header.path)):
        key = (_rig_key(shot.kit), shot.place, night_of(shot.start, shot.header.target))
        rigs.setdefault(key, []).append(shot)
    sessions = []
    for (_, place, night), run in rigs.items():
        for part in _by_target(run):
            sessions.append(_session(night, part, zone_of.get(place), known))
    return sorted(sessions, key=lambda s: (s.start.timestamp(), s.kit.camera, s.target or ""))


def _rig_key(kit: Kit) -> tuple[object, ...]:
    return (kit.rig,) if kit.rig is not None else (None, kit.camera, kit.focal_length_mm)


def _by_target(run: Sequence[Shot]) -> list[list[Shot]]:
    parts: list[list[Shot]] = []
    for shot in run:
        if parts and parts[-1][0].target == shot.target:
            parts[-1].append(shot)
        else:
            parts.append([shot])
    return parts


def _session(night: date, shots: Sequence[Shot], zone: str | None, known_places: tuple[str, ...]) -> GatheredSession:
    first = shots[0]
    names = Counter(s.header.target for s in shots)
    pauses = []
    reached = shots[0].end
    for shot in shots[1:]:
        if shot.start - reached > LONG_PAUSE:
            pauses.append((reached, shot.start))
        reached = max(reached, shot.end)
    return GatheredSession(
        night=night,
        target=names.most_common(1)[0][0],
        target_guessed=first.header.target_from == "folder",
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
        said = [s.kept for s in members if s.kept is not None]
        groups.append(
            Group(
                exposure_s=seconds,
                filter=members[0].header.filter,
                gain=gain,
                iso=iso,
                binning=binning,
                taken=len(members),
                kept=sum(said) if said else None,
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


def clock_texts(sessions: Sequence[GatheredSession]) -> list[tuple[str, str]]:
    """``start`` and ``end`` of each session as a sidecar writes them.

    To the minute, the beginning rounded down and the end up, so that the shutter was not open for longer than
    the session; to the second where sessions of one rig would overlap by the rounding. With the offset where
    a change of clocks showed the time twice, with the date where the night's rule would give another.
    """
    ends: dict[tuple[object, ...], list[tuple[float, float, int]]] = {}
    for index, session in enumerate(sessions):
        ends.setdefault(_rig_key(session.kit), []).append((session.start.timestamp(), session.end.timestamp(), index))
    exact: set[int] = set()
    for spans in ends.values():
        spans.sort()
        for (_, end, before), (start, _, after) in pairwise(spans):
            if math.ceil(end / 60) > math.floor(start / 60):
                exact |= {before, after}
    texts = []
    for index, session in enumerate(sessions):
        step = 1 if index in exact else 60
        begins = _rounded(session.start, step, up=False)
        finishes = _rounded(session.end, step, up=True)
        if finishes <= begins:
            finishes = begins + timedelta(seconds=step)
        texts.append((clock_text(begins, session), clock_text(finishes, session)))
    return texts


def _rounded(moment_of: datetime, step_s: int, *, up: bool) -> datetime:
    # By the timestamp, since arithmetic on local times ignores a change of clocks.
    seconds = moment_of.timestamp() / step_s
    whole = (math.ceil(seconds - 1e-6) if up else math.floor(seconds + 1e-6)) * step_s
    return datetime.fromtimestamp(whole, moment_of.tzinfo)


def clock_text(local: datetime, session: GatheredSession) -> str:
    """A moment as the place's clock showed it, unambiguous for the night it belongs to."""
    shown = f"{local:%H:%M:%S}" if local.second else f"{local:%H:%M}"
    day = session.night if local.hour >= 12 else session.night + timedelta(days=1)
    dated = shown if day == local.date() else f"{local:%Y-%m-%d} {shown}"
    if session.zone is None:
        return dated
    try:
        moment(read_clock(dated), session.night, session.zone)
    except NotAClock:
        offset = local.strftime("%z")
        return f"{dated}{offset[:3]}:{offset[3:5]}"
    return dated


def camera_moment(shown: datetime, zone: tzinfo) -> datetime:
    """The moment that a camera's clock means: the offset that the zone had at noon before the night.

    A camera does not change its clock in the night, whatever the place's clocks do.
    """
    noon_day = (shown - timedelta(hours=12)).date()
    offset = datetime.combine(noon_day, time(12), zone).utcoffset() or timedelta()
    return shown.replace(tzinfo=timezone(offset)).astimezone(zone)

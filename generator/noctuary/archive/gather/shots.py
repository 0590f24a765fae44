"""One light with what was found out about it, and the evening that it belongs to."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta, timezone, tzinfo
from typing import Literal

from noctuary.archive.gather.equipment import Kit
from noctuary.archive.gather.frame_header import FrameHeader
from noctuary.archive.gather.target_names import NO_TARGET, Target

ClockKind = Literal["place", "camera", "universal"]

_SUN = {"sun", "the sun", "sol"}
_BETWEEN_NIGHTS = timedelta(hours=5)


@dataclass(frozen=True, slots=True)
class Shot:
    """One light. ``start`` is in the place's time zone, or by the clock that ``clock`` names where no place is known.

    ``night`` is the date on which its evening began. ``place_assumed`` says in words why the place was taken, where
    the header did not tell it. ``kept`` is what lists of survivors and rejects say, ``None`` where they say nothing;
    ``set_aside``: it is among rejects; ``processed``: a calibrated or registered copy of it exists.
    """

    header: FrameHeader
    kit: Kit
    place: str | None
    start: datetime
    clock: ClockKind = "place"
    target: Target = NO_TARGET
    night: date = date.min
    kept: bool | None = None
    set_aside: bool = False
    processed: bool = False
    place_assumed: str | None = None

    @property
    def end(self) -> datetime:
        return self.start + timedelta(seconds=self.header.exposure_s or 0.0)

    @property
    def rig_key(self) -> tuple[object, ...]:
        """The same for all frames of one rig, known to the archive or not."""
        kit = self.kit
        return (kit.rig,) if kit.rig is not None else (None, kit.camera, kit.focal_length_mm)


def in_time(shots: Iterable[Shot]) -> list[Shot]:
    return sorted(shots, key=lambda s: (s.start.timestamp(), s.header.path))


def night_of(start: datetime, target: str | None) -> date:
    """The date on which the evening began; for the Sun, which is shot by day, the date itself."""
    if target is not None and target.casefold() in _SUN:
        return start.date()
    return (start - timedelta(hours=12)).date()


def with_nights(shots: Sequence[Shot]) -> list[Shot]:
    """The shots in order of time, each with its night.

    Where no clock of the place is known, the longitude of the header's site tells the night; without one, frames
    that follow each other within five hours are of one night, whatever universal time says at midnight.
    """
    dated: list[Shot] = []
    reached: dict[tuple[object, ...], tuple[datetime, date]] = {}
    for shot in in_time(shots):
        name, site = shot.target.name or shot.header.target, shot.header.site
        if shot.clock != "universal":
            night = night_of(shot.start, name)
        elif site is not None:
            night = night_of(shot.start + timedelta(hours=site[1] / 15), name)
        else:
            night = night_of(shot.start, name)
            before = reached.get(shot.rig_key)
            if before is not None and shot.start - before[0] < _BETWEEN_NIGHTS:
                night = before[1]
            reached[shot.rig_key] = shot.end, night
        dated.append(replace(shot, night=night))
    return dated


def camera_moment(shown: datetime, zone: tzinfo) -> datetime:
    """The moment that a camera's clock means: the offset that the zone had at noon before the night.

    A camera does not change its clock in the night, whatever the place's clocks do.
    """
    noon_day = (shown - timedelta(hours=12)).date()
    offset = datetime.combine(noon_day, time(12), zone).utcoffset() or timedelta()
    return shown.replace(tzinfo=timezone(offset)).astimezone(zone)

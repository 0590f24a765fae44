"""What all sessions of a picture have in common, to be said once, and what is left to tell of each."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

from noctuary.archive.records import Calibration
from noctuary.pages.session_rows import Entry, columns_of
from noctuary.plain_record import plain_record

Value = TypeVar("Value")


@plain_record
class CommonFacts:
    """What is the same in every session that there is, ``None`` where it is not, or is not known of all.

    ``gain``, ``iso`` and ``sensor_temperature_c`` hold for every frame that is recorded. The others are of the
    sessions, and of a single one nothing is in common: ``dark`` and ``moon_down`` say that all of them were in
    astronomical darkness, and without the Moon.
    """

    place: str | None
    rig: str | None
    filter: str | None
    gain: float | None
    iso: float | None
    sensor_temperature_c: float | None
    calibration: Calibration | None
    dark: bool
    moon_down: bool


def common_facts(entries: Sequence[Entry]) -> CommonFacts:
    groups = [line.group for e in entries for line in e.frames]
    several = entries if len(entries) > 1 else ()
    return CommonFacts(
        place=_same([e.place for e in entries]),
        rig=_same([e.rig for e in entries]),
        filter=_same([g.filter for g in groups]),
        gain=_same([g.gain for g in groups]),
        iso=_same([g.iso for g in groups]),
        sensor_temperature_c=_same([g.sensor_temperature_c for g in groups]),
        calibration=_same([e.calibration for e in several]),
        dark=_same([e.darkness for e in several]) == "dark",
        moon_down=_same([e.moon_course for e in several]) == "down",
    )


def varying_columns(entries: Sequence[Entry], common: CommonFacts) -> tuple[str, ...]:
    """The columns of the table of sessions that say something and do not say the same in every row."""
    same = {
        "place": common.place is not None,
        "rig": common.rig is not None,
        "filter": common.filter is not None,
        "gain": common.gain is not None or common.iso is not None,
        "temperature": common.sensor_temperature_c is not None,
    }
    return tuple(name for name in columns_of(entries) if not same.get(name))


def _same(values: Sequence[Value | None]) -> Value | None:
    """The one value that all have, or ``None``."""
    return values[0] if values and all(v == values[0] for v in values) else None

"""The acquisition as a table: a row for every group of frames of every session, each session once.

A session whose frames were not recorded has one row, with what it came to where that is known.

It holds what the pages show: clock times, and what the sky was like from the place as it is published.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime

from noctuary.facts.archive_facts import ArchiveFacts
from noctuary.facts.exposure import UNFILTERED, group_integration_s
from noctuary.facts.object_names import ObjectNames
from noctuary.facts.optics import focal_length_mm
from noctuary.facts.picture import SessionFacts
from noctuary.pages.exports.table import Cell, Column, ExportTable
from noctuary.pages.session_rows import place_note

COLUMNS = (
    Column("night", "text", None, "Date on which the evening began, in the time zone of the place"),
    Column("target", "text", None, "Object that the session was for"),
    Column("pictures", "text", None, "Ids of the pictures that contain the session, separated by spaces"),
    Column("place", "text", None, "Observing place"),
    Column("latitude_deg", "decimal", "deg", "Latitude of the place, north positive, as far as it is published"),
    Column("longitude_deg", "decimal", "deg", "Longitude of the place, east positive, as far as it is published"),
    Column("rig", "text", None, "Optic and camera"),
    Column("focal_length_mm", "decimal", "mm", "Focal length with the reducer or extender of the rig"),
    Column("start_utc", "text", None, "Start of the session, Coordinated Universal Time, ISO 8601"),
    Column("end_utc", "text", None, "End of the session, Coordinated Universal Time, ISO 8601"),
    Column("filter", "text", None, f"Filter, or {UNFILTERED}; empty where the frames were not recorded"),
    Column("exposure_s", "decimal", "s", "Exposure of one frame"),
    Column("kept", "integer", None, "Frames in the picture"),
    Column("taken", "integer", None, "Frames taken"),
    Column("integration_s", "decimal", "s", "Frames in the picture times exposure"),
    Column("gain", "decimal", None, "Gain setting of the camera"),
    Column("iso", "decimal", None, "ISO setting of the camera"),
    Column("binning", "integer", None, "Sensor pixels per frame pixel, each way"),
    Column("sensor_temperature_c", "decimal", None, "Temperature of the sensor in degrees Celsius"),
    Column("sky_brightness", "decimal", "mag.arcsec**-2", "Surface brightness of the sky as measured in the session"),
    Column("star_width_arcsec", "decimal", "arcsec", "Full width at half maximum of stars in the frames"),
    Column("shutter_open_share", "decimal", None, "Share of the session during which the shutter was open, 0 to 1"),
    Column("target_altitude_deg", "decimal", "deg", "Altitude of the target at the middle of the session"),
    Column("airmass", "decimal", None, "Airmass of the target at the middle of the session"),
    Column("moon_illuminated", "decimal", None, "Illuminated fraction of the Moon, 0 to 1"),
    Column("moon_altitude_deg", "decimal", "deg", "Altitude of the Moon at the middle of the session"),
    Column("moon_separation_deg", "decimal", "deg", "Distance of the Moon from the target"),
    Column("dark_share", "decimal", None, "Share of the session with the Sun more than 18 degrees down, 0 to 1"),
    Column("note", "text", None, "What was noted of the session"),
)


def holders(facts: ArchiveFacts) -> dict[tuple[str, int], tuple[str, ...]]:
    """The ids of the listed pictures that contain a session, by its identity, newest first."""
    by_session: dict[tuple[str, int], list[str]] = {}
    for p in facts.listed:
        for f in p.sessions:
            by_session.setdefault(f.session.identity, []).append(p.picture.id)
    return {identity: tuple(ids) for identity, ids in by_session.items()}


class Rows:
    """The rows of sessions, each session worked out once for the several tables that list it.

    ``names`` are the archive's, ``pictures`` what :func:`holders` tells.
    """

    def __init__(self, names: ObjectNames, pictures: Mapping[tuple[str, int], tuple[str, ...]]) -> None:
        self._names = names
        self._pictures = pictures
        self._known: dict[tuple[str, int], tuple[tuple[Cell, ...], ...]] = {}

    def of(self, facts: SessionFacts) -> tuple[tuple[Cell, ...], ...]:
        """The rows of one session."""
        identity = facts.session.identity
        if identity not in self._known:
            self._known[identity] = tuple(_rows(facts, self._names, self._pictures))
        return self._known[identity]


def acquisition(description: str, sessions: Iterable[SessionFacts], rows: Rows) -> ExportTable:
    """The table of some distinct sessions, in the order given."""
    return ExportTable("acquisition", description, COLUMNS, tuple(row for f in sessions for row in rows.of(f)))


def _rows(
    facts: SessionFacts, names: ObjectNames, pictures: Mapping[tuple[str, int], tuple[str, ...]]
) -> Iterable[tuple[Cell, ...]]:
    session, sky = facts.session, facts.sky
    place = place_note(session.place) if session.place else None
    focal = focal_length_mm(session.rig) if session.rig else None
    whose = (
        session.night.isoformat(),
        names.of_written(session.target) if session.target is not None else "",
        " ".join(pictures.get(session.identity, ())),
        place.name if place else "",
        place.latitude_deg if place else None,
        place.longitude_deg if place else None,
        session.rig.name if session.rig else "",
        _round(focal, 3),
        _utc(session.start_utc),
        _utc(session.end_utc),
    )
    how = (
        session.sky_brightness,
        # A film of the Sun, the Moon or a planet shows no stars.
        None if facts.solar_system else session.star_width_arcsec,
        _round(facts.shutter_open_share, 4),
        _round(sky.target_altitude_middle_deg, 2) if sky else None,
        _round(sky.airmass_middle, 3) if sky else None,
        _round(facts.moon_fraction, 3),
        _round(sky.moon_altitude_middle_deg, 2) if sky else None,
        _round(sky.moon_separation_deg, 2) if sky else None,
        _round(sky.dark_share, 3) if sky else None,
        " ".join((session.note or "").split()),
    )
    for group in session.frames:
        yield (
            *whose,
            group.filter or UNFILTERED,
            group.exposure_s,
            group.kept,
            group.taken,
            group_integration_s(group),
            group.gain,
            group.iso,
            group.binning,
            group.sensor_temperature_c,
            *how,
        )
    if not session.frames:
        yield (*whose, "", None, None, None, facts.integration_s, None, None, None, None, *how)


def _round(value: float | None, decimals: int) -> float | None:
    return None if value is None else round(float(value), decimals)


def _utc(moment: datetime | None) -> str:
    return moment.strftime("%Y-%m-%dT%H:%M:%SZ") if moment else ""

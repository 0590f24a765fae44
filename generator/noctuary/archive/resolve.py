"""Pictures, nights, exhibits and pages, with the names in them looked up.

A record that names what is not there is left out and told; one that names what is there but has a fault
of its own is left out in silence, since that fault has been told already.
"""

from __future__ import annotations

import posixpath
import re
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

from noctuary.archive.clock import Clock, NotAClock, moment
from noctuary.archive.folder import inside
from noctuary.archive.name_table import Known, Value
from noctuary.archive.parse_file import ParsedFile
from noctuary.archive.partial_date import PartialDate
from noctuary.archive.records import (
    Calibration,
    Exhibit,
    FrameGroup,
    FreePage,
    HeaderPlacement,
    Night,
    Picture,
    Place,
    Rig,
    Session,
    WrittenPlacement,
)
from noctuary.diagnostic import Diagnostic, Mark, doubt, fault
from noctuary.text import hyphenated


def picture(file: ParsedFile, picture_file: str, folder: Path, known: Known) -> Picture | None:
    """A picture with its record, or ``None`` when a name or a moment in it cannot be."""
    value = file.value
    if value is None:
        return None
    at = file.marks.at
    before = len(known.findings)
    identity = posixpath.basename(file.name).removesuffix(".yaml")
    rig = known.rig(value["rig"], at("rig")) if value["rig"] is not None else None
    place = known.place(value["place"], at("place")) if value["place"] is not None else None
    sessions = [
        _session(s, number, value, identity, rig, place, file, known) for number, s in enumerate(value["sessions"])
    ]
    for key in ("builds_on", "panels"):
        for number, name in enumerate(value[key]):
            known.picture(name, at(key, number))
    if value["replaces"] is not None:
        known.picture(value["replaces"], at("replaces"))
    placement = _placement(value["placement"], file, folder, known)
    told = any(found.level == "fault" for found in known.findings[before:])
    lacking = (value["rig"] is not None and rig is None) or (value["place"] is not None and place is None)
    if told or lacking or any(s is None for s in sessions):
        return None
    return Picture(
        id=identity,
        file=picture_file,
        sidecar=file.name,
        title=value["title"],
        objects=tuple(value["objects"]),
        finished=PartialDate(**value["finished"]),
        rig=rig,
        place=place,
        own_sessions=tuple(s for s in sessions if s is not None),
        builds_on=tuple(dict.fromkeys(value["builds_on"])),
        panels=tuple(dict.fromkeys(value["panels"])),
        replaces=value["replaces"],
        resampling=value["resampling"],
        placement=placement,
        description=value["description"] or None,
        processing=value["processing"] or None,
        alt=value["alt"],
        tags=tuple(dict.fromkeys(value["tags"])),
        credit=value["credit"],
        listed=value["listed"],
        draft=value["draft"],
        former_ids=tuple(dict.fromkeys(value["former_ids"])),
        accepted_doubts=value["accepted_doubts"],
        marks=file.marks,
    )


def _session(
    s: Value,
    number: int,
    value: Value,
    identity: str,
    rig: Rig | None,
    place: Place | None,
    file: ParsedFile,
    known: Known,
) -> Session | None:
    def at(*path: str | int) -> Mark:
        return file.marks.at("sessions", number, *path)

    if s["rig"] is not None:
        rig = known.rig(s["rig"], at("rig"))
    if s["place"] is not None:
        place = known.place(s["place"], at("place"))
    # What was named and is not there, or has a fault of its own, has been told; what was not named is not known.
    if place is None and (s["place"] or value["place"]):
        return None
    night: date = s["night"]
    moments: dict[str, datetime | None] = {"start": None, "end": None}
    timed = [key for key in moments if s[key] is not None]
    if place is None and timed and "clock-without-place" not in value["accepted_doubts"]:
        message = "clock times mean no moment where no place is named"
        hint = "write place: with a name from places.yaml, or delete the times"
        known.findings.append(doubt(at(timed[0]), "clock-without-place", message, hint))
    for key in timed:
        if place is None:
            break
        clock = Clock(*s[key])
        try:
            moments[key] = moment(clock, night, place.time_zone)
        except NotAClock as error:
            known.findings.append(fault(at(key), error.rule, error.message, error.hint))
            return None
        apart = clock.day is not None and abs(clock.day - night) > timedelta(days=1)
        if clock.day is not None and apart and "date-apart" not in value["accepted_doubts"]:
            message = f"{clock.written} is {abs((clock.day - night).days)} days from the night of {night}"
            known.findings.append(doubt(at(key), "date-apart", message, "correct the date, or the night"))
    start, end = moments["start"], moments["end"]
    if start is not None and end is not None:
        lasting = (end - start).total_seconds()
        hint = f'write the date with it, such as "{start:%Y-%m-%d} 22:15", if it is not that of the night'
        if lasting <= 0:
            message = f"the session ends at {end:%Y-%m-%d %H:%M}, before it starts at {start:%Y-%m-%d %H:%M}"
            known.findings.append(fault(at("end"), "end-before-start", message, hint))
        elif lasting > 86_400:
            message = f"the session lasts {lasting / 3600:.1f} h, from {start:%Y-%m-%d %H:%M} to {end:%Y-%m-%d %H:%M}"
            known.findings.append(fault(at("end"), "session-length", message, hint))
    if rig is None and (s["rig"] or value["rig"]):
        return None
    c = s["calibration"]
    calibration = None
    if c is not None:
        darks = c["dark_exposure"], c["dark_gain"], c["dark_iso"], c["dark_temperature"]
        calibration = Calibration(c["darks"], c["flats"], c["bias"], c["dark_flats"], *darks)
    return Session(
        written_in=identity,
        index=number,
        target=value["objects"][0] if value["objects"] else None,
        night=night,
        rig=rig,
        place=place,
        start=start,
        end=end,
        frames=tuple(_frames(f) for f in s["frames"] or ()),
        stated_integration_s=s["integration"],
        calibration=calibration,
        sky_brightness=s["sky_brightness"],
        star_width_arcsec=s["star_width"],
        note=s["note"] or None,
        mark=at(),
    )


def _frames(f: Value) -> FrameGroup:
    return FrameGroup(
        exposure_s=f["exposure"],
        kept=f["kept"],
        taken=f["kept"] if f["taken"] is None else f["taken"],
        filter=f["filter"],
        gain=f["gain"],
        iso=f["iso"],
        binning=f["binning"],
        sensor_temperature_c=f["sensor_temperature"],
    )


def _placement(value: Any, file: ParsedFile, folder: Path, known: Known) -> WrittenPlacement | HeaderPlacement | None:
    if value is None:
        return None
    if isinstance(value, dict) and "centre" in value:
        ra, dec = value["centre"]
        return WrittenPlacement(ra, dec, value["image_scale"], value["position_angle"], value["mirrored"])
    written, rows, mark = value, "bottom", file.marks.at("placement")
    if isinstance(value, dict):
        written, rows, mark = value["header"], value["rows"], file.marks.at("placement", "header")
    name = header_name(written, file.name)
    if name is None:
        message, hint = (
            f"“{written[:60]}” leads out of the archive",
            "put the header beside the sidecar and name it alone",
        )
        known.findings.append(fault(mark, "outside-archive", message, hint))
        return None
    path = folder / name
    try:
        there = path.is_symlink() or path.is_file()
    except OSError:
        there = False
    if not there:
        known.findings.append(
            fault(mark, "unknown-file", f"there is no file {name}", "name a header file that lies beside the sidecar")
        )
        return None
    if found := inside(path, name, folder.resolve()):
        known.findings.append(fault(mark, found.rule, found.message, found.hint))
        return None
    return HeaderPlacement(name, "top" if rows == "top" else "bottom")


def header_name(written: str, sidecar: str) -> str | None:
    """A header file as written in a sidecar → its name in the archive; ``None`` when it leads out."""
    if re.match(r"[/\\~]|[A-Za-z]:", written) or "\0" in written:
        return None
    name = posixpath.normpath(posixpath.join(posixpath.dirname(sidecar), written.replace("\\", "/")))
    return None if name.startswith("../") or name == ".." else name


def night(file: ParsedFile, known: Known) -> Night | None:
    value = file.value
    if value is None:
        return None
    stem = posixpath.basename(file.name).removesuffix(".md")
    try:
        day = date.fromisoformat(stem) if re.fullmatch(r"\d{4}-\d{2}-\d{2}", stem) else None
    except ValueError:
        day = None
    if day is None:
        hint = "name it like 2025-01-18.md, after the date on which the evening began"
        known.findings.append(fault(Mark(file.name), "night-name", f"“{stem[:60]}” is not a date", hint))
        return None
    name = value["place"]
    if name is not None and known.place(name, file.marks.at("place")) is None:
        return None
    return Night(
        day,
        name,
        value["title"],
        value["temperature"],
        value["humidity"],
        value["wind"],
        value["sky_brightness"],
        file.prose,
        Mark(file.name),
    )


def exhibit(file: ParsedFile, known: Known) -> Exhibit | None:
    value = file.value
    identity = _own_id(file, ".yaml", known)
    if value is None or identity is None:
        return None
    slides: list[tuple[str, str | None]] = []
    sound = True
    for number, slide in enumerate(value["pictures"]):
        spoken = isinstance(slide, dict)
        name, words = next(iter(slide.items())) if spoken else (slide, None)
        sound = known.picture(name, file.marks.at("pictures", number)) and sound
        slides.append((name, words or None))
    if not sound:
        return None
    return Exhibit(identity, value["title"], value["introduction"] or None, tuple(slides), Mark(file.name))


def page(file: ParsedFile, known: Known) -> FreePage | None:
    identity = _own_id(file, ".md", known)
    if file.value is None or identity is None:
        return None
    title = file.value["title"] or _heading(file.prose) or identity.replace("-", " ").capitalize()
    return FreePage(identity, title, file.prose, Mark(file.name))


def _heading(prose: str) -> str | None:
    lines = prose.split("\n")
    fenced = False
    for number, line in enumerate(lines):
        fenced ^= re.match(r" {0,3}(```|~~~)", line) is not None
        if fenced:
            continue
        if found := re.fullmatch(r" {0,3}#{1,6}[ \t]+(.*?)[ \t#]*", line):
            return found[1] or None
        under = lines[number + 1] if number + 1 < len(lines) else ""
        if line.strip() and re.fullmatch(r" {0,3}(=+|-+)[ \t]*", under):
            return line.strip()
    return None


def _own_id(file: ParsedFile, ending: str, known: Known) -> str | None:
    stem = posixpath.basename(file.name).removesuffix(ending)
    return stem if is_id(stem, file.name, ending, known.findings) else None


def is_id(stem: str, name: str, ending: str, findings: list[Diagnostic]) -> bool:
    """Whether the stem of a file's name can be its address; says so when not."""
    if re.fullmatch(r"[a-z0-9][a-z0-9-]{0,99}", stem):
        return True
    better = hyphenated(stem, 100) or "name"
    hint = f"its name is its address: lower-case letters, digits and hyphens, such as {better}{ending}"
    findings.append(fault(Mark(name), "not-an-id", f"“{stem[:60]}” is not an id", hint))
    return False

"""Pictures, nights, exhibits and pages, with the names in them looked up.

A record that names what is not there is left out and reported; one that names what is there but has a fault
of its own is left out in silence, since that fault has been reported already.
"""

from __future__ import annotations

import posixpath
import re
from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

from noctuary.archive.clock import Clock, NotAClock, moment
from noctuary.archive.declaration import keys_of
from noctuary.archive.folder import inside
from noctuary.archive.keys import (
    ExhibitKeys,
    FrameKeys,
    NightKeys,
    PageKeys,
    PlacementKeys,
    SessionKeys,
    SidecarKeys,
)
from noctuary.archive.name_table import Known
from noctuary.archive.parse_file import ParsedFile
from noctuary.archive.records import (
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
from noctuary.archive.values import ID
from noctuary.diagnostic import Diagnostic, Mark, doubt, fault
from noctuary.text import hyphenated


def picture(file: ParsedFile[SidecarKeys], picture_file: str, folder: Path, known: Known) -> Picture | None:
    """A picture with its record, or ``None`` when a name or a moment in it cannot be."""
    if file.record is None:
        if file.sound_part is not None:
            # What is wrong elsewhere in the record is told together with what has been found; it may explain doubts.
            already = len(known.findings)
            picture(replace(file, record=file.sound_part), picture_file, folder, known)
            known.findings[already:] = [found for found in known.findings[already:] if found.level == "fault"]
        return None
    record = file.record
    at = file.marks.at
    before = len(known.findings)
    identity = posixpath.basename(file.name).removesuffix(".yaml")
    rig = known.rig(record.rig_name, at("rig")) if record.rig_name is not None else None
    place = known.place(record.place_name, at("place")) if record.place_name is not None else None
    sessions = [
        _session(session, number, record, identity, rig, place, file, known)
        for number, session in enumerate(record.written_sessions)
    ]
    for key, names in (("builds_on", record.builds_on), ("panels", record.panels)):
        for number, name in enumerate(names):
            known.picture(name, at(key, number))
    if record.replaces is not None:
        known.picture(record.replaces, at("replaces"))
    placement = _placement(record.placement_keys, file, folder, known) if record.placement_keys else None
    has_fault = any(found.level == "fault" for found in known.findings[before:])
    lacking = (record.rig_name is not None and rig is None) or (record.place_name is not None and place is None)
    if has_fault or lacking or any(s is None for s in sessions):
        return None
    each_once = replace(
        record,
        builds_on=tuple(dict.fromkeys(record.builds_on)),
        panels=tuple(dict.fromkeys(record.panels)),
        tags=tuple(dict.fromkeys(record.tags)),
        former_ids=tuple(dict.fromkeys(record.former_ids)),
    )
    return Picture(
        **keys_of(each_once),
        id=identity,
        file=picture_file,
        sidecar=file.name,
        rig=rig,
        place=place,
        own_sessions=tuple(s for s in sessions if s is not None),
        placement=placement,
        marks=file.marks,
    )


def _session(
    session: SessionKeys,
    number: int,
    record: SidecarKeys,
    identity: str,
    rig: Rig | None,
    place: Place | None,
    file: ParsedFile[SidecarKeys],
    known: Known,
) -> Session | None:
    def at(*path: str | int) -> Mark:
        return file.marks.at("sessions", number, *path)

    if session.rig_name is not None:
        rig = known.rig(session.rig_name, at("rig"))
    if session.place_name is not None:
        place = known.place(session.place_name, at("place"))
    # What was named and is not there, or has a fault of its own, has been reported; what was not named is not known.
    if place is None and (session.place_name or record.place_name):
        return None
    moments = _moments(session, place, record, at, known)
    if moments is None or (rig is None and (session.rig_name or record.rig_name)):
        return None
    start, end = moments
    return Session(
        **{**keys_of(session), "frames": tuple(_frames(group) for group in session.frames)},
        written_in=identity,
        index=number,
        target=record.objects[0] if record.objects else None,
        rig=rig,
        place=place,
        start=start,
        end=end,
        mark=at(),
    )


def _moments(
    session: SessionKeys, place: Place | None, record: SidecarKeys, at: Callable[..., Mark], known: Known
) -> tuple[datetime | None, datetime | None] | None:
    """Start and end, as far as they are written; ``None`` where the clocks of the place never showed such a time."""
    clocks = {"start": session.start_clock, "end": session.end_clock}
    timed = [(key, clock) for key, clock in clocks.items() if clock is not None]
    if place is None:
        if timed and "clock-without-place" not in record.accepted_doubts:
            message = "clock times mean no moment where no place is named"
            hint = "write place: with a name from places.yaml, or delete the times"
            known.findings.append(doubt(at(timed[0][0]), "clock-without-place", message, hint))
        return None, None
    moments: dict[str, datetime] = {}
    for key, clock in timed:
        try:
            moments[key] = moment(clock, session.night, place.time_zone)
        except NotAClock as error:
            known.findings.append(fault(at(key), error.rule, error.message, error.hint))
            return None
        if "date-apart" not in record.accepted_doubts:
            _same_night(clock, session.night, at(key), known)
    start, end = moments.get("start"), moments.get("end")
    if start is not None and end is not None:
        lasting = (end - start).total_seconds()
        hint = f'write the date with it, such as "{start:%Y-%m-%d} 22:15", if it is not that of the night'
        if lasting <= 0:
            message = f"the session ends at {end:%Y-%m-%d %H:%M}, before it starts at {start:%Y-%m-%d %H:%M}"
            known.findings.append(fault(at("end"), "end-before-start", message, hint))
        elif lasting > 86_400:
            message = f"the session lasts {lasting / 3600:.1f} h, from {start:%Y-%m-%d %H:%M} to {end:%Y-%m-%d %H:%M}"
            known.findings.append(fault(at("end"), "session-length", message, hint))
    return start, end


def _same_night(clock: Clock, night: date, mark: Mark, known: Known) -> None:
    if clock.day is not None and abs(clock.day - night) > timedelta(days=1):
        message = f"{clock.written} is {abs((clock.day - night).days)} days from the night of {night}"
        known.findings.append(doubt(mark, "date-apart", message, "correct the date, or the night"))


def _frames(group: FrameKeys) -> FrameGroup:
    return FrameGroup(**keys_of(replace(group, taken=group.kept if group.taken is None else group.taken)))


def _placement(
    written: PlacementKeys, file: ParsedFile[SidecarKeys], folder: Path, known: Known
) -> WrittenPlacement | HeaderPlacement | None:
    if written.centre and written.image_scale_arcsec is not None and written.position_angle_deg is not None:
        ra, dec = written.centre
        return WrittenPlacement(ra, dec, written.image_scale_arcsec, written.position_angle_deg, written.mirrored)
    if written.header is None:
        return None
    mark = file.marks.at("placement", "header")
    name = header_name(written.header, file.name)
    if name is None:
        message, hint = (
            f"“{written.header[:60]}” leads out of the archive",
            "put the header beside the sidecar and name it alone",
        )
        known.findings.append(fault(mark, "outside-archive", message, hint))
        return None
    path = folder / name
    try:
        exists = path.is_symlink() or path.is_file()
    except OSError:
        exists = False
    if not exists:
        known.findings.append(
            fault(mark, "unknown-file", f"there is no file {name}", "name a header file that lies beside the sidecar")
        )
        return None
    if found := inside(path, name, folder.resolve()):
        known.findings.append(fault(mark, found.rule, found.message, found.hint))
        return None
    return HeaderPlacement(name, written.rows)


def header_name(written: str, sidecar: str) -> str | None:
    """A header file as written in a sidecar → its name in the archive; ``None`` when it leads out."""
    if re.match(r"[/\\~]|[A-Za-z]:", written) or "\0" in written:
        return None
    name = posixpath.normpath(posixpath.join(posixpath.dirname(sidecar), written.replace("\\", "/")))
    return None if name.startswith("../") or name == ".." else name


def night(file: ParsedFile[NightKeys], known: Known) -> Night | None:
    record = file.record
    if record is None:
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
    if record.place is not None and known.place(record.place, file.marks.at("place")) is None:
        return None
    return Night(**keys_of(record), night=day, prose=file.prose, mark=Mark(file.name))


def exhibit(file: ParsedFile[ExhibitKeys], known: Known) -> Exhibit | None:
    record = file.record
    identity = _own_id(file, ".yaml", known)
    if record is None or identity is None:
        return None
    shown = [known.picture(name, file.marks.at("pictures", n)) for n, (name, _) in enumerate(record.pictures)]
    if not all(shown):
        return None
    return Exhibit(**keys_of(record), id=identity, mark=Mark(file.name))


def page(file: ParsedFile[PageKeys], known: Known) -> FreePage | None:
    record = file.record
    identity = _own_id(file, ".md", known)
    if record is None or identity is None:
        return None
    title = record.title or _heading(file.prose) or identity.replace("-", " ").capitalize()
    return FreePage(**keys_of(replace(record, title=title)), id=identity, prose=file.prose, mark=Mark(file.name))


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


def _own_id(file: ParsedFile[Any], ending: str, known: Known) -> str | None:
    stem = posixpath.basename(file.name).removesuffix(ending)
    return stem if is_id(stem, file.name, ending, known.findings) else None


def is_id(stem: str, name: str, ending: str, findings: list[Diagnostic]) -> bool:
    """Whether the stem of a file's name can be its address; says so when not."""
    if ID.fullmatch(stem):
        return True
    better = hyphenated(stem, 100) or "name"
    hint = f"its name is its address: lower-case letters, digits and hyphens, such as {better}{ending}"
    findings.append(fault(Mark(name), "not-an-id", f"“{stem[:60]}” is not an id", hint))
    return False

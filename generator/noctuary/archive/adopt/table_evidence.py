"""What the rows of a person's table say of the pictures, and which picture each row is about.

A statement in the table is a statement of the person. A cell that cannot be read is reported and left
out; so is a date of which nobody can know whether the day or the month comes first.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from pathlib import PurePosixPath

from noctuary import quantity
from noctuary.archive.adopt.clock_night import night_of_camera_clock
from noctuary.archive.adopt.evidence import Evidence, ObjectNames, frame_group, one_line_text
from noctuary.archive.adopt.name_evidence import date_in, of_name
from noctuary.archive.adopt.table_columns import folded, seconds_of_unit
from noctuary.archive.adopt.table_rows import Cell, Table
from noctuary.archive.gather.frame_header import finite
from noctuary.archive.partial_date import PartialDate
from noctuary.archive.records import FrameGroup

_LATEST = date(2199, 12, 31)


@dataclass
class Joined:
    """Rows by picture; how many are of pictures that have records; rows of no picture; cells that cannot be read."""

    of_picture: dict[str, Evidence] = field(default_factory=dict)
    known: int = 0
    unjoined: list[str] = field(default_factory=list)
    unread: list[str] = field(default_factory=list)


def join(
    table: Table,
    columns: Mapping[str, int],
    pictures: Mapping[str, str],
    known: Iterable[str],
    names: ObjectNames,
    called: str,
) -> Joined:
    """``pictures``: each picture → the name and folders it came with; ``known``: names of those that have records;
    ``called``: the table's own name."""
    have_records = {_key(path) for path in known}
    by_name: dict[str, list[str]] = defaultdict(list)
    for picture, path in pictures.items():
        by_name[_key(path)].append(picture)
    joined = Joined()
    reader = _Reader(table, columns, names, joined.unread, called)
    for line, row in zip(table.lines, table.rows, strict=True):
        written = one_line_text(_plain_name(_cell(row, columns["file"])))
        if written is None:
            joined.unjoined.append(f"{called}, row {line}: it names no file")
            continue
        found = by_name.get(_key(written), [])
        if len(found) > 1:
            folders = PurePosixPath(written.replace("\\", "/")).parts[:-1]
            found = (
                [p for p in found if _ends_with(PurePosixPath(pictures[p]).parts[:-1], folders)] if folders else found
            )
        if not found and _key(written) in have_records:
            joined.known += 1
        elif not found:
            joined.unjoined.append(f"{called}, row {line}: there is no picture “{written}”")
        elif len(found) > 1:
            several = ", ".join(sorted(pictures[p] for p in found))[:200]
            joined.unjoined.append(f"{called}, row {line}: “{written}” may be {several}; write the folder too")
        else:
            of_row = reader.evidence(row, line)
            before = joined.of_picture.get(found[0])
            joined.of_picture[found[0]] = of_row if before is None else _both(before, of_row)
            if before is not None and of_row.night not in (None, before.night):
                message = f"this is a further night of “{written}”; write it into its record as a second session"
                joined.unread.append(f"{called}, row {line}: {message}")
    return joined


def _both(first: Evidence, second: Evidence) -> Evidence:
    """Two rows of one picture: further rows add frames, and else the first row counts."""
    whole = first.over(second)
    if first.night == second.night or second.night is None:
        return replace(whole, frames=first.frames + second.frames)
    return whole


def _key(path: str) -> str:
    name = PurePosixPath(path.replace("\\", "/")).name
    stem = re.sub(r"\.(?:jpe?g|png|tiff?|fits?|fts|xisf|hei[cf]|webp)$", "", name, flags=re.IGNORECASE)
    return folded(stem).replace(" ", "")


def _ends_with(folders: Sequence[str], wanted: Sequence[str]) -> bool:
    plain = [folded(f) for f in folders]
    return plain[-len(wanted) :] == [folded(f) for f in wanted]


def _cell(row: Sequence[Cell], number: int) -> Cell:
    return row[number] if number < len(row) else None


def _plain_name(cell: Cell) -> str | None:
    # A file called 2034 is a number to a spreadsheet.
    return f"{cell:.0f}" if isinstance(cell, float) and cell == int(cell) else str(cell) if cell is not None else None


class _Reader:
    def __init__(
        self, table: Table, columns: Mapping[str, int], names: ObjectNames, unread: list[str], called: str
    ) -> None:
        self.headings, self.columns, self.names, self.unread, self.called = (
            table.headings, columns, names, unread, called,
        )  # fmt: skip
        self.day_first = {
            key: _day_first([_cell(row, columns[key]) for row in table.rows])
            for key in ("night", "date", "finished")
            if key in columns
        }

    def evidence(self, row: Sequence[Cell], line: int) -> Evidence:
        self.line = line

        def cell(key: str) -> Cell:
            cell = _cell(row, self.columns[key]) if key in self.columns else None
            return None if cell == "" else cell

        night = self.day("night", _evening(cell("night")))
        plain_date = self.day("date", cell("date"))
        finished = self.day("finished", cell("finished"))
        # A column headed “date” may mean the night or the day of the last stroke: it is proposed as the night.
        exact = night.exact if night else None
        frames, integration = self.exposures(cell)
        return Evidence(
            source=f"{self.called}, row {line}",
            title=one_line_text(_words(cell("title"))),
            objects=self.objects(cell("objects")),
            night=exact,
            finished=finished,
            captured=night or plain_date,
            camera=one_line_text(_words(cell("camera")), 80),
            optic=one_line_text(_words(cell("optic")), 80),
            focal_length_mm=self.number("focal_length", cell("focal_length"), quantity.FOCAL, 1, 1e5),
            f_ratio=self.ratio(cell("f_ratio")),
            rig=one_line_text(_words(cell("rig")), 80),
            place=one_line_text(_words(cell("place")), 80),
            filter=one_line_text(_words(cell("filter")), 60),
            sky_brightness=self.number("sky_brightness", cell("sky_brightness"), quantity.BRIGHTNESS, 10, 24),
            frames=frames,
            integration_s=integration,
            description=_prose(_words(cell("description"))),
            tags=tuple(t for tag in re.split(r"[,;]", _words(cell("tags")) or "") if (t := one_line_text(tag, 60))),
        )

    def exposures(self, cell) -> tuple[tuple[FrameGroup, ...], float | None]:  # type: ignore[no-untyped-def]
        filter_name = one_line_text(_words(cell("filter")), 60)
        iso, gain = finite(cell("iso"), 1, 1e7), finite(cell("gain"), 0, 1e5)
        temperature = self.number("sensor_temperature", cell("sensor_temperature"), quantity.TEMPERATURE, -100, 60)
        written = " ".join(w for key in ("frames", "exposure", "kept") if isinstance(w := cell(key), str))
        groups = []
        if re.search(r"\d\s?[x×*]\s?\d", written):
            for g in of_name(written.replace("/", " "), self.names, _LATEST).frames:
                groups.append((g.exposure_s, g.kept))
            if not groups:
                self.trouble("frames", written)
        else:
            exposure = self.number("exposure", cell("exposure"), quantity.TIME, 1e-4, 1e5)
            kept = finite(cell("kept"), 1, 1e6)
            if exposure and kept and kept == int(kept):
                groups.append((exposure, int(kept)))
        several = filter_name is not None and re.search(r"[,;/+&]", filter_name)
        one_filter = filter_name if not several and len(groups) == 1 else None
        made = tuple(
            frame_group(e, k, filter_name=one_filter, iso=iso, gain=gain, temperature_c=temperature)
            for e, k in groups
        )
        return made, None if made else self.length(cell("integration"))

    def length(self, cell: Cell) -> float | None:
        """Seconds of a whole integration: ``27 h``, ``3:20``, or a bare number of hours where the heading says so."""
        if isinstance(cell, timedelta):
            return cell.total_seconds() or None
        if isinstance(cell, time):
            return cell.hour * 3600.0 + cell.minute * 60 + cell.second or None
        if isinstance(cell, str):
            if clock := re.fullmatch(r"(\d{1,3}):([0-5]\d)(?::([0-5]\d))?\s*(?:h|std)?\.?", cell):
                return int(clock[1]) * 3600.0 + int(clock[2]) * 60 + int(clock[3] or 0) or None
            if re.fullmatch(r"[\d.,]+", cell.strip()) is None:
                return self.number("integration", cell, quantity.TIME, 1, 1e8)
            cell = finite(cell.replace(",", "."), 0, 1e8)
        if not isinstance(cell, float) or not cell:
            return None
        factor = seconds_of_unit(self.headings[self.columns["integration"]])
        if factor is None:
            self.trouble("integration", f"{cell:g}", "whether these are hours, minutes or seconds is not said")
            return None
        return cell * factor

    def number(self, key: str, cell: Cell, kind: quantity.Kind, low: float, high: float) -> float | None:
        if isinstance(cell, bool) or cell is None:
            return None
        if isinstance(cell, timedelta | time):
            cell = self.length(cell)
        in_minutes = seconds_of_unit(self.headings[self.columns[key]]) if kind is quantity.TIME else None
        if isinstance(cell, str) and re.fullmatch(r"[\d.,]+", cell) and in_minutes:
            cell = finite(cell.replace(",", "."), 0, 1e8)
        if isinstance(cell, float):
            value: float | None = cell * (in_minutes or 1.0)
        else:
            try:
                value = quantity.read(str(cell).replace(",", "."), kind)
            except quantity.NotAQuantity:
                value = None
        value = finite(value, low, high)
        if value is None:
            self.trouble(key, str(cell))
        return value

    def ratio(self, cell: Cell) -> float | None:
        if cell is None:
            return None
        match = re.fullmatch(r"\s*(?:f\s*/?\s*|1\s*[:/]\s*)?(\d+(?:[.,]\d+)?)\s*", str(cell), re.IGNORECASE)
        value = finite(match[1].replace(",", "."), 0.3, 100) if match else None
        if value is None:
            self.trouble("f_ratio", str(cell))
        return value

    def objects(self, cell: Cell) -> tuple[str, ...]:
        text = one_line_text(_words(cell))
        if text is None:
            return ()
        if known := self.names.called(text):
            return (known[0],)
        parts = [
            p.strip() for p in re.split(r"\s*(?:[,;/+&]|\band\b|\bund\b|\bet\b|\by\b|\be\b)\s*", text) if p.strip()
        ]
        called = [self.names.called(part) for part in parts]
        if all(called):
            return tuple(dict.fromkeys(c[0] for c in called if c))
        # “M 31 (Andromeda)” means one object; a name that nothing knows is the person's own.
        within = self.names.within(text)
        return tuple(name for name, _ in within) if within else (text,)

    def day(self, key: str, cell: Cell) -> PartialDate | None:
        if cell is None or isinstance(cell, bool | time | timedelta):
            return None
        found = _date(cell, self.day_first.get(key))
        if found is None:
            why = (
                "whether the day or the month comes first is not clear; write 2019-08-03"
                if _SLASHED.match(str(cell))
                else ""
            )
            self.trouble(key, str(cell), why)
        return found

    def trouble(self, key: str, cell: str, why: str = "") -> None:
        heading = self.headings[self.columns[key]] if key in self.columns else key
        shown = one_line_text(cell, 40) or "…"
        self.unread.append(f"{self.called}, row {self.line}, “{heading}”: {why or 'this cannot be read'}: {shown}")


def _words(cell: Cell) -> str | None:
    if isinstance(cell, float):
        return f"{cell:g}"
    return None if cell is None or isinstance(cell, bool) else str(cell)


def _prose(text: str | None) -> str | None:
    plain = "\n".join("".join(c if c.isprintable() else " " for c in ln) for ln in (text or "").splitlines()).strip()
    return plain[:4000] or None


_ISO = re.compile(r"\s*((?:19|20)\d\d)(?:[-./](\d{1,2})(?:[-./](\d{1,2}))?)?(?:[ T].*)?\s*")
_SLASHED = re.compile(r"\s*(\d{1,2})[-./ ](\d{1,2})[-./ ]((?:19|20)\d\d)(?:\s.*)?")


_WORDED = re.compile(
    r"\s*(?:(?:\d{1,2}\W{0,2})?[^\W\d_]{3,10}\W{0,2}\d{4}|\d{8}|\d{4}\W{0,2}[^\W\d_]{3,10}(?:\W{0,2}\d{1,2})?)\s*"
)


def _evening(cell: Cell) -> Cell:
    """A cell of a night that gives the hour too: the small hours belong to the evening before."""
    if isinstance(cell, str) and re.fullmatch(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(?::\d\d)?", cell):
        try:
            cell = datetime.fromisoformat(cell)
        except ValueError:
            return cell
    if isinstance(cell, datetime) and cell.time() != time():
        return night_of_camera_clock(cell) or cell
    return cell


def _day_first(cells: Sequence[Cell]) -> bool | None:
    """Whether the dates of a column begin with the day; ``None`` where none of them settles it."""
    pairs = [(int(m[1]), int(m[2])) for c in cells if isinstance(c, str) and (m := _SLASHED.fullmatch(c))]
    day, month = any(a > 12 for a, _ in pairs), any(b > 12 for _, b in pairs)
    return None if day == month else day


def _date(cell: Cell, day_first: bool | None) -> PartialDate | None:
    if isinstance(cell, datetime):
        return PartialDate.of(cell.date()) if 1900 < cell.year < 2200 else None
    if isinstance(cell, date):
        return PartialDate.of(cell) if 1900 < cell.year < 2200 else None
    if isinstance(cell, float):
        return PartialDate(int(cell)) if 1900 < cell < 2200 and cell == int(cell) else None
    text = str(cell)
    try:
        if match := _ISO.fullmatch(text):
            found = PartialDate(int(match[1]), int(match[2] or 0) or None, int(match[3] or 0) or None)
        elif match := _SLASHED.fullmatch(text):
            first, second, year = int(match[1]), int(match[2]), int(match[3])
            # Dots are the mark of countries that write the day first.
            leading_day = True if "." in text.split()[0] else day_first
            if first == second:
                leading_day = True
            if leading_day is None:
                return None
            found = PartialDate(year, second, first) if leading_day else PartialDate(year, first, second)
        else:
            # More than one date is several nights, which one session is not.
            return date_in(text, _LATEST) if _WORDED.fullmatch(text) else None
        return found if found.first else None
    except ValueError:
        return None

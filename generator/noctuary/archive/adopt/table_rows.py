"""The rows of a person's own table of pictures: CSV, or a sheet of a spreadsheet, as cells of plain values."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from pathlib import Path

from noctuary.errors import NoctuaryError

Cell = str | float | bool | date | datetime | time | timedelta | None

_MOST_BYTES = 64 << 20
_MOST_ROWS = 100_000
_SHEETS = (".ods", ".xlsx", ".xlsm", ".xls", ".xlsb")


class TableFault(NoctuaryError, ValueError):
    """A table that cannot be read; ``message`` says what is wrong and ``hint`` what to do."""


@dataclass(frozen=True, slots=True)
class Table:
    """Headings and rows; ``first_line`` is the number of the first row as the person counts them."""

    headings: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    lines: tuple[int, ...]


def read_table(path: Path) -> Table:
    """Raises :class:`TableFault`, or OSError where the file cannot be read."""
    if path.stat().st_size > _MOST_BYTES:
        raise TableFault(f"{path.name} is larger than any table of pictures", "name the table itself")
    with path.open("rb") as file:
        begins = file.read(8)
    sheet = begins.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")) or path.suffix.lower() in _SHEETS
    raw = _sheet(path) if sheet else _csv(path)
    # What is above the headings is a title or nothing.
    number = next((n for n, row in enumerate(raw) if sum(isinstance(c, str) and c != "" for c in row) >= 2), None)
    if number is None:
        raise TableFault(f"{path.name} has no row of headings", "give each column a heading in its first row")
    headings = tuple(" ".join(str(cell).split()) if cell is not None else "" for cell in raw[number])
    rows, lines = [], []
    for line, row in enumerate(raw[number + 1 :], start=number + 2):
        if any(cell not in (None, "") for cell in row):
            rows.append(tuple(row))
            lines.append(line)
    return Table(headings, tuple(rows), tuple(lines))


def _sheet(path: Path) -> list[list[Cell]]:
    try:
        from python_calamine import CalamineWorkbook
    except ImportError:
        raise TableFault(
            f"{path.name} is a spreadsheet, which needs a library of its own",
            'pip install "noctuary[tables]", or save the table as CSV',
        ) from None
    try:
        book = CalamineWorkbook.from_path(path)
        sheets = [book.get_sheet_by_name(name) for name in book.sheet_names]
        filled = [rows for sheet in sheets if (rows := sheet.to_python(skip_empty_area=False, nrows=_MOST_ROWS))]
    except BaseException as trouble:  # the reader's own panics are no Exception
        if isinstance(trouble, KeyboardInterrupt | SystemExit):
            raise
        raise TableFault(f"{path.name} is damaged, or no spreadsheet", "save it anew, or as CSV") from None
    if not filled:
        raise TableFault(f"{path.name} holds no row", "name the table of your pictures")
    return [[_plain(cell) for cell in row] for row in filled[0]]


def _plain(cell: object) -> Cell:
    if isinstance(cell, str):
        return cell.strip()
    if isinstance(cell, bool | float | datetime | date | time | timedelta):
        return cell
    return float(cell) if isinstance(cell, int) else None


def _csv(path: Path) -> list[list[Cell]]:
    text = _text(path)
    sample = "\n".join(line for line in text.splitlines()[:20] if line.strip())
    delimiter = max(
        ";\t,|", key=lambda c: (min((ln.count(c) for ln in sample.splitlines()), default=0), sample.count(c))
    )
    limit = csv.field_size_limit(1 << 20)
    try:
        rows: list[list[Cell]] = []
        for row in csv.reader(io.StringIO(text.replace("\0", ""), newline=""), delimiter=delimiter):
            rows.append([cell.strip() for cell in row])
            if len(rows) > _MOST_ROWS:
                raise TableFault(f"{path.name} has more than {_MOST_ROWS} rows", "name the table of your pictures")
        return rows
    except csv.Error as trouble:
        raise TableFault(f"{path.name} is no table that can be read: {trouble}", "save it anew as CSV") from None
    finally:
        csv.field_size_limit(limit)


def _text(path: Path) -> str:
    content = path.read_bytes()
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        return content.decode("utf-16", "replace")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("cp1252", "replace")

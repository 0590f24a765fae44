"""A table that is exported: columns with units and descriptions, and rows of plain values.

How it is written is the business of the modules listed in :mod:`noctuary.pages.exports.table_formats`.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from noctuary.plain_record import plain_record

Cell = str | int | float | None


@plain_record
class Column:
    """A column. ``unit`` as the VOUnits standard writes it, ``None`` for what has none.

    Text that was not said is empty; a number that was not said is ``None``.
    """

    name: str
    kind: Literal["text", "integer", "decimal"]
    unit: str | None
    description: str


@plain_record
class ExportTable:
    """``name`` is an identifier, ``description`` a sentence; each row has a cell for every column."""

    name: str
    description: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]


def printable(text: str) -> str:
    """A text without the characters that XML and YAML cannot hold, which would make a whole file unreadable."""
    return text if text.isprintable() else "".join(c if c.isprintable() else " " for c in text)


def typed(table: ExportTable) -> Iterator[tuple[Cell, ...]]:
    """The rows with decimals as such, also where somebody wrote a whole number, and text that can be printed."""
    kinds = [column.kind for column in table.columns]
    for row in table.rows:
        yield tuple(map(_typed, row, kinds))


def _typed(cell: Cell, kind: str) -> Cell:
    if kind == "text":
        return printable(str(cell))
    return float(cell) if kind == "decimal" and cell is not None else cell

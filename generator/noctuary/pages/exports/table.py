"""A table that is exported: columns with units and descriptions, and rows of plain values.

How it is written is the business of the modules listed in :mod:`noctuary.pages.exports.table_formats`.
"""

from __future__ import annotations

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

"""A table that is exported: columns with units and descriptions, and rows of plain values.

How it is written is the business of the modules listed in :mod:`generator.site.exports.forms`.
"""

from __future__ import annotations

from typing import Literal

from generator.plain import plain

Cell = str | int | float | None


@plain
class Column:
    """A column. ``unit`` as the VOUnits standard writes it, ``None`` for what has none.

    Text that was not said is empty; a number that was not said is ``None``.
    """

    name: str
    kind: Literal["text", "integer", "decimal"]
    unit: str | None
    description: str


@plain
class ExportTable:
    """``name`` is an identifier, ``description`` a sentence; each row has a cell for every column."""

    name: str
    description: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]

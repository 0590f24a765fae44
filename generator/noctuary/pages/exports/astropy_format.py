"""An exported table as astropy holds it: masked where a number was not said, units in the columns."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from astropy.table import Column as AstropyColumn
from astropy.table import MaskedColumn, Table

from noctuary.pages.exports.table import Column, ExportTable

_TYPES = {"integer": "int64", "decimal": "float64"}


# One table is written in one format after the other.
@lru_cache(maxsize=1)
def astropy_table(table: ExportTable) -> Any:
    """An :class:`astropy.table.Table` with the same columns, rows, units and descriptions."""
    cells = list(zip(*table.rows, strict=True)) or [()] * len(table.columns)
    made = Table([_column(column, list(values)) for column, values in zip(table.columns, cells, strict=True)])
    made.meta["description"] = table.description
    return made


def _column(column: Column, values: list[Any]) -> Any:
    attributes = {"name": column.name, "unit": column.unit, "description": column.description}
    if column.kind == "text":
        return AstropyColumn([_text(v) for v in values], dtype="str", **attributes)
    mask = [v is None for v in values]
    return MaskedColumn([0 if v is None else v for v in values], mask=mask, dtype=_TYPES[column.kind], **attributes)


def _text(value: object) -> str:
    # Characters that XML cannot hold would make the whole file unreadable.
    return "".join(c if c.isprintable() else " " for c in str(value))

"""The formats in which tables are exported. A new one is one module, and one line in :data:`FORMATS`."""

from __future__ import annotations

from collections.abc import Callable

from noctuary.pages.exports import csv_format, ecsv_format, votable_format
from noctuary.pages.exports.table import ExportTable
from noctuary.plain_record import plain_record


@plain_record
class TableFormat:
    """``name`` as the trade knows it, the ending of its files, and what writes it."""

    name: str
    ending: str
    write: Callable[[ExportTable], bytes]


FORMATS: tuple[TableFormat, ...] = (
    TableFormat("CSV", ".csv", csv_format.table_bytes),
    TableFormat("ECSV", ".ecsv", ecsv_format.table_bytes),
    TableFormat("VOTable", ".vot", votable_format.table_bytes),
)

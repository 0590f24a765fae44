"""The formats in which tables are exported. A new one is one module, and one line in :data:`FORMS`."""

from __future__ import annotations

from collections.abc import Callable

from generator.plain import plain
from generator.site.exports import csv_form, ecsv_form, votable_form
from generator.site.exports.table import ExportTable


@plain
class Form:
    """``name`` as the trade knows it, the ending of its files, and what writes it."""

    name: str
    ending: str
    written: Callable[[ExportTable], bytes]


FORMS: tuple[Form, ...] = (
    Form("CSV", ".csv", csv_form.written),
    Form("ECSV", ".ecsv", ecsv_form.written),
    Form("VOTable", ".vot", votable_form.written),
)

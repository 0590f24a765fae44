"""The formats in which tables are exported. A new one is one module, and one line in :data:`FORMS`."""

from __future__ import annotations

from collections.abc import Callable

from noctuary.pages.exports import csv_format as csv_form
from noctuary.pages.exports import ecsv_format as ecsv_form
from noctuary.pages.exports import votable_format as votable_form
from noctuary.pages.exports.table import ExportTable
from noctuary.plain_record import plain_record


@plain_record
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

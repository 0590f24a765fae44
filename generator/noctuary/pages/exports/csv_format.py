"""Comma-separated values (RFC 4180, but with plain line feeds): a head with the names, which carry the units."""

from __future__ import annotations

import csv
import io

from noctuary.pages.exports.table import ExportTable


def table_bytes(table: ExportTable) -> bytes:
    """The table as UTF-8 text; what was not said is an empty field."""
    text = io.StringIO()
    out = csv.writer(text, lineterminator="\n")
    out.writerow([column.name for column in table.columns])
    out.writerows(table.rows)
    return text.getvalue().encode("utf-8", "replace")

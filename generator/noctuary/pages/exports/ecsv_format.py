"""Enhanced character-separated values (ECSV 1.0, Astropy Proposal for Enhancement 6): CSV that says its types."""

from __future__ import annotations

import io

from noctuary.pages.exports.table import ExportTable


def table_bytes(table: ExportTable) -> bytes:
    """The table as UTF-8 text with units and descriptions."""
    from noctuary.pages.exports.astropy_format import astropy_table

    text = io.StringIO()
    astropy_table(table).write(text, format="ascii.ecsv", delimiter=",")
    return text.getvalue().encode("utf-8", "replace")

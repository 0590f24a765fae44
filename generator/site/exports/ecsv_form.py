"""Enhanced character-separated values (ECSV 1.0, Astropy Proposal for Enhancement 6): CSV that says its types."""

from __future__ import annotations

import io

from generator.site.exports.table import ExportTable


def written(table: ExportTable) -> bytes:
    """The table as UTF-8 text with units and descriptions."""
    from generator.site.exports.astropy_form import astropy_table

    text = io.StringIO()
    astropy_table(table).write(text, format="ascii.ecsv", delimiter=",")
    return text.getvalue().encode("utf-8", "replace")

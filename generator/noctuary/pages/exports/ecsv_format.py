"""Enhanced character-separated values (ECSV 1.0, Astropy Proposal for Enhancement 6): CSV that says its types.

Written here, since an edit of one number tells the table of every session anew, and astropy takes seconds for that;
the tests read it with astropy.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping

from noctuary.pages.exports.table import ExportTable, printable, typed

_TYPES = {"text": "string", "integer": "int64", "decimal": "float64"}


def table_bytes(table: ExportTable) -> bytes:
    """The table as UTF-8 text with units and descriptions."""
    columns = [
        {"name": c.name}
        | ({"unit": c.unit} if c.unit else {})
        | {"datatype": _TYPES[c.kind], "description": printable(c.description)}
        for c in table.columns
    ]
    head = ["%ECSV 1.0", "---", "datatype:", *map(_item, columns), "delimiter: ','", "meta: !!omap"]
    head += [_item({"description": printable(table.description)}), "schema: astropy-2.0"]
    text = io.StringIO()
    text.writelines(f"# {line}\n" for line in head)
    out = csv.writer(text, lineterminator="\n")
    out.writerow([column.name for column in table.columns])
    out.writerows(typed(table))
    return text.getvalue().encode()


def _item(values: Mapping[str, str]) -> str:
    """An item of a YAML list: JSON in all but the keys, whose quotes nobody needs."""
    return "- {" + ", ".join(f"{key}: {json.dumps(value, ensure_ascii=False)}" for key, value in values.items()) + "}"

"""VOTable 1.4, the table format of the International Virtual Observatory Alliance.

Written here, since an edit of one number tells the table of every session anew, and astropy takes a second for that;
the tests read it with astropy, which holds it against the recommendation.
"""

from __future__ import annotations

from html import escape

from noctuary.pages.exports.table import Cell, Column, ExportTable, printable, typed

_TYPES = {
    "text": 'datatype="unicodeChar" arraysize="*"',
    "integer": 'datatype="long"',
    "decimal": 'datatype="double"',
}
_SPACE = "http://www.ivoa.net/xml/VOTable"


def table_bytes(table: ExportTable) -> bytes:
    """The table as XML with units and descriptions; what was not said is an empty cell."""
    parts = [
        '<?xml version="1.0" encoding="utf-8"?>\n'
        f'<VOTABLE version="1.4" xmlns="{_SPACE}/v1.3" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" '
        f'xsi:schemaLocation="{_SPACE}/v1.3 {_SPACE}/VOTable-1.4.xsd">\n'
        f"{_description(table.description)}"
        f'<RESOURCE type="results">\n<TABLE ID="{table.name}" name="{table.name}">\n'
        f"{_description(table.description)}",
        *map(_field, table.columns),
        "<DATA>\n<TABLEDATA>\n",
        *(f"<TR>{''.join(map(_cell, row))}</TR>\n" for row in typed(table)),
        "</TABLEDATA>\n</DATA>\n</TABLE>\n</RESOURCE>\n</VOTABLE>\n",
    ]
    return "".join(parts).encode()


def _field(column: Column) -> str:
    unit = f' unit="{escape(column.unit)}"' if column.unit else ""
    field = f'<FIELD ID="{column.name}" name="{column.name}" {_TYPES[column.kind]}{unit}>'
    return f"{field}{_description(column.description)}</FIELD>\n"


def _description(text: str) -> str:
    return f"<DESCRIPTION>{escape(printable(text), quote=False)}</DESCRIPTION>\n"


def _cell(value: Cell) -> str:
    return "<TD/>" if value is None or value == "" else f"<TD>{escape(str(value), quote=False)}</TD>"

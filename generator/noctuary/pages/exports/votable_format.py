"""VOTable 1.4, the table format of the International Virtual Observatory Alliance."""

from __future__ import annotations

import io
import re

from noctuary.pages.exports.table import ExportTable

#: Says which release wrote the file, so the same archive would give another file under the next one.
_SIGNATURE = re.compile(rb"<!--.*?-->\s*", re.DOTALL)


def table_bytes(table: ExportTable) -> bytes:
    """The table as XML with units and descriptions."""
    from astropy.io.votable import from_table

    from noctuary.pages.exports.astropy_format import astropy_table

    file = from_table(astropy_table(table), table_id=table.name)
    file.description = table.description
    data = io.BytesIO()
    file.to_xml(data)
    return _SIGNATURE.sub(b"", data.getvalue(), count=1)

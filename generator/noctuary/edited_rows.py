"""What edits have changed in the databases of the last whole build since: rows in place of theirs, in a small file.

So an edit writes what it changed, however large the archive is, and in one step: what was seen and made and what was
worked out belong together. Once the file is large, both databases are written anew and it is gone.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from noctuary.build_database import EDITED, BuildDatabase, Row, write_tables

EDITS = "edits.sqlite"

#: Bytes from which on it takes longer to read and write these rows than to write both databases now and then.
_LARGE = 4_000_000
_KEYED = ("inputs", "outputs", "ingredients", "answers", "pieces")


@dataclass
class EditedRows:
    """Rows in place of those of the databases that the build ``base`` wrote.

    ``about`` names and values; ``rows``: table → first column → the row; ``doubts`` are all that was reported of the
    files among the inputs here.
    """

    base: str
    about: dict[str, str] = field(default_factory=dict)
    rows: dict[str, dict[str | bytes, Row]] = field(default_factory=lambda: {table: {} for table in _KEYED})
    doubts: list[Row] = field(default_factory=list)

    @property
    def large(self) -> bool:
        return sum(len(row[1]) for table in ("answers", "pieces") for row in self.rows[table].values()) > _LARGE

    def put(self, table: str, rows: Iterable[Row]) -> None:
        self.rows[table].update((row[0], row) for row in rows)

    def doubt(self, files: Container[str], rows: Iterable[Row]) -> None:
        """Puts ``rows`` in place of all that was reported of these files."""
        self.doubts = [row for row in self.doubts if row[0] not in files] + list(rows)

    def row(self, table: str, key: bytes) -> Row | None:
        return self.rows[table].get(key)

    def of(self, table: str) -> Iterable[Row]:
        return self.rows[table].values()


def read_edits(cache: Path, base: str) -> EditedRows:
    """The rows that lie in the folder ``cache`` beside the databases of the build ``base``; none where none do."""
    found = EditedRows(base)
    try:
        database = BuildDatabase(cache / EDITS, EDITED)
    except ValueError:
        return found
    try:
        about: Mapping[str, str] = dict(database.rows("about"))
        if about.get("base") == base:
            for table in _KEYED:
                found.put(table, database.rows(table))
            found.doubts = database.rows("doubts")
            found.about = dict(about)
    except ValueError:
        return EditedRows(base)
    finally:
        database.close()
    return found


def write_edits(cache: Path, edits: EditedRows) -> None:
    """Leaves them for the next build, in one step; raises OSError."""
    rows: dict[str, Iterable[Row]] = {table: edits.of(table) for table in _KEYED}
    about = {**edits.about, "base": edits.base}
    write_tables(cache / EDITS, EDITED, {**rows, "doubts": edits.doubts, "about": about.items()})

"""The databases that a build leaves for the next one: files of plain rows in ``.noctuary/``.

One may come from somebody else's disk, and rows of the right shape could still lie about what a record says. So it
ends with a seal that only the same account of the same computer makes, and one from elsewhere is no database. It is
read into memory whole, its seal first; SQLite never opens the file itself, hence follows no link and replays no
journal beside it. Then it must have exactly the tables that are written here, with no trigger or view, and every cell
its type; a query may read those tables and do nothing else. What does not fit is no database, and the next build does
all the work again.

There are two, so that a build with nothing to do reads no more than it needs: what the last build saw and made
(``builds.sqlite``), and what it worked out (``answers.sqlite``).
"""

from __future__ import annotations

import os
import sqlite3

# Of hashlib, which loads OpenSSL besides: a fifth of the time of a build with nothing to do.
from _blake2 import blake2b
from collections.abc import Iterable, Mapping
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import Any

from noctuary.files import remove_remains, write_whole

#: Tables and their columns with the type of every cell. Paths are the bytes of the file system's names.
Tables = Mapping[str, Mapping[str, str]]

SEEN: Tables = {
    "about": {"name": "text", "value": "text"},
    "inputs": {
        "path": "blob", "size": "integer", "modified_ns": "integer", "changed_ns": "integer", "inode": "integer",
        "sha256": "text",
    },
    "outputs": {"path": "blob", "size": "integer", "modified_ns": "integer"},
    "doubts": {
        "file": "text", "line": "integer", "column": "integer", "level": "text", "rule": "text", "message": "text",
        "hint": "text",
    },
    "published": {"id": "text", "sha256": "text"},
}  # fmt: skip
"""What the last build saw and made."""

WORKED_OUT: Tables = {
    "about": {"name": "text", "value": "text"},
    "ingredients": {"path": "blob", "digests": "text"},
    "answers": {"question": "blob", "answer": "blob"},
}
"""What the last build worked out, and what it made each file of the site from."""

#: Tables whose rows are looked up one by one, by their first column.
_LOOKED_UP = frozenset({"ingredients", "answers"})

_GREATEST = 2_000_000_000
_SEAL_BYTES = 32
_COMPUTER = ("/etc/machine-id", "/var/lib/dbus/machine-id", "/etc/hostid")

#: Text, bytes and integers, as :data:`Tables` have them.
Row = tuple[Any, ...]


def write_tables(file: Path, tables: Tables, rows: Mapping[str, Iterable[Row]]) -> None:
    """Writes a database anew, in one step; raises OSError."""
    database = sqlite3.connect(":memory:", isolation_level=None)
    try:
        database.execute("BEGIN")
        for table in tables:
            database.execute(_creation(table, tables[table]))
            _insert(database, table, tables[table], rows.get(table, ()))
        database.execute("COMMIT")
        data = database.serialize()
    except sqlite3.Error as error:
        raise OSError(f"the database of the build cannot be made: {error}") from None
    finally:
        database.close()
    _replace(file, data)


def _replace(file: Path, data: bytes) -> None:
    write_whole(file, data + seal(data))
    # Only one build of an archive is at work at a time, so an unfinished database is of one that was cut off.
    remove_remains(file)


def seal(data: bytes) -> bytes:
    """The keyed digest (BLAKE2, RFC 7693) that this account of this computer puts under a database."""
    return blake2b(data, key=_own_key(), digest_size=_SEAL_BYTES).digest()


@cache
def _own_key() -> bytes:
    """What tells this account of this computer from others: the computer's own number, or else its name."""
    account = str(os.getuid()) if hasattr(os, "getuid") else os.environ.get("USERNAME", "")
    for file in _COMPUTER:
        with suppress(OSError):
            return _key(f"noctuary {account} {Path(file).read_bytes()[:200]!r}")
    import platform

    return _key(f"noctuary {account} {platform.node()}")


def _key(words: str) -> bytes:
    return blake2b(words.encode()).digest()


class BuildDatabase:
    """A database that is sound; ``rows`` of a table as they were written."""

    def __init__(self, file: Path, tables: Tables) -> None:
        """Raises ValueError where there is none, or none that this program wrote."""
        self._file, self._tables = file, tables
        self._database = _opened(_content(file), tables)

    def rows(self, table: str, *columns: str) -> list[Row]:
        """All rows of a table, of these columns (all of them where none is named); raises ValueError."""
        wanted = ", ".join(f'"{column}"' for column in columns or self._tables[table])
        try:
            return self._database.execute(f"SELECT {wanted} FROM {table}").fetchall()
        except sqlite3.Error as error:
            raise ValueError(f"not a sound database: {error}") from None

    def row(self, table: str, key: object) -> Row | None:
        """The row of a table whose first column holds this; raises ValueError."""
        column = next(iter(self._tables[table]))
        try:
            found = self._database.execute(f'SELECT * FROM {table} WHERE "{column}" = ?', (key,)).fetchone()
        except sqlite3.Error as error:
            raise ValueError(f"not a sound database: {error}") from None
        return None if found is None else tuple(found)

    def amend(self, removed: Mapping[str, Iterable[object]], added: Mapping[str, Iterable[Row]]) -> None:
        """Takes away the rows whose first column holds one of ``removed`` and puts others in; raises OSError.

        The file is written anew in one step.
        """
        database = self._database
        database.set_authorizer(None)
        database.execute("PRAGMA query_only = OFF")
        try:
            database.execute("BEGIN")
            for table, keys in removed.items():
                column = next(iter(self._tables[table]))
                database.executemany(f'DELETE FROM {table} WHERE "{column}" = ?', [(key,) for key in keys])
            for table, rows in added.items():
                _insert(database, table, self._tables[table], rows)
            database.execute("COMMIT")
            data = database.serialize()
        except sqlite3.Error as error:
            database.rollback()
            raise OSError(f"the database of the build cannot be made: {error}") from None
        finally:
            _guarded(database, self._tables)
        _replace(self._file, data)

    def close(self) -> None:
        self._database.close()


def _content(file: Path) -> bytes:
    try:
        # Not through a link, and not from a pipe that never ends.
        handle = os.open(file, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0))
        with open(handle, "rb") as opened:  # noqa: PTH123
            if os.fstat(handle).st_size > _GREATEST:
                raise ValueError("too large")
            data = opened.read()
    except OSError as error:
        raise ValueError(f"cannot be read: {error}") from None
    content = data[:-_SEAL_BYTES]
    if len(content) < 512 or seal(content) != data[-_SEAL_BYTES:]:
        raise ValueError("damaged, or from another computer")
    return content


def _opened(content: bytes, tables: Tables) -> sqlite3.Connection:
    database = sqlite3.connect(":memory:", isolation_level=None)
    try:
        database.deserialize(content)
        for pragma in ("trusted_schema = OFF", "cell_size_check = ON"):
            database.execute(f"PRAGMA {pragma}")
        _guarded(database, tables)
        schema = {tuple(row) for row in database.execute("SELECT type, name, tbl_name, sql FROM sqlite_master")}
        expected: set[Row] = {("table", table, table, _creation(table, tables[table])) for table in tables}
        expected |= {("index", f"sqlite_autoindex_{table}_1", table, None) for table in _LOOKED_UP & tables.keys()}
        if schema != expected:
            raise ValueError("not the tables of a build")
        for table, columns in tables.items():
            wrong = " OR ".join(f"""typeof("{column}") <> '{kind}'""" for column, kind in columns.items())
            if database.execute(f"SELECT 1 FROM {table} WHERE {wrong} LIMIT 1").fetchone() is not None:
                raise ValueError("a cell of another type")
    except (sqlite3.Error, ValueError, OverflowError, MemoryError) as error:
        with suppress(sqlite3.Error):
            database.close()
        raise ValueError(f"not a sound database: {error}") from None
    return database


def _guarded(database: sqlite3.Connection, tables: Tables) -> None:
    """From here on a query may read our tables and the list of tables, ask for the type of a cell, and no more."""

    def may(action: int, first: str | None, second: str | None, _: str | None, inside: str | None) -> int:
        if inside is not None:  # from within a trigger or a view
            return sqlite3.SQLITE_DENY
        if action == sqlite3.SQLITE_SELECT:
            return sqlite3.SQLITE_OK
        if action == sqlite3.SQLITE_READ and (first in tables or first in {"sqlite_master", "sqlite_schema"}):
            return sqlite3.SQLITE_OK
        if action == sqlite3.SQLITE_FUNCTION and second == "typeof":
            return sqlite3.SQLITE_OK
        return sqlite3.SQLITE_DENY

    database.execute("PRAGMA query_only = ON")
    database.set_authorizer(may)


def _insert(database: sqlite3.Connection, table: str, columns: Mapping[str, str], rows: Iterable[Row]) -> None:
    places = ", ".join("?" * len(columns))
    database.executemany(f"INSERT INTO {table} VALUES ({places})", rows)


def _creation(table: str, columns: Mapping[str, str]) -> str:
    written = [f'"{column}" {kind.upper()}' for column, kind in columns.items()]
    if table in _LOOKED_UP:
        written[0] += " PRIMARY KEY"
    return f"CREATE TABLE {table} ({', '.join(written)})"

"""The database that a build leaves for the next one: one file of plain rows in ``.noctuary/``.

It may come from somebody else's disk, and rows of the right shape could still lie about what a record says. So it
ends with a seal that only the same account of the same computer makes, and one from elsewhere is no database. It is
read into memory whole, its seal first; SQLite never opens the file itself, hence follows no link and replays no
journal beside it. Then it must have exactly the tables that are written here, with no trigger, view or index, and
every cell its type; a query may read those tables and do nothing else. What does not fit is no database, and the
next build does all the work again.
"""

from __future__ import annotations

import hmac
import os
import sqlite3
from collections.abc import Iterable, Mapping
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import Any

from noctuary.files import write_whole

TABLES: Mapping[str, Mapping[str, str]] = {
    "about": {"name": "text", "value": "text"},
    "inputs": {
        "path": "blob", "size": "integer", "modified_ns": "integer", "changed_ns": "integer", "inode": "integer",
        "sha256": "text",
    },
    "outputs": {"path": "blob", "size": "integer", "modified_ns": "integer", "ingredients": "text"},
    "doubts": {
        "file": "text", "line": "integer", "column": "integer", "level": "text", "rule": "text", "message": "text",
        "hint": "text",
    },
    "published": {"id": "text", "sha256": "text"},
    "answers": {"question": "blob", "answer": "blob"},
}  # fmt: skip
"""Tables and their columns with the type of every cell. Paths are the bytes of the file system's names."""

_GREATEST = 2_000_000_000
_SEAL_BYTES = 32
_COMPUTER = ("/etc/machine-id", "/var/lib/dbus/machine-id", "/etc/hostid")

#: Text, bytes and integers, as :data:`TABLES` has them.
Row = tuple[Any, ...]


def write_tables(file: Path, rows: Mapping[str, Iterable[Row]]) -> None:
    """Writes a database anew, in one step; raises OSError."""
    database = sqlite3.connect(":memory:", isolation_level=None)
    try:
        database.execute("BEGIN")
        for table in TABLES:
            database.execute(_creation(table))
            places = ", ".join("?" * len(TABLES[table]))
            database.executemany(f"INSERT INTO {table} VALUES ({places})", rows.get(table, ()))
        database.execute("COMMIT")
        data = database.serialize()
    except sqlite3.Error as error:
        raise OSError(f"the database of the build cannot be made: {error}") from None
    finally:
        database.close()
    write_whole(file, data + seal(data))


def seal(data: bytes) -> bytes:
    """The keyed digest (HMAC, RFC 2104, with SHA-256) that this account of this computer puts under a database."""
    return hmac.digest(_own_key(), data, "sha256")


@cache
def _own_key() -> bytes:
    """What tells this account of this computer from others: the computer's own number, or else its name."""
    account = str(os.getuid()) if hasattr(os, "getuid") else os.environ.get("USERNAME", "")
    for file in _COMPUTER:
        with suppress(OSError):
            return f"noctuary {account} {Path(file).read_bytes()[:200]!r}".encode()
    import platform

    return f"noctuary {account} {platform.node()}".encode()


class BuildDatabase:
    """A database that is sound; ``rows`` of a table as they were written."""

    def __init__(self, file: Path) -> None:
        """Raises ValueError where there is none, or none that this program wrote."""
        self._database = _opened(_content(file))

    def rows(self, table: str, *columns: str) -> list[Row]:
        """All rows of a table, of these columns (all of them where none is named); raises ValueError."""
        wanted = ", ".join(f'"{column}"' for column in columns or TABLES[table])
        try:
            return self._database.execute(f"SELECT {wanted} FROM {table}").fetchall()
        except sqlite3.Error as error:
            raise ValueError(f"not a sound database: {error}") from None

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
    if len(content) < 512 or not hmac.compare_digest(seal(content), data[-_SEAL_BYTES:]):
        raise ValueError("damaged, or from another computer")
    return content


def _opened(content: bytes) -> sqlite3.Connection:
    database = sqlite3.connect(":memory:", isolation_level=None)
    try:
        database.deserialize(content)
        for pragma in ("trusted_schema = OFF", "cell_size_check = ON", "query_only = ON"):
            database.execute(f"PRAGMA {pragma}")
        database.set_authorizer(_may)
        schema = {tuple(row) for row in database.execute("SELECT type, name, tbl_name, sql FROM sqlite_master")}
        if schema != {("table", table, table, _creation(table)) for table in TABLES}:
            raise ValueError("not the tables of a build")
        for table, columns in TABLES.items():
            wrong = " OR ".join(f"""typeof("{column}") <> '{kind}'""" for column, kind in columns.items())
            if database.execute(f"SELECT 1 FROM {table} WHERE {wrong} LIMIT 1").fetchone() is not None:
                raise ValueError("a cell of another type")
    except (sqlite3.Error, ValueError, OverflowError, MemoryError) as error:
        with suppress(sqlite3.Error):
            database.close()
        raise ValueError(f"not a sound database: {error}") from None
    return database


def _may(action: int, first: str | None, second: str | None, database: str | None, inside: str | None) -> int:
    """What a query may do: read our tables and the list of tables, and ask for the type of a cell."""
    if inside is not None:  # from within a trigger or a view
        return sqlite3.SQLITE_DENY
    if action == sqlite3.SQLITE_SELECT:
        return sqlite3.SQLITE_OK
    if action == sqlite3.SQLITE_READ and (first in TABLES or first in {"sqlite_master", "sqlite_schema"}):
        return sqlite3.SQLITE_OK
    if action == sqlite3.SQLITE_FUNCTION and second == "typeof":
        return sqlite3.SQLITE_OK
    return sqlite3.SQLITE_DENY


def _creation(table: str) -> str:
    columns = ", ".join(f'"{column}" {kind.upper()}' for column, kind in TABLES[table].items())
    return f"CREATE TABLE {table} ({columns})"

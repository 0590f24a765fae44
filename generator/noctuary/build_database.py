"""The databases that a build leaves for the next one: files of plain rows in ``.noctuary/``.

One may come from somebody else's disk, and rows of the right shape could still lie about what a record says. So
everything in them carries a seal that only the same account of the same computer makes, and what comes from elsewhere
is as good as nothing. A database must have exactly the tables that are written here, with no trigger or view; a query
may read those tables and do nothing else. What does not fit is not there, and the next build does that work again.

There are three, so that a build reads and writes no more than it needs: what the last build saw and made
(``builds.sqlite``, read whole by every build), what it worked out (``answers.sqlite``, of which an edit needs a few
rows), and what edits have changed in both since (``edits.sqlite``, small and read whole). The two that are read whole
end with one seal of all their bytes; they are read into memory, and SQLite never opens the files themselves. In the
large one every row has its own seal, and SQLite opens it as a file that nobody changes: it locks nothing, follows no
link, and looks at no journal beside it.
"""

from __future__ import annotations

import os
import sqlite3
import stat

# Of hashlib, which loads OpenSSL besides: a fifth of the time of a build with nothing to do.
from _blake2 import blake2b
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import Any

from noctuary.files import remove_remains, replacing, write_whole

#: Tables and their columns with the type of every cell. Paths are the bytes of the file system's names.
Tables = Mapping[str, Mapping[str, str]]

_ABOUT = {"name": "text", "value": "text"}

SEEN: Tables = {
    "about": _ABOUT,
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
    "about": _ABOUT,
    "ingredients": {"path": "blob", "digests": "text"},
    "answers": {"question": "blob", "answer": "blob"},
    "pieces": {"name": "blob", "piece": "blob"},
}
"""What the last build worked out, what it made each file of the site from, and what some were put together from."""

EDITED: Tables = {**SEEN, **WORKED_OUT}
"""Of both, the rows that have changed since."""

#: Tables whose rows are looked up one by one, by their first column.
_LOOKED_UP = frozenset({"ingredients", "answers", "pieces"})

_GREATEST = 2_000_000_000
_SEAL_BYTES = 32
_ROW_SEAL_BYTES = 16
_SEAL = "seal"
_COMPUTER = ("/etc/machine-id", "/var/lib/dbus/machine-id", "/etc/hostid")
_KINDS: Mapping[str, type] = {"text": str, "integer": int, "blob": bytes}

#: Text, bytes and integers, as :data:`Tables` have them.
Row = tuple[Any, ...]


def write_tables(file: Path, tables: Tables, rows: Mapping[str, Iterable[Row]]) -> None:
    """Writes a database that is read whole, in one step; raises OSError."""
    database = sqlite3.connect(":memory:", isolation_level=None)
    try:
        _fill(database, tables, rows)
        data = database.serialize()
    except sqlite3.Error as error:
        raise OSError(f"the database of the build cannot be made: {error}") from None
    finally:
        database.close()
    write_whole(file, data + seal(data))
    # Only one build of an archive is at work at a time, so an unfinished database is of one that was cut off.
    remove_remains(file)


def write_sealed_rows(file: Path, tables: Tables, build: str, rows: Mapping[str, Iterable[Row]]) -> None:
    """Writes a database that is read row by row, in one step; raises OSError.

    ``build`` tells it from every other of its kind: no row is taken for one of another's.
    """

    def sealed(table: str) -> Iterator[Row]:
        row_seal = row_sealer(build, table)
        for row in rows.get(table, ()):
            yield *row, row_seal(row)

    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        with replacing(file) as unfinished:
            database = sqlite3.connect(unfinished.name, isolation_level=None)
            try:
                # It takes its place when it is whole, so it needs no journal, and who reads it looks at its seals.
                for pragma in ("journal_mode = OFF", "synchronous = OFF", "locking_mode = EXCLUSIVE"):
                    database.execute(f"PRAGMA {pragma}")
                _fill(database, _with_seals(tables), {table: sealed(table) for table in tables})
            finally:
                database.close()
    except sqlite3.Error as error:
        raise OSError(f"the database of the build cannot be made: {error}") from None
    remove_remains(file)


def seal(data: bytes) -> bytes:
    """The keyed digest (BLAKE2, RFC 7693) that this account of this computer puts under a database."""
    return blake2b(data, key=_own_key(), digest_size=_SEAL_BYTES).digest()


def _with_seals(tables: Tables) -> Tables:
    return {table: {**columns, _SEAL: "blob"} for table, columns in tables.items()}


def row_sealer(build: str, table: str) -> Callable[[Row], bytes]:
    """What seals the rows of a table of this build likewise: every cell is told by its length from the next.

    Of which type a cell is, its column says.
    """
    key = blake2b(build.encode("utf-8", "replace"), key=_own_key()).digest()
    begun = blake2b(table.encode() + b"\0", key=key, digest_size=_ROW_SEAL_BYTES)

    def row_seal(row: Row) -> bytes:
        own = begun.copy()
        for cell in row:
            data = cell if isinstance(cell, bytes) else str(cell).encode()
            own.update(b"%d:" % len(data))
            own.update(data)
        return own.digest()

    return row_seal


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
    """A database that is sound as a whole; ``rows`` of a table as they were written."""

    def __init__(self, file: Path, tables: Tables) -> None:
        """Raises ValueError where there is none, or none that this program wrote."""
        self._tables = tables
        self._database = _opened(_content(file), tables)

    def rows(self, table: str, *columns: str) -> list[Row]:
        """All rows of a table, of these columns (all of them where none is named); raises ValueError."""
        return _asked(self._database, _selection(table, columns or self._tables[table]))

    def close(self) -> None:
        self._database.close()


class SealedRows:
    """A database whose rows are looked at one by one; one that is not sound is not there.

    ``about`` is what the table of that name says, ``about["build"]`` what it was written for.
    """

    def __init__(self, file: Path, tables: Tables) -> None:
        """Raises ValueError where there is none, or none that this program wrote."""
        self._tables = tables
        self._database = _opened_in_place(file, _with_seals(tables))
        try:
            written = _asked(self._database, _selection("about", ["name", "value", _SEAL]))
            self._build = next((str(row[1]) for row in written if row[0] == "build"), "")
            self.about: dict[str, str] = dict(self._sound("about", written))
            if "build" not in self.about or len(self.about) != len(written):
                raise ValueError("damaged, or from another computer")
        except ValueError:
            self._database.close()
            raise

    def rows(self, table: str) -> Iterator[Row]:
        """The sound rows of a table; raises ValueError."""
        return self._sound(table, _asked(self._database, _selection(table, [*self._tables[table], _SEAL])))

    def row(self, table: str, key: bytes) -> Row | None:
        """The row of a table whose first column holds this, if it is sound; raises ValueError."""
        columns = self._tables[table]
        where = f'{_selection(table, [*columns, _SEAL])} WHERE "{next(iter(columns))}" = ?'
        found = next(self._sound(table, _asked(self._database, where, key)), None)
        return found if found is not None and found[0] == key else None

    def close(self) -> None:
        self._database.close()

    def _sound(self, table: str, rows: Iterable[Row]) -> Iterator[Row]:
        kinds = [_KINDS[kind] for kind in self._tables[table].values()]
        row_seal = row_sealer(self._build, table)
        for sealed in rows:
            row = sealed[:-1]
            if list(map(type, row)) == kinds and sealed[-1] == row_seal(row):
                yield row


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
        _look_over(database, tables)
        for table, columns in tables.items():
            wrong = " OR ".join(f"""typeof("{column}") <> '{kind}'""" for column, kind in columns.items())
            if database.execute(f"SELECT 1 FROM {table} WHERE {wrong} LIMIT 1").fetchone() is not None:
                raise ValueError("a cell of another type")
    except (sqlite3.Error, ValueError, OverflowError, MemoryError) as error:
        _give_up(database, error)
    return database


def _opened_in_place(file: Path, tables: Tables) -> sqlite3.Connection:
    try:
        status = file.lstat()
    except OSError as error:
        raise ValueError(f"cannot be read: {error}") from None
    if not stat.S_ISREG(status.st_mode) or status.st_size > _GREATEST:
        raise ValueError("no file of ours")
    database = None
    try:
        database = sqlite3.connect(f"{file.absolute().as_uri()}?mode=ro&immutable=1", uri=True, isolation_level=None)
        _look_over(database, tables)
    except (sqlite3.Error, ValueError, OverflowError, MemoryError) as error:
        _give_up(database, error)
    assert database is not None
    return database


def _give_up(database: sqlite3.Connection | None, error: Exception) -> None:
    if database is not None:
        with suppress(sqlite3.Error):
            database.close()
    raise ValueError(f"not a sound database: {error}") from None


def _look_over(database: sqlite3.Connection, tables: Tables) -> None:
    """Lets a database do nothing but be read, and raises ValueError where it holds anything but these tables."""
    for pragma in ("trusted_schema = OFF", "cell_size_check = ON"):
        database.execute(f"PRAGMA {pragma}")
    _guarded(database, tables)
    schema = {tuple(row) for row in database.execute("SELECT type, name, tbl_name, sql FROM sqlite_master")}
    expected: set[Row] = {("table", table, table, _creation(table, tables[table])) for table in tables}
    expected |= {("index", f"sqlite_autoindex_{table}_1", table, None) for table in _LOOKED_UP & tables.keys()}
    if schema != expected:
        raise ValueError("not the tables of a build")


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


def _asked(database: sqlite3.Connection, query: str, *values: object) -> list[Row]:
    try:
        return database.execute(query, values).fetchall()
    except (sqlite3.Error, OverflowError, MemoryError) as error:
        raise ValueError(f"not a sound database: {error}") from None


def _selection(table: str, columns: Iterable[str]) -> str:
    wanted = ", ".join(f'"{column}"' for column in columns)
    return f"SELECT {wanted} FROM {table}"


def _fill(database: sqlite3.Connection, tables: Tables, rows: Mapping[str, Iterable[Row]]) -> None:
    database.execute("BEGIN")
    for table, columns in tables.items():
        database.execute(_creation(table, columns))
        places = ", ".join("?" * len(columns))
        database.executemany(f"INSERT INTO {table} VALUES ({places})", rows.get(table, ()))
    database.execute("COMMIT")


def _creation(table: str, columns: Mapping[str, str]) -> str:
    written = [f'"{column}" {kind.upper()}' for column, kind in columns.items()]
    if table in _LOOKED_UP:
        written[0] += " PRIMARY KEY"
    return f"CREATE TABLE {table} ({', '.join(written)})"

"""Caches from somebody else's disk: whatever lies in ``.noctuary/``, nothing of it runs and the site stays the same.

What a build leaves are two SQLite databases. SQLite's own advice for files of unknown origin (sqlite.org, "Defense
Against The Dark Arts": no trusted schema, cells checked, a schema that is compared before use) is what is tried here.
"""

from __future__ import annotations

import os
import pickle
import random
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, suppress
from pathlib import Path
from typing import Any

import pytest
from noctuary.archive.parse_file import ParsedFile
from noctuary.build import build, examine
from noctuary.build_database import (
    SEEN,
    WORKED_OUT,
    BuildDatabase,
    SealedRows,
    row_sealer,
    seal,
    write_sealed_rows,
    write_tables,
)
from noctuary.build_manifest import DATABASE, FOLDER, read_manifest
from noctuary.edited_rows import EDITS
from noctuary.edited_words import EditedWords
from noctuary.typed_values import from_bytes
from noctuary.up_to_date import look_at
from noctuary.worked_out import ANSWERS, WorkedOut

from tests.faults.trials import bytes_below, set_plainly, write_archive

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "content_demo"


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, bytes]]:
    """An archive of two pictures, built, and what its site then holds."""
    archive = write_archive(tmp_path_factory.mktemp("crafted") / "archive", 2)
    set_plainly(archive)
    assert build(archive, workers=1).built
    sidecar = archive / "pictures/field-00000.yaml"
    sidecar.write_text(sidecar.read_text().replace("The wind fell", "The wind rose"))
    assert EditedWords(archive, archive / "site").build() is not None
    assert database_of(archive, EDITS).exists()
    return archive, bytes_below(archive / "site")


@pytest.fixture
def archive(kept: tuple[Path, dict[str, bytes]], tmp_path: Path) -> Path:
    return Path(shutil.copytree(kept[0], tmp_path / "archive", symlinks=True))


def database_of(archive: Path, database: str = DATABASE) -> Path:
    return archive / FOLDER / database


def sealed(data: bytes) -> bytes:
    """As this account of this computer would leave it: the worst that can be crafted."""
    return data + seal(data)


def changed(
    archive: Path, *statements: str, unsafe: bool = False, own: bool = True, edits: bool = False
) -> None:
    """Runs SQL on the database of an archive that it is about, and puts its seal right, where it is to be our own."""
    of_answers = not edits and any(table in " ".join(statements) for table in ("answers", "ingredients"))
    file = database_of(archive, EDITS if edits else ANSWERS if of_answers else DATABASE)
    database = sqlite3.connect(":memory:", isolation_level=None)
    database.deserialize(file.read_bytes()[: None if of_answers else -32])
    if unsafe:
        database.execute("PRAGMA writable_schema = ON")
    for statement in statements:
        database.execute(statement)
    if of_answers and own:
        _seal_rows(database)
    data = database.serialize()
    file.write_bytes(data if of_answers else sealed(data) if own else data + bytes(32))
    database.close()


def _seal_rows(database: sqlite3.Connection) -> None:
    """Puts the seals of rows right, as far as what is left of their tables has any."""
    with suppress(sqlite3.Error):
        (build,) = database.execute("SELECT value FROM about WHERE name = 'build'").fetchone()
        for table, columns in WORKED_OUT.items():
            with suppress(sqlite3.Error):
                for number, *row in database.execute(f"SELECT rowid, {', '.join(columns)} FROM {table}").fetchall():
                    own_seal = row_sealer(build, table)(tuple(row))
                    database.execute(f"UPDATE {table} SET seal = ? WHERE rowid = ?", (own_seal, number))


class Runs:
    """A pickle that makes a file where it is loaded."""

    def __init__(self, mark: Path) -> None:
        self.mark = mark

    def __reduce__(self) -> tuple[object, tuple[str]]:
        return os.system, (f"touch {self.mark}",)


CRAFTED: dict[str, Callable[[Path], object]] = {
    "a trigger": lambda a: changed(
        a, "CREATE TRIGGER evil AFTER INSERT ON answers BEGIN DELETE FROM ingredients; END"
    ),
    "a view in place of a table": lambda a: changed(
        a,
        "ALTER TABLE doubts RENAME TO other",
        "CREATE VIEW doubts AS SELECT 'x' file, 1 line, 1 \"column\", 'doubt' level, hex(randomblob(9)) rule, "
        "'evil' message, 'evil' hint",
    ),
    "a view beside the tables": lambda a: changed(a, "CREATE VIEW evil AS SELECT load_extension('evil.so')"),
    "an index": lambda a: changed(a, "CREATE INDEX evil ON answers (hex(question))"),
    "another column": lambda a: changed(a, "ALTER TABLE inputs ADD COLUMN evil TEXT"),
    "a computed column": lambda a: changed(
        a, "ALTER TABLE inputs ADD COLUMN evil TEXT AS (upper(sha256))"
    ),
    "no table": lambda a: changed(a, "DROP TABLE answers"),
    "cells of another type": lambda a: changed(a, "UPDATE outputs SET size = 'many'"),
    "ingredients of another type": lambda a: changed(a, "UPDATE ingredients SET digests = x'ff'"),
    "answers of another build": lambda a: changed(a, "UPDATE about SET value = 'another' WHERE name = 'build'"),
    "answers looked up by another key": lambda a: changed(
        a, "DELETE FROM sqlite_master WHERE name = 'sqlite_autoindex_answers_1'", unsafe=True
    ),
    "answers that are text": lambda a: changed(a, "UPDATE answers SET answer = 'evil'"),
    "answers of random bytes": lambda a: changed(a, "UPDATE answers SET answer = randomblob(200)"),
    "answers of the right shape that lie": lambda a: changed(a, "UPDATE answers SET answer = x'c0'", own=False),
    "answers that are an empty mapping": lambda a: changed(a, "UPDATE answers SET answer = x'80'"),
    "answers that are an empty list": lambda a: changed(a, "UPDATE answers SET answer = x'90'"),
    "answers nested without end": lambda a: changed(a, f"UPDATE answers SET answer = x'{'91' * 100_000}'"),
    "edits with a trigger": lambda a: changed(
        a, "CREATE TRIGGER evil AFTER INSERT ON answers BEGIN DELETE FROM ingredients; END", edits=True
    ),
    "edits of another build": lambda a: changed(
        a, "UPDATE about SET value = 'another' WHERE name = 'base'", edits=True
    ),
    "edits with cells of another type": lambda a: changed(a, "UPDATE outputs SET size = 'many'", edits=True),
    "edits that lie": lambda a: changed(a, "UPDATE answers SET answer = x'c0'", edits=True, own=False),
    "edits of random bytes": lambda a: changed(
        a, "UPDATE answers SET answer = randomblob(200)", "UPDATE pieces SET piece = randomblob(9)", edits=True
    ),
    "edits without a day": lambda a: changed(a, "DELETE FROM about WHERE name <> 'base'", edits=True),
    "no edits any more": lambda a: database_of(a, EDITS).unlink(),
    "pieces of random bytes": lambda a: changed(
        a, "UPDATE pieces SET piece = randomblob(9)", "DELETE FROM answers WHERE 0"
    ),
    "ingredients that are no JSON": lambda a: changed(a, "UPDATE ingredients SET digests = '['"),
    "ingredients of another shape": lambda a: changed(a, "UPDATE ingredients SET digests = '[[1, {}]]'"),
    "counts that are no numbers": lambda a: changed(a, "UPDATE about SET value = 'many' WHERE name = 'pages'"),
    "paths out of the site": lambda a: changed(a, "UPDATE outputs SET path = CAST('../../evil' AS BLOB)"),
    "a schema that is no SQL": lambda a: changed(
        a, "UPDATE sqlite_master SET sql = 'CREATE TABLE answers (' WHERE name = 'answers'", unsafe=True
    ),
    "a schema that reads another page": lambda a: changed(
        a, "UPDATE sqlite_master SET rootpage = 1 WHERE name = 'answers'", unsafe=True
    ),
    "a schema that lies beyond the file": lambda a: changed(
        a, "UPDATE sqlite_master SET rootpage = 99999 WHERE name = 'outputs'", unsafe=True
    ),
    "nothing at all": lambda a: database_of(a).write_bytes(b""),
    "zeros": lambda a: database_of(a).write_bytes(sealed(b"\0" * 8192)),
    "another program's database": lambda a: _foreign(database_of(a)),
    "a folder": lambda a: _instead(a, os.mkdir),
    "a pipe": lambda a: _instead(a, os.mkfifo),
}


def _instead(archive: Path, make: Callable[[Path], object]) -> None:
    database_of(archive).unlink()
    make(database_of(archive))


def _foreign(path: Path) -> None:
    database = sqlite3.connect(":memory:")
    database.executescript("CREATE TABLE bookmarks (title, address); INSERT INTO bookmarks VALUES ('a', 'b');")
    path.write_bytes(sealed(database.serialize()))


@pytest.mark.slow
@pytest.mark.parametrize("kind", CRAFTED)
def test_a_crafted_database_changes_no_byte_of_the_site(
    kind: str, archive: Path, kept: tuple[Path, dict[str, bytes]]
) -> None:
    CRAFTED[kind](archive)
    if kind == "a folder":  # where a folder lies nothing can be kept, which is told; the site is right all the same
        shutil.rmtree(archive / "site")
    assert not examine(archive).faults
    outcome = build(archive, workers=1)
    assert outcome.built, [str(f) for f in outcome.findings]
    assert bytes_below(archive / "site") == kept[1]
    assert not list(archive.parent.rglob("evil*"))


def test_pickles_are_never_loaded(archive: Path, kept: tuple[Path, dict[str, bytes]], tmp_path: Path) -> None:
    mark = tmp_path / "was-here"
    evil = pickle.dumps({"program": Runs(mark), "answers": {("a",): Runs(mark)}})
    for file in ("memory.pickle", "manifest.json", DATABASE, ANSWERS, EDITS):
        (archive / FOLDER / file).write_bytes(sealed(evil))
    look = look_at([str(archive)])
    assert look is not None
    assert not look.shows_nothing_new
    assert not examine(archive).faults
    assert build(archive, workers=1).built
    assert not mark.exists()
    assert bytes_below(archive / "site") == kept[1]


@pytest.mark.parametrize("which", [DATABASE, ANSWERS, EDITS])
def test_turned_bits_and_random_bytes(archive: Path, which: str) -> None:
    """Read many times over without a build: each is the database itself or none, or rows of it and no others."""

    def read() -> tuple[dict[str, Any], dict[bytes, bytes]]:
        worked_out = WorkedOut(archive)
        try:
            seen = {"ingredients": worked_out.ingredients(), "outputs": read_manifest(archive).outputs}
            return seen, worked_out.answers()
        finally:
            worked_out.close()

    file = database_of(archive, which)
    sound, chance = file.read_bytes(), random.Random(5)
    whole = read()
    assert read_manifest(archive).outputs
    assert whole[1]
    file.unlink()
    none = read()
    for turn in range(150):
        data = bytearray(sound[:-32])
        for _ in range(chance.choice((1, 3, 200))):
            data[chance.randrange(len(data))] = chance.randrange(256)
        if chance.random() < 0.3:
            del data[chance.randrange(len(data)) :]
        file.write_bytes(sealed(bytes(data)) if turn % 2 else bytes(data) + sound[-32:])
        rows, answers = read()
        if which == ANSWERS:
            assert rows["outputs"] == whole[0]["outputs"]
            assert rows["ingredients"].items() <= whole[0]["ingredients"].items()
            assert answers.items() <= whole[1].items()
        elif turn % 2 == 0:
            assert (rows, answers) in (none, whole)
        for answer in answers.values():
            try:
                from_bytes(answer, ParsedFile)
            except ValueError:
                continue


def test_the_values_of_a_sound_database_come_back(tmp_path: Path) -> None:
    file = tmp_path / "x.sqlite"
    rows: dict[str, list[tuple[Any, ...]]] = {
        "about": [("a", "ü")],
        "inputs": [(os.fsencode("nä\udcffme"), 1, 2, 3, (1 << 63) - 1, "")],
    }
    write_tables(file, SEEN, rows)
    database = BuildDatabase(file, SEEN)
    assert {table: database.rows(table) for table in SEEN} == {table: rows.get(table, []) for table in SEEN}
    # A query can read these tables and nothing else.
    for words in ("load_extension('x')", "hex(name)", "(SELECT sql FROM sqlite_temp_schema)"):
        with pytest.raises(ValueError, match="not a sound database"):
            database.rows("about", f'name" IS {words} OR "name')
    database.close()


def test_rows_that_are_looked_up_are_sealed_one_by_one(tmp_path: Path) -> None:
    file = tmp_path / "x.sqlite"
    about, answers = [("build", "b")], [(b"a", b"1"), (b"b", b"2"), (b"c", b"3")]
    write_sealed_rows(file, WORKED_OUT, "b", {"answers": answers, "about": about, "ingredients": [(b"a", "1")]})

    def read() -> tuple[list[Any], Any, Any]:
        database = SealedRows(file, WORKED_OUT)
        try:
            return list(database.rows("answers")), database.row("answers", b"a"), database.row("ingredients", b"a")
        finally:
            database.close()

    assert read() == (answers, (b"a", b"1"), (b"a", "1"))
    for statement in (
        "UPDATE answers SET answer = x'32' WHERE question = x'61'",  # an answer that lies
        "UPDATE answers SET question = x'7a', seal = (SELECT seal FROM answers WHERE question = x'61') "
        "WHERE question = x'61'",  # to another question
        "UPDATE answers SET answer = '1' WHERE question = x'61'",  # of another type
    ):
        whole = file.read_bytes()
        with closing(sqlite3.connect(file, isolation_level=None)) as database:
            database.execute(statement)
        assert read() == (answers[1:], None, (b"a", "1"))
        file.write_bytes(whole)
    # Rows of another build are no rows of this one, whatever that says of itself.
    with closing(sqlite3.connect(file, isolation_level=None)) as database:
        database.execute("UPDATE about SET value = 'c' WHERE name = 'build'")
    with pytest.raises(ValueError, match="damaged"):
        SealedRows(file, WORKED_OUT)
    # Nor is a journal looked at that somebody has put beside it.
    write_sealed_rows(file, WORKED_OUT, "b", {"answers": answers, "about": about, "ingredients": [(b"a", "1")]})
    for ending in ("-journal", "-wal"):
        (tmp_path / f"x.sqlite{ending}").write_bytes(b"evil" * 3000)
    assert read()[0] == answers


@pytest.mark.parametrize("which", [DATABASE, ANSWERS, EDITS])
def test_a_link_is_not_read_through(which: str, archive: Path, tmp_path: Path) -> None:
    elsewhere = tmp_path / "elsewhere.sqlite"
    database_of(archive, which).rename(elsewhere)
    database_of(archive, which).symlink_to(elsewhere)
    before = elsewhere.read_bytes()
    assert bool(read_manifest(archive).outputs) == (which != DATABASE)
    assert bool(WorkedOut(archive).build) == (which != ANSWERS)
    assert build(archive, workers=1).built
    assert elsewhere.read_bytes() == before
    assert not database_of(archive, which).is_symlink()


@pytest.mark.slow
@pytest.mark.parametrize("hard", [False, True])
def test_nothing_outside_is_written_through_a_link(archive: Path, tmp_path: Path, hard: bool) -> None:
    outside = {}
    for inside in ("lock", DATABASE, ANSWERS, EDITS, "schemas/sidecar.json", "schemas/page.json"):
        path = archive / FOLDER / inside
        path.unlink()
        there = tmp_path / f"outside-{path.name}"
        there.write_text("mine")
        outside[there] = "mine"
        path.hardlink_to(there) if hard else path.symlink_to(there)
    assert build(archive, workers=1).built
    assert {path: path.read_text() for path in outside} == outside


@pytest.mark.parametrize("inside", ["", "renditions", "schemas"])
def test_a_cache_that_leads_out_is_a_fault(archive: Path, tmp_path: Path, inside: str) -> None:
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    shutil.rmtree(archive / FOLDER / inside)
    (archive / FOLDER / inside).symlink_to(elsewhere)
    outcome = build(archive, workers=1)
    assert not outcome.built
    assert "is a link" in outcome.findings[0].message
    assert not list(elsewhere.iterdir())


@pytest.fixture(autouse=True)
def _no_leftovers() -> Iterator[None]:
    yield
    assert not Path("evil.so").exists()

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
from dataclasses import dataclass
from datetime import date, time
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from noctuary.archive.parse_file import ParsedFile, parse, parsed_type
from noctuary.build import build, examine
from noctuary.build_database import SEEN, WORKED_OUT, BuildDatabase, seal, write_tables
from noctuary.build_manifest import DATABASE, FOLDER, read_manifest
from noctuary.memo import Memo
from noctuary.typed_values import from_bytes, to_bytes
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
    return archive, bytes_below(archive / "site")


@pytest.fixture
def archive(kept: tuple[Path, dict[str, bytes]], tmp_path: Path) -> Path:
    return Path(shutil.copytree(kept[0], tmp_path / "archive", symlinks=True))


def database_of(archive: Path, database: str = DATABASE) -> Path:
    return archive / FOLDER / database


def sealed(data: bytes) -> bytes:
    """As this account of this computer would leave it: the worst that can be crafted."""
    return data + seal(data)


def changed(archive: Path, *statements: str, unsafe: bool = False, own: bool = True) -> None:
    """Runs SQL on the database of an archive that it is about, and puts its seal right, where it is to be our own."""
    of_answers = any(table in " ".join(statements) for table in ("answers", "ingredients"))
    file = database_of(archive, ANSWERS if of_answers else DATABASE)
    database = sqlite3.connect(":memory:", isolation_level=None)
    database.deserialize(file.read_bytes()[:-32])
    if unsafe:
        database.execute("PRAGMA writable_schema = ON")
    for statement in statements:
        database.execute(statement)
    data = database.serialize()
    file.write_bytes(sealed(data) if own else data + bytes(32))
    database.close()


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
    for file in ("memory.pickle", "manifest.json", DATABASE, ANSWERS):
        (archive / FOLDER / file).write_bytes(sealed(evil))
    look = look_at([str(archive)])
    assert look is not None
    assert not look.shows_nothing_new
    assert not examine(archive).faults
    assert build(archive, workers=1).built
    assert not mark.exists()
    assert bytes_below(archive / "site") == kept[1]


@pytest.mark.parametrize("which", [DATABASE, ANSWERS])
def test_turned_bits_and_random_bytes(archive: Path, which: str) -> None:
    """Read many times over without a build: each is the database itself or none."""

    def read() -> tuple[object, dict[bytes, bytes]]:
        worked_out = WorkedOut(archive)
        return (worked_out.ingredients(), read_manifest(archive).outputs), worked_out.answers()

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
        if turn % 2 == 0:
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


def test_a_database_is_amended_and_nothing_else_in_it_changes(tmp_path: Path) -> None:
    file = tmp_path / "x.sqlite"
    write_tables(file, WORKED_OUT, {"answers": [(b"a", b"1"), (b"b", b"2"), (b"c", b"3")], "about": [("x", "y")]})
    database = BuildDatabase(file, WORKED_OUT)
    database.amend({"answers": [b"a", b"c"]}, {"answers": [(b"c", b"4"), (b"d", b"5")]})
    for reader in (database, BuildDatabase(file, WORKED_OUT)):
        assert sorted(reader.rows("answers")) == [(b"b", b"2"), (b"c", b"4"), (b"d", b"5")]
        assert reader.row("answers", b"c") == (b"c", b"4")
        assert reader.row("answers", b"a") is None
        assert reader.rows("about") == [("x", "y")]
        with pytest.raises(ValueError, match="not a sound database"):
            reader.rows("about", 'name" IS hex(name) OR "name')
    with pytest.raises(OSError, match="cannot be made"):
        database.amend({}, {"answers": [(b"d", b"again")]})
    assert sorted(database.rows("answers")) == [(b"b", b"2"), (b"c", b"4"), (b"d", b"5")]
    database.close()


def test_a_link_is_not_read_through(archive: Path, tmp_path: Path) -> None:
    elsewhere = tmp_path / "elsewhere.sqlite"
    database_of(archive).rename(elsewhere)
    database_of(archive).symlink_to(elsewhere)
    before = elsewhere.read_bytes()
    assert not read_manifest(archive).outputs
    assert build(archive, workers=1).built
    assert elsewhere.read_bytes() == before
    assert not database_of(archive).is_symlink()


@pytest.mark.slow
@pytest.mark.parametrize("hard", [False, True])
def test_nothing_outside_is_written_through_a_link(archive: Path, tmp_path: Path, hard: bool) -> None:
    outside = {}
    for inside in ("lock", DATABASE, ANSWERS, "schemas/sidecar.json", "schemas/page.json"):
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


class TestValues:
    @dataclass(frozen=True)
    class Held:
        value: dict[str, Any]
        pair: tuple[int, str]

    @given(
        st.recursive(
            st.none() | st.booleans() | st.integers(-(2**63), 2**64 - 1) | st.floats(allow_nan=False) | st.text()
            | st.binary() | st.dates() | st.times().map(lambda clock: clock.replace(fold=0)),
            lambda inner: st.lists(inner, max_size=4) | st.lists(inner, max_size=4).map(tuple)
            | st.dictionaries(st.text(), inner, max_size=4),
            max_leaves=20,
        )
    )  # fmt: skip
    @settings(max_examples=80)
    def test_any_plain_value_comes_back_as_it_was(self, value: object) -> None:
        held = self.Held({"it": value}, (1, "a"))
        try:
            data = to_bytes(held)
        except ValueError:  # text that is no Unicode
            return
        again = from_bytes(data, self.Held)
        assert again == held
        assert repr(again) == repr(held)

    @given(st.binary(max_size=400))
    def test_bytes_from_anywhere_are_a_value_or_none(self, data: bytes) -> None:
        for kind in (ParsedFile, self.Held, float, str):
            try:
                value = from_bytes(data, kind)
            except ValueError:
                continue
            assert isinstance(value, (kind, int) if kind is float else kind)

    def test_a_parsed_record_comes_back_whole(self) -> None:
        for path in sorted(DEMO.glob("**/*.yaml")):
            name = path.relative_to(DEMO).as_posix()
            if name.startswith(("site/", "theme/")):
                continue
            parsed = parse(path.read_bytes(), name)
            again = from_bytes(to_bytes(parsed), parsed_type(name))
            assert again == parsed
            assert repr(again) == repr(parsed)

    def test_what_is_of_another_type_is_worked_out_again(self) -> None:
        memory = Memo()
        assert memory.ask(("a", 1), lambda: 2.5, float) == 2.5
        assert memory.ask(("b", date(2025, 1, 2), time(3)), lambda: "word", str) == "word"
        again = Memo(memory.kept())
        assert again.missing([("a", 1)], str) == [("a", 1)]
        assert again.ask(("a", 1), lambda: "other", str) == "other"
        assert again.known(("b", date(2025, 1, 2), time(3)), str) == "word"
        assert again.changed


@pytest.fixture(autouse=True)
def _no_leftovers() -> Iterator[None]:
    yield
    assert not Path("evil.so").exists()

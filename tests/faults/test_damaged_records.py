"""Damaged records: each gives its rule on the right line and column, and nothing but findings.

One sound archive is written, one thing in it is spoilt, and what is told must point at the spoilt thing.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from noctuary.archive.read import read_archive

from tests.builders.sound import SIDECAR, O, S, sound_archive
from tests.faults.spoilt_records import REPLACED, is_whole


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    return sound_archive(tmp_path / "archive")


def test_the_sound_archive_has_nothing_to_tell(archive: Path) -> None:
    reading = read_archive(archive)
    assert reading.findings == ()
    assert reading.archive is not None
    assert list(reading.archive.pictures) == ["rosette-2024", "rosette-2025"]


@pytest.mark.parametrize(("file", "old", "new", "rule", "line", "column"), REPLACED)
def test_a_spoilt_record_is_told_where_it_is_spoilt(
    archive: Path, file: str, old: str, new: str, rule: str, line: int, column: int
) -> None:
    path = archive / file
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    reading = read_archive(archive)
    told = [(f.mark.file, f.mark.line, f.mark.column, f.rule) for f in reading.findings]
    assert told == [(file, line, column, rule)]
    assert reading.findings[0].level == "fault"
    assert reading.findings[0].hint
    is_whole(reading)


@pytest.mark.slow
@pytest.mark.parametrize(
    "text",
    [
        "\n".join(f"key{n}: {n}" for n in range(20_000)),
        "title: " + " " * 300_000 + "x",
        "finished: '" + "1" * 300_000 + "'",
        "sessions:\n" + "  - nigth: 1\n" * 8000,
        "builds_on: [" + ", ".join(f"rosette-{n}" for n in range(20_000)) + "]",
    ],
    ids=["keys", "spaces", "digits", "sessions", "names"],
)
def test_records_of_no_sensible_size_are_told_soon(archive: Path, text: str) -> None:
    (archive / S).write_text(text, encoding="utf-8")
    found = read_archive(archive).findings
    assert {f.mark.file for f in found} == {S}
    assert all(len(str(f)) < 1000 for f in found)


def test_a_doubt_of_form_can_be_answered(archive: Path) -> None:
    apart = SIDECAR.replace("start: 19:40", 'start: "2024-01-18 19:40"').replace(
        'end: "23:55"', 'end: "2024-01-18 23:55"'
    )
    (archive / S).write_text(apart, encoding="utf-8")
    told = [(f.level, f.rule, f.mark.line) for f in read_archive(archive).findings]
    assert told == [("doubt", "date-apart", 8), ("doubt", "date-apart", 9)]
    (archive / S).write_text(apart + "accepted_doubts: {date-apart: I know}\n", encoding="utf-8")
    assert read_archive(archive).findings == ()


def test_all_faults_are_told_in_one_run(archive: Path) -> None:
    for file, old, new in (
        (S, "180 s", "180 mm"),
        (S, "listed: yes", "listed: yes\nlisted: no"),
        (S, "tags:", "tag:"),
        (S, "kept: 20", "kept: many"),
        (O, "rig: short", "rig: long"),
        ("places.yaml", "51.2 deg", "951.2 deg"),
        ("equipment.yaml", "80 mm", "80 s"),
    ):
        path = archive / file
        path.write_text(path.read_text(encoding="utf-8").replace(old, new, 1), encoding="utf-8")
    told = [(f.mark.file, f.mark.line, f.rule) for f in read_archive(archive).findings]
    assert told == [
        ("equipment.yaml", 4, "wrong-unit"),
        (O, 4, "unknown-rig"),
        (S, 11, "wrong-unit"),
        (S, 13, "not-a-quantity"),
        (S, 21, "unknown-key"),
        (S, 23, "duplicate-key"),
        ("places.yaml", 2, "out-of-range"),
    ]


def test_a_circle_of_three_is_told_once(archive: Path) -> None:
    for name, other in (("a", "b"), ("b", "c"), ("c", "a")):
        (archive / f"pictures/{name}.jpg").write_bytes(b"")
        (archive / f"pictures/{name}.yaml").write_text(SIDECAR + f"builds_on: [{other}]\n", encoding="utf-8")
    (found,) = read_archive(archive).findings
    assert (found.mark.file, found.mark.line, found.rule) == ("pictures/a.yaml", 23, "builds-on-cycle")
    assert found.message == "a builds on b builds on c builds on a"


def test_a_fault_leaves_the_others_in_place(archive: Path) -> None:
    (archive / S).write_text(SIDECAR.replace("180 s", "180 mm"), encoding="utf-8")
    reading = read_archive(archive)
    assert reading.archive is not None
    assert list(reading.archive.pictures) == ["rosette-2024"]
    assert [name for name, mark in reading.object_names if mark.file == S] == ["NGC 2238", "NGC 2244"]

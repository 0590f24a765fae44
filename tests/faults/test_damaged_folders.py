"""Folders that are not as an archive should be: files of no known name, links, encodings, what is missing."""

# The table is read across, so its lines are as long as they are.
# ruff: noqa: E501

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest
from noctuary.archive.read import read_archive

from tests.builders.sound import SIDECAR, S, sound_archive
from tests.faults.spoilt_records import is_whole


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    return sound_archive(tmp_path / "archive")


def _one_file(name: str, content: bytes) -> Callable[[Path], None]:
    def spoil(folder: Path) -> None:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(content)

    return spoil


def _link(name: str, target: str) -> Callable[[Path], None]:
    def spoil(folder: Path) -> None:
        outside = folder.parent / "outside"
        outside.mkdir(exist_ok=True)
        (outside / "secret.yaml").write_text(SIDECAR)
        (outside / "secret.jpg").write_text("")
        (folder / name).unlink(missing_ok=True)
        (folder / name).symlink_to(target)

    return spoil


def _renamed(old: str, new: str) -> Callable[[Path], None]:
    def spoil(folder: Path) -> None:
        (folder / new).parent.mkdir(parents=True, exist_ok=True)
        (folder / old).rename(folder / new)

    return spoil


def _alias_bomb() -> bytes:
    lines = [f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 9 if n else ['x'] * 9)}]" for n in range(9)]
    return "\n".join(lines).encode()


# what is done to the folder, the file told of, rule, line, column, level
FOLDERS: list[tuple[Callable[[Path], None], str, str, int, int, str]] = [
    (_one_file(S, SIDECAR.replace("Rosette", "Ros\u00e9tte").encode("latin-1")), S, "encoding", 1, 15, "fault"),
    (_one_file(S, SIDECAR.encode("utf-16")), S, "encoding", 1, 1, "fault"),
    (_one_file("places.yaml", b"\xff\xff"), "places.yaml", "encoding", 1, 1, "fault"),
    (_one_file(S, b"title: x\n" * 200_000), S, "too-large", 1, 1, "fault"),
    (_one_file(S, _alias_bomb()), S, "too-large", 5, 40, "fault"),
    (_one_file("equipment.yaml", b"- a\n"), "equipment.yaml", "wrong-shape", 1, 1, "fault"),
    (_one_file("archive.yaml", b""), "archive.yaml", "empty", 1, 1, "fault"),
    (_one_file("archive.yaml", b"- a\n"), "archive.yaml", "wrong-shape", 1, 1, "fault"),
    (_one_file("pictures/new.tif", b""), "pictures/new.tif", "picture-without-sidecar", 1, 1, "doubt"),
    (_one_file("pictures/lost.yaml", SIDECAR.encode()), "pictures/lost.yaml", "sidecar-without-picture", 1, 1, "fault"),
    (_one_file("pictures/rosette-2025.png", b""), "pictures/rosette-2025.png", "same-name", 1, 1, "fault"),
    (_one_file("pictures/older/rosette-2025.FITS", b""), "pictures/rosette-2025.jpg", "same-name", 1, 1, "fault"),
    (_renamed(S, "pictures/rosette-2025.yml"), "pictures/rosette-2025.yml", "unread-file", 1, 1, "fault"),
    (_renamed("archive.yaml", "archive.yml"), "archive.yml", "unread-file", 1, 1, "fault"),
    (_renamed("archive.yaml", "elsewhere.txt"), "archive.yaml", "missing-archive", 1, 1, "fault"),
    (_renamed("equipment.yaml", "equipment.yml"), "equipment.yml", "unread-file", 1, 1, "fault"),
    (_renamed("places.yaml", "place.yaml"), "place.yaml", "unread-file", 1, 1, "fault"),
    (_link("equipment.yaml", "../outside/secret.yaml"), "equipment.yaml", "outside-archive", 1, 1, "fault"),
    (_renamed("objects.yaml", "object.yaml"), "object.yaml", "unread-file", 1, 1, "fault"),
    (_renamed("pictures/rosette-2025.jpg", "pictures/rosette-2025.cr2"), S, "picture-kind", 1, 1, "fault"),
    (_renamed("pictures/rosette-2025.jpg", "pictures/rosette-2025.webp"), S, "picture-kind", 1, 1, "fault"),
    (_renamed("nights/2025-01-18.md", "nights/18 January.md"), "nights/18 January.md", "night-name", 1, 1, "fault"),
    (_renamed("nights/2025-01-18.md", "nights/2025-02-30.md"), "nights/2025-02-30.md", "night-name", 1, 1, "fault"),
    (_renamed("pages/about.md", "pages/About Me.md"), "pages/About Me.md", "not-an-id", 1, 1, "fault"),
    (_renamed("pages/about.md", "pages/about.markdown"), "pages/about.markdown", "unread-file", 1, 1, "fault"),
    (_link("pictures/secret.yaml", "../../outside/secret.yaml"), "pictures/secret.yaml", "outside-archive", 1, 1, "fault"),
    (_link("pictures/secret.jpg", "../../outside/secret.jpg"), "pictures/secret.jpg", "outside-archive", 1, 1, "fault"),
    (_link("pictures/all", "../../outside"), "pictures/all", "outside-archive", 1, 1, "fault"),
    (_link("pictures/round", "../pictures"), "pictures/round", "link-loop", 1, 1, "fault"),
    (_link("pictures/self.yaml", "self.yaml"), "pictures/self.yaml", "link-loop", 1, 1, "fault"),
    (_link("pictures/none.yaml", "nowhere.yaml"), "pictures/none.yaml", "unknown-file", 1, 1, "fault"),
    (_link("objects.yaml", "../outside/secret.yaml"), "objects.yaml", "outside-archive", 1, 1, "fault"),
]  # fmt: skip


@pytest.mark.parametrize(("spoil", "file", "rule", "line", "column", "level"), FOLDERS)
def test_a_spoilt_folder_is_told(
    archive: Path, spoil: Callable[[Path], None], file: str, rule: str, line: int, column: int, level: str
) -> None:
    spoil(archive)
    reading = read_archive(archive)
    told = [(f.mark.file, f.mark.line, f.mark.column, f.rule, f.level) for f in reading.findings]
    assert told == [(file, line, column, rule, level)]
    is_whole(reading)


def test_a_link_that_stays_inside_is_followed(archive: Path) -> None:
    (archive / "shared").mkdir()
    (archive / S).rename(archive / "shared" / "record.yaml")
    (archive / S).symlink_to("../shared/record.yaml")
    assert read_archive(archive).findings == ()


def test_a_record_nobody_may_read(archive: Path) -> None:
    (archive / S).chmod(0)
    if os.access(archive / S, os.R_OK):
        pytest.skip("this user may read everything")
    assert [(f.mark.file, f.rule) for f in read_archive(archive).findings] == [(S, "unreadable")]


def test_a_folder_in_the_place_of_a_record(archive: Path) -> None:
    (archive / "places.yaml").unlink()
    (archive / "places.yaml").mkdir()
    assert [(f.mark.file, f.rule) for f in read_archive(archive).findings] == [("places.yaml", "unreadable")]


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    reading = read_archive(tmp_path / "nowhere")
    assert reading.archive is None
    assert [str(f) for f in reading.findings] == [
        "archive.yaml:1:1: fault [missing-archive]: there is no archive.yaml in this folder; "
        "write one, or a whole archive to begin with: noctuary begin FOLDER"
    ]


def test_a_pipe_in_the_place_of_a_picture(archive: Path) -> None:
    (archive / "pictures/rosette-2025.jpg").unlink()
    os.mkfifo(archive / "pictures/rosette-2025.jpg")
    told = [(f.mark.file, f.rule) for f in read_archive(archive).findings]
    assert told == [("pictures/rosette-2025.jpg", "unreadable"), (S, "sidecar-without-picture")]


def test_names_of_files_that_would_act_on_a_terminal(archive: Path) -> None:
    (archive / "pictures/\x1b[2Jx\n.jpg").write_bytes(b"")
    (archive / os.fsdecode(b"pictures/\xff.jpg")).write_bytes(b"")
    reading = read_archive(archive)
    assert [f.rule for f in reading.findings] == ["encoding", "encoding"]
    assert all(str(f).isprintable() for f in reading.findings)
    assert reading.archive is not None

"""Damaged records: each gives its rule on the right line and column, and nothing but findings.

One sound archive is written, one thing in it is spoilt, and what is told must point at the spoilt thing.
"""

# The tables are read across, so their lines are as long as they are.
# ruff: noqa: E501

from __future__ import annotations

import os
import random
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from noctuary.archive.declaration import Keys
from noctuary.archive.parse_file import parse
from noctuary.archive.read import Reading, read_archive
from noctuary.archive.rules import RULES

SIDECAR = """\
title: The Rosette, second winter
objects: [NGC 2238, NGC 2244]
finished: 2025-02-09
rig: short refractor
place: home
sessions:
  - night: 2025-01-18
    start: 19:40
    end: "23:55"
    frames:
      - {filter: H-alpha, exposure: 180 s, taken: 62, kept: 55, gain: 100}
      - exposure: 1.5 min
        kept: 20
    calibration: {darks: 30, dark_gain: 100}
    star_width: 2.6 arcsec
placement:
  centre: "06h32m00s +04d57m00s"
  image_scale: 2.1 arcsec
  position_angle: 12.4 deg
  mirrored: no
tags: [winter]
listed: yes
"""
FILES = {
    "archive.yaml": "title: Winter work\nauthor: A. Person\naddress: https://example.org/\nhorizon: 25 deg\n",
    "equipment.yaml": """\
cameras:
  mono camera: {pixels: [4656, 3520], pixel_size: 3.8 um, colour: mono}
optics:
  small refractor: {focal_length: 480 mm, aperture: 80 mm}
rigs:
  short refractor:
    optic: small refractor
    camera: mono camera
""",
    "places.yaml": "home:\n  latitude: 51.2 deg\n  longitude: -3.1 deg\n  time_zone: Europe/London\n",
    "objects.yaml": 'Garden Comet:\n  kind: comet\nSmall Cloud:\n  coordinates: "05h41m00s -02d27m00s"\n',
    "pictures/rosette-2025.yaml": SIDECAR,
    "pictures/rosette-2025.jpg": "",
    "pictures/older/rosette-2024.yaml": SIDECAR.replace("second", "first"),
    "pictures/older/rosette-2024.png": "",
    "nights/2025-01-18.md": "---\nplace: home\ntemperature: -2 °C\n---\nCold and still.\n",
    "exhibits/winter.yaml": "title: Winter\npictures:\n  - rosette-2025: the better one\n  - rosette-2024\n",
    "pages/about.md": "# About\n\nWords.\n",
}
S = "pictures/rosette-2025.yaml"
O = "pictures/older/rosette-2024.yaml"  # noqa: E741


def write(folder: Path) -> Path:
    for name, text in FILES.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return folder


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    return write(tmp_path / "archive")


def test_the_sound_archive_has_nothing_to_tell(archive: Path) -> None:
    reading = read_archive(archive)
    assert reading.findings == ()
    assert reading.archive is not None
    assert list(reading.archive.pictures) == ["rosette-2024", "rosette-2025"]


# file, what is replaced, by what, rule, line, column
REPLACED: list[tuple[str, str, str, str, int, int]] = [
    # the text itself
    (S, "title: The", "title: [The", "yaml", 1, 8),
    (S, "objects:", "\tobjects:", "tab", 2, 1),
    (S, "    star_width", "\tstar_width", "tab", 15, 1),
    (S, "The Rosette, second winter", "a: b", "yaml", 1, 9),
    (S, 'end: "23:55"', 'end: "23:55', "yaml", 9, 10),
    (S, "The Rosette", "@Rosette", "yaml", 1, 8),
    (S, "finished:", "title: again\nfinished:", "duplicate-key", 3, 1),
    (S, "kept: 55,", "kept: 55, kept: 56,", "duplicate-key", 11, 65),
    (S, "finished:", "---\nfinished:", "several-documents", 3, 1),
    (S, "The Rosette,", "!!python/object:os.system", "tag", 1, 8),
    (S, "tags: [winter]", "tags: !!set {a, b}", "tag", 21, 7),
    (S, "tags: [winter]", f"tags: {'[' * 60}{']' * 60}", "too-deep", 21, 46),
    (S, "tags: [winter]", "tags: &loop [*loop]", "alias", 21, 14),
    (S, "tags: [winter]", "tags: *nothing", "yaml", 21, 7),
    (S, "tags: [winter]", "<<: text\ntags: []", "yaml", 21, 5),
    (S, "tags: [winter]", '"tags": ["a\\0b"]', "control-character", 21, 10),
    (S, "The Rosette", "The \x07 Rosette", "control-character", 1, 12),
    (S, "title: The Rosette, second winter", "? [a, b]\n: c\ntitle: x", "yaml", 1, 3),
    # keys
    (S, "title:", "titel:", "unknown-key", 1, 1),
    (S, "  image_scale", "  imagescale", "unknown-key", 18, 3),
    (S, "gain: 100}", "gian: 100}", "unknown-key", 11, 65),
    (S, "darks: 30,", "darks: 30, <script>: 1,", "unknown-key", 14, 30),
    (S, "title: The Rosette, second winter\n", "", "missing-key", 1, 1),
    (S, "title: The Rosette, second winter", "title:", "missing-key", 1, 7),
    (S, "finished: 2025-02-09\n", "# none\n\n", "missing-key", 1, 1),
    (S, "  - night: 2025-01-18\n    start", "  - start", "missing-key", 7, 5),
    (S, "        kept: 20\n", "", "missing-key", 12, 9),
    (S, "exposure: 180 s, ", "", "missing-key", 11, 9),
    (S, "  image_scale: 2.1 arcsec\n", "", "missing-key", 17, 3),
    (S, "  - night: 2025-01-18\n", "  - night: 2025-01-18\n    integration: 3 h\n", "both-frames-and-integration", 8, 5),
    (S, "title: The", "panels: rosette-2024\nbuilds_on: rosette-2024\ntitle: The", "both-panels-and-builds-on", 1, 1),
    (S, "title: The", "panels: [rosette-2204]\ntitle: The", "unknown-picture", 1, 10),
    (S, "title: The", "panels: rosette-2204\ntitle: The", "unknown-picture", 1, 9),
    (S, "title: The", "former_ids: Rosette Old\ntitle: The", "not-an-id", 1, 13),
    (S, "finished: 2025-02-09", "finished: 2025-13", "not-a-date", 3, 11),
    (S, "finished: 2025-02-09", "finished: 205", "not-a-date", 3, 11),
    (S, "exposure: 180 s", "exposure: 0 s", "out-of-range", 11, 37),
    (S, SIDECAR, "", "empty", 1, 1),
    (S, SIDECAR, "# nothing but a note\n", "empty", 1, 1),
    # shapes
    (S, SIDECAR, "- title: x\n", "wrong-shape", 1, 1),
    (S, SIDECAR, "\nonly words\n", "wrong-shape", 2, 1),
    (S, "objects: [NGC 2238, NGC 2244]", "objects: [{a: b}]", "wrong-shape", 2, 11),
    (S, "The Rosette, second winter", "{a: b}", "wrong-shape", 1, 8),
    (S, "exposure: 180 s", "exposure: [180 s]", "wrong-shape", 11, 37),
    (S, "{darks: 30, dark_gain: 100}", "[30]", "wrong-shape", 14, 18),
    # quantities
    (S, "180 s", "180 mm", "wrong-unit", 11, 37),
    (S, "2.6 arcsec", "2.6 s", "wrong-unit", 15, 17),
    (S, "180 s", "0", "out-of-range", 11, 37),
    (S, "180 s", "-5 s", "out-of-range", 11, 37),
    (S, "180 s", ".nan", "not-a-quantity", 11, 37),
    (S, "180 s", ".inf", "not-a-quantity", 11, 37),
    (S, "180 s", "1e999", "not-a-quantity", 11, 37),
    (S, "180 s", "three minutes", "not-a-quantity", 11, 37),
    (S, "1.5 min", "1,5 min", "not-a-quantity", 12, 19),
    (S, "kept: 55", "kept: -1", "not-a-quantity", 11, 61),
    (S, "kept: 55", "kept: 5.5", "not-a-quantity", 11, 61),
    (S, "gain: 100}", "gain: 100, binning: 5}", "out-of-range", 11, 85),
    (S, "gain: 100}", "gain: 100, iso: 800}", "both-gain-and-iso", 11, 76),
    (S, "dark_gain: 100}", "dark_gain: 100, dark_iso: 800}", "both-gain-and-iso", 14, 46),
    (S, "06h32m00s", "26h32m00s", "not-a-quantity", 17, 11),
    (S, "mirrored: no", "mirrored: perhaps", "not-yes-or-no", 20, 13),
    # dates and clocks
    (S, "finished: 2025-02-09", "finished: 2025-02-29", "not-a-date", 3, 11),
    (S, "finished: 2025-02-09", "finished: 09.02.2025", "not-a-date", 3, 11),
    (S, "19:40", "24:00", "not-a-clock-time", 8, 12),
    (S, "19:40", "7 pm", "not-a-clock-time", 8, 12),
    (S, "19:40", "1180", "not-a-clock-time", 8, 12),
    (S, '"23:55"', "19:40", "end-before-start", 9, 10),
    (S, "19:40", '"2025-01-17 19:40"', "session-length", 9, 10),
    # The clocks of the United Kingdom go forward at 01:00 on the last Sunday of March, back at 02:00 on
    # the last of October (Summer Time Order 2002).
    (S, 'night: 2025-01-18\n    start: 19:40\n    end: "23:55"', "night: 2025-03-29\n    end: 01:30", "clock-skipped", 8, 10),
    (S, 'night: 2025-01-18\n    start: 19:40\n    end: "23:55"', "night: 2025-10-25\n    end: 01:30", "clock-repeated", 8, 10),
    (S, '"23:55"', '"23:55+02:00"', "clock-offset", 9, 10),
    # names
    (S, "rig: short refractor", "rig: short refracter", "unknown-rig", 4, 6),
    (S, "place: home", "place: hom", "unknown-place", 5, 8),
    (S, "listed: yes", "builds_on: [rosette-2023]", "unknown-picture", 22, 13),
    (S, "listed: yes", "replaces: rosete-2024", "unknown-picture", 22, 11),
    (S, "listed: yes", "builds_on: [Rosette 2024]", "not-an-id", 22, 13),
    (S, "listed: yes", "builds_on: [rosette-2025]", "builds-on-cycle", 22, 13),
    (S, "listed: yes", "replaces: rosette-2025", "replaces-cycle", 22, 11),
    (S, "listed: yes", "former_ids: [rosette-2024]", "former-id-taken", 22, 14),
    ("equipment.yaml", "optic: small", "optic: smal", "unknown-optic", 7, 12),
    ("equipment.yaml", "camera: mono", "camera: colour", "unknown-camera", 8, 13),
    ("equipment.yaml", "aperture: 80 mm", "aperture: 80 mm, f_ratio: 7", "aperture-disagrees", 4, 60),
    ("equipment.yaml", "colour: mono", "colour: grey", "wrong-word", 2, 67),
    ("equipment.yaml", "[4656, 3520]", "[4656]", "empty", 2, 25),
    ("equipment.yaml", "[4656, 3520]", "[4656, 0]", "out-of-range", 2, 32),
    ("equipment.yaml", "3.8 um", "3.8 min", "wrong-unit", 2, 51),
    ("places.yaml", "51.2 deg", "95", "out-of-range", 2, 13),
    ("places.yaml", "-3.1 deg", "-181", "out-of-range", 3, 14),
    ("places.yaml", "Europe/London", "Europe/Lundon", "unknown-time-zone", 4, 14),
    ("places.yaml", "Europe/London", "../../etc/passwd", "unknown-time-zone", 4, 14),
    ("places.yaml", "latitude: 51.2 deg", "latitude: 51d12m W", "not-a-quantity", 2, 13),
    ("places.yaml", "home:", "home: {latitude: 5, longitude: 5}\nfield:", "missing-key", 1, 7),
    ("objects.yaml", "05h41m00s", "05h71m00s", "not-a-quantity", 4, 16),
    ("objects.yaml", "kind: comet", "size: [1, 2, 3]", "wrong-shape", 2, 9),
    ("archive.yaml", "https://example.org/", "javascript:alert(1)", "not-an-address", 3, 10),
    ("archive.yaml", "25 deg", "90 deg", "out-of-range", 4, 10),
    ("archive.yaml", "horizon: 25 deg", "theme: ../elsewhere", "outside-archive", 4, 8),
    ("archive.yaml", "horizon: 25 deg", "language: en_GB!", "not-a-language", 4, 11),
    ("archive.yaml", "horizon: 25 deg", "reference_rig: long refractor", "unknown-rig", 4, 16),
    ("archive.yaml", "author: A. Person\n", "", "missing-key", 1, 1),
    ("nights/2025-01-18.md", "home", "garden", "unknown-place", 2, 8),
    ("nights/2025-01-18.md", "-2 °C", "-2 m/s", "wrong-unit", 3, 14),
    ("nights/2025-01-18.md", "temperature", "temprature", "unknown-key", 3, 1),
    ("nights/2025-01-18.md", "---\nCold", "Cold", "front-matter", 1, 1),
    ("exhibits/winter.yaml", "rosette-2024", "rosette-2042", "unknown-picture", 4, 5),
    ("exhibits/winter.yaml", "the better one", "the better one\n    other: x", "wrong-shape", 3, 5),
    ("exhibits/winter.yaml", "title: Winter\n", "", "missing-key", 1, 1),
    # headers of a placement
    (S, SIDECAR[SIDECAR.index("placement") :], "placement: ../../sky.hdr\n", "outside-archive", 16, 12),
    (S, SIDECAR[SIDECAR.index("placement") :], "placement: /etc/hostname\n", "outside-archive", 16, 12),
    (S, SIDECAR[SIDECAR.index("placement") :], "placement: {header: sky.hdr}\n", "unknown-file", 16, 21),
    (S, SIDECAR[SIDECAR.index("placement") :], "placement: {header: a.hdr, rows: up}\n", "wrong-word", 16, 34),
]  # fmt: skip


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
    _is_whole(reading)


def _is_whole(reading: Reading) -> None:
    """What holds of every reading, however damaged the archive is."""
    for found in reading.findings:
        assert found.rule in RULES
        assert found.mark.line >= 1
        assert found.mark.column >= 1
        assert "\n" not in str(found)
    assert list(reading.files) == sorted(set(reading.files))


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
    (_renamed("pictures/rosette-2025.jpg", "pictures/rosette-2025.HEIC"), S, "picture-kind", 1, 1, "fault"),
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
    _is_whole(reading)


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


KINDS = ["archive.yaml", "equipment.yaml", "places.yaml", "objects.yaml", S, "nights/2025-01-18.md",
         "exhibits/winter.yaml", "pages/about.md"]  # fmt: skip


@settings(max_examples=200, deadline=None)
@given(
    st.sampled_from(KINDS),
    st.one_of(st.binary(max_size=200), st.text(max_size=200).map(lambda t: t.encode("utf-8", "replace"))),
)
def test_any_bytes_are_findings_at_worst(name: str, content: bytes) -> None:
    for found in parse(content, name).findings:
        assert found.rule in RULES
        assert found.mark.line >= 1


@settings(max_examples=250, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.sampled_from(KINDS), st.integers(0, 2**32))
def test_any_change_of_a_sound_record_is_findings_at_worst(name: str, seed: int) -> None:
    chance = random.Random(seed)
    text = FILES[name]
    for _ in range(chance.randint(1, 4)):
        at, length = chance.randrange(len(text) + 1), chance.randint(0, 6)
        piece = chance.choice(["", "\n", "  ", ": ", "- ", "[", "]", "{", "}", '"', "'", "&a ", "*a", "!", "|", "#", "\t", ",",
                               "-1", "null", "~", "é", "\u202e", "<<", "%", "@", "0", "NaN", "\u2028", "?", "---\n"])  # fmt: skip
        text = text[:at] + piece + text[at + length :]
    parsed = parse(text.encode(), name)
    for found in parsed.findings:
        assert found.rule in RULES
        assert found.mark.line <= text.count("\n") + text.count("\u2028") + text.count("\x85") + 2
    assert parsed.record is None or isinstance(parsed.record, Keys | dict)


def test_whole_archives_changed_at_random_never_raise(tmp_path: Path) -> None:
    chance = random.Random(20250118)
    folder = write(tmp_path / "archive")
    for _ in range(60):
        name = chance.choice(KINDS)
        text = FILES[name]
        lines = text.split("\n")
        chance.shuffle(lines)
        damaged = "\n".join(lines) if chance.random() < 0.4 else text.replace(
            chance.choice(text.split()), chance.choice(["", "x", "[1]", "{a: b}", "-", "rosette-2025", "2025-13-01"])
        )  # fmt: skip
        (folder / name).write_text(damaged, encoding="utf-8")
        _is_whole(read_archive(folder))
        (folder / name).write_text(text, encoding="utf-8")

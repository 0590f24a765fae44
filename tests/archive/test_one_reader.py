"""Checking, gathering and placing read a record in one way: of the same broken file they say the same."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pytest
from noctuary.archive.append_placement import add_placement
from noctuary.archive.gather.gathering import gather
from noctuary.archive.read import read_archive
from noctuary.archive.record_text import NotEditable
from noctuary.archive.records import WrittenPlacement

from tests.builders.folders import written
from tests.builders.frames_of_a_night import ARCHIVE, write_fits

NAME = "pictures/broken.yaml"
SOUND = """\
title: A quiet cluster
finished: 2025-03-01
objects: [M 37]
rig: fine
place: meadow
sessions:
  - night: 2025-01-18
    start: 19:40
    end: "21:00"
    frames:
      - {filter: L, exposure: 2 min, taken: 30, kept: 28}
    note: >
      Dew from nine.
tags: [winter]
"""

# What is replaced, by what, and the rule that both the record and what would add to it answer with.
BROKEN = [
    ("title: A", "title: [A", "yaml"),
    ("title: A", "title: {A", "yaml"),
    ("title: A quiet cluster", "title: a: b", "yaml"),
    ("title: A", "title: @A", "yaml"),
    ("title: A", "title: `A", "yaml"),
    ("title: A", "title: *A", "yaml"),
    ("title: A quiet cluster", "title: 'A", "yaml"),
    ("title: A quiet cluster", 'title: "A\\q"', "yaml"),
    ("title: A quiet cluster", "title: |x\n  A", "yaml"),
    ("title: A", "%title: A", "yaml"),
    ("title: A quiet cluster", "? [a, b]\n: c\ntitle: A", "yaml"),
    ("title: A quiet cluster", "title A quiet cluster", "yaml"),
    ("title: A", "title: !!python/object:os.system A", "tag"),
    ("tags: [winter]", "tags: !own [winter]", "tag"),
    ("finished:", "title: again\nfinished:", "duplicate-key"),
    ("kept: 28", "kept: 28, kept: 29", "duplicate-key"),
    ("objects:", "\tobjects:", "tab"),
    ("    start:", "\tstart:", "tab"),
    ("finished:", "---\nfinished:", "several-documents"),
    ("tags: [winter]", "tags: *nothing", "yaml"),
    ("tags: [winter]", "tags: &loop [*loop]", "alias"),
    ("tags: [winter]", "<<: text\ntags: []", "yaml"),
    ("tags: [winter]", f"tags: {'[' * 60}{']' * 60}", "too-deep"),
    ("tags: [winter]", "tags: [winter]]", "yaml"),
    ("tags: [winter]", "tags: [winter\n", "yaml"),
    ("tags: [winter]", 'tags: "\\0"', "control-character"),
    ("quiet", "qu\x07iet", "control-character"),
    ("  - night", " - night: 2025-01-17\n  - night", "yaml"),
    ("    end:", "   end:", "yaml"),
    ("A quiet", "A" * (1 << 20) + " quiet", "too-large"),
    ("quiet", "caf\udce9", "encoding"),
    (SOUND, "- title: A\n", "wrong-shape"),
    (SOUND, "a text\n", "wrong-shape"),
]


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = written(tmp_path_factory.mktemp("one") / "archive", ARCHIVE)
    (folder / "pictures").mkdir(exist_ok=True)
    (folder / NAME).with_suffix(".jpg").write_bytes(b"")
    return folder


@pytest.fixture(scope="module")
def cards(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("cards")
    taken = f"{datetime(2025, 1, 20, 19):%Y-%m-%dT%H:%M:%S}"
    write_fits(
        folder / "light.fits", EXPTIME=120.0, DATE__OBS=taken, OBJECT="M 37", FILTER="L", XPIXSZ=3.8, FOCALLEN=910.0,
        GAIN=139, IMAGETYP="LIGHT",
    )  # fmt: skip
    return folder


def test_the_sound_record_can_be_added_to(archive: Path, cards: Path) -> None:
    path = archive / NAME
    path.write_text(SOUND, encoding="utf-8")
    assert [f for f in read_archive(archive).findings if f.mark.file == NAME] == []
    add_placement(path, WrittenPlacement(88.0, 32.5, 1.2, 0.0, False), NAME)
    gather([cards], archive=read_archive(archive).archive, archive_folder=archive, sidecar=path, place="meadow")
    path.write_text(path.read_text(encoding="utf-8").replace("# ? kept", "kept"), encoding="utf-8")
    picture = read_archive(archive).archive.pictures["broken"]
    assert len(picture.own_sessions) == 2
    assert picture.placement is not None


@pytest.mark.parametrize(("old", "new", "rule"), BROKEN)
def test_a_broken_record_is_told_alike(archive: Path, cards: Path, old: str, new: str, rule: str) -> None:
    path = archive / NAME
    assert old in SOUND
    content = SOUND.replace(old, new, 1).encode("utf-8", "surrogateescape")
    path.write_bytes(content)
    reading = read_archive(archive)
    told = [f for f in reading.findings if f.mark.file == NAME]
    assert [f.rule for f in told] == [rule]

    report = gather([cards], archive=reading.archive, archive_folder=archive, sidecar=path, place="meadow")
    assert [f for f in report.findings if f.mark.file == NAME] == told
    with pytest.raises(NotEditable) as refused:
        add_placement(path, WrittenPlacement(88.0, 32.5, 1.2, 0.0, False), NAME)
    assert list(refused.value.findings) == told
    assert path.read_bytes() == content

"""An edited number makes the site that a clean build makes, of what the last build left as far as it still holds."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from noctuary.build import build
from noctuary.build_manifest import FOLDER
from noctuary.edited_rows import EDITS
from noctuary.worked_out import ANSWERS

from tests.builders.clean_build import as_built, clean_build
from tests.builders.folders import write
from tests.builders.many_pictures import write_archive
from tests.builders.program import surroundings

ONE = "pictures/field-00002.yaml"
FRAMES = "      - {filter: H-alpha, exposure: 180 s, taken: 40, kept: 36, gain: 100}\n"
#: What a person mends in the record of a night.
EDITS_OF_NUMBERS = {
    "another count": ("kept: 36", "kept: 35"),
    "a filter removed": ("filter: H-alpha, ", ""),
    "another exposure": ("exposure: 180 s", "exposure: 120 s"),
    "a filter more": (FRAMES, FRAMES + FRAMES.replace("H-alpha", "O-III").replace("40, kept: 36", "2, kept: 2")),
    "a night more": (FRAMES, f"{FRAMES}  - night: 1985-11-30\n    frames:\n{FRAMES}"),
    "another title": ("title: Field", "title: View"),
}


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An archive with the pages of the theme itself: plain ones would not say what is edited."""
    archive = write_archive(tmp_path_factory.mktemp("numbers") / "archive", 4)
    assert build(archive, workers=1).built
    return archive


@pytest.fixture
def archive(built: Path) -> Path:
    return as_built(built)


def edit(archive: Path, old: str, new: str) -> None:
    text = (archive / ONE).read_text(encoding="utf-8")
    assert old in text
    write(archive / ONE, text.replace(old, new, 1))


@pytest.mark.slow
def test_edits_of_numbers_one_after_another(archive: Path) -> None:
    text = (archive / ONE).read_text(encoding="utf-8")
    for old, new in EDITS_OF_NUMBERS.values():
        write(archive / ONE, text)
        edit(archive, old, new)
        assert build(archive, workers=1).built
        assert build(archive, workers=1).summary.startswith("Nothing has changed")
        shutil.copytree(archive / FOLDER, archive.parent / "kept")
        assert clean_build(archive)[1] == []
        shutil.rmtree(archive / FOLDER)
        (archive.parent / "kept").rename(archive / FOLDER)


def test_one_number_leaves_no_more_than_differs(archive: Path) -> None:
    answers = (archive / FOLDER / ANSWERS).stat().st_mtime_ns
    edit(archive, *EDITS_OF_NUMBERS["another count"])
    outcome = build(archive, workers=1)
    assert "index.html" in dict(outcome.reasons)
    assert "pictures/field-00000.html" not in dict(outcome.reasons)
    assert (archive / FOLDER / EDITS).exists()
    assert (archive / FOLDER / ANSWERS).stat().st_mtime_ns == answers
    assert clean_build(archive)[1] == []


def test_a_page_that_somebody_has_touched_hands_nothing_on(archive: Path) -> None:
    """Not even where its size and its time are those of the page that was published."""
    front = archive / "site/index.html"
    status = front.stat()
    content = front.read_bytes()
    assert b"field-00000" in content
    front.write_bytes(content.replace(b"Field number 0", b"Other number 0"))
    os.utime(front, ns=(status.st_atime_ns, status.st_mtime_ns))
    edit(archive, *EDITS_OF_NUMBERS["another count"])
    assert build(archive, workers=1).built
    assert b"Other number" not in front.read_bytes()
    assert clean_build(archive)[1] == []


def test_one_number_loads_nothing_that_it_has_no_use_for(archive: Path) -> None:
    """No arrays of numbers, no ephemerides, no second process."""
    edit(archive, *EDITS_OF_NUMBERS["another count"])
    outcome = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "noctuary", "build", str(archive)],
        env=surroundings(), capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert "files made" in outcome.stdout
    loaded = {line.rpartition("|")[2].strip() for line in outcome.stderr.splitlines()}
    assert "noctuary.whole_build" in loaded
    assert loaded & {"numpy", "astropy", "multiprocessing"} == set()

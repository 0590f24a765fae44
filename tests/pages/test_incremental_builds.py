"""A build makes what has changed and nothing else, and says why; the same content gives the same bytes."""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from noctuary.build import build
from noctuary.build_manifest import files_below, program_stamp
from noctuary.pages.theme import themes_home

from tests.builders.folders import bytes_below, jpeg, set_plainly, states_below, write
from tests.builders.many_pictures import sidecar, write_archive
from tests.builders.program import run, surroundings

pytestmark = pytest.mark.slow

PICTURES = 120


@pytest.fixture(scope="module")
def big(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An archive of many pictures, built; its pages are set plainly, for they are many."""
    archive = write_archive(tmp_path_factory.mktemp("big") / "archive", PICTURES)
    set_plainly(archive)
    made(archive)
    return archive


def made(archive: Path) -> dict[str, str]:
    """What a build made, and why it says it did."""
    outcome = build(archive, workers=1)
    assert outcome.built, [str(f) for f in outcome.findings]
    return dict(outcome.reasons)


def test_nothing_changed_writes_nothing_and_loads_nothing(big: Path) -> None:
    # Sample by the interpreter itself when it has ended: what was imported on the way.
    script = (
        "import atexit, sys\n"
        "sys.argv = ['noctuary', 'build', sys.argv[1]]\n"
        "atexit.register(lambda: print(*sys.modules, sep='\\n', file=sys.stderr))\n"
        "from noctuary.__main__ import main\n"
        "main()\n"
    )
    before = states_below(big)
    outcome = subprocess.run(
        [sys.executable, "-c", script, str(big)], env=surroundings(), capture_output=True, text=True, check=True
    )
    assert outcome.stdout.startswith("Nothing has changed")
    assert states_below(big) == before
    loaded = {name.partition(".")[0] for name in outcome.stderr.splitlines()}
    assert "noctuary" in loaded
    heavy = {"astropy", "numpy", "PIL", "pydantic", "jinja2", "click", "yaml", "rich", "babel", "pyongc"}
    assert loaded & heavy == set()


def test_one_caption_makes_its_pages_and_encodes_nothing(big: Path) -> None:
    kept = {p: p.stat().st_mtime_ns for p in (big / ".noctuary" / "renditions").iterdir()}
    site = states_below(big / "site")
    pages = list((big / "site").rglob("*.html"))
    text = sidecar(70, PICTURES).replace("The wind fell", "The wind rose")
    write(big / "pictures/field-00070.yaml", text)
    told = made(big)
    assert told["pictures/field-00070.html"] == "changed: words and facts"
    assert len([name for name in told if name.endswith(".html")]) < 0.02 * len(pages)
    assert not [name for name in told if name.startswith("images/")]
    assert {p: p.stat().st_mtime_ns for p in (big / ".noctuary" / "renditions").iterdir()} == kept
    after = states_below(big / "site")
    written = {name for name, state in after.items() if Path(name).is_file() and state[0] != site[name][0]}
    assert written == {str(big / "site" / name) for name in told}


def test_one_picture_replaced_makes_its_renditions(big: Path) -> None:
    write(big / "pictures/field-00033.jpg", jpeg(4711, (60, 40)))
    kept = {p: p.stat().st_mtime_ns for p in (big / ".noctuary" / "renditions").iterdir()}
    told = made(big)
    images = {name for name in told if name.startswith("images/")}
    assert images
    assert all("/field-00033-" in name for name in images)
    new = {p for p in (big / ".noctuary" / "renditions").iterdir() if p not in kept}
    assert len({p.name[:32] for p in new}) == 1
    assert all(p.stat().st_mtime_ns == kept[p] for p in kept if p.exists())
    assert told["pictures/field-00033.html"] == "changed: words and facts"
    assert "pictures/field-00110.html" not in told


def test_a_template_makes_the_pages_that_use_it(big: Path) -> None:
    write(big / "theme/templates/night.html", "{{ here }}, set otherwise\n")
    told = made(big)
    nights = {name for name in told if name.startswith("nights/")}
    assert len(nights) > PICTURES // 2 - 5
    assert set(told) == nights
    assert set(told.values()) == {"changed: theme"}


def test_a_style_is_published_and_no_page_is_made(big: Path) -> None:
    write(big / "theme/styles/own.css", "body {}")
    assert made(big) == {"theme/styles/own.css": "new"}
    (big / "theme/styles/own.css").unlink()
    assert made(big) == {"theme/styles/own.css": "removed"}


def test_a_file_of_the_site_that_was_touched_is_made_again(big: Path) -> None:
    page = big / "site/pictures/field-00010.html"
    was = page.read_bytes()
    page.write_bytes(b"scribbled over")
    (big / "site/pictures/field-00011.html").unlink()
    assert made(big) == {"pictures/field-00010.html": "new", "pictures/field-00011.html": "new"}
    assert page.read_bytes() == was


# The date of a build is asked through datetime.date.today alone, so that is what another day is made of here.
_ON_A_DAY = """
import datetime, sys
day = datetime.date.fromisoformat(sys.argv[1])
class Day(datetime.date):
    @classmethod
    def today(cls):
        return day
datetime.date = Day
from noctuary.cli import run
sys.exit(run(sys.argv[2:]))
"""

# Every pair of values of two columns is somewhere, but for the number of workers with the two days.
SURROUNDINGS = [
    # hash seed, time zone, locale, workers, day
    ("0", "UTC", "C", "1", "2026-02-03"),
    ("0", "Pacific/Auckland", "de_DE.UTF-8", "2", "2027-11-30"),
    ("4711", "UTC", "de_DE.UTF-8", "4", "2027-11-30"),
    ("4711", "Pacific/Auckland", "C", "1", "2027-11-30"),
    ("4711", "UTC", "C", "2", "2026-02-03"),
    ("0", "Pacific/Auckland", "de_DE.UTF-8", "4", "2026-02-03"),
]


@pytest.mark.slow
def test_the_same_bytes_whatever_the_surroundings(tmp_path: Path) -> None:
    found = set()
    for number, (seed, zone, language, workers, day) in enumerate(SURROUNDINGS):
        # Another folder each time, for where an archive lies is no part of its site.
        archive = write_archive(tmp_path / f"at-{number}" / "archive", 4)
        for path in archive.rglob("*"):
            os.utime(path, (10**9 + 777 * number, 10**9 + 777 * number))
        outcome = subprocess.run(
            [sys.executable, "-c", _ON_A_DAY, day, "build", str(archive), "--workers", workers],
            env=surroundings(PYTHONHASHSEED=seed, TZ=zone, LC_ALL=language, LANG=language),
            capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert outcome.returncode == 0, outcome.stderr
        site = bytes_below(archive / "site")
        found.add(hashlib.sha256(repr(sorted(site.items())).encode()).hexdigest())
        shutil.rmtree(archive)
    assert len(found) == 1


@pytest.mark.skipif(os.name != "posix", reason="file names are text there")
def test_a_stray_file_whose_name_is_no_text_stops_nothing(tmp_path: Path) -> None:
    archive = write_archive(tmp_path / "archive", 2)
    Path(os.fsdecode(os.fsencode(archive) + b"/notes-\xff.txt")).write_bytes(b"left here by another program")
    assert made(archive)
    outcome = run("build", archive)
    assert (outcome.returncode, outcome.stderr) == (0, "")
    assert outcome.stdout.startswith("Nothing has changed")


def test_a_build_looks_at_every_file_of_the_themes(monkeypatch: pytest.MonkeyPatch) -> None:
    looked_at: list[Path] = []

    def noted(folder: str) -> Iterator[tuple[str, os.stat_result]]:
        looked_at.append(Path(folder))
        return files_below(folder)

    monkeypatch.setattr("noctuary.build_manifest.files_below", noted)
    program_stamp()
    assert themes_home() in looked_at
    assert any(files_below(str(themes_home())))

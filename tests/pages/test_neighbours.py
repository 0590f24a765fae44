"""Targets with their pictures: in the list, and as neighbours on each other's pages."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from noctuary.build import build

from tests.builders.clean_build import as_built
from tests.builders.folders import bytes_below, jpeg, write
from tests.builders.many_pictures import sidecar, write_archive


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = write_archive(tmp_path_factory.mktemp("neighbours") / "archive", size=(640, 400))
    made(folder)
    return folder


@pytest.fixture
def archive(built: Path) -> Path:
    """Three pictures, of NGC 40, 103 and 110, which lie within twenty degrees of each other."""
    return as_built(built)


def made(archive: Path) -> dict[str, str]:
    outcome = build(archive, workers=1)
    assert outcome.built, outcome.findings
    return dict(outcome.reasons)


def neighbours(archive: Path, target: str) -> dict[str, str]:
    """What the page of a target has of each neighbour, by the address that it leads to."""
    page = (archive / f"site/targets/{target}.html").read_text(encoding="utf-8")
    listed = re.search(r'<ul class="sky-neighbours.*?</ul>', page, re.DOTALL)
    return dict(re.findall(r'<li><a href="([^"]+)">(.*?)</li>', listed[0], re.DOTALL)) if listed else {}


def as_if_built_at_once(archive: Path) -> None:
    """The site is the one that a build from nothing makes."""
    before = bytes_below(archive / "site")
    shutil.rmtree(archive / ".noctuary")
    shutil.rmtree(archive / "site")
    made(archive)
    assert bytes_below(archive / "site") == before


def test_neighbours_are_named_nearest_first_each_with_its_smallest_picture(archive: Path) -> None:
    near = neighbours(archive, "ngc-40")
    assert list(near) == ["ngc-110.html", "ngc-103.html"]
    # Their places in the New General Catalogue (pyongc): 00h13m01s +72d31m19s, 00h27m25s +71d23m27s, so 3.60° apart
    # in right ascension, which is 1.11° there, and 1.13° in declination: √(1.11² + 1.13²) = 1.585° = 95′.
    assert "95′ to the south-east" in near["ngc-110.html"]
    assert "images/field-00002-240." in near["ngc-110.html"]
    assert 'alt=""' in near["ngc-110.html"]


def test_the_list_of_targets_shows_the_newest_picture_of_each(archive: Path) -> None:
    page = (archive / "site/targets.html").read_text(encoding="utf-8")
    rows = re.findall(r'<th scope="row".*?</th>', page, re.DOTALL)
    assert [re.search(r"images/(field-\d+)-240\.", row)[1] for row in rows] == [
        "field-00000", "field-00001", "field-00002",
    ]  # fmt: skip


def test_a_new_picture_of_a_neighbour_changes_the_page(archive: Path) -> None:
    write(archive / "pictures/field-00002.jpg", jpeg(4711, (640, 400)))
    reasons = made(archive)
    assert {"targets/ngc-40.html", "targets/ngc-103.html", "targets.html"} <= reasons.keys()
    write(archive / "pictures/newer.jpg", jpeg(4712, (640, 400)))
    write(archive / "pictures/newer.yaml", sidecar(5, 3).replace("objects: [NGC", "objects: [NGC 110] #"))
    reasons = made(archive)
    assert reasons["targets/ngc-40.html"] == "changed: words and facts"
    assert "images/newer-240." in neighbours(archive, "ngc-40")["ngc-110.html"]
    as_if_built_at_once(archive)


def test_a_neighbour_that_cannot_be_seen_is_not_named(archive: Path) -> None:
    record = archive / "pictures/field-00002.yaml"
    write(record, record.read_text(encoding="utf-8") + "listed: no\n")
    made(archive)
    assert list(neighbours(archive, "ngc-40")) == ["ngc-103.html"]
    as_if_built_at_once(archive)

"""A site with an address, as files: share pictures, feed and exports, made once and kept while nothing changes."""

from __future__ import annotations

import io
import re
import shutil
from pathlib import Path

import pytest
from noctuary.build import build
from PIL import Image

from tests.builders.many_pictures import write_archive

pytestmark = pytest.mark.slow


def built(folder: Path):
    outcome = build(folder, workers=1)
    assert outcome.built, outcome.findings
    return outcome


def edited(file: Path, before: str, after: str) -> None:
    text = file.read_text(encoding="utf-8")
    assert before in text
    file.write_text(text.replace(before, after), encoding="utf-8")


@pytest.fixture
def archive(tmp_path):
    folder = write_archive(tmp_path / "nights", 3, (90, 60))
    edited(folder / "pictures/field-00001.yaml", "title:", "former_ids: [first-field]\nlisted: no\ntitle:")
    return folder


def test_share_pictures_are_of_their_size_and_carry_the_words_of_the_record(archive):
    built(archive)
    data = (archive / "site/share/field-00000.jpg").read_bytes()
    with Image.open(io.BytesIO(data)) as card:
        assert card.size == (1200, 630)
    assert b"A. Person" in data
    assert b"Spatial." not in data  # it shows a part, so it lies nowhere
    assert (archive / "site/share/field-00001.jpg").is_file()


def test_what_has_not_changed_is_kept_and_what_has_is_made_again(archive):
    built(archive)
    assert built(archive).written == 0
    edited(archive / "pictures/field-00000.yaml", "kept: 36", "kept: 35")
    made = {path for path, why in built(archive).reasons if why != "removed"}
    assert {"share/field-00000.jpg", "feed.xml", "data/acquisition.csv", "data/pictures/field-00000.vot"} <= made
    assert "share/field-00002.jpg" not in made
    assert "data/pictures/field-00002.csv" not in made
    assert "sitemap.xml" not in made


def test_a_share_picture_is_made_though_the_cache_has_lost_what_it_is_drawn_from(archive):
    built(archive)
    shutil.rmtree(archive / ".noctuary/renditions")
    edited(archive / "pictures/field-00000.yaml", "kept: 36", "kept: 35")
    assert "share/field-00000.jpg" in {path for path, _ in built(archive).reasons}


def test_unlisted_pictures_are_in_no_list_and_no_export(archive):
    built(archive)
    site = archive / "site"
    for file in (site / "feed.xml", site / "sitemap.xml", site / "robots.txt", *(site / "data").rglob("*.*")):
        assert "field-00001" not in file.name
        text = file.read_text(encoding="utf-8")
        assert "field-00001" not in text, file
        assert "first-field" not in text, file
    old = (site / "pictures/first-field.html").read_text(encoding="utf-8")
    assert 'content="0; url=field-00001.html"' in old


def test_an_archive_that_loses_its_address_loses_every_absolute_link(archive):
    built(archive)
    edited(archive / "archive.yaml", "address: https://example.org/\n", "")
    built(archive)
    site = archive / "site"
    names = {p.relative_to(site).as_posix() for p in site.rglob("*") if p.is_file()}
    assert not names & {"feed.xml", "sitemap.xml", "robots.txt"}
    assert not [name for name in names if name.startswith("share/")]
    for page in site.rglob("*.html"):
        assert not re.search(r"https?:", page.read_text(encoding="utf-8")), page

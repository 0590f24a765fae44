"""Links in a person's texts that lead nowhere, and pictures in them, are told of with file and line."""

from __future__ import annotations

from pathlib import Path

import pytest
from noctuary.build import build, examine
from noctuary.diagnostic import Diagnostic
from noctuary.pages import prose
from noctuary.pages.all_addresses import all_addresses
from noctuary.pages.prose import addresses_in

from tests.builders.folders import set_plainly, write
from tests.builders.many_pictures import write_archive
from tests.builders.one_of_everything import facts, set_pages, shown

RULES = {"dead-link", "picture-in-text"}


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    return write_archive(tmp_path / "archive", 2)


def told(archive: Path) -> list[Diagnostic]:
    return [f for f in examine(archive).findings if f.rule in RULES]


def spot(found: Diagnostic) -> tuple[str, str, int, int]:
    return found.rule, *found.mark


def test_every_page_of_a_site_is_known_before_it_is_made():
    made = {page.path for page in set_pages()}
    assert all_addresses(facts(), shown(facts())) == made


def test_links_to_pages_of_the_site_and_out_of_it_are_no_doubts(archive):
    links = "pictures/field-00000.html index.html ./targets.html ../sky.html nights/1985-10-05.html#top about.html"
    links += " https://other.example/x mailto:me@other.example #here https://example.org/pictures/field-00001.html"
    links += " targets/ngc-40.html cards/ngc-40.html years/1985.html data/acquisition.csv"
    text = "".join(f"[x]({link})\n" for link in links.split())
    write(archive / "pages/about.md", f"# About\n\n{text}\n[^1]: A foot.\n\nWords.[^1]\n")
    assert told(archive) == []


def test_dead_links_in_every_kind_of_text(archive):
    write(archive / "pages/about.md", "---\ntitle: About\n---\n\nSee [it](pictures/field-0.html).\n")
    night = "---\nplace: home\n---\nWith\n[him](friends.html) and\n[me][1].\n\n[1]: /me\n"
    write(archive / "nights/1985-10-05.md", night)
    write(archive / "exhibits/hung.yaml", "title: Hung\nintroduction: |\n  [a](field-00000)\npictures:\n"
          "  - field-00000: |\n      Words,\n      [b](target.html).\n")  # fmt: skip
    sidecar = archive / "pictures/field-00001.yaml"
    text = sidecar.read_text()
    write(sidecar, text + "processing: |\n  A line.\n  And [c](processing.html).\n")
    found = told(archive)
    assert [spot(f) for f in found] == [
        ("dead-link", "exhibits/hung.yaml", 3, 7),
        ("dead-link", "exhibits/hung.yaml", 7, 11),
        ("dead-link", "nights/1985-10-05.md", 5, 7),
        ("dead-link", "nights/1985-10-05.md", 8, 6),
        ("dead-link", "pages/about.md", 5, 10),
        ("dead-link", "pictures/field-00001.yaml", len(text.splitlines()) + 3, 11),
    ]
    assert all(f.level == "doubt" for f in found)
    hints = [f.hint for f in found]
    assert hints[0] == "write pictures/field-00000.html"
    assert hints[1] == "write targets.html"
    assert "pictures/field-0000" in hints[4]
    assert "left out" in found[3].message


def test_a_build_says_the_same_and_the_site_stands(archive):
    set_plainly(archive)
    write(archive / "pages/about.md", "# About\n\n[x](nowhere.html) ![a comet](comet.jpg)\n")
    said = told(archive)
    assert [f.rule for f in said] == ["dead-link", "picture-in-text"]
    for _ in range(2):
        outcome = build(archive, workers=1)
        assert outcome.built
        assert [f for f in outcome.findings if f.rule in RULES] == said


def test_pictures_in_texts_are_told_of(archive):
    write(archive / "pages/about.md", "# About\n\nWords.\n\n![the shed](images/shed.jpg)\n")
    (found,) = told(archive)
    assert spot(found) == ("picture-in-text", "pages/about.md", 5, 13)
    assert "images/shed.jpg" in found.message


def test_a_doubt_may_be_answered_in_the_record(archive):
    sidecar = archive / "pictures/field-00001.yaml"
    write(sidecar, sidecar.read_text() + "processing: '[c](x.html)'\naccepted_doubts: {dead-link: it comes soon}\n")
    assert told(archive) == []


def test_a_draft_says_nothing_to_anybody(archive):
    sidecar = archive / "pictures/field-00001.yaml"
    write(sidecar, sidecar.read_text() + "processing: '[c](soon.html)'\ndraft: yes\n")
    assert told(archive) == []


def test_a_link_to_a_picture_that_was_renamed_is_alive(archive):
    sidecar = archive / "pictures/field-00001.yaml"
    write(sidecar, sidecar.read_text() + "former_ids: [older]\n")
    write(archive / "pages/about.md", "# About\n\n[x](pictures/older.html)\n")
    assert told(archive) == []


@pytest.mark.parametrize(
    ("text", "links"),
    [
        ("`[a](b.html)` and\n\n    [c](d.html)\n", ()),
        ("```\n[a](b.html)\n```\n", ()),
        ("<a href='raw.html'>x</a>", ("raw.html",)),
        ("[a][1]\n\n[1]: there.html 'title'\n", ("there.html",)),
        ("[a](<with blank.html>)", ("with blank.html",)),
        ("words alone", ()),
    ],
)
def test_only_what_becomes_a_link_counts(text, links):
    assert addresses_in(text) == (links, ())
    html = prose.prose(text, here="", name="text")
    assert ("href" in html) == bool(links)

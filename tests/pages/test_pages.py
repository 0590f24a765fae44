"""Pages say what the record says: addresses, links, lists, text as text, and nothing that is not published."""

from __future__ import annotations

import os
import posixpath
import re
import subprocess
import sys
from html.parser import HTMLParser
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from noctuary.pages.addresses import slug, slugs
from noctuary.pages.page import relative, root

from tests.builders.one_of_everything import HOME, HOSTILE, SIZES, facts, rendered, set_pages

VOID = {"area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr"}


class Parsed(HTMLParser):
    """Elements with their attributes, the text, and tags that do not close."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, dict[str, str]]] = []
        self.words: list[str] = []
        self.open: list[str] = []
        self.wrong: list[str] = []
        self.feed(html)
        self.wrong += self.open

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, {k: v or "" for k, v in attributes}))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, {k: v or "" for k, v in attributes}))

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open[-1] != tag:
            self.wrong.append(f"</{tag}>")
        else:
            self.open.pop()

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    @property
    def text(self) -> str:
        """The words with single plain spaces."""
        return " ".join(" ".join(self.words).split())


def parsed(path: str, hostile: str = "") -> Parsed:
    return Parsed(rendered(hostile)[path])


def test_every_kind_of_page_is_there():
    kinds = {page.kind for page in set_pages()}
    assert kinds >= {"front", "picture", "target", "targets", "night", "nights", "equipment", "constellation",
                     "kind", "free"}  # fmt: skip


def test_every_page_is_whole_html_with_one_first_heading_and_its_landmarks():
    for path in (p.path for p in set_pages() if p.path.endswith(".html") and p.kind != "redirect"):
        page = parsed(path)
        tags = [tag for tag, _ in page.elements]
        assert page.wrong == [], path
        assert tags.count("h1") == 1, path
        assert tags.count("main") == 1, path
        assert {"header", "nav", "footer", "title"} <= set(tags), path
        headings = [int(tag[1]) for tag in tags if re.fullmatch("h[1-6]", tag)]
        assert all(after <= before + 1 for before, after in pairwise(headings)), path


def test_identifiers_are_unique_and_references_to_them_hold():
    for path in rendered():
        attributes = [a for _, a in parsed(path).elements]
        names = [a["id"] for a in attributes if "id" in a]
        assert len(names) == len(set(names)), path
        for a in attributes:
            assert set(a.get("aria-labelledby", "").split()) <= set(names), path
            if a.get("href", "").startswith("#"):
                assert a["href"][1:] in names, (path, a["href"])


#: A block of data for machines, which no browser runs.
DATA_BLOCK = "application/ld+json"


def test_every_link_is_relative_and_leads_to_a_file_of_the_site():
    files = {page.path for page in set_pages()}
    pictures = {f"images/{name}" for name in SIZES}
    for path in rendered():
        for tag, attributes in parsed(path).elements:
            if attributes.get("rel") in {"canonical", "alternate"}:
                continue  # what a page and its feed are called on the web is absolute by nature
            for link in (attributes.get("href"), attributes.get("src")):
                if link is None or link.startswith("#"):
                    continue
                assert not link.startswith(("/", "http", "//", "data:")), (path, link)
                target = posixpath.normpath(posixpath.join(posixpath.dirname(path), link.partition("#")[0]))
                known = target in files or target.startswith("theme/") or target.rpartition("-")[0] in pictures
                assert known, (path, tag, link)


def test_pictures_keep_their_proportions_and_have_words_for_who_cannot_see_them():
    for path, html in rendered().items():
        silent = 0
        for tag, attributes in parsed(path).elements:
            if tag == "img":
                name = attributes["src"].rpartition("/")[2].rpartition("-")[0]
                assert (int(attributes["width"]), int(attributes["height"])) == SIZES[name]
                silent += not attributes["alt"]
        # A picture in the same link as the name that says what it is need not say so again.
        assert silent == html.count('class="thumbnail"'), path


def test_no_script_or_style_stands_in_a_page():
    for path, html in rendered().items():
        if not path.endswith(".html"):
            continue
        page = Parsed(html)
        assert not [
            a for tag, a in page.elements if tag == "script" and "src" not in a and a.get("type") != DATA_BLOCK
        ], path
        assert not [tag for tag, _ in page.elements if tag == "style"], path
        assert not [key for _, a in page.elements for key in a if key.startswith("on")], path
        policies = [a["content"] for _, a in page.elements if a.get("http-equiv") == "Content-Security-Policy"]
        assert len(policies) == 1
        assert "default-src 'none'" in policies[0]
        assert "script-src 'self'" in policies[0]


def test_the_acquisition_table_has_a_row_a_frame_group_with_subtotals_and_a_total():
    text = parsed("pictures/ring-two.html").text
    assert "18 Jan 2025 H-alpha 55/62 × 180 s 2.75 100 −10" in text
    assert "ISO 1600" in text
    # 120 s × 70 + 180 s × (55 + 12 + 40) = 27 660 s = 7.683 h, of which 95 × 180 s = 4.75 h through H-alpha.
    assert "H-alpha 95/102 4.75" in text
    assert "OIII 12/14 0.60" in text
    assert "In all 177/204 7.68" in text


def test_the_sentence_carries_what_is_asked_first():
    text = parsed("pictures/ring-two.html").text
    # Sky: 2.333 h at 20.4 and 5.350 h at 20.9 are 20.75 on average.
    assert (
        "7 h 41 min over three nights (14 Feb 2023 – 25 Jan 2025): 5 h 21 min at 384 mm and 2 h 20 min at 135 mm, "
        "from the garden and the hill under a 20.7 sky." in text
    )
    one = parsed("pictures/ring-one.html").text
    assert "at 135 mm and f/2.8 (wide lens), from the garden" in one


def test_versions_lead_to_each_other_and_the_older_one_says_that_there_is_a_newer():
    older, newer = parsed("pictures/ring-one.html"), parsed("pictures/ring-two.html")
    assert "There is a newer picture: The ring again" in older.text
    assert "Its sessions are also in The ring again" in older.text
    assert "Replaces The ring" in newer.text
    assert "There is a newer picture" not in newer.text


def test_a_picture_that_is_not_listed_has_a_page_that_nothing_leads_to():
    pages = rendered()
    assert '<meta name="robots" content="noindex">' in pages["pictures/kept-back.html"]
    assert "pictures/unfinished.html" not in pages
    moved = {page.path for page in set_pages() if page.kind == "redirect"}
    for path, html in pages.items():
        if path not in moved and path != "pictures/kept-back.html":
            assert "kept-back" not in html, path
            assert "Kept back" not in html, path
            assert ('name="robots"' in html) == ('http-equiv="refresh"' in html), path
    assert "targets/ngc-1976.html" not in pages


def test_the_sun_comes_with_its_caution_and_nothing_else_does():
    for path, html in rendered().items():
        if path in ("pictures/spots.html", "targets/sun.html"):
            assert "certified filter over the front of the optics" in html
        else:
            assert "certified filter" not in html, path


def test_objects_of_one_constellation_and_kind_are_reachable_from_each_other():
    assert "NGC 2264" in parsed("targets/ngc-2238.html").text
    monoceros = parsed("constellations/mon.html")
    assert "Monoceros" in monoceros.text
    assert {"../targets/ngc-2238.html", "../targets/ngc-2264.html"} <= {a.get("href") for _, a in monoceros.elements}


def test_accepted_doubts_stand_with_their_reasons():
    assert "moon-near The filters are narrow." in parsed("pictures/ring-two.html").text


def test_a_place_shows_what_may_be_published_and_no_more():
    latitude, longitude, elevation = (str(v) for v in HOME)
    for path, html in rendered().items():
        secrets = (latitude, longitude.lstrip("-"), elevation, "51.23", "3.12", "51.61", "3.58°", "Behind the shed")
        for secret in secrets:
            assert secret not in re.sub(r"(?s)<svg.*?</svg>", "", html), (path, secret)
    text = parsed("pictures/ring-two.html").text
    assert "the hill: 52° N, 4° W (to the whole degree)" in text


def test_hostile_text_in_every_field_comes_out_as_text():
    for path, html in rendered(HOSTILE).items():
        page = Parsed(html)
        assert page.wrong == [], path
        run = [a for tag, a in page.elements if tag == "script" and a.get("type") != DATA_BLOCK]
        assert all(a.get("src", "").endswith(".js") for a in run), path
        assert not [key for _, a in page.elements for key in a if key.startswith("on")], path
        assert not [1 for _, a in page.elements if a.get("href", "").lower().startswith("javascript")], path
        assert not [1 for tag, a in page.elements if tag == "img" and a["src"] == "x"], path
        assert "49" not in [word for words in page.words for word in words.split()] or path != "about.html", path
    text = parsed("pictures/ring-two.html", HOSTILE).text
    assert "<script>alert(1)</script>" in text
    assert "{{7*7}}" in text


@pytest.mark.slow
def test_contexts_are_the_same_text_in_every_build():
    code = (
        "import hashlib; from tests.builders.one_of_everything import set_pages; "
        "print(hashlib.sha256(repr(set_pages()).encode()).hexdigest())"
    )
    seen = {
        subprocess.run(
            [sys.executable, "-c", code],
            env={**os.environ, "PYTHONHASHSEED": seed, "TZ": zone, "PYTHONPATH": os.pathsep.join(sys.path)},
            capture_output=True, text=True, check=True,
        ).stdout
        for seed, zone in (("1", "UTC"), ("2", "Asia/Tokyo"))
    }  # fmt: skip
    assert len(seen) == 1
    assert " object at 0x" not in repr(set_pages())


def test_making_contexts_loads_no_template_engine():
    code = (
        "import sys; import noctuary.pages.page_list; "
        "print([m for m in ('jinja2', 'markdown', 'nh3', 'babel', 'numpy', 'astropy', 'PIL') if m in sys.modules])"
    )
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, env=environment)
    assert said.stdout.strip() == "[]"


def test_an_archive_without_pictures_has_its_pages_too():
    from pathlib import Path

    from noctuary.pages.page_list import pages, site_model
    from noctuary.pages.render import Renderer
    from noctuary.pages.theme import theme_folders

    renderer = Renderer(theme_folders(None, Path("no-archive-here")), "en")
    html = {plan.path: renderer.render(plan.page()) for plan in pages(site_model(facts(), {}))}
    assert "No picture is finished yet." in html["index.html"]
    assert not [path for path in html if path.startswith("pictures/")]


@pytest.mark.parametrize(
    ("here", "there", "link"),
    [
        ("index.html", "pictures/a.html", "pictures/a.html"),
        ("pictures/a.html", "index.html", "../index.html"),
        ("pictures/a.html", "pictures/b.html", "b.html"),
        ("pictures/a.html", "pictures/a.html", "a.html"),
        ("pictures/a.html", "equipment.html#rig-1", "../equipment.html#rig-1"),
        ("data/pictures/a.csv", "data/b.csv", "../b.csv"),
        ("pictures/a.html", "images/../pictures//b.html", "b.html"),
        ("a/b/c.html", "b/b.html", "../../b/b.html"),
    ],
)
def test_relative_links(here, there, link):
    assert relative(here, there) == link
    assert posixpath.normpath(posixpath.join(posixpath.dirname(here), link)) == posixpath.normpath(there)


def test_the_way_to_the_root():
    assert [root(p) for p in ("index.html", "pictures/a.html")] == ["", "../"]


@given(st.lists(st.text(max_size=80), max_size=20))
def test_slugs_are_safe_and_all_different(names):
    found = slugs(names)
    assert len(set(found.values())) == len(set(names))
    for name in found.values():
        assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", name)
        assert len(name) <= 70


def test_slugs_of_names_as_people_write_them():
    assert slug("NGC 2238") == "ngc-2238"
    assert slug("Sh2-155") == "sh2-155"
    assert slug("../../etc/passwd") == "etc-passwd"
    assert slug("con") != "con"
    assert slugs(["Abell 21", "Abell-21"])["Abell 21"] == "abell-21"

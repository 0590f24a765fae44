"""Shared pages: feed, site map and structured data hold what is listed; without an address there is nothing."""

from __future__ import annotations

import json
import re
import urllib.robotparser
from dataclasses import replace
from functools import cache
from html import unescape
from pathlib import Path
from xml.etree import ElementTree

import feedparser
import numpy as np
import pytest
import zxingcpp
from noctuary.charts.address_code import AddressCode
from noctuary.facts.almanac import Almanac
from noctuary.facts.archive_facts import archive_facts
from noctuary.pages.exports.export_list import site_exports
from noctuary.pages.page_list import pages, site_model
from noctuary.pages.render import Renderer
from noctuary.pages.share_image_text import share_image_pages
from noctuary.pages.theme import theme_folders
from noctuary.pages.typography import Typography

from tests.builders.one_of_everything import HOSTILE, SIZES, archive, facts, set_pages, set_texts, shown
from tests.charts.test_address_code import modules

from .test_pages import Parsed

SITE = "https://nights.example/"
ATOM = "{http://www.w3.org/2005/Atom}"
SITE_MAP = "{http://www.sitemaps.org/schemas/sitemap/0.9}"


def meta(html: str, name: str) -> str | None:
    found = re.search(rf'<meta property="{re.escape(name)}" content="([^"]*)">', html)
    return unescape(found[1]) if found else None


def structured(html: str) -> dict:
    found = re.search(r'<script type="application/ld\+json">(.*?)</script>', html, re.DOTALL)
    assert found
    return json.loads(found[1])


@pytest.mark.slow
@pytest.mark.parametrize("hostile", ["", HOSTILE])
def test_the_feed_is_read_without_a_complaint(hostile):
    """By feedparser, which notes anything that is no well-formed Atom (RFC 4287) in ``bozo``."""
    text = set_texts(hostile)["feed.xml"]
    feed = feedparser.parse(text.encode())
    assert not feed.bozo
    assert feed.version == "atom10"
    assert [e.link for e in feed.entries] == [SITE + f"pictures/{p.picture.id}.html" for p in facts().listed]
    assert feed.entries[0].title.startswith("The ring again")
    assert "over three nights" in feed.entries[0].summary
    assert feed.feed.updated == "2025-02-09T00:00:00Z"


def test_what_stands_in_the_feed_runs_nothing():
    for entry in ElementTree.fromstring(set_texts(HOSTILE)["feed.xml"]).findall(ATOM + "entry"):
        words = Parsed(entry.findtext(ATOM + "content") or "")
        assert not words.wrong
        assert "img" in {tag for tag, _ in words.elements}
        assert not {tag for tag, _ in words.elements} & {"script", "iframe", "object", "style"}
        assert not [a for _, a in words.elements if any(name.startswith("on") for name in a)]
        assert all(a["src"].startswith(SITE + "images/") for tag, a in words.elements if tag == "img")


def test_the_feed_has_everything_that_rfc_4287_asks_for():
    """Sections 4.1.1 and 4.1.2: one id, title and updated each, an author, a self link, an alternate link."""
    feed = ElementTree.fromstring(set_texts()["feed.xml"])
    for element in (feed, *feed.findall(ATOM + "entry")):
        for name in ("id", "title", "updated"):
            assert len(element.findall(ATOM + name)) == 1, name
        assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", element.findtext(ATOM + "updated") or "")
        assert [a for a in element.findall(ATOM + "link") if a.get("rel") == "alternate"]
    assert feed.find(ATOM + "author")
    assert [a.get("href") for a in feed.findall(ATOM + "link") if a.get("rel") == "self"] == [SITE + "feed.xml"]
    ids = [e.findtext(ATOM + "id") for e in feed.findall(ATOM + "entry")]
    assert len(set(ids)) == len(ids)


def test_a_picture_that_got_another_id_is_no_news():
    """RFC 4287, section 4.2.6: the id of an entry never changes, so it is the first address that a picture had."""
    feed = feedparser.parse(set_texts()["feed.xml"].encode())
    ring = next(e for e in feed.entries if e.link.endswith("/ring-two.html"))
    assert ring.id == SITE + "pictures/the-ring.html"


def test_the_site_map_has_every_listed_page_once_and_no_other():
    """Elements and namespace of the Sitemap protocol 0.9 (sitemaps.org)."""
    root = ElementTree.fromstring(set_texts()["sitemap.xml"])
    assert root.tag == SITE_MAP + "urlset"
    assert all(child.tag == SITE_MAP + "url" for child in root)
    found = [url.findtext(SITE_MAP + "loc") for url in root]
    assert len(found) == len(set(found))
    want = {page.path for page in set_pages() if page.path.endswith(".html") and page.listed}
    assert set(found) == {SITE if path == "index.html" else SITE + path for path in want}
    assert SITE + "pictures/the-ring.html" not in found
    assert SITE + "exhibits/winter/slides.html" in found


def test_robots_may_read_everything_and_find_the_site_map():
    """By the standard library's reader of RFC 9309."""
    robots = urllib.robotparser.RobotFileParser()
    robots.parse(set_texts()["robots.txt"].splitlines())
    assert robots.site_maps() == [SITE + "sitemap.xml"]
    assert robots.can_fetch("*", SITE + "pictures/ring-two.html")


def test_unlisted_pictures_stand_in_nothing_that_machines_read_but_can_be_shared():
    texts = set_texts()
    for path, text in texts.items():
        if path != "pictures/kept-back.html":
            assert "kept-back" not in text, path
            assert "Kept back" not in text, path
    own = texts["pictures/kept-back.html"]
    assert '<meta name="robots" content="noindex">' in own
    assert meta(own, "og:image") == SITE + "share/kept-back.jpg"


def test_every_page_says_how_it_appears_where_its_address_is_pasted():
    """The four properties that the Open Graph protocol (ogp.me) requires, and the picture's size and words."""
    for page in set_pages():
        if not page.path.endswith(".html") or page.kind == "redirect":
            continue
        html = set_texts()[page.path]
        address = SITE if page.path == "index.html" else SITE + page.path
        assert f'<link rel="canonical" href="{address}">' in html
        assert meta(html, "og:url") == address
        for name in ("og:title", "og:type", "og:description", "og:image:alt"):
            assert meta(html, name), (page.path, name)
        picture = meta(html, "og:image") or ""
        assert picture.removeprefix(SITE) in {
            card.path for card in share_image_pages(site_model(facts(), shown(facts())))
        }
    assert meta(set_texts()["targets/ngc-2238.html"], "og:image") == SITE + "share/ring-two.jpg"


def test_structured_data_describe_the_photograph_as_the_page_does():
    """Types and properties of schema.org: Photograph, ImageObject, Person, Place."""
    said = structured(set_texts()["pictures/ring-two.html"])
    assert (said["@context"], said["@type"]) == ("https://schema.org", "Photograph")
    assert said["name"] == "The ring again"
    assert said["creator"] == {"@type": "Person", "name": "Ada Fenwick"}
    assert said["license"]["name"] == "CC BY-SA 4.0"
    assert said["dateCreated"] == "2025-02-09"
    assert said["temporalCoverage"] == "2023-02-14/2025-01-25"
    assert [o["name"] for o in said["about"]] == ["NGC 2238", "NGC 2244"]
    width, height = SIZES["ring-two"]
    image = said["image"]
    assert (image["@type"], image["width"], image["height"]) == ("ImageObject", width, height)
    assert image["contentUrl"] == SITE + "images/ring-two-900.jpg"
    places = {place["name"]: place.get("geo") for place in said["contentLocation"]}
    assert places["the garden"] is None
    assert places["the hill"] == {"@type": "GeoCoordinates", "latitude": 52.0, "longitude": -4.0}


def test_structured_data_hold_hostile_words_as_words():
    for path, html in set_texts(HOSTILE).items():
        if path.endswith(".html") and "ld+json" in html:
            assert structured(html)["name"], path
    assert HOSTILE in structured(set_texts(HOSTILE)["pictures/ring-two.html"])["name"]


def test_old_addresses_lead_on():
    html = set_texts()["pictures/the-ring.html"]
    assert '<meta http-equiv="refresh" content="0; url=ring-two.html">' in html
    assert f'<link rel="canonical" href="{SITE}pictures/ring-two.html">' in html
    assert '<meta name="robots" content="noindex">' in html
    assert re.search(r'<a href="ring-two\.html">The ring again</a>', html)
    assert "pictures/ring-two-draft.html" in set_texts()


def test_a_former_id_never_stands_in_the_way_of_a_living_one():
    whole = archive()
    moved = replace(whole.pictures["ring-two"], former_ids=("tall", "unfinished", "gone", "gone"))
    changed = replace(whole, pictures={**whole.pictures, "ring-two": moved})
    found = archive_facts(changed, Almanac(changed), SIZES, {})
    made = pages(site_model(found, shown(found)))
    paths = [page.path for page in made]
    assert len(paths) == len(set(paths))
    assert [page.path for page in made if page.kind == "redirect"] == ["pictures/gone.html"]


@cache
def texts_without_address() -> dict[str, str]:
    whole = replace(archive(), address=None)
    found = archive_facts(whole, Almanac(whole), SIZES, {})
    everything = site_model(found, shown(found))
    renderer = Renderer(theme_folders(None, Path("no-archive-here")), "en")
    assert share_image_pages(everything) == []
    return {plan.path: renderer.render(plan.page()) for plan in pages(everything, site_exports(everything))}


def test_without_an_address_there_is_no_absolute_link_and_nothing_for_machines():
    texts = texts_without_address()
    assert [path for path in texts if not path.endswith(".html")] == ["search-cards.js"]
    for path, html in texts.items():
        assert "https://" not in html, path
        assert "http://" not in html, path
        assert "og:" not in html, path
        assert "ld+json" not in html, path
        assert "feed.xml" not in html, path
    assert '<link rel="canonical" href="ring-two.html">' in texts["pictures/the-ring.html"]
    assert "address-code" not in texts["pictures/ring-two.html"]


def test_pages_lead_to_their_numbers():
    texts = texts_without_address()
    for ending in ("csv", "ecsv", "vot"):
        assert f'href="../data/pictures/ring-two.{ending}"' in texts["pictures/ring-two.html"]
        assert f'href="../data/targets/ngc-2238.{ending}"' in texts["targets/ngc-2238.html"]
        assert f'href="data/acquisition.{ending}"' in texts["data.html"]
    assert 'href="data/pictures.json"' in texts["data.html"]
    assert "data/pictures" not in texts["pictures/kept-back.html"]


@pytest.mark.parametrize(
    "address", [SITE + "pictures/ring-two.html", "https://example.org/~a/astro/pictures/" + "long-" * 18 + "id.html"]
)
def test_the_printed_code_reads_as_the_address(address):
    """Read from the drawing by ZXing, which implements ISO/IEC 18004."""
    drawing = AddressCode(address).svg(Typography("en"))
    dark = [[module == "1" for module in row] for row in modules(ElementTree.fromstring(drawing))]
    grid = np.where(dark, 0, 255).astype(np.uint8)
    found = zxingcpp.read_barcodes(np.kron(grid, np.ones((6, 6), np.uint8)))
    assert [code.text for code in found] == [address]
    assert address in unescape(drawing)
    assert set_texts()["pictures/ring-two.html"].count("address-code") == 1


def test_words_on_the_share_pictures_are_the_pages_own():
    renderer = Renderer(theme_folders(None, Path("no-archive-here")), "en")
    card = next(c for c in share_image_pages(site_model(facts(), shown(facts()))) if c.path == "share/ring-two.jpg")
    lines = unescape(renderer.render(card.page())).splitlines()
    assert lines[0] == "The ring again"
    assert lines[1].startswith("NGC 2238")
    told = lines[2].replace("\u202f", " ")
    assert told == "7 h 41 min over three nights: 5 h 21 min at 384 mm and 2 h 20 min at 135 mm"
    assert len([line for line in lines if line.strip()]) == 3
    assert "<" not in "".join(lines)

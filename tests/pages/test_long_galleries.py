"""A long archive has a shape: years and months on the front page, six pictures a rig and a way to the rest.

What the numbers are is a matter of taste; where the rest is found and that nothing is lost is not.
"""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st
from noctuary.archive.partial_date import PartialDate
from noctuary.build import build
from noctuary.pages.gallery_item import GalleryItem
from noctuary.pages.gallery_years import (
    LEAST_FOR_MONTHS,
    LEAST_FOR_YEARS,
    MOST_AT_ONCE,
    NEWEST,
    NEWEST_OF_A_YEAR,
    newest_by_year,
)
from noctuary.pages.light_note import LightNote
from noctuary.pages.picture_view import PictureView, Source
from noctuary.pages.rig_parts import RigParts

from tests.builders.large_archive import write_large_archive


@pytest.mark.slow
def test_years_with_counts_and_six_pictures_a_rig(tmp_path: Path) -> None:
    archive = write_large_archive(tmp_path / "archive", 70, years=2, size=60)
    assert build(archive).built
    records = [yaml.safe_load(p.read_text(encoding="utf-8")) for p in (archive / "pictures").glob("*.yaml")]
    years = {str(record["finished"])[:4] for record in records}
    front = (archive / "site" / "index.html").read_text(encoding="utf-8")
    for year in years:
        assert f'href="#year-{year}"' in front
        assert f'<h2 id="year-{year}"><a href="years/{year}.html">{year}</a>' in front
    counts = sum(int(n) for n in re.findall(r'<a href="#year-\d+">\d+</a> <span class="count">(\d+)</span>', front))
    assert counts == len(records), "a year counts the newest, which opens the page"
    assert re.search(r"<h3>\w+ <span", front), "a year of many has months"
    assert_every_picture_is_a_result(archive / "site")
    equipment = (archive / "site" / "equipment.html").read_text(encoding="utf-8")
    for rig in re.findall(r'<section class="leaf" aria-labelledby="rig-\d+">(.*?)</section>', equipment, re.DOTALL):
        name = re.search(r"<h2 [^>]*>([^<]+)</h2>", rig)
        assert name
        own = sum(record["rig"] == name[1] for record in records)
        assert rig.count("<li style=") == min(6, own)
        assert (f"All {own} pictures with this rig" in rig) == (own > 6)
        page = archive / "site" / "rigs" / (name[1].replace(" ", "-") + ".html")
        assert page.is_file() == (f'href="rigs/{page.name}"' in rig) == (own > 6)
        if own > 6:
            assert page.read_text(encoding="utf-8").count("<li style=") == own
            assert_in_years(page, own)
    for page in (archive / "site" / "kinds").iterdir():
        assert_in_years(page, page.read_text(encoding="utf-8").count("<li style="))
    for year in years:
        page = archive / "site" / "years" / f"{year}.html"
        finished = [record for record in records if str(record["finished"])[:4] == year]
        months = len({str(record["finished"])[:7] for record in finished}) if len(finished) >= LEAST_FOR_MONTHS else 0
        assert page.read_text(encoding="utf-8").count("<h3>") == (months if months > 1 else 0)


def assert_in_years(page: Path, pictures: int) -> None:
    """A page of many pictures has a heading a year and their counts; one of few has neither."""
    text = page.read_text(encoding="utf-8")
    counts = re.findall(r'<h2 id="year-\d+">.*?<span class="count">(\d+|one) pictures?</span>', text)
    assert sum(1 if n == "one" else int(n) for n in counts) == (pictures if pictures >= LEAST_FOR_YEARS else 0)
    assert text.count('<a href="#year-') in (0, len(counts))


def assert_every_picture_is_a_result(site: Path) -> None:
    """The results of the search are in the order of its index, the newest first."""
    index = (site / "search-index.js").read_text(encoding="utf-8")
    script = (site / "search-cards.js").read_text(encoding="utf-8")
    cards = json.loads(script.strip().removeprefix("loadSearchCards(").removesuffix(");"))
    indexed = re.findall(r'\["(pictures/[^"]+\.html)"', index)
    assert indexed
    assert [re.findall(r'<a href="([^"]+)"', card) for card in cards] == [[page] for page in indexed]


@given(st.lists(st.integers(1, 260), min_size=1, max_size=12))
def test_the_front_page_has_the_newest_of_every_year_and_says_how_many_there_are(counts: list[int]) -> None:
    years = range(2026, 2026 - len(counts), -1)
    pictures = [item(year, n) for year, count in zip(years, counts, strict=True) for n in range(count)]
    opening = item(2026, 0)  # it opens the page, and its year counts it
    groups = newest_by_year([opening, *pictures])
    shown = [p for group in groups for month in group.months for p in month.pictures]
    assert sum(group.count for group in groups) == len(pictures) + (groups[0].year is not None)
    if len(pictures) <= MOST_AT_ONCE:
        assert shown == pictures
        return
    assert [(group.year, group.count) for group in groups] == [
        (year, count + (year == 2026)) for year, count in zip(years, counts, strict=True)
    ]
    for group in groups:
        first = [p for month in group.months for p in month.pictures]
        own = [p for p in pictures if p.finished.year == group.year]
        assert first == own[: len(first)]
        assert group.shown == len(first) + (group.year == 2026)
        assert len(first) >= min(NEWEST_OF_A_YEAR, len(own))
        if len(group.months) > 1:  # a month says how many it has
            months = {p.finished.month for p in first}
            assert sum(p.finished.month in months for p in own) == len(first)
    assert len(shown) <= NEWEST + NEWEST_OF_A_YEAR * len(counts)


def item(year: int, number: int) -> GalleryItem:
    name = f"{year}-{number}"
    source = Source(f"images/{name}.jpg", 60, 40, "jpeg")
    shown = PictureView(name, name, "", f"pictures/{name}.html", 60, 40, "#000000", (source,), source)
    finished = PartialDate(year, 12 - number * 12 // 260, 1)
    return GalleryItem(name, shown, None, finished, LightNote(None, 0, (), None), RigParts((), 0.0))

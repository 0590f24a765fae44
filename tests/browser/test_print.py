"""Pages on paper: how many sheets they take, and that everything of them is on the sheets.

What the sheets hold is read from the PDF that Chromium prints, by poppler's tools.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import unicodedata
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.conftest import CHROMIUM, missing, started
from tests.served_site import pages_of

from .conftest import EachPage, load_all_pictures

pytestmark = pytest.mark.browser
#: A4 without the margins of the theme, in CSS pixels.
PAPER = {"width": 688, "height": 1016}

#: The words of what is printed, but for those in drawings, whose letters a PDF may hold in any order.
WORDS = """() => [...document.querySelectorAll('main :is(h1, h2, h3, p, td, th, dt, dd, li, figcaption)')]
  .filter(e => e.checkVisibility({visibilityProperty: true}) && !e.querySelector('p, td, li, dd, svg')
               && !e.closest('svg, .visually-hidden'))
  .map(e => e.innerText)"""


@pytest.fixture(scope="module")
def chromium(driver: Any) -> Iterator[Any]:
    """The whole Chromium, whose PDF says which letters it shows: that of the windowless one leaves some unsaid."""
    yield from started(driver, *CHROMIUM)


def printed(page: Any, file: Path) -> list[str]:
    """The text of each sheet."""
    page.pdf(path=str(file), prefer_css_page_size=True, print_background=True)
    if shutil.which("pdftotext") is None:
        missing("there is no pdftotext: apt-get install poppler-utils")
    text = subprocess.run(["pdftotext", "-layout", str(file), "-"], capture_output=True, text=True, check=True).stdout
    return text.removesuffix("\f").split("\f")


def words(text: str) -> Counter[str]:
    """Words without accents, ligatures and signs, so that it is no matter how a PDF spells them."""
    plain = unicodedata.normalize("NFKD", text.replace("\u00ad", ""))
    return Counter(re.findall(r"[^\W_]{3,}", plain.casefold()))


@pytest.mark.parametrize(("folder", "most"), [("targets", 6), ("years", 3), ("exhibits", 1)])
def test_a_page_prints_whole(each_page: EachPage, site: Path, tmp_path: Path, folder: str, most: int) -> None:
    for path, page in each_page(pages_of(site, folder)):
        page.emulate_media(media="print")
        load_all_pictures(page)
        sheets = printed(page, tmp_path / "sheets.pdf")
        assert len(sheets) <= most, path
        assert all(words(sheet) for sheet in sheets), f"{path}: an empty sheet"
        lost = words(" ".join(page.evaluate(WORDS))) - words(" ".join(sheets))
        assert not lost, path
        headings = page.locator("main :is(h1, h2, h3):visible").all_inner_texts()
        last = [sheet.strip().splitlines()[-1].strip() for sheet in sheets[:-1]]
        assert not set(last) & set(headings), f"{path}: a heading without what it heads"
        page.set_viewport_size(PAPER)
        assert page.evaluate("document.documentElement.scrollWidth") <= PAPER["width"], f"{path}: beyond the paper"
        shown = page.locator("main img:visible").count()
        listed = subprocess.run(
            ["pdfimages", "-list", str(tmp_path / "sheets.pdf")], capture_output=True, text=True, check=True
        )
        assert listed.stdout.count(" image ") >= shown, path

"""The demo in a second browser: every kind of page, and what a reader does on them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.conftest import missing
from tests.served_site import served

from .firefox import FIREFOX, Firefox, firefox
from .test_room_for_words import COVERED, CUT

pytestmark = pytest.mark.browser

COMPARED = "compare/ngc-2238--rosette-2023--rosette-2026.html"
PICTURE = "pictures/rosette-2026.html"


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Firefox]:
    program = next((path for path in FIREFOX if Path(path).exists()), None)
    if program is None:
        missing("there is no Firefox: apt-get install firefox-esr")
    with firefox(program, tmp_path_factory.mktemp("profile")) as driven:
        yield driven


@pytest.fixture(scope="module", params=["file", "http"])
def address(request: pytest.FixtureRequest, site: Path) -> Iterator[str]:
    """The site as a folder, and from a server."""
    if request.param == "file":
        yield site.as_uri()
        return
    with served(site) as found:
        yield found


@pytest.fixture(autouse=True)
def nothing_is_complained_of(browser: Firefox) -> Iterator[None]:
    browser.complaints.clear()
    yield
    assert browser.complaints == []


def grounds(browser: Firefox) -> list[str]:
    """The colour of the page's ground as each is chosen by its button."""
    seen = []
    for name in ("night", "day", "red"):
        browser.click(f"[data-ground='{name}']")
        seen.append(browser.evaluate("getComputedStyle(document.documentElement).backgroundColor"))
    return seen


@pytest.mark.parametrize("width", [390, 1440])
def test_every_kind_of_page_has_room_for_its_words(
    browser: Firefox, site: Path, kinds: list[str], width: int
) -> None:
    faults: list[tuple[Any, ...]] = []
    for path in kinds:
        browser.open(f"{site.as_uri()}/{path}", width)
        faults += [(path, "cut", text) for text in browser.evaluate(f"({CUT})({width})")]
        faults += [(path, "covered", *pair) for pair in browser.evaluate(f"({COVERED})()")]
        if browser.evaluate("document.documentElement.scrollWidth") > width:
            faults.append((path, "wider than the window"))
    assert faults == []


def test_a_ground_is_chosen_and_remembered(browser: Firefox, address: str) -> None:
    browser.open(f"{address}/index.html")
    assert len(set(grounds(browser))) == 3
    browser.open(f"{address}/{PICTURE}")
    if address.startswith("http"):  # to Firefox each file is a place of its own
        assert browser.evaluate("document.documentElement.dataset.ground") == "red"
    browser.click("[data-ground='red']")
    seen = browser.screen()
    assert seen[..., 0].max() > 100
    assert seen[..., 1:].max() <= 0.02 * 255
    browser.click("[data-ground='night']")


def test_the_divider_moves_by_keys_and_the_picture_with_it(browser: Firefox, address: str) -> None:
    browser.open(f"{address}/{COMPARED}")
    browser.evaluate("document.querySelector('.divider').focus()")
    seen = []
    for key, at in (("Home", 0), ("End", 100), ("Left", 98)):
        browser.press(key)
        assert browser.evaluate("Number(document.querySelector('.divider').ariaValueNow)") == pytest.approx(at, abs=3)
        seen.append(browser.screen())
    assert abs(seen[0] - seen[1]).mean() > 1
    assert abs(seen[0] - seen[1]).mean() > 5 * abs(seen[1] - seen[2]).mean()


def test_the_search_answers(browser: Firefox, address: str) -> None:
    browser.open(f"{address}/index.html")
    browser.click("#find-words")
    browser.press("roset")
    hung = "[...document.querySelectorAll('.gallery li a')].filter(a => a.checkVisibility()).map(a => a.pathname)"
    browser.wait(f"{hung}.length === 3")
    found = sorted(name.rsplit("/", 1)[-1] for name in browser.evaluate(hung))
    assert found == [f"rosette-{year}.html" for year in (2023, 2024, 2026)]


def test_the_zoom_opens_and_back_closes_it(browser: Firefox, address: str) -> None:
    browser.open(f"{address}/{PICTURE}")
    is_open = "document.querySelector('dialog#picture-zoom').open"
    browser.click(".zoom-button")
    browser.wait("document.querySelector('#picture-zoom.ready')")
    assert browser.evaluate(is_open)
    browser.press("+")
    browser.press("Escape")
    browser.wait(f"!{is_open}")
    browser.click(".zoom-button")
    browser.wait(is_open)
    browser.evaluate("history.back()")
    browser.wait(f"!{is_open}")


def test_keys_lead_through_the_years(browser: Firefox, address: str) -> None:
    browser.open(f"{address}/targets/ngc-2238.html")
    now = "document.querySelector('.frame-captions li.now').innerText"
    assert "2026" in browser.evaluate(now)
    browser.evaluate("document.querySelector('.frame-time input').focus()")
    browser.press("Home")
    assert "2023" in browser.evaluate(now)


def test_slides_go_on_by_a_key(browser: Firefox, address: str) -> None:
    browser.open(f"{address}/exhibits/february-meeting/slides.html")
    before = browser.screen()
    browser.press("Right")
    browser.wait("location.hash.length > 1")
    assert abs(browser.screen() - before).mean() > 1

"""Exhibits: what hangs in them, and the slideshow under keys, remotes and touch, from a folder and without script."""

from __future__ import annotations

from dataclasses import replace

import pytest
from noctuary.facts.almanac import Almanac
from noctuary.facts.archive_facts import archive_facts
from noctuary.pages.page_list import pages, site_model

from tests.builders.one_of_everything import HOSTILE, SIZES, archive, rendered, shown, write

from .test_pages import parsed

SHOW = "exhibits/winter/slides.html"


def test_an_exhibit_hangs_its_pictures_in_order_with_what_is_said():
    html = rendered()["exhibits/winter.html"]
    assert html.index("The ring again</a>") < html.index("The ring</a>")
    assert "The <strong>second</strong> time." in html
    assert 'href="winter/slides.html"' in html
    assert "over three nights" in parsed(SHOW).text
    assert 'href="exhibits.html"' in rendered()["index.html"]


def test_pictures_that_are_not_listed_hang_nowhere_and_an_exhibit_of_them_has_no_page():
    assert not [path for path in rendered() if path.startswith("exhibits/private")]
    assert "For nobody" not in rendered()["exhibits.html"]
    assert parsed(SHOW).text.count("Not yet") == 0


def test_without_exhibits_there_is_no_page_and_no_way_to_it():
    whole = replace(archive(), exhibits=())
    found = archive_facts(whole, Almanac(whole), SIZES, {})
    everything = site_model(found, shown(found))
    assert not [page for page in pages(everything) if "exhibit" in page.path]
    assert "Exhibits" not in [link.text for link in everything.frame.sections]


def test_hostile_words_stay_words_on_the_wall():
    for path in ("exhibits.html", "exhibits/winter.html", SHOW):
        page = parsed(path, HOSTILE)
        assert page.wrong == []
        assert not [a for _, a in page.elements if any(name.startswith("on") for name in a)]


@pytest.fixture
def browser(chromium):
    return chromium


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    folder = tmp_path_factory.mktemp("site")
    write(folder)
    return (folder / SHOW).as_uri()


@pytest.fixture
def show(browser, address):
    context = browser.new_context(viewport={"width": 1280, "height": 720}, color_scheme="light")
    told: list[str] = []
    context.on("console", lambda m: told.append(m.text) if m.type in ("error", "warning") else None)
    page = context.new_page()
    page.on("pageerror", lambda e: told.append(str(e)))
    page.goto(address)
    yield page
    assert told == []
    context.close()


def at(page) -> str:
    """The slides that can be seen."""
    return " ".join(
        page.evaluate("[...document.querySelectorAll('.slide')].filter(s => s.offsetHeight).map(s => s.id)")
    )


KEYS = ("ArrowRight ArrowLeft", "PageDown PageUp", "Space Shift+Space", "ArrowDown ArrowUp", "Enter Backspace")


@pytest.mark.parametrize("keys", KEYS)
def test_keys_and_remotes_move_on_and_back_and_stop_at_the_ends(show, keys):
    on, back = keys.split()
    assert at(show) == "1"
    show.keyboard.press(back)
    assert at(show) == "1"
    show.keyboard.press(on)
    assert at(show) == "2"
    show.keyboard.press(on)
    assert at(show) == "2"
    show.keyboard.press(back)
    assert at(show) == "1"


def test_the_picture_fills_the_window_and_nothing_scrolls(show):
    box = show.evaluate(
        "(b => [b.width, b.height])(document.querySelector('.now .slide-picture').getBoundingClientRect())"
    )
    assert box[0] == 1280
    assert box[1] > 560
    assert show.evaluate("[document.documentElement.scrollWidth, document.documentElement.scrollHeight]") == [
        1280,
        720,
    ]


def test_the_next_picture_is_fetched_before_it_is_asked_for(show):
    show.wait_for_function("(i => i.complete && i.naturalWidth > 0)(document.querySelectorAll('.slide img')[1])")
    assert at(show) == "1"


def test_caption_and_words_go_on_and_off(show):
    seen = "s => (e => !!e && e.offsetHeight > 0)(document.querySelector('.now ' + s))"
    assert show.evaluate(seen, ".caption")
    assert not show.evaluate(seen, ".commentary")
    show.keyboard.press("c")
    show.keyboard.press("w")
    assert not show.evaluate(seen, ".caption")
    assert show.evaluate(seen, ".commentary")
    show.get_by_role("button", name="Caption").click()
    assert show.evaluate(seen, ".caption")


def test_it_goes_on_where_it_was_left_and_leads_back_to_the_page_to_read(show, address):
    show.keyboard.press("End")
    show.keyboard.press("w")
    assert show.evaluate("location.hash") == "#2"
    show.goto("about:blank")
    show.goto(address)
    assert at(show) == "2"
    assert show.get_by_role("button", name="Commentary").get_attribute("aria-pressed") == "true"
    show.keyboard.press("Escape")
    show.wait_for_url("**/exhibits/winter.html")


def test_the_wall_goes_dark_and_comes_back(show):
    show.keyboard.press("b")
    assert show.evaluate("getComputedStyle(document.querySelector('.now img')).visibility") == "hidden"
    show.keyboard.press("PageDown")
    assert show.evaluate("getComputedStyle(document.querySelector('.now img')).visibility") == "visible"
    assert at(show) == "2"


def test_the_hall_stays_dark_though_the_system_is_light(show):
    colour = show.evaluate("getComputedStyle(document.querySelector('.now')).backgroundColor")
    assert max(int(c) for c in colour[4:-1].split(",")) < 32


def test_without_script_the_slides_follow_each_other(browser, address):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(address)
    heights = [s.bounding_box()["height"] for s in page.locator(".slide").all()]
    assert len(heights) == 2
    assert min(heights) > 400
    assert not page.locator(".controls").is_visible()
    context.close()


def test_on_paper_an_exhibit_is_a_sheet_of_small_pictures(browser, address):
    page = browser.new_page(viewport={"width": 700, "height": 1000})
    page.emulate_media(media="print")
    page.goto(address.replace("/winter/slides.html", "/winter.html"))
    boxes = [p.bounding_box() for p in page.locator(".exhibit-picture").all()]
    assert boxes[0]["y"] + boxes[0]["height"] == pytest.approx(boxes[1]["y"] + boxes[1]["height"], abs=60)
    assert boxes[0]["x"] + boxes[0]["width"] < boxes[1]["x"]
    assert not page.locator(".commentary").first.is_visible()
    page.close()

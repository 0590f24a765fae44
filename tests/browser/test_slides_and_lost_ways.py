"""A swipe moves the slides; a lost address finds its way to the search; long lists are typed into."""

from __future__ import annotations

import http.server
import threading
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from noctuary.build import build

from tests.builders.folders import write
from tests.builders.many_pictures import write_archive

from .conftest import painted

pytestmark = pytest.mark.browser

SLIDES = "exhibits/february-meeting/slides.html"


def swipe(page: Any, start: tuple[float, float], end: tuple[float, float]) -> None:
    """One finger drawn over the page, as the browser gets it from a screen."""
    touch = page.context.new_cdp_session(page)
    points = [(start[0] + (end[0] - start[0]) * n / 8, start[1] + (end[1] - start[1]) * n / 8) for n in range(9)]
    for number, (x, y) in enumerate(points):
        kind = "touchMove" if number else "touchStart"
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [{"x": x, "y": y}]})
    touch.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    painted(page, ".slide.now img")


def slide(page: Any) -> str:
    return str(page.locator("[data-at]").text_content()).split("/")[0]


def test_a_swipe_moves_the_slides_and_nothing_else_does(open_page: Any) -> None:
    page = open_page(SLIDES, width=390, height=844, has_touch=True, is_mobile=True)
    assert slide(page) == "1"
    swipe(page, (320, 300), (90, 310))
    assert slide(page) == "2"
    assert page.evaluate("location.hash") == "#2"
    swipe(page, (320, 300), (100, 290))
    assert slide(page) == "3"
    swipe(page, (90, 300), (320, 310))
    assert slide(page) == "2"
    swipe(page, (200, 500), (205, 200))  # up the page
    assert slide(page) == "2"
    swipe(page, (90, 300), (320, 300))
    swipe(page, (90, 300), (320, 300))  # there is none before the first
    assert slide(page) == "1"
    assert SLIDES in page.evaluate("location.href"), "nor does it lead back"


@pytest.fixture(scope="module")
def host(site: Path) -> Iterator[str]:
    """The demo as hosts of static pages serve it: 404.html wherever nothing is."""

    class Host(http.server.SimpleHTTPRequestHandler):
        def log_message(self, *_: object) -> None:
            pass

        def send_error(self, code: int, message: str | None = None, explain: str | None = None) -> None:
            body = (site / "404.html").read_bytes()
            self.send_response(code)
            self.send_header("Content-Type", "text/html; charset=utf-8")
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), partial(Host, directory=str(site)))
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_address[1]}/"
    server.shutdown()


def test_an_address_where_nothing_is_leads_to_a_search_for_what_it_says(chromium: Any, host: str) -> None:
    context = chromium.new_context()
    page = context.new_page()
    answer = page.goto(f"{host}pictures/old/whirlpool-zebra_1.html")
    assert answer.status == 404
    link = page.locator("#look-for-it")
    assert link.inner_text() == "Find: whirlpool zebra 1"
    link.click()
    page.wait_for_selector("#find output:not(:empty)")
    assert page.input_value("#find-words") == "whirlpool zebra 1"
    # Nothing is called all of that, and what has a part of it is offered.
    page.locator(".search-offers a", has_text="whirlpool").click()
    page.wait_for_selector("#results li")
    names = page.locator("#results a").evaluate_all("all => all.map(a => a.getAttribute('href'))")
    assert {"pictures/whirlpool-2024.html", "pictures/whirlpool-2025.html"} <= set(names)
    context.close()


@pytest.fixture(scope="module")
def many_targets(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A front page of sixteen targets, more than a list shows without being typed into."""
    archive = write_archive(tmp_path_factory.mktemp("targets") / "archive", 16)
    for number, record in enumerate(sorted((archive / "pictures").glob("*.yaml"))):
        text = record.read_text(encoding="utf-8")
        start = text.index("objects: [")
        write(record, f"{text[:start]}objects: [NGC {6940 + number * 2}]{text[text.index(']', start) + 1 :]}")
    assert build(archive, workers=1).built
    return archive / "site" / "index.html"


def test_a_long_list_is_typed_into_and_a_short_one_is_not(chromium: Any, many_targets: Path) -> None:
    page = chromium.new_page()
    page.goto(many_targets.as_uri())
    page.click("[data-facet=target]")
    offered = page.locator("#find-target label:not([hidden])")
    page.wait_for_selector("#find-target:visible")
    assert offered.count() == 16
    narrow = page.get_by_role("searchbox", name="Target")
    for typed, left in (("NGC 694", 5), ("ngc694", 5), ("6970", 1), ("zebra", 0), ("", 16)):
        narrow.fill(typed)
        assert offered.count() == left, typed
    narrow.fill("6970")
    offered.first.click()
    page.wait_for_selector("#find output:has-text('1 of 16')")
    narrow.fill("694")
    assert offered.count() == 6, "what is chosen stays in sight"
    page.click("[data-facet=rig]")
    page.wait_for_selector("#find-rig:visible")
    assert page.locator("#find-rig input[type=search]").count() == 0
    page.close()

"""What every kind of page is measured by: accessibility, valid HTML, grounds, what is asked for, what it weighs.

Authorities: WCAG 2.2 AA as axe-core tests it, the Nu HTML checker of the W3C, Content Security Policy Level 3,
relative luminance as IEC 61966-2-1 defines it.
"""

from __future__ import annotations

import gzip
import io
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from tests.checkers import axe_violations, html_messages
from tests.served_site import served

from .conftest import load_all_pictures, painted

SHIFTS = (
    "window.shifted = 0; new PerformanceObserver(l => l.getEntries().forEach(e => window.shifted += e.value))"
    ".observe({type: 'layout-shift', buffered: true})"
)

#: A page waits for its face as long as it takes: on a slow machine it would show its words in a stand-in by then.
PATIENT = """
  {
    const later = window.setTimeout.bind(window);
    window.setTimeout = (then, after, ...more) => after > 1000 ? 0 : later(then, after, ...more);
  }
"""


@pytest.fixture(scope="module")
def address(site: Path) -> Iterator[str]:
    """The site over HTTP, at a free port of this machine."""
    with served(site) as found:
        yield found


@pytest.mark.browser
def test_axe_finds_nothing_on_three_grounds_at_two_widths(chromium, site, kinds):
    context = chromium.new_context(viewport={"width": 390, "height": 900}, bypass_csp=True)
    page = context.new_page()
    found = []
    for path in kinds:
        page.set_viewport_size({"width": 390, "height": 900})
        page.goto((site / path).as_uri())
        found += [(path, *one) for one in axe_violations(page)]
    context.close()
    assert found == []


def test_the_nu_html_checker_has_nothing_to_say(site):
    assert html_messages(site) == ""


@pytest.mark.browser
def test_dark_adapted_is_red_and_dim_on_every_kind_of_page(chromium, site, kinds):
    """No pixel with green or blue above 2 % of full, mean luminance below 4 %, and letters that can be read."""
    context = chromium.new_context(viewport={"width": 1000, "height": 800})
    context.add_init_script("localStorage.setItem('ground', 'red')")
    page = context.new_page()
    for path in kinds:
        page.goto((site / path).as_uri())
        load_all_pictures(page)
        red, green, blue = Image.open(io.BytesIO(page.screenshot(full_page=True))).convert("RGB").split()
        assert np.asarray(green).max() <= 0.02 * 255, path
        assert np.asarray(blue).max() <= 0.02 * 255, path
        counts = red.histogram()
        mean = sum(n * _linear(value / 255) for value, n in enumerate(counts)) / sum(counts)
        assert 0.2126 * mean < 0.04, path
        assert sum(counts[150:]) > 0, path
    context.close()


def _linear(value: float) -> float:
    return value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4


@pytest.mark.browser
@pytest.mark.parametrize("way", ["file", "http"])
def test_the_policy_holds_and_nothing_moves_or_goes_outside(chromium, site, kinds, address, way):
    home = site.as_uri() if way == "file" else address
    context = chromium.new_context(viewport={"width": 390, "height": 844})
    context.add_init_script(SHIFTS + PATIENT)
    told: list[str] = []
    context.on("console", lambda said: said.type in ("error", "warning") and told.append(said.text))
    context.on("request", lambda asked: not asked.url.startswith((home, "data:")) and told.append(asked.url))
    # What is still on its way when a page is closed has not failed.
    context.on(
        "requestfailed", lambda r: r.failure != "net::ERR_ABORTED" and told.append(f"{r.url}: {r.failure}")
    )
    for path in kinds:
        page = context.new_page()
        page.on("pageerror", lambda error: told.append(str(error)))
        page.goto(f"{home}/{path}")
        load_all_pictures(page)
        page.evaluate("document.fonts.ready")
        page.evaluate("scrollTo({top: 4000, behavior: 'instant'})")
        painted(page)
        # From a folder no face can be asked for ahead: its stand-in has its place until it has been read, and one
        # line may break elsewhere in it. Over HTTP a slow machine may paint a word or two before the face is there.
        # Less than 0.1 counts as good (the threshold that Web Vitals publishes).
        assert page.evaluate("window.shifted") <= (0.05 if way == "file" else 0.002), path
        assert page.evaluate("document.documentElement.scrollWidth") <= 390, path
        page.close()
    context.close()
    assert told == []


@pytest.fixture(scope="module")
def first_view(chromium: Any, address: str, kinds: list[str]) -> Callable[[int, int], dict[str, dict[str, bytes]]]:
    """What a browser asks for until it has nothing more to ask, untouched: address → body, each page opened once.

    The pages lie open together, so that waiting for more to be asked for takes as long for all of them as for one.
    """

    @cache
    def asked(width: int, scale: int) -> dict[str, dict[str, bytes]]:
        contexts, pages = [], {}
        answers: dict[str, list[Any]] = {path: [] for path in kinds}
        for path in kinds:
            context = chromium.new_context(viewport={"width": width, "height": 844}, device_scale_factor=scale)
            contexts.append(context)
            pages[path] = page = context.new_page()
            page.on("response", lambda answer, told=answers[path]: told.append(answer))
            page.goto(f"{address}/{path}")
        for page in pages.values():
            page.wait_for_load_state("networkidle")
        found = {path: {answer.url: answer.body() for answer in answers[path] if answer.ok} for path in kinds}
        for context in contexts:
            context.close()
        return found

    return asked


@pytest.mark.browser
def test_what_is_asked_for_before_a_click_is_light(first_view):
    """Compressed as a server would: script and style 12 kB each, faces 60 kB, on every kind of page.

    The map of the sky is drawn by script: there it may be 90 kB, besides the stars, which are data.
    """
    for path, asked in first_view(390, 3).items():
        packed = {
            ending: sum(len(gzip.compress(b, 9)) for n, b in asked.items() if n.endswith(ending) and "/theme/" in n)
            for ending in (".js", ".css")
        }
        assert packed[".js"] <= (90_000 if path == "sky.html" else 12_000), path
        assert packed[".css"] <= 12_000, path
        assert sum(len(body) for name, body in asked.items() if name.endswith(".woff2")) <= 60_000, path


@pytest.mark.browser
@pytest.mark.parametrize("path", ["index.html", "exhibits/february-meeting.html"])
def test_pictures_further_down_leave_the_way_to_the_first(chromium, address, path):
    """None of them is asked for until the first has come, and all are there for whoever goes to them."""
    context = chromium.new_context(viewport={"width": 390, "height": 844})
    page = context.new_page()
    held: list[Any] = []

    def hold_the_first(route: Any) -> None:
        held.append(route)
        if len(held) > 1:
            route.continue_()

    page.route("**/images/**", hold_the_first)
    with page.expect_request(lambda asked: "/images/" in asked.url and not asked.url.endswith(".svg")):
        page.goto(f"{address}/{path}", wait_until="domcontentloaded")
    painted(page, "nothing")
    assert len([one for one in held if not one.request.url.endswith(".svg")]) == 1
    held[0].continue_()
    load_all_pictures(page)
    assert len(held) > 2
    context.close()


@pytest.mark.browser
@pytest.mark.parametrize(("width", "scale", "limit"), [(390, 3, 250_000), (1440, 1, 700_000)])
def test_the_first_view_of_every_kind_of_page_is_light(first_view, width, scale, limit):
    """All requests of the first view, texts compressed as a server would: on a fine phone and on a plain screen."""
    texts = (".html", ".js", ".css", ".svg")
    weights = {}
    for path, asked in first_view(width, scale).items():
        weights[path] = sum(len(gzip.compress(b, 9) if name.endswith(texts) else b) for name, b in asked.items())
    assert min(weights.values()) > 20_000
    assert {path: total for path, total in weights.items() if total > limit} == {}


@pytest.mark.browser
def test_what_the_system_asks_for_is_given(chromium, site, kinds):
    """Contrast, forced colours, reduced motion: nothing animates, and what is chosen shows without its colour."""
    context = chromium.new_context(
        viewport={"width": 1280, "height": 900}, reduced_motion="reduce", forced_colors="active", contrast="more"
    )
    page = context.new_page()
    for path in kinds:
        page.goto((site / path).as_uri())
        assert page.evaluate("document.getAnimations().length") == 0, path
        assert page.evaluate(
            "[...document.querySelectorAll('*')].every(e => {const s = getComputedStyle(e);"
            "return s.animationName === 'none' && parseFloat(s.transitionDuration) === 0"
            " && s.scrollBehavior !== 'smooth'})"
        ), path
        current = page.locator("nav [aria-current=page]")
        if current.count():
            line = "e => getComputedStyle(e).textDecorationLine"
            assert current.first.evaluate(line) == "underline", path
    context.close()


@pytest.mark.browser
def test_more_contrast_is_more_contrast(chromium, site):
    """Between text and ground, and between rules and ground, on the night and on the day ground."""
    rule = "getComputedStyle(document.documentElement).getPropertyValue('--rule').trim()"
    for scheme in ("dark", "light"):
        seen = {}
        for contrast in ("no-preference", "more"):
            context = chromium.new_context(color_scheme=scheme, contrast=contrast)
            page = context.new_page()
            page.goto((site / "targets.html").as_uri())
            seen[contrast] = page.evaluate(rule)
            ink = page.evaluate("getComputedStyle(document.documentElement).color")
            context.close()
        assert seen["more"] != seen["no-preference"]
        assert ink

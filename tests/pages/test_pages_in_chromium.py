"""The pages as a browser shows them: three grounds, from a folder, on a phone, on paper, without script."""

from __future__ import annotations

import gzip
import io
import threading
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import numpy as np
import pytest
from noctuary.pages.theme import published_files, theme_folders
from PIL import Image

from tests.builders.one_of_everything import rendered, write

pytestmark = pytest.mark.browser
KINDS = (
    "index.html", "pictures/ring-two.html", "targets/ngc-2238.html", "targets.html", "nights/2025-01-18.html",
    "nights.html", "equipment.html", "constellations/mon.html", "about.html", "sky.html",
)  # fmt: skip


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    folder = tmp_path_factory.mktemp("site")
    write(folder)
    return folder


@pytest.fixture
def browser(chromium):
    return chromium


@pytest.fixture(scope="module")
def address(site):
    """The same site over HTTP."""
    server = ThreadingHTTPServer(("127.0.0.1", 0), partial(_Quiet, directory=str(site)))
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    server.server_close()


class _Quiet(SimpleHTTPRequestHandler):
    def log_message(self, *_: object) -> None:
        pass


def opened(context, site: Path, path: str, address: str | None = None):
    page = context.new_page()
    page.goto(f"{address}/{path}" if address else (site / path).as_uri())
    page.evaluate("document.querySelectorAll('img').forEach(i => i.loading = 'eager')")
    page.evaluate("Promise.all([...document.images].map(i => i.decode().catch(() => null)))")
    return page


@pytest.mark.parametrize("way", ["folder", "http"])
def test_no_page_complains_shifts_or_asks_for_anything_outside(site, address, browser, way):
    start = address if way == "http" else site.as_uri()
    context = browser.new_context(viewport={"width": 390, "height": 844})
    context.add_init_script(
        "window.shifted = 0; new PerformanceObserver(l => l.getEntries().forEach(e => window.shifted += e.value))"
        ".observe({type: 'layout-shift', buffered: true})"
    )
    told: list[str] = []
    context.on("console", lambda m: told.append(m.text) if m.type in ("error", "warning") else None)
    context.on("request", lambda r: told.append(r.url) if not r.url.startswith(start) else None)
    for path in KINDS:
        page = opened(context, site, path, address if way == "http" else None)
        assert page.evaluate("document.documentElement.scrollWidth") <= 390, path
        # The face may come a moment after the text; what stands in for it has its width to a hair.
        assert page.evaluate("window.shifted") <= (0.001 if way == "http" else 0.01), path
        page.close()
    assert told == []


def test_dark_adapted_is_red_and_dim_on_every_kind_of_page(site, browser):
    """No pixel with green or blue above 2 % of full, mean luminance (IEC 61966-2-1) below 4 %."""
    context = browser.new_context(viewport={"width": 1000, "height": 800})
    context.add_init_script("localStorage.setItem('ground', 'red')")
    for path in KINDS:
        page = opened(context, site, path)
        screen = Image.open(io.BytesIO(page.screenshot(full_page=True))).convert("RGB")
        red, green, blue = screen.split()
        assert np.asarray(green).max() <= 5, path
        assert np.asarray(blue).max() <= 5, path
        counts = red.histogram()
        light = sum(n * _linear(v / 255) for v, n in enumerate(counts)) / sum(counts)
        assert 0.2126 * light < 0.04, path
        assert max(v for v, n in enumerate(counts) if n) > 150, path  # and yet it can be read
        page.close()


def _linear(value: float) -> float:
    return value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4


def test_a_chosen_ground_is_remembered_and_the_system_s_holds_until_then(site, browser):
    context = browser.new_context(color_scheme="light")
    page = opened(context, site, "index.html")
    shade = "getComputedStyle(document.documentElement).backgroundColor"
    day = page.evaluate(shade)
    assert page.locator("button[aria-pressed=true]").inner_text() == "Day"
    page.emulate_media(color_scheme="dark")
    night = page.evaluate(shade)
    assert day != night
    page.locator("button[aria-pressed=true]", has_text="Night").wait_for()
    page.get_by_role("button", name="Red").click()
    page.goto((site / "targets.html").as_uri())
    assert page.evaluate(shade) == "rgb(0, 0, 0)"
    assert page.locator("button[aria-pressed=true]").inner_text() == "Red"


def test_the_faces_arrive_from_a_folder(site, browser):
    page = opened(browser.new_context(), site, "pictures/ring-two.html")
    faces = page.evaluate("document.fonts.ready.then(() => [...document.fonts].map(f => f.family + ' ' + f.status))")
    assert "Vollkorn loaded" in faces
    assert not [face for face in faces if face.startswith("Vollkorn ") and "error" in face]


def test_a_table_sorts_by_its_heads_and_stays_a_table_without_script(site, browser):
    page = opened(browser.new_context(), site, "targets.html")
    names = "[...document.querySelectorAll('tbody tr')].map(r => r.cells[0].textContent.trim())"
    before = page.evaluate(names)
    head = page.get_by_role("button", name="Hours")
    head.click()
    down = page.evaluate(names)
    assert down[0] == "NGC 2238"  # 7.7 hours, more than any other
    head.click()
    assert page.evaluate(names) == down[::-1]
    silent = opened_without_script(browser, site, "targets.html")
    assert silent.locator("tbody tr").count() == len(before)
    assert silent.get_by_role("button").count() == 0
    assert silent.locator(".grounds").is_hidden()


def opened_without_script(browser, site: Path, path: str):
    page = browser.new_context(java_script_enabled=False).new_page()
    page.goto((site / path).as_uri())
    return page


def test_arrow_keys_lead_to_the_neighbours(site, browser):
    page = opened(browser.new_context(), site, "pictures/ring-two.html")
    page.keyboard.press("ArrowRight")
    page.wait_for_url("**/spots.html")
    page.keyboard.press("ArrowLeft")
    page.wait_for_url("**/ring-two.html")


@pytest.mark.parametrize("name", ["ring-two", "tall", "spots", "aurora"])
def test_a_picture_prints_on_one_sheet(site, browser, name):
    page = opened(browser.new_context(color_scheme="dark"), site, f"pictures/{name}.html")
    sheet = page.pdf(prefer_css_page_size=True)
    assert b"/Count 1\n" in sheet


def test_rows_of_the_wall_are_of_equal_height_and_nothing_is_cropped(site, browser):
    page = opened(browser.new_context(viewport={"width": 1440, "height": 900}), site, "index.html")
    boxes = page.evaluate(
        "[...document.querySelectorAll('.gallery img')].filter(i => i.offsetParent)"
        ".map(i => {const b = i.getBoundingClientRect();"
        "return [b.top, b.height, b.width / b.height, i.naturalWidth / i.naturalHeight]})"
    )
    rows: dict[int, list[float]] = {}
    for top, height, proportion, own in boxes:
        rows.setdefault(round(top), []).append(height)
        assert proportion == pytest.approx(own, rel=0.01)
    for heights in rows.values():
        assert max(heights) - min(heights) < 3


def test_what_the_theme_weighs():
    files = published_files(theme_folders(None, Path("nowhere")))
    html = rendered()["index.html"]

    def packed(kind: str) -> int:
        named = [data for path, data in files.items() if path.endswith(kind) and path.rpartition("/")[2] in html]
        return sum(len(gzip.compress(data, 9)) for data in named)

    assert 0 < packed(".js") < 12_000
    assert 0 < packed(".css") < 12_000
    assert 0 < sum(len(data) for path, data in files.items() if path.endswith(".woff2")) < 60_000
    assert "theme/fonts/OFL.txt" in files

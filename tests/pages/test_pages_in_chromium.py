"""The pages as a browser shows them: from a folder, by the keyboard, on paper, without script.

What is measured on every kind of page (access, grounds, what moves, what it weighs) is in ``tests/browser``."""

from __future__ import annotations

import gzip
from pathlib import Path

import pytest
from noctuary.pages.theme import published_files, theme_folders

from tests.builders.one_of_everything import rendered, write

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    folder = tmp_path_factory.mktemp("site")
    write(folder)
    return folder


@pytest.fixture
def browser(chromium):
    return chromium


def opened(context, site: Path, path: str):
    page = context.new_page()
    page.goto((site / path).as_uri())
    page.evaluate("document.querySelectorAll('img').forEach(i => i.loading = 'eager')")
    page.evaluate("Promise.all([...document.images].map(i => i.decode().catch(() => null)))")
    return page


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

"""The map of the sky as a place: from the whole of it into a picture, by mouse, wheel, keys and fingers."""

from __future__ import annotations

import io
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

pytestmark = pytest.mark.browser

CANVAS = "#sky-view canvas"
STILL = "#sky-view[data-still]"


def ready(page: Any) -> Any:
    page.wait_for_selector(CANVAS)
    page.locator(CANVAS).scroll_into_view_if_needed()
    return page


def at(page: Any) -> tuple[float, float, float]:
    """Right ascension, declination and degrees across, as the address says once the view is still."""
    page.wait_for_selector(STILL)
    said = re.fullmatch(r"#at=([\d.]+),(-?[\d.]+),([\d.]+)", page.evaluate("location.hash"))
    assert said
    ra, dec, across = said.groups()
    return float(ra), float(dec), float(across)


def test_mouse_wheel_and_keys_lead_from_the_whole_sky_into_it(open_page: Any) -> None:
    page = ready(open_page("sky.html", height=1000))
    assert page.locator("#sky-view svg:visible").count() == 0
    page.focus(CANVAS)
    for _ in range(6):
        page.keyboard.press("+")
    ra, dec, across = at(page)
    assert (dec, across < 60) == (0, True)
    page.keyboard.press("ArrowUp")
    assert at(page)[1] > 2
    box = page.locator(CANVAS).bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 200, y, steps=4)
    page.mouse.up()
    dragged = at(page)
    assert 0.05 * across < (dragged[0] - ra) % 360 < 0.5 * across, "east is left: what is drawn to the right was east"
    address = page.evaluate("location.hash")
    page.mouse.wheel(0, -400)
    page.wait_for_function("was => location.hash !== was", arg=address)
    assert at(page)[2] < 0.7 * dragged[2]
    page.keyboard.press("0")
    assert at(page)[2] > 300


def test_the_next_picture_by_key_and_into_its_page(open_page: Any) -> None:
    page = ready(open_page("sky.html", height=1000))
    page.focus(CANVAS)
    page.keyboard.press("n")
    assert at(page) == (pytest.approx(98.01, abs=0.2), pytest.approx(4.93, abs=0.2), pytest.approx(9, abs=6))
    assert page.locator("#sky-view output").inner_text() == "The Rosette, in its own light, 2026"
    box = page.locator(CANVAS).bounding_box()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.wait_for_url("**/pictures/rosette-2026.html")


def test_two_fingers(open_page: Any) -> None:
    page = ready(open_page("sky.html", width=390, height=800, has_touch=True))
    box = page.locator(CANVAS).bounding_box()
    x, y = box["x"] + 180, box["y"] + 150
    driver = page.context.new_cdp_session(page)

    def touch(kind: str, *apart: float) -> None:
        fingers = [{"x": x + p, "y": y, "id": i} for i, p in enumerate(apart)]
        driver.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": fingers})

    touch("touchStart", -20, 20)
    for apart in (30, 50, 80, 120):
        touch("touchMove", -apart, apart)
    touch("touchEnd")
    assert at(page)[2] < 160
    assert page.evaluate("visualViewport.scale") == 1


def test_a_finder_leads_into_it_and_nothing_heavy_comes_before_a_move(open_page: Any, site: Path) -> None:
    page = ready(open_page("sky.html"))
    page.wait_for_selector(STILL)
    names = page.evaluate("performance.getEntriesByType('resource').map(r => r.name)")
    files = [site / name.removeprefix(site.as_uri() + "/") for name in names if name.startswith(site.as_uri())]
    assert not [file for file in files if file.parent.name == "images" and file.suffix != ".svg"]
    assert not [file for file in files if file.name.startswith(("pictures", "stars"))]
    assert sum(file.stat().st_size for file in files) < 300_000
    scripts = [file for file in files if file.suffix == ".js" and file.parent.name != "sky"]
    assert sum(file.stat().st_size for file in scripts) < 90_000
    page = open_page("targets/ngc-2238.html")
    page.get_by_role("link", name="On the map of the sky").click()
    ready(page)
    assert at(page) == (pytest.approx(98, abs=1), pytest.approx(5, abs=1), pytest.approx(12, abs=1))


def test_years_are_switched(open_page: Any) -> None:
    page = ready(open_page("sky.html"))
    button = page.locator(".sky-years button", has_text="2023")
    page.wait_for_selector(STILL)
    before = page.locator(CANVAS).screenshot()
    button.click()
    assert button.get_attribute("aria-pressed") == "false"
    page.wait_for_selector(STILL)
    assert page.locator(CANVAS).screenshot() != before, "the year is still drawn"


#: Each frame comes a tenth of a second after the one before, by the clock that frames are told, on any machine.
LATE = """
  const next = window.requestAnimationFrame.bind(window);
  let clock = 0;
  window.requestAnimationFrame = then => next(() => then(clock += 100));
"""


def test_it_leaves_out_nothing_once_it_is_still(open_page: Any) -> None:
    page = ready(open_page("sky.html", ahead=LATE))
    across = "[document.querySelector('#sky-view canvas').width, document.querySelector('#sky-view canvas').height]"
    whole = page.evaluate(across)
    page.focus(CANVAS)
    sizes = []
    for key in "+-" * 12:
        page.keyboard.press(key)
        sizes.append(page.evaluate(f"() => new Promise(done => requestAnimationFrame(() => done({across})))"))
    assert min(sizes) < whole
    page.wait_for_selector(STILL)
    assert page.evaluate(across) == whole
    as_it_is = page.locator(CANVAS).screenshot()
    page.evaluate("dispatchEvent(new Event('resize'))")
    page.wait_for_selector(STILL)
    assert page.locator(CANVAS).screenshot() == as_it_is


@pytest.mark.parametrize("address", ["#at=309.5,43.0,3", "#at=309.5,43.0,30"])
def test_a_picture_larger_than_the_view_fills_it(open_page: Any, address: str) -> None:
    page = ready(open_page("sky.html", height=1000))
    page.evaluate(
        "address => new Promise(done => { addEventListener('hashchange', done); location.hash = address; })", address
    )
    page.wait_for_selector(STILL)
    drawn = np.asarray(Image.open(io.BytesIO(page.locator(CANVAS).screenshot())).convert("RGB"), dtype=float)
    high, wide = drawn.shape[0] // 2, drawn.shape[1] // 2
    middle = drawn[high - 60 : high + 60, wide - 60 : wide + 60].reshape(-1, 3)
    ground = drawn[2:6, 2:6].reshape(-1, 3).mean(axis=0)
    if address.endswith(",3"):
        ground = np.array([13, 13, 13])
    assert (np.abs(middle - ground).max(axis=1) > 6).mean() > 0.9


def test_names_have_lining_figures(open_page: Any) -> None:
    page = ready(open_page("sky.html"))
    page.wait_for_function("document.fonts.check('13px Vollkorn')")
    widths = page.evaluate(
        """() => {
          const canvas = document.querySelector("#sky-view canvas"), face = getComputedStyle(canvas).fontFamily;
          const context = canvas.getContext("2d"), span = document.createElement("span");
          context.font = "40px " + face;
          span.style.cssText = `position: absolute; font: 40px ${face}; font-variant-numeric: `;
          span.textContent = "0123456789";
          document.body.append(span);
          return [context.measureText(span.textContent).width, ...["lining-nums", "oldstyle-nums"].map(kind => {
            span.style.fontVariantNumeric = kind;
            return span.getBoundingClientRect().width;
          })];
        }"""
    )
    assert widths[0] == pytest.approx(widths[1], abs=0.1)
    assert widths[1] != pytest.approx(widths[2], abs=1)


def test_it_is_a_plain_drawing_without_script(open_page: Any) -> None:
    page = open_page("sky.html", scripts=False)
    assert page.locator(CANVAS).count() == 0
    assert not page.locator(".sky-controls").is_visible()
    assert page.locator("#sky-view svg a").first.is_visible()

"""The map of the sky, brought nearer: by buttons, keys, wheel and fingers; only the viewBox changes."""

from __future__ import annotations

from typing import Any

import pytest

pytestmark = pytest.mark.browser

MAP = "figure[data-zoom]"


def view(page: Any) -> tuple[float, float, float, float]:
    x, y, w, h = (float(n) for n in page.get_attribute(f"{MAP} svg", "viewBox").split())
    return x, y, w, h


def ready(page: Any) -> Any:
    page.wait_for_selector(".chart-controls:visible")
    return page


def test_buttons_bring_it_nearer_and_back(open_page: Any) -> None:
    page = ready(open_page("sky.html"))
    whole = view(page)
    page.click("[data-do=nearer]")
    x, y, w, h = view(page)
    assert w == pytest.approx(whole[2] / 1.6, rel=1e-3)
    assert w / h == pytest.approx(whole[2] / whole[3], rel=1e-3)
    assert (x + w / 2, y + h / 2) == pytest.approx((whole[2] / 2, whole[3] / 2), abs=1)
    assert page.locator(".chart-controls output").inner_text() == "1.6\u202f×"
    page.click("[data-do=farther]")
    page.click("[data-do=farther]")
    assert view(page) == whole, "never farther than the whole"


def test_the_wheel_turns_the_page_until_the_map_is_touched(open_page: Any) -> None:
    page = ready(open_page("sky.html", height=500))
    box = page.locator(f"{MAP} svg").bounding_box()
    at = (box["x"] + 0.25 * box["width"], box["y"] + 100)
    whole = view(page)
    page.mouse.move(*at)
    page.mouse.wheel(0, -200)
    page.wait_for_timeout(100)
    assert view(page) == whole
    page.focus(MAP)
    box = page.locator(f"{MAP} svg").bounding_box()
    at = (box["x"] + 0.25 * box["width"], box["y"] + 0.5 * box["height"])
    page.mouse.move(*at)
    page.mouse.wheel(0, -400)
    page.wait_for_selector(f"{MAP}.nearer")
    x, y, w, h = view(page)
    # The point under the pointer stays under it.
    assert x + 0.25 * w == pytest.approx(0.25 * whole[2], abs=1)
    assert y + 0.5 * h == pytest.approx(0.5 * whole[3], abs=1)


def test_keys_and_the_mouse_move_it_within_its_bounds(open_page: Any) -> None:
    page = ready(open_page("sky.html", height=1000))
    page.focus(MAP)
    for _ in range(3):
        page.keyboard.press("+")
    x, y, w, _ = view(page)
    page.keyboard.press("ArrowLeft")
    assert view(page)[:2] == pytest.approx((x - w / 6, y), abs=0.01)
    for _ in range(20):
        page.keyboard.press("ArrowLeft")
    assert view(page)[0] == 0
    box = page.locator(f"{MAP} svg").bounding_box()
    middle = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.move(*middle)
    page.mouse.down()
    page.mouse.move(middle[0] - 100, middle[1], steps=4)
    page.mouse.up()
    assert view(page)[0] == pytest.approx(100 / box["width"] * w, rel=0.02)
    page.keyboard.press("0")
    assert view(page)[2] == 1200


def test_words_and_spots_keep_their_size(open_page: Any) -> None:
    page = ready(open_page("sky.html", height=1000))
    spot, word = f"{MAP} circle.spot", f"{MAP} a text"

    def sizes() -> tuple[float, float]:
        return tuple(
            page.locator(what).first.evaluate("e => e.getBoundingClientRect().height") for what in (spot, word)
        )

    before = sizes()
    for _ in range(4):
        page.click("[data-do=nearer]")
    assert sizes() == pytest.approx(before, rel=0.15)


def test_a_link_reached_by_the_keyboard_comes_into_view(open_page: Any) -> None:
    page = ready(open_page("sky.html", height=1000))
    page.focus(MAP)
    for _ in range(6):
        page.keyboard.press("+")
    for link in page.locator(f"{MAP} svg a").all():
        link.focus()
        box, frame = link.bounding_box(), page.locator(f"{MAP} svg").bounding_box()
        assert box["x"] < frame["x"] + frame["width"]
        assert box["x"] + box["width"] > frame["x"]
        assert box["y"] < frame["y"] + frame["height"]
        assert box["y"] + box["height"] > frame["y"]


def test_a_drag_that_ends_on_a_link_does_not_follow_it(open_page: Any) -> None:
    page = ready(open_page("sky.html", height=1000))
    page.focus(MAP)
    page.keyboard.press("+")
    link = page.locator(f"{MAP} svg a .spot").first
    link.evaluate("e => e.parentNode.focus()")
    box = link.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 40, y + 10, steps=4)
    page.mouse.up()
    page.wait_for_timeout(150)
    assert page.url.endswith("sky.html")


def test_two_fingers(open_page: Any) -> None:
    page = ready(open_page("sky.html", width=390, height=800, has_touch=True))
    box = page.locator(MAP).bounding_box()
    x, y = box["x"] + 180, box["y"] + 200
    driver = page.context.new_cdp_session(page)

    def touch(kind: str, *points: float) -> None:
        fingers = [{"x": x + p, "y": y, "id": i} for i, p in enumerate(points)]
        driver.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": fingers})

    touch("touchStart", -20, 20)
    for apart in (30, 40, 60, 80):
        touch("touchMove", -apart, apart)
    touch("touchEnd")
    page.wait_for_timeout(100)
    assert view(page)[2] < 700
    assert page.evaluate("visualViewport.scale") == 1


def test_it_is_a_plain_drawing_without_script(open_page: Any) -> None:
    page = open_page("sky.html", scripts=False)
    assert not page.locator(".chart-controls").is_visible()
    assert page.locator(f"{MAP} svg a").first.is_visible()

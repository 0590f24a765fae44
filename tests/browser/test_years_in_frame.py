"""The years of a target in one frame, in Chromium: keys, drag, blink, and what is asked for when."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from .conftest import hold_clock, painted

pytestmark = pytest.mark.browser

TARGET = "targets/ngc-2238.html"


def files(page: Any) -> list[str]:
    """The frame's pictures that the page has asked for, by the ids of their pictures."""
    names = page.locator("img").evaluate_all("all => all.map(e => e.src)")
    return sorted(n.rsplit("/", 1)[-1].split("-in-")[0] for n in names if "-in-" in n)


def shares(page: Any) -> list[float]:
    steps = page.locator(".frame-step").evaluate_all("all => all.map(e => parseFloat(getComputedStyle(e).opacity))")
    return [round(float(s), 2) for s in steps]


def now(page: Any) -> str:
    return str(page.locator(".frame-captions li.now").inner_text())


@pytest.mark.parametrize("width", [390, 1440])
def test_keys_lead_through_the_years_and_each_picture_is_asked_for_when_it_is_looked_at(
    open_page: Any, width: int
) -> None:
    page = open_page(TARGET, width=width)
    time = page.locator(".frame-time input")
    assert files(page) == ["rosette-2026"]
    assert "2026" in now(page)
    time.focus()
    page.keyboard.press("ArrowLeft")
    assert "2024" in now(page)
    assert files(page) == ["rosette-2024", "rosette-2026"]
    page.keyboard.press("Home")
    assert "2023" in now(page)
    assert "2023" in time.get_attribute("aria-valuetext")
    page.keyboard.press("End")
    assert "2026" in now(page)
    assert shares(page)[0] == 1


def test_the_screen_shows_the_picture_of_the_chosen_year(open_page: Any, site: Path) -> None:
    """Against the file of that year's picture, pixel by pixel, both made small: no single star decides."""
    page = open_page(TARGET, width=1440)
    stage = page.locator(".frame-stage")
    page.locator(".frame-time input").focus()
    differences = {}
    for key, year in (("Home", 2023), ("End", 2026)):
        page.keyboard.press(key)
        painted(page, ".frame-stage img[src]")
        shown = Image.open(io.BytesIO(stage.screenshot())).convert("RGB")
        for other in (2023, 2026):
            (file, *_) = sorted((site / "images").glob(f"rosette-{other}-in-rosette-2026-*.webp"), reverse=True)
            pictures = [picture.resize((240, 160), Image.Resampling.BOX) for picture in (shown, Image.open(file))]
            screen, drawn = (np.asarray(picture.convert("RGB"), dtype=float) for picture in pictures)
            differences[year, other] = np.abs(screen - drawn).mean()
    assert differences[2023, 2023] < 0.25 * differences[2023, 2026]
    assert differences[2026, 2026] < 0.25 * differences[2026, 2023]


def test_between_two_years_both_are_seen_and_letting_go_settles_on_one(open_page: Any) -> None:
    page = open_page(TARGET, width=1440)
    box = page.locator(".frame-stage").bounding_box()
    y = box["y"] + 50
    page.mouse.move(box["x"] + box["width"] * 0.6, y)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] * 0.4, y, steps=4)
    between = shares(page)
    assert sum(between) == pytest.approx(1, abs=0.02)
    assert 0.2 < between[0] < 0.8
    page.mouse.up()
    assert sorted(shares(page)) == [0, 1]


def test_two_years_blink_in_turn_until_they_are_told_to_stop(open_page: Any) -> None:
    page = open_page(TARGET, width=1440)
    hold_clock(page)
    page.locator(".frame-blink select").select_option("0")
    button = page.locator(".frame-blink button")
    button.click()
    assert "2023" in now(page)
    for year in ("2026", "2023"):
        page.clock.run_for(900)
        assert year in now(page)
    button.click()
    assert button.get_attribute("aria-pressed") == "false"
    page.clock.run_for(5000)
    assert "2023" in now(page)


def test_without_a_script_two_whole_pictures_are_beside_each_other(open_page: Any) -> None:
    page = open_page(TARGET, width=1440, scripts=False)
    oldest, newest = (page.locator(s).bounding_box() for s in (".frame-oldest", ".frame-stage img"))
    assert oldest["x"] + oldest["width"] <= newest["x"]
    assert oldest["y"] == pytest.approx(newest["y"], abs=oldest["height"] / 2)
    assert not page.locator(".frame-controls").is_visible()
    assert page.locator(".frame-captions li:visible").count() == 2


def test_each_picture_of_a_frame_weighs_little(site: Path) -> None:
    weights = [f.stat().st_size for f in (site / "images").glob("*-in-*.webp")]
    assert len(weights) > 3
    assert max(weights) < 200_000

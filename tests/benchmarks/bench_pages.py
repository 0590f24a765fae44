"""How long the search in a large archive keeps the processor of a slow phone busy; a table in Markdown.

    python tests/benchmarks/bench_pages.py SITE [--slower 6] [--width 390] [--runs 7]

SITE is a folder made by ``noctuary build``, of an archive that ``tests/builders/large_archive.py`` wrote, say. The
page comes from a server on the loopback into Chromium, its processor slowed down so many times. Measured is how long
the page's main thread was busy: when the search begins, with all that is loaded for it, and at each letter from the
key to the painted results. Each run is a visitor of its own; the middle one counts, the least and the most are beside
it. The time is that of the thread alone, but a busy machine makes it longer all the same.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path
from statistics import median
from typing import Any

REPOSITORY = Path(__file__).resolve().parent.parent.parent
sys.path.insert(0, str(REPOSITORY))

from tests.conftest import ARGUMENTS, CHROMIUM  # noqa: E402
from tests.served_site import served  # noqa: E402

#: What is typed, letter by letter.
TYPED = "m31 ga"
#: Marks in the recorded run of the page: the finger, the key, and the frame after the one in which results were set.
#: Each is made once before it counts: the first of a kind takes a slow phone 10 ms that are not the page's.
MARKS = """const finger = () => performance.mark("finger");
const key = () => performance.mark("key");
const mark = (name) => scheduler.postTask(() => performance.mark(name), { priority: "user-blocking" });
const painted = () => mark("painted");
finger(); key(); mark("ready");
addEventListener("pointerdown", finger, true);
addEventListener("keydown", key, true);
addEventListener("DOMContentLoaded", () => {
  requestAnimationFrame(() => mark("ready"));
  const shown = new MutationObserver(() => requestAnimationFrame(painted));
  for (const part of ["#find output", "#results"]) shown.observe(document.querySelector(part), { childList: true });
});"""


def tasks(page: Any, driver: Any, do: Callable[[], object], begins: str) -> list[float]:
    """What each task of the main thread took, in milliseconds, from a mark to the painted results or to its rest."""
    events: list[dict[str, Any]] = []
    ended: list[object] = []
    driver.on("Tracing.dataCollected", lambda some: events.extend(some["value"]))
    driver.on("Tracing.tracingComplete", lambda end: ended.append(end))
    categories = ["toplevel", "blink.user_timing"]
    driver.send("Tracing.start", {"transferMode": "ReportEvents", "traceConfig": {"includedCategories": categories}})
    do()
    page.wait_for_timeout(1000)
    driver.send("Tracing.end")
    while not ended:
        page.wait_for_timeout(50)
    at = {e["name"]: e for e in reversed(events) if e.get("name") in (begins, "painted")}
    thread = at[begins]["pid"], at[begins]["tid"]
    whole = [e for e in events if e.get("name") == "ThreadControllerImpl::RunTask" and "dur" in e]
    start = at[begins]["ts"]
    # An answer like the one before is not painted, and at the beginning there is none.
    end = at["painted"]["ts"] if "painted" in at else float("inf")
    return [
        float(e.get("tdur", 0)) / 1000
        for e in whole
        if (e["pid"], e["tid"]) == thread and e["ts"] + e["dur"] >= start and e["ts"] <= end
    ]


def visit(browser: Any, site: str, slower: float, width: int) -> dict[str, float]:
    """What one visitor waits for: the beginning, its longest task, and each letter."""
    context = browser.new_context(viewport={"width": width, "height": 800}, has_touch=True)
    context.add_init_script(MARKS)
    page = context.new_page()
    driver = context.new_cdp_session(page)
    page.goto(f"{site}/index.html")
    page.wait_for_timeout(1000)
    field = page.locator("#find-words")
    field.scroll_into_view_if_needed()
    box = field.bounding_box()
    driver.send("Emulation.setCPUThrottlingRate", {"rate": slower})
    # A finger from outside, and nobody asking the page whether it is done, which would keep it busy, too.
    took = tasks(page, driver, lambda: page.touchscreen.tap(box["x"] + 20, box["y"] + 20), "finger")
    page.wait_for_selector("[data-facet=kind][aria-controls]")
    busy = {"the search begins": sum(took), "its longest task": max(took)}
    for n, letter in enumerate(TYPED, 1):
        busy[f"“{TYPED[:n]}”"] = sum(tasks(page, driver, partial(page.keyboard.type, letter), "key"))
    context.close()
    return busy


def main() -> None:
    from playwright.sync_api import sync_playwright

    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("site", type=Path)
    parser.add_argument("--slower", type=float, default=6)
    parser.add_argument("--width", type=int, default=390)
    parser.add_argument("--runs", type=int, default=7)
    options = parser.parse_args()
    found = next(path for path in CHROMIUM if Path(path).exists())
    with sync_playwright() as driver, served(options.site) as address:
        browser = driver.chromium.launch(executable_path=found, args=ARGUMENTS)
        runs = [visit(browser, address, options.slower, options.width) for _ in range(options.runs)]
        browser.close()
    conditions = f"{options.width} px, the processor {options.slower:g} times slower"
    print(f"| {conditions} | busy | least – most of {len(runs)} |")
    print("|---|---|---|")
    for what in runs[0]:
        took = sorted(run[what] for run in runs)
        print(f"| {what} | {median(took):.0f} ms | {took[0]:.0f} – {took[-1]:.0f} ms |")


if __name__ == "__main__":
    main()

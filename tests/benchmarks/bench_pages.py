"""How long the pages of a large archive keep the processor of a slow phone busy; a table in Markdown.

    python tests/benchmarks/bench_pages.py SITE [--slower 6] [--width 390]

SITE is a folder made by ``noctuary build``, of an archive that ``tests/builders/large_archive.py`` wrote, say. The
page comes from a server on the loopback into Chromium, its processor slowed down so many times. Measured is how long
the page's main thread was busy: at the beginning of the search with all that is loaded for it, at each letter from
the key to the painted results. The time is that of the thread alone, but a busy machine makes it longer all the same.
"""

from __future__ import annotations

import argparse
import sys
import threading
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

REPOSITORY = Path(__file__).resolve().parent.parent.parent
sys.path.insert(0, str(REPOSITORY))

from tests.conftest import ARGUMENTS, CHROMIUM  # noqa: E402


def busy_ms(driver: Any) -> float:
    """How long the main thread has been busy since the page began to load."""
    metrics = {m["name"]: m["value"] for m in driver.send("Performance.getMetrics")["metrics"]}
    return 1000 * float(metrics["TaskDuration"])


#: Marks in the recorded run of the page: the key, and the frame after the one in which results were set.
MARKS = """addEventListener("keydown", () => performance.mark("key"), true);
addEventListener("DOMContentLoaded", () => {
  const painted = () => scheduler.postTask(() => performance.mark("painted"), { priority: "user-blocking" });
  const shown = new MutationObserver(() => requestAnimationFrame(painted));
  for (const part of ["#find output", "#results"]) shown.observe(document.querySelector(part), { childList: true });
});"""


def painted_ms(page: Any, driver: Any, letter: str) -> float:
    """How long the main thread was busy from a key to the painted results of what is then typed."""
    events: list[dict[str, Any]] = []
    ended: list[object] = []
    driver.on("Tracing.dataCollected", lambda some: events.extend(some["value"]))
    driver.on("Tracing.tracingComplete", lambda end: ended.append(end))
    categories = ["toplevel", "blink.user_timing"]
    driver.send("Tracing.start", {"transferMode": "ReportEvents", "traceConfig": {"includedCategories": categories}})
    page.keyboard.type(letter)
    page.wait_for_timeout(1500)
    driver.send("Tracing.end")
    while not ended:
        page.wait_for_timeout(50)
    at = {e["name"]: e for e in reversed(events) if e.get("name") in ("key", "painted")}
    thread = at["key"]["pid"], at["key"]["tid"]
    tasks = [e for e in events if e.get("name") == "ThreadControllerImpl::RunTask" and (e["pid"], e["tid"]) == thread]
    end = at["painted"]["ts"] if "painted" in at else float("inf")  # an answer like the one before is not painted
    within = (e for e in tasks if e["ts"] + e["dur"] >= at["key"]["ts"] and e["ts"] <= end)
    return sum(float(e.get("tdur", 0)) for e in within) / 1000


def search(browser: Any, site: str, slower: float, width: int) -> None:
    """The first letter, and the words after it."""
    context = browser.new_context(viewport={"width": width, "height": 800})
    context.add_init_script(MARKS)
    page = context.new_page()
    driver = context.new_cdp_session(page)
    page.goto(f"{site}/index.html")
    page.wait_for_timeout(1500)
    driver.send("Performance.setTimeDomain", {"timeDomain": "threadTicks"})
    driver.send("Performance.enable")
    driver.send("Emulation.setCPUThrottlingRate", {"rate": slower})
    loaded = busy_ms(driver)
    page.focus("#find-words")
    page.wait_for_selector("[data-facet=kind][aria-controls]")
    page.wait_for_timeout(1500)
    row(f"the search begins, {width} px", busy_ms(driver) - loaded)
    for letter in "m31 ga":
        took = painted_ms(page, driver, letter)
        row(f"“{page.input_value('#find-words')}”, {width} px", took)
    context.close()


def row(what: str, milliseconds: float) -> None:
    print(f"| {what} | {milliseconds:.0f} ms |", flush=True)


class _Quiet(SimpleHTTPRequestHandler):
    def log_message(self, *_: object) -> None:
        pass


def main() -> None:
    from playwright.sync_api import sync_playwright

    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("site", type=Path)
    parser.add_argument("--slower", type=float, default=6)
    parser.add_argument("--width", type=int, default=390)
    options = parser.parse_args()
    found = next(path for path in CHROMIUM if Path(path).exists())
    print(f"| what, the processor {options.slower:g} times slower | busy |\n|---|---|")
    handler = partial(_Quiet, directory=str(options.site.resolve()))
    server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=found, args=ARGUMENTS)
        search(browser, f"http://127.0.0.1:{server.server_address[1]}", options.slower, options.width)
        browser.close()
    server.shutdown()


if __name__ == "__main__":
    main()

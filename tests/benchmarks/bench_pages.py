"""How long the pages of a large archive keep the processor of a slow phone busy; a table in Markdown.

    python tests/benchmarks/bench_pages.py SITE [--slower 6] [--width 390]

SITE is a folder made by ``noctuary build``, of an archive that ``tests/builders/large_archive.py`` wrote, say. The
page comes from a server on the loopback into Chromium, its processor slowed down so many times. Measured is how long
the page's main thread was busy between before and after, loading what is loaded only then included.
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


def search(browser: Any, site: str, slower: float, width: int) -> None:
    """The first letter, and the words after it."""
    context = browser.new_context(viewport={"width": width, "height": 800})
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
    for letters in ("m", "3", "1", " ", "g", "a"):
        before = busy_ms(driver)
        page.keyboard.type(letters)
        page.wait_for_timeout(1500)
        row(f"“{page.input_value('#find-words')}”, {width} px", busy_ms(driver) - before)
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

"""What Lighthouse makes of every kind of page, on a phone and on a desk; a table in Markdown.

    npm install --prefix tests/benchmarks
    python tests/benchmarks/bench_lighthouse.py SITE [PAGE …] [--on mobile --on desktop] [--runs 3]

SITE is a folder made by ``noctuary build``; without a PAGE one page of every kind is measured. The site comes from a
server on the loopback that packs texts, as web space does. Lighthouse loads the page in Chromium and works out how it
would load over its slow network and processor (its simulated throttling). What it measures depends on how busy this
machine is, so the best of some runs counts. Every audit that costs points is named below the table.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

REPOSITORY = Path(__file__).resolve().parent.parent.parent
sys.path.insert(0, str(REPOSITORY))

from tests.conftest import ARGUMENTS, CHROMIUM  # noqa: E402
from tests.served_site import kinds_of_page, served  # noqa: E402

LIGHTHOUSE = Path(__file__).parent / "node_modules" / ".bin" / "lighthouse"
CATEGORIES = ("performance", "accessibility", "best-practices", "seo")
#: The audits that the score of performance is made of, and how each is shown.
METRICS = {
    "first-contentful-paint": "first paint",
    "largest-contentful-paint": "largest paint",
    "total-blocking-time": "blocked",
    "cumulative-layout-shift": "shift",
    "speed-index": "speed index",
}


def report(url: str, device: str, chromium: str) -> dict[str, Any]:
    """What one run of Lighthouse says of the page at this address."""
    flags = f"--chrome-flags=--headless=new {' '.join(ARGUMENTS)}"
    command = [str(LIGHTHOUSE), url, "--output=json", "--quiet", flags, f"--only-categories={','.join(CATEGORIES)}"]
    command += ["--preset=desktop"] if device == "desktop" else []
    done = subprocess.run(
        command, capture_output=True, check=False, timeout=300, env=os.environ | {"CHROME_PATH": chromium}
    )
    if done.returncode:
        raise SystemExit(done.stderr.decode())
    return dict(json.loads(done.stdout))


def scores(found: dict[str, Any]) -> list[int]:
    return [round(100 * (found["categories"][name]["score"] or 0)) for name in CATEGORIES]


def costs(found: dict[str, Any]) -> list[str]:
    """The audits that cost points, each with what it names first."""
    lines = []
    for name in CATEGORIES:
        for part in found["categories"][name]["auditRefs"]:
            audit = found["audits"][part["id"]]
            if not part["weight"] or audit["score"] is None or audit["score"] >= 0.9:
                continue
            items = (audit.get("details") or {}).get("items") or [{}]
            lines.append(f"{name}: {audit['title']} {audit.get('displayValue', '')} {json.dumps(items[0])[:300]}")
    return lines


def measure(url: str, device: str, chromium: str, runs: int) -> dict[str, Any]:
    """The best of some runs; a run in which nothing is short of 100 is the last."""
    best: dict[str, Any] = {}
    for _ in range(runs):
        found = report(url, device, chromium)
        if not best or sum(scores(found)) > sum(scores(best)):
            best = found
        if min(scores(best)) == 100:
            break
    return best


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("site", type=Path)
    parser.add_argument("pages", nargs="*")
    parser.add_argument("--on", action="append", choices=("mobile", "desktop"))
    parser.add_argument("--runs", type=int, default=3)
    options = parser.parse_args()
    if not LIGHTHOUSE.exists():
        raise SystemExit("There is no Lighthouse: npm install --prefix tests/benchmarks")
    chromium = next(path for path in CHROMIUM if Path(path).exists())
    print(f"| page | on | {' | '.join(CATEGORIES)} | {' | '.join(METRICS.values())} |")
    print("|---|---|" + "---|" * (len(CATEGORIES) + len(METRICS)))
    notes = []
    with served(options.site) as address:
        for page in options.pages or kinds_of_page(options.site):
            for device in options.on or ("mobile", "desktop"):
                found = measure(f"{address}/{page}", device, chromium, options.runs)
                values = [found["audits"][name].get("displayValue", "–") for name in METRICS]
                print(f"| {page} | {device} | {' | '.join([*map(str, scores(found)), *values])} |", flush=True)
                notes += [f"- {page}, {device}: {line}" for line in costs(found)]
    print("\n".join(["", *notes]))


if __name__ == "__main__":
    main()

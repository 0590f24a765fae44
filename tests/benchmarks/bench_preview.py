"""How soon after a save the preview's open page shows the new text; a table in Markdown.

    python tests/benchmarks/bench_preview.py --pictures 1000

An archive of so many small pictures is built, or one that is given with ``--archive`` is taken as it is; then
``noctuary preview`` serves it to Chromium, and the description of one picture is edited again and again. Measured is
from the save to the moment at which the page holds the new text, and the processor time of the preview meanwhile.
"""

from __future__ import annotations

import argparse
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import IO

import psutil

REPOSITORY = Path(__file__).resolve().parent.parent.parent
sys.path.insert(0, str(REPOSITORY))

from tests.builders.many_pictures import write_archive  # noqa: E402
from tests.builders.program import command, run, surroundings  # noqa: E402
from tests.conftest import ARGUMENTS, CHROMIUM  # noqa: E402


def served_at(said: IO[str]) -> str:
    """The address that the preview says."""
    for line in said:
        if found := re.search(r"http://\S+/", line):
            return found[0]
    raise SystemExit("the preview has ended")


def measure(archive: Path, repeat: int) -> None:
    from playwright.sync_api import sync_playwright

    sidecars = sorted((archive / "pictures").glob("*.yaml"))
    sidecar = sidecars[len(sidecars) // 2]
    words = sidecar.read_text(encoding="utf-8")
    if "description: |\n" not in words:
        raise SystemExit(f"{sidecar} has no description to edit")
    with (
        subprocess.Popen(
            command("preview", archive, "--port", "0"), env=surroundings(), text=True,
            stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
        ) as preview,
        sync_playwright() as playwright,
    ):  # fmt: skip
        assert preview.stdout is not None
        found = next(path for path in CHROMIUM if Path(path).exists())
        browser = playwright.chromium.launch(executable_path=found, args=ARGUMENTS)
        try:
            page = browser.new_page()
            page.goto(f"{served_at(preview.stdout)}pictures/{sidecar.stem}.html")
            page.wait_for_timeout(2000)
            program = psutil.Process(preview.pid)
            took, processor = [], []
            for turn in range(repeat + 1):
                before = program.cpu_times()
                began = time.perf_counter()
                sidecar.write_text(words.replace("description: |\n", f"description: |\n  Turn{turn}.\n"), "utf-8")
                page.get_by_text(f"Turn{turn}.").first.wait_for(state="attached", timeout=60_000)
                took.append(time.perf_counter() - began)
                page.wait_for_timeout(1000)
                after = program.cpu_times()
                processor.append(after.user + after.system - before.user - before.system)
            what = f"preview, from the save to the new text in Chromium, {len(sidecars):,} pictures"
            # The first save reads what the last build left into memory.
            for kind, seconds, used in (("first save", took[:1], processor[:1]), ("later", took[1:], processor[1:])):
                print(f"| {what}, {kind} | {min(seconds):.2f} s | processor {min(used):.2f} s |", flush=True)
        finally:
            sidecar.write_text(words, "utf-8")
            browser.close()
            preview.terminate()


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    options.add_argument("--pictures", type=int, default=1000)
    options.add_argument("--archive", type=Path, help="an archive that lies there, in place of a new one")
    options.add_argument("--repeat", type=int, default=5)
    chosen = options.parse_args()
    with tempfile.TemporaryDirectory(prefix="noctuary-bench-") as folder:
        archive = chosen.archive or write_archive(Path(folder) / "archive", chosen.pictures)
        outcome = run("build", archive, timeout=36_000)
        if outcome.returncode:
            raise SystemExit(outcome.stderr)
        print("| what | measured | of it |\n|---|---|---|", flush=True)
        measure(archive, chosen.repeat)


if __name__ == "__main__":
    main()

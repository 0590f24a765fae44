"""Checkers that are not Python's: axe-core (WCAG 2.2 AA) and the Nu HTML checker of the W3C."""

from __future__ import annotations

import os
import shutil
import subprocess
from itertools import product
from pathlib import Path
from typing import Any

import pytest

from tests.served_site import served

MODULES = Path(__file__).resolve().parent / "browser" / "node_modules"
AXE = MODULES / "axe-core" / "axe.min.js"
CHECKER = MODULES / "vnu-jar" / "build" / "dist" / "vnu.jar"
GROUNDS = ("night", "day", "red")
WIDTHS = (390, 1280)
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


def there(tool: Path | str | None, how: str) -> str:
    """A checker that is there; without it the test stands aside, and fails where everything must be tried."""
    if tool and Path(tool).exists():
        return str(tool)
    if os.environ.get("CI"):
        pytest.fail(how)
    pytest.skip(how)


def axe_violations(page: Any) -> list[tuple[int, str, str, str]]:
    """Width, ground, rule and element of all that axe-core objects to on an open page: three grounds, two widths.

    The page's own policy must be set aside, for the checker is a script in it.
    """
    axe = Path(there(AXE, "there is no axe-core: npm install --prefix tests/browser")).read_text(encoding="utf-8")
    page.evaluate(axe)
    found = []
    for width, ground in product(WIDTHS, GROUNDS):
        page.set_viewport_size({"width": width, "height": 900})
        page.evaluate("ground => { document.documentElement.dataset.ground = ground; }", ground)
        # What does not depend on colours is tested once.
        run = (
            {"runOnly": {"type": "tag", "values": RULES}}
            if ground == "night"
            else {"runOnly": {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}}
        )
        told = page.evaluate("run => axe.run(document, {...run, resultTypes: ['violations']})", run)
        found += [(width, ground, v["id"], v["nodes"][0]["html"][:120]) for v in told["violations"]]
    return found


def html_messages(site: Path) -> str:
    """Whatever the Nu HTML checker says of the pages of a site, as a server sends them."""
    java = there(shutil.which("java"), "there is no Java: apt-get install default-jre-headless")
    jar = there(CHECKER, "there is no Nu HTML checker: npm install --prefix tests/browser")
    # This machine is not one of the hosts that are allowed; and a busy one may not answer in the five seconds given.
    allowed = ("allow-forbidden-hosts=true", "allowed-address-type=all")
    patient = ("connection-timeout=60000", "socket-timeout=60000")
    # It is done before what it compiles twice over would pay; and compiled once it needs more of a stack.
    brief = ("-XX:TieredStopAtLevel=1", "-XX:+UseSerialGC", "-Xss16m")
    settings = [f"-Dnu.validator.servlet.{name}" for name in (*allowed, *patient)]
    with served(site) as address:
        pages = [f"{address}/{page.relative_to(site).as_posix()}" for page in sorted(site.rglob("*.html"))]
        command = [java, *brief, *settings, "-jar", jar, "--format", "gnu", *pages]
        told = subprocess.run(command, capture_output=True, text=True, check=False, timeout=300)
    said = told.stdout + told.stderr
    return said or ("" if told.returncode == 0 else f"it ended with {told.returncode}")

"""Settings for every test, and the one browser that they share."""

from __future__ import annotations

import ctypes
import os
from collections.abc import Generator, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any, TypeVar

import pytest
from hypothesis import settings

# A busy machine is no fault of the code: nothing here is judged by its time.
settings.register_profile("noctuary", deadline=None)
settings.load_profile("noctuary")

# Hundreds of processes are started here: they find what the first of them compiled, also where Python is told to keep
# nothing (as in most containers).
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

# Picture follows picture, and giving back the memory of each would cost these tests a tenth of their time. mallopt(3)
# is the GNU C library's: M_MMAP_THRESHOLD is −3, M_TRIM_THRESHOLD −1.
with suppress(AttributeError, OSError, TypeError):
    for parameter in (-3, -1):
        ctypes.CDLL(None).mallopt(parameter, 2**30)

#: The same engine without a window's surroundings: it opens a page in less than half the time.
WINDOWLESS = "/usr/bin/chromium-headless-shell"
CHROMIUM = ("/usr/bin/chromium", "/usr/bin/chromium-browser", "/usr/bin/google-chrome")
#: How long a browser may take for one thing on a busy machine, milliseconds.
PATIENCE_MS = 180_000
ARGUMENTS = [
    "--no-sandbox", "--disable-dev-shm-usage", "--disable-gpu", "--disable-background-networking", "--no-first-run",
]  # fmt: skip


def missing(what: str) -> None:
    """Without a browser these tests prove nothing: they fail where all must be tried, else stand aside."""
    if os.environ.get("CI"):
        pytest.fail(what)
    pytest.skip(what)


@pytest.hookimpl(tryfirst=True)
def pytest_cmdline_main(config: pytest.Config) -> None:
    """Tests of one file share what was built for them, so each worker begins with a run of files, then takes over."""
    if config.getoption("numprocesses", None) and config.getoption("dist") == "no":
        config.option.dist = "worksteal"


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """What drives a browser takes long, and so does what looks at the demo's whole site, which is built for it."""
    for item in items:
        driven = "chromium" in getattr(item, "fixturenames", ())
        if driven:
            item.add_marker("browser")
        if driven or item.path.parent.name == "browser":
            item.add_marker("slow")


Report = TypeVar("Report", pytest.TestReport, pytest.CollectReport)


def _tried(report: Report) -> Report:
    """Where all must be tried, what stands aside for want of a library has failed."""
    if report.skipped and os.environ.get("CI") and isinstance(report.longrepr, tuple):
        reason = report.longrepr[2]
        if "could not import" in reason:
            report.outcome, report.longrepr = "failed", f"{report.nodeid}: {reason}"
    return report


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, pytest.TestReport, pytest.TestReport]:
    return _tried((yield))


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report() -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    return _tried((yield))


@pytest.fixture(scope="session")
def driver() -> Iterator[Any]:
    """What drives browsers, once in a process."""
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        missing("playwright is not installed: pip install playwright")
    with sync_playwright() as found:
        yield found


@pytest.fixture(scope="session")
def chromium(driver: Any) -> Iterator[Any]:
    """A Chromium that is driven; skipped without one, and failed where CI is set."""
    yield from started(driver, WINDOWLESS, *CHROMIUM)


def started(driver: Any, *paths: str) -> Iterator[Any]:
    """The first of these browsers that there is, for as long as it is used: patient, for a busy machine."""
    found = next((path for path in paths if Path(path).exists()), None)
    if found is None:
        missing("there is no Chromium: apt-get install chromium")
    browser = driver.chromium.launch(executable_path=found, args=ARGUMENTS, timeout=PATIENCE_MS)

    def patient(new: Any) -> Any:
        def made(**more: Any) -> Any:
            window = new(**more)
            window.set_default_timeout(PATIENCE_MS)
            return window

        return made

    browser.new_context, browser.new_page = patient(browser.new_context), patient(browser.new_page)
    yield browser
    browser.close()

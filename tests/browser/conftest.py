"""The demo, built once, and pages of it in Chromium."""

from __future__ import annotations

import fcntl
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.served_site import kinds_of_page

HOME = Path(__file__).resolve().parents[2]
OpenPage = Callable[..., Any]
EachPage = Callable[..., Iterator[tuple[str, Any]]]


@pytest.fixture(scope="session")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the demo's site, built from a copy of the demo: once, whatever the number of workers."""
    if os.environ.get("PYTEST_XDIST_WORKER") is None:
        return _built_demo(tmp_path_factory.mktemp("demo"))
    folder = tmp_path_factory.getbasetemp().parent / "demo"
    folder.mkdir(exist_ok=True)
    with (folder / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        return folder / "site" if (folder / "site").is_dir() else _built_demo(folder)


def _built_demo(folder: Path) -> Path:
    # The demo's own cache, where there is one, spares the encoding; nothing else of it is touched.
    shutil.copytree(HOME / "content_demo", folder / "archive", ignore=shutil.ignore_patterns("site", "__pycache__"))
    out = folder / "site"
    command = [sys.executable, "-m", "noctuary", "build", str(folder / "archive"), "--out", str(out)]
    built = subprocess.run(command, cwd=HOME, capture_output=True, text=True, check=False)
    assert built.returncode == 0, built.stderr
    return out


@pytest.fixture(scope="session")
def kinds(site: Path) -> list[str]:
    """A page of every kind."""
    found = kinds_of_page(site)
    assert len(found) > 12
    return found


def load_all_pictures(page: Any) -> None:
    """Every picture of the page, wherever it hangs; waiting for a condition is evaluation, which is forbidden."""
    page.evaluate(
        "async () => { for (const i of document.images) i.loading = 'eager';"
        "await Promise.all([...document.images].filter(i => i.getAttribute('src') && !i.complete).map("
        "i => new Promise(done => { i.onload = i.onerror = done; }))); }"
    )


def hold_clock(page: Any) -> None:
    """The page's clock stands still from now on, until the test lets it run for a while."""
    page.clock.install(time="2026-01-01T00:00:00")
    page.clock.pause_at("2026-01-01T01:00:00")


def painted(page: Any, pictures: str = "img[src]") -> None:
    """Waits until these pictures have come, and what is there and was changed before has been painted."""
    page.evaluate(
        """async which => {
          const all = [...document.querySelectorAll(which)], frame = () => new Promise(requestAnimationFrame);
          do {
            await Promise.all(all.map(picture => picture.decode().catch(() => 0)));
            await frame().then(frame);
          } while (!all.every(picture => picture.complete));
        }""",
        pictures,
    )


@pytest.fixture
def open_page(chromium: Any, site: Path) -> Iterator[OpenPage]:
    """``open_page("targets.html", width=390, ground="red", scripts=False, …)``: a page of the demo as a file.

    ``ahead`` is a script that runs before the page's own; other words go to the browser's context. A page that
    complains on its console fails the test.
    """
    contexts: list[Any] = []
    complaints: list[str] = []

    def opened(
        path: str,
        *,
        width: int = 1440,
        height: int = 900,
        ground: str | None = None,
        scripts: bool = True,
        ahead: str = "",
        **more: Any,
    ) -> Any:
        size = {"width": width, "height": height}
        context = chromium.new_context(viewport=size, java_script_enabled=scripts, **more)
        contexts.append(context)
        if ahead:
            context.add_init_script(ahead)
        page = context.new_page()
        page.on("pageerror", lambda error: complaints.append(f"{page.url}: {error}"))
        page.on("console", lambda said: said.type == "error" and complaints.append(f"{page.url}: {said.text}"))
        page.goto((site / path).as_uri(), wait_until="load")
        if ground:
            page.evaluate("ground => { document.documentElement.dataset.ground = ground; }", ground)
        return page

    yield opened
    for context in contexts:
        context.close()
    assert not complaints


@pytest.fixture
def each_page(open_page: OpenPage, site: Path) -> EachPage:
    """``each_page(kinds, width=390, …)``: pages one after the other in one window, each with its path."""

    def opened(paths: Iterable[str], *, width: int = 1440, height: int = 900) -> Iterator[tuple[str, Any]]:
        page = None
        for path in paths:
            if page is None:
                page = open_page(path, width=width, height=height)
            else:
                page.emulate_media(media="null")
                page.set_viewport_size({"width": width, "height": height})
                page.goto((site / path).as_uri(), wait_until="load")
            # The map of the sky opens after the first paint.
            page.wait_for_selector("#sky-view.open, body:not(:has(#sky-view))", state="attached")
            yield path, page

    return opened

"""The preview: this machine only, and what is shown follows what is written."""

from __future__ import annotations

import http.client
import json
import re
import socket
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import watchfiles
from noctuary.outcome import Outcome
from noctuary.preview import serve
from noctuary.preview_server import Builds

from tests.builders.folders import set_plainly, write
from tests.builders.many_pictures import sidecar, write_archive
from tests.builders.running_preview import FOLLOWS, Preview

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def preview(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Preview]:
    archive = write_archive(tmp_path_factory.mktemp("preview") / "archive", 2)
    set_plainly(archive)
    line = "<body style='min-height: 4000px'>{{ here }} {{ description if description is defined }}</body>\n"
    write(archive / "theme/templates/picture.html", line)
    running = Preview(archive)
    yield running
    assert running.end() == 0


def test_pages_are_served_with_the_reload_script(preview: Preview) -> None:
    status, page = preview.ask("/pictures/field-00000.html")
    assert status == 200
    assert "The wind fell after dark." in page
    script = re.search(r'<script src="(/[^"]+)"', page)
    assert script is not None
    assert preview.ask(script[1])[0] == 200
    # What lies on the disk has no such script.
    assert "<script" not in (preview.archive / "site/pictures/field-00000.html").read_text()


def test_only_this_machine_is_answered(preview: Preview) -> None:
    for method in ("GET", "HEAD"):
        assert preview.ask("/index.html", method, host="nights.example.org")[0] == 403
        assert preview.ask("/index.html", method, host=f"nights.example.org:{preview.port}")[0] == 403
        assert preview.ask("/index.html", method, host=f"localhost:{preview.port}")[0] == 200
    # Sockets that listen, as the system tells them: address and port in hexadecimal, least byte first.
    listening = [line.split() for line in Path("/proc/net/tcp").read_text().splitlines()[1:]]
    mine = {words[1] for words in listening if words[3] == "0A" and int(words[1].split(":")[1], 16) == preview.port}
    assert mine == {f"0100007F:{preview.port:04X}"}
    wide = Path("/proc/net/tcp6")
    assert not wide.exists() or f":{preview.port:04X} 0000" not in wide.read_text()


def test_nothing_beside_the_site_is_served(preview: Preview) -> None:
    for path in ("/../archive.yaml", "/%2e%2e/archive.yaml", "/..%2farchive.yaml", "/.noctuary/builds.sqlite"):
        assert preview.ask(path)[0] == 404


def events(preview: Preview) -> Iterator[dict[str, Any]]:
    """What an open page is told, one after another."""
    connection = http.client.HTTPConnection("127.0.0.1", preview.port, timeout=600)
    connection.request("GET", "/.noctuary-events")
    answer = connection.getresponse()
    assert answer.getheader("Content-Type") == "text/event-stream"
    try:
        while line := answer.readline():
            if line.startswith(b"data: "):
                yield json.loads(line[6:])
    finally:
        connection.close()


def test_a_save_is_built_and_told(preview: Preview) -> None:
    told = events(preview)
    before = next(told)
    assert before["faults"] == []
    record = "pictures/field-00000.yaml"
    preview.save(record, sidecar(0, 2).replace("The wind fell", "Clouds came"))
    assert next(told)["build"] == before["build"] + 1
    assert "Clouds came after dark." in preview.ask("/pictures/field-00000.html")[1]
    # A fault leaves the pages as they were, is told with its line, and goes when it is mended.
    preview.save(record, sidecar(0, 2).replace("exposure: 180 s", "exposure: 180 mm"))
    refused = next(told)
    assert refused["build"] == before["build"] + 1
    assert "pictures/field-00000.yaml:11:" in refused["faults"][0]
    assert "Clouds came after dark." in preview.ask("/pictures/field-00000.html")[1]
    preview.save(record, sidecar(0, 2).replace("The wind fell", "Fog rose"))
    mended = next(told)
    assert mended["faults"] == []
    assert "Fog rose after dark." in preview.ask("/pictures/field-00000.html")[1]


def test_a_page_hears_of_every_build_since_the_one_that_it_shows() -> None:
    builds = Builds()
    builds.tell(True, [], changed=["index.html", "a.html"])
    known, shown, state = builds.wait(-1, 0)
    assert json.loads(state)["changed"] is None
    builds.tell(True, [], changed=["a.html"])
    builds.tell(False, [])
    builds.tell(True, [], changed=["b.css"])
    assert json.loads(builds.wait(known, 0, shown)[2])["changed"] == ["a.html", "b.css"]
    # Of another preview, of too long ago, or more than is told at once.
    assert json.loads(builds.wait(known, 0, shown + 100)[2])["changed"] is None
    assert json.loads(builds.wait(known, 0, shown - 2)[2])["changed"] is None
    builds.tell(True, [], changed=map(str, range(5000)))
    assert json.loads(builds.wait(known, 0, shown)[2])["changed"] is None


def test_what_a_browser_has_is_not_sent_again(preview: Preview) -> None:
    """Conditional requests and their order of precedence: RFC 9110, 13.1.2, 13.1.5 and 13.2.2."""
    picture = next((preview.archive / "site/images").glob("*.jpg"))
    data = picture.read_bytes()
    for path in ("/index.html", f"/images/{picture.name}", "/.noctuary-preview.js"):
        status, headers, whole = preview.answer(path)
        tag = headers["ETag"]
        assert (status, headers["Cache-Control"]) == (200, "no-cache")
        for method in ("GET", "HEAD"):
            known = preview.answer(path, method, {"If-None-Match": f'"other", W/{tag}'})
            assert (known[0], known[1]["ETag"], known[2]) == (304, tag, b"")
        assert preview.answer(path, "GET", {"If-None-Match": '"other"'})[::2] == (200, whole)
    tag = preview.answer(f"/images/{picture.name}")[1]["ETag"]
    for held, status, wanted in ((tag, 206, data[2:5]), ('"other"', 200, data)):
        asked = {"Range": "bytes=2-4", "If-Range": held}
        assert preview.answer(f"/images/{picture.name}", "GET", asked)[::2] == (status, wanted)


def test_ranges_heads_and_odd_requests(preview: Preview) -> None:
    picture = next((preview.archive / "site/images").glob("*.jpg"))
    data = picture.read_bytes()
    address = f"/images/{picture.name}"
    for asked, status, wanted in (
        ("bytes=0-9", 206, data[:10]), ("bytes=10-", 206, data[10:]), ("bytes=-5", 206, data[-5:]),
        (f"bytes={len(data)}-", 416, b""), ("bytes=-0", 416, b""), ("bytes=5-2", 416, b""), ("lines=1-2", 200, data),
        ("bytes=0-999999999999999999999999999999", 206, data),
    ):  # fmt: skip
        connection = http.client.HTTPConnection("127.0.0.1", preview.port, timeout=600)
        connection.request("GET", address, headers={"Range": asked})
        answer = connection.getresponse()
        assert (answer.status, answer.read()) == (status, wanted), asked
        connection.close()
    for path in ("/index.html", address, "/.noctuary-preview.js", "/.noctuary-events"):
        assert preview.ask(path, "HEAD") == (200, "")
    odd = ("/%00", "/" + "a" * 5000, "/%ff%fe.html", "/..%2f..%2fetc/passwd", "/index.html/", "//", "/?q=%", "/con")
    for path in odd:
        assert preview.ask(path)[0] in {200, 404}, path
    # A browser that goes in the middle of an answer leaves the others theirs.
    for _ in range(5):
        gone = socket.create_connection(("127.0.0.1", preview.port))
        gone.sendall(f"GET {address} HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n".encode())
        gone.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\1\0\0\0\0\0\0\0")
        gone.close()
    assert preview.ask("/index.html")[0] == 200


@pytest.mark.browser
def test_an_open_page_follows_and_keeps_its_place(preview: Preview, chromium: Any) -> None:
    record = "pictures/field-00001.yaml"
    page = chromium.new_page()
    wrong: list[str] = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.goto(f"http://127.0.0.1:{preview.port}/pictures/field-00001.html", wait_until="domcontentloaded")
    page.wait_for_function("document.body.innerText.includes('The wind fell')")
    page.wait_for_function(FOLLOWS)
    page.evaluate("scrollTo(0, 700)")
    preview.save(record, sidecar(1, 2).replace("The wind fell", "Rain fell"))
    page.wait_for_function("document.body && document.body.innerText.includes('Rain fell')")
    page.wait_for_function("scrollY === 700")
    preview.save(record, sidecar(1, 2).replace("kept: 36", "kept: <b>many</b>"))
    told = page.wait_for_selector("#noctuary-faults")
    assert "pictures/field-00001.yaml:11:" in told.inner_text()
    assert page.locator("#noctuary-faults b").count() == 0
    preview.save(record, sidecar(1, 2).replace("The wind fell", "Rain fell"))
    page.wait_for_selector("#noctuary-faults", state="detached")
    page.close()
    assert wrong == []


@pytest.mark.browser
def test_an_open_page_shows_what_a_picture_without_a_record_would_get(preview: Preview, chromium: Any) -> None:
    lonely = "pictures/m31-120x60s.jpg"
    preview.save(lonely, (preview.archive / "pictures/field-00000.jpg").read_bytes())
    page = chromium.new_page()
    page.goto(f"http://127.0.0.1:{preview.port}/pictures/field-00001.html", wait_until="domcontentloaded")
    page.locator("#noctuary-proposals summary").click()
    assert "pictures/m31-120x60s.yaml would say" in page.locator("#noctuary-proposals").inner_text()
    assert "noctuary adopt" in page.locator("#noctuary-proposals").inner_text()
    (preview.archive / lonely).unlink()
    page.wait_for_selector("#noctuary-proposals", state="detached")
    page.close()


def test_where_the_system_watches_no_more_folders(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The limit of Linux (fs.inotify.max_user_watches) as the library tells of it; then files are looked at."""
    from noctuary import preview as module

    real = watchfiles.watch
    asked: list[bool] = []

    def watch(*folders: Any, force_polling: bool = False, **options: Any) -> Any:
        asked.append(force_polling)
        if not force_polling:
            raise OSError("OS file watch limit reached. about [\"/archive\"]")
        return real(*folders, force_polling=True, **options)

    monkeypatch.setattr(watchfiles, "watch", watch)
    said: list[str] = []
    changes = module._changes(tmp_path, lambda change, path: True, said.append)
    assert not next(iter(changes)), "from now on it is watched"
    assert asked == [False, True]
    assert "limit" in said[0]
    write(tmp_path / "archive.yaml", "title: T\n")
    assert next(filter(None, changes))


def test_what_is_saved_during_the_first_build_is_built(tmp_path: Path) -> None:
    """Before the pages are served the archive is watched already."""
    archive = write_archive(tmp_path / "archive", 1)
    set_plainly(archive)
    builds: list[str] = []

    def build() -> tuple[Outcome, str]:
        builds.append((archive / "pictures/field-00000.yaml").read_text())
        if len(builds) > 1:
            raise KeyboardInterrupt
        write(archive / "pictures/field-00000.yaml", sidecar(0, 2))
        return Outcome([], True, archive / "site"), ""

    write(archive / "pictures/field-00000.yaml", "before")
    assert serve(archive, 0, build, lambda said: None) == 0
    assert len(builds) == 2

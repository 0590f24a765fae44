"""The preview: this machine only, and what is shown follows what is written."""

from __future__ import annotations

import http.client
import re
import signal
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.builders.folders import set_plainly, write
from tests.builders.many_pictures import sidecar, write_archive
from tests.builders.program import command, surroundings

pytestmark = pytest.mark.slow


class Preview:
    """A running preview of an archive."""

    def __init__(self, archive: Path) -> None:
        self.archive = archive
        self.process = subprocess.Popen(
            command("preview", archive, "--port", "0"),
            env=surroundings(), stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
        )  # fmt: skip
        assert self.process.stdout is not None
        for line in self.process.stdout:
            if found := re.search(r"http://127\.0\.0\.1:(\d+)/", line):
                self.port = int(found[1])
                return
        raise AssertionError("it ended without serving anything")

    def ask(self, path: str, method: str = "GET", host: str | None = None) -> tuple[int, str]:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        connection.request(method, path, headers={"Host": host or f"127.0.0.1:{self.port}"})
        answer = connection.getresponse()
        body = answer.read().decode("utf-8", "replace")
        connection.close()
        return answer.status, body

    def wait_for(self, path: str, text: str) -> None:
        end = time.monotonic() + 90
        while text not in self.ask(path)[1]:
            assert time.monotonic() < end, f"{text!r} never came"
            time.sleep(0.1)


@pytest.fixture(scope="module")
def preview(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Preview]:
    archive = write_archive(tmp_path_factory.mktemp("preview") / "archive", 2)
    set_plainly(archive)
    line = "<html><body>{{ here }} {{ description if description is defined }}</body></html>\n"
    write(archive / "theme/templates/picture.html", line)
    running = Preview(archive)
    yield running
    running.process.send_signal(signal.SIGINT)
    assert running.process.wait(30) == 0


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


def test_a_change_is_built_and_told(preview: Preview) -> None:
    before = preview.ask("/.noctuary-build")[1]
    sidecar_file = preview.archive / "pictures/field-00000.yaml"
    write(sidecar_file, sidecar(0, 2).replace("The wind fell", "Clouds came"))
    preview.wait_for("/pictures/field-00000.html", "Clouds came after dark.")
    # The number of the build is what the reload script looks at; it goes up once the site is in place.
    end = time.monotonic() + 60
    while preview.ask("/.noctuary-build")[1] == before:
        assert time.monotonic() < end
        time.sleep(0.05)
    # A fault leaves the pages as they were, and the next change is built all the same.
    write(sidecar_file, "title: [")
    time.sleep(1.0)
    assert "Clouds came after dark." in preview.ask("/pictures/field-00000.html")[1]
    write(sidecar_file, sidecar(0, 2).replace("The wind fell", "Fog rose"))
    preview.wait_for("/pictures/field-00000.html", "Fog rose after dark.")

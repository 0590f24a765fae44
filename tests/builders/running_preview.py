"""A preview that runs as a person starts it, and what it answers."""

from __future__ import annotations

import http.client
import re
import signal
import subprocess
from email.message import Message
from pathlib import Path

from tests.builders.folders import write
from tests.builders.program import command, surroundings

#: A page has been loaded, is back at its place and has learnt which HTML it shows: from now on it follows a save.
FOLLOWS = """() => performance.getEntriesByType('navigation')[0].loadEventEnd > 0
  && performance.getEntriesByType('resource').some(e => e.initiatorType === 'fetch' && e.name === location.href)"""


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
        status, _, body = self.answer(path, method, {"Host": host or f"127.0.0.1:{self.port}"})
        return status, body.decode("utf-8", "replace")

    def answer(
        self, path: str, method: str = "GET", asked: dict[str, str] | None = None
    ) -> tuple[int, Message, bytes]:
        """Status, headers and body."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=600)
        connection.request(method, path, headers=asked or {})
        answer = connection.getresponse()
        body = answer.read()
        connection.close()
        return answer.status, answer.headers, body

    def save(self, name: str, content: str | bytes) -> None:
        """Puts a whole file into the archive, in place of another, so that a build never sees half of it."""
        beside = self.archive / ".being-saved"
        write(beside, content)
        (self.archive / name).parent.mkdir(parents=True, exist_ok=True)
        beside.replace(self.archive / name)

    def end(self) -> int:
        """Ends it as Ctrl-C does; the exit status."""
        self.process.send_signal(signal.SIGINT)
        return self.process.wait(600)

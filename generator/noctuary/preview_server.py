"""What the preview answers: the built site as it is, and to an open page what became of every save.

Pages get one script more while they are served; the published files stay as they are. The script listens to an event
stream of this same server, so the site's own content policy allows all of it.
"""

from __future__ import annotations

import json
import os
import re
import threading
import time
from collections import deque
from collections.abc import Iterable
from hashlib import sha256
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from noctuary.diagnostic import Diagnostic
from noctuary.preview_script import ADDRESS, EVENTS, SCRIPT, VERSION

_RANGE = re.compile(r"bytes=(\d*)-(\d*)")
#: A line that says nothing is sent so often, seconds: it shows whether the page is still there.
_PULSE_S = 15.0
_AT_ONCE = 1 << 16
#: With more files made than this, every open page is loaded again; so is one that has not heard of so many builds.
_TOLD_AT_MOST = 1000
_BUILDS_TOLD = 20


class Builds:
    """How the last build ended, for every page that waits for the next one."""

    def __init__(self) -> None:
        self._news = threading.Condition()
        # A page may have been shown by a preview that ran before this one, whose numbers were others.
        self._number = time.time_ns() // 1_000_000
        self._count = 0
        self._faults: list[str] = []
        self._proposed = ""
        self._changed: deque[tuple[int, list[str]]] = deque(maxlen=_BUILDS_TOLD)
        self.ended = False

    def tell(self, built: bool, findings: list[Diagnostic], proposed: str = "", changed: Iterable[str] = ()) -> None:
        """A build has ended; its faults are shown where it was refused, else the records that are ``proposed``.

        ``changed`` are the files of the site that it made anew or removed.
        """
        with self._news:
            self._number += built
            self._count += 1
            self._faults = [] if built else [str(f) for f in findings if f.level == "fault"]
            self._proposed = proposed
            if built:
                self._changed.append((self._number, list(changed)))
            self._news.notify_all()

    def end(self) -> None:
        with self._news:
            self.ended = True
            self._news.notify_all()

    def wait(self, known: int, seconds: float, shown: int | None = None) -> tuple[int, int, str]:
        """What to wait for next, the number of the last build and the state as JSON, once there is more than
        ``known`` or after so many seconds.

        The state's ``changed`` are the files that have changed since the build ``shown``, ``null`` where that is not
        told: several builds may have ended before a page hears of the first.
        """
        with self._news:
            self._news.wait_for(lambda: self.ended or self._count != known, seconds)
            state = {
                "build": self._number,
                "faults": self._faults,
                "proposed": self._proposed,
                "changed": self._changed_since(shown),
            }
            return self._count, self._number, json.dumps(state)

    def _changed_since(self, shown: int | None) -> list[str] | None:
        later = [(number, changed) for number, changed in self._changed if shown is not None and number > shown]
        if shown is None or shown + len(later) != self._number:
            return None
        paths = dict.fromkeys(path for _, changed in later for path in changed)
        return list(paths) if len(paths) <= _TOLD_AT_MOST else None


class Server(ThreadingHTTPServer):
    """Answers several requests at once, and is not put out by a browser that has gone."""

    daemon_threads = True

    def handle_error(self, *_: Any) -> None:
        return None


class PreviewHandler(SimpleHTTPRequestHandler):
    """Serves a built site with the preview's script in its pages, to this machine alone."""

    protocol_version = "HTTP/1.1"

    def __init__(self, *args: Any, builds: Builds, directory: str) -> None:
        self.builds = builds
        super().__init__(*args, directory=directory)

    def do_GET(self) -> None:
        self._answer(body=True)

    def do_HEAD(self) -> None:
        self._answer(body=False)

    def _answer(self, *, body: bool) -> None:
        try:
            if not self._asked_by_this_machine():
                self.send_error(403)
            elif self.path.partition("?")[0] == EVENTS:
                self._events(body)
            elif self.path == ADDRESS:
                self._send(SCRIPT, "text/javascript", body)
            else:
                self._file(body)
        except (ConnectionError, TimeoutError):  # whoever asked has gone
            self.close_connection = True

    def _asked_by_this_machine(self) -> bool:
        # A page elsewhere that names a host of its own for 127.0.0.1 must not read the site through it.
        host = (self.headers.get("Host") or "").rsplit(":", 1)[0]
        return host in {"127.0.0.1", "localhost"}

    def _events(self, body: bool) -> None:
        self.close_connection = True
        self.send_response(200)
        self.send_header("Content-Type", "text/event-stream")
        self.send_header("Connection", "close")
        self.end_headers()
        known, asked = -1, self.path.partition("?")[2]
        shown = int(asked) if asked.isascii() and asked.isdigit() and len(asked) < 20 else None
        while body and not self.builds.ended:
            count, shown_next, state = self.builds.wait(known, _PULSE_S, shown)
            self.wfile.write(b": still here\n\n" if count == known else f"data: {state}\n\n".encode())
            self.wfile.flush()
            known, shown = count, shown_next

    def _file(self, body: bool) -> None:
        asked = self.path.split("?")[0].split("#")[0]
        path = Path(self.translate_path(self.path))
        try:
            if path.is_dir():
                if not asked.endswith("/"):
                    self.send_response(301)
                    self.send_header("Location", f"/{asked.strip('/')}/")
                    self.send_header("Content-Length", "0")
                    self.end_headers()
                    return
                path /= "index.html"
            page = path.suffix == ".html"
            data = path.read_bytes() if page else b""
            stat = path.stat()
            file = path.open("rb")
        except (OSError, ValueError):  # ValueError: a path that no system can hold
            self.send_error(404)
            return
        with file:
            if page:
                before, end, after = data.rpartition(b"</body>")
                tag = f'<script src="{ADDRESS}" {VERSION}="{_digest(data)}"></script>'.encode()
                shown = before + tag + end + after if end else data + tag
                self._send(shown, "text/html; charset=utf-8", body)
                return
            size, version = stat.st_size, _version(stat)
            if self._known(version):
                return
            first, last = 0, size - 1
            found = _RANGE.fullmatch(self.headers.get("Range") or "")
            if found and self.headers.get("If-Range") in (None, version):
                first, last = _bounds(found[1], found[2], size)
                if first > last:
                    self.send_response(416)
                    self.send_header("Content-Range", f"bytes */{size}")
                    self.send_header("Content-Length", "0")
                    self.end_headers()
                    return
                self.send_response(206)
                self.send_header("Content-Range", f"bytes {first}-{last}/{size}")
            else:
                self.send_response(200)
            self.send_header("Content-Type", self.guess_type(str(path)))
            self.send_header("ETag", version)
            self.send_header("Accept-Ranges", "bytes")
            self.send_header("Content-Length", str(last - first + 1))
            self.end_headers()
            file.seek(first)
            left = last - first + 1 if body else 0
            while left > 0 and (part := file.read(min(left, _AT_ONCE))):
                self.wfile.write(part)
                left -= len(part)

    def _known(self, version: str) -> bool:
        """Whether the browser has this version, and has been told so (RFC 9110, 13.1.2)."""
        asked = self.headers.get("If-None-Match") or ""
        if version not in (each.strip().removeprefix("W/") for each in asked.split(",")):
            return False
        self.send_response(304)
        self.send_header("ETag", version)
        self.end_headers()
        return True

    def _send(self, data: bytes, kind: str, body: bool) -> None:
        version = f'"{_digest(data)}"'
        if self._known(version):
            return
        self.send_response(200)
        self.send_header("ETag", version)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(data)))
        self.end_headers()
        if body:
            self.wfile.write(data)

    def end_headers(self) -> None:
        # Kept by the browser, and asked about each time.
        self.send_header("Cache-Control", "no-cache")
        super().end_headers()

    def log_message(self, *_: object) -> None:
        return None


def _digest(data: bytes) -> str:
    return sha256(data).hexdigest()[:24]


def _version(stat: os.stat_result) -> str:
    """An entity tag for a file as it lies there; the build never writes into a file, it puts another in its place."""
    return f'"{stat.st_ino:x}-{stat.st_mtime_ns:x}-{stat.st_size:x}"'


def _bounds(first: str, last: str, size: int) -> tuple[int, int]:
    """First and last byte of a range as it is asked for, the first beyond the last where there is no such range."""
    if not first and not last:
        return 1, 0
    if not first:
        return max(0, size - int(last[:20])), size - 1 if int(last[:20]) else -1
    return int(first[:20]), min(int(last[:20]), size - 1) if last else size - 1

"""What the preview answers: the built site as it is, and to an open page what became of every save.

Pages get one script more while they are served; the published files stay as they are. The script listens to an event
stream of this same server, so the site's own content policy allows all of it.
"""

from __future__ import annotations

import json
import re
import threading
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from noctuary.diagnostic import Diagnostic

_SCRIPT_TAG = b"""<script src="/.noctuary-preview.js"></script>"""
_RANGE = re.compile(r"bytes=(\d*)-(\d*)")
#: A line that says nothing is sent so often, seconds: it shows whether the page is still there.
_PULSE_S = 15.0
_AT_ONCE = 1 << 16

_SCRIPT = b"""(function () {
  "use strict";
  var key = "noctuary-place:" + location.pathname, shown = null, box = null, again = 500;
  var place = sessionStorage.getItem(key);
  sessionStorage.removeItem(key);
  function back() { if (place !== null) { scrollTo(0, Number(place)); } }
  back();
  addEventListener("load", function () { back(); place = null; });
  function line(text, style) {
    var p = document.createElement("p");
    p.textContent = text;
    Object.assign(p.style, { margin: "0 0 0.4em", fontFamily: "monospace", whiteSpace: "pre-wrap" }, style);
    return p;
  }
  function propose(text) {
    if (box || !text) { return; }
    box = document.createElement("details");
    box.id = "noctuary-proposals";
    Object.assign(box.style, {
      position: "fixed", insetInlineEnd: "0", bottom: "0", zIndex: "2147483647", maxWidth: "100%", maxHeight: "60vh",
      overflow: "auto", padding: "0.6em 1.2em", background: "#222", color: "#fff", font: "14px/1.4 sans-serif"
    });
    var summary = document.createElement("summary");
    summary.textContent = "Pictures without a record: what noctuary adopt would write";
    box.append(summary, line(text, { marginTop: "0.8em" }));
    document.body.append(box);
  }
  function tell(faults) {
    if (box) { box.remove(); box = null; }
    if (!faults.length) { return; }
    box = document.createElement("div");
    box.id = "noctuary-faults";
    box.setAttribute("role", "alert");
    Object.assign(box.style, {
      position: "fixed", left: "0", right: "0", bottom: "0", zIndex: "2147483647", maxHeight: "50vh",
      overflow: "auto", padding: "0.8em 1.2em", background: "#3a0d0d", color: "#fff", font: "14px/1.4 sans-serif",
      borderTop: "3px solid #ff8a80"
    });
    box.append(line("Not built; this page shows the last version that was.", { fontWeight: "bold" }));
    faults.forEach(function (fault) { box.append(line(fault, {})); });
    document.body.append(box);
  }
  function listen() {
    var events = new EventSource("/.noctuary-events");
    events.onmessage = function (message) {
      var now = JSON.parse(message.data);
      again = 500;
      if (shown !== null && now.build !== shown) {
        sessionStorage.setItem(key, String(scrollY));
        location.reload();
        return;
      }
      shown = now.build;
      tell(now.faults);
      propose(now.proposed);
    };
    events.onerror = function () {
      events.close();
      setTimeout(listen, again);
      again = Math.min(again * 2, 8000);
    };
    addEventListener("pagehide", function () { events.close(); });
  }
  listen();
}());
"""


class Builds:
    """How the last build ended, for every page that waits for the next one."""

    def __init__(self) -> None:
        self._news = threading.Condition()
        self._number = 0
        self._count = 0
        self._faults: list[str] = []
        self._proposed = ""
        self.ended = False

    def tell(self, built: bool, findings: list[Diagnostic], proposed: str = "") -> None:
        """A build has ended; its faults are shown where it was refused, else the records that are ``proposed``."""
        with self._news:
            self._number += built
            self._count += 1
            self._faults = [] if built else [str(f) for f in findings if f.level == "fault"]
            self._proposed = proposed
            self._news.notify_all()

    def end(self) -> None:
        with self._news:
            self.ended = True
            self._news.notify_all()

    def wait(self, known: int, seconds: float) -> tuple[int, str]:
        """(what to wait for next, the state as JSON) once there is more than ``known``, or after so many seconds."""
        with self._news:
            self._news.wait_for(lambda: self.ended or self._count != known, seconds)
            return self._count, json.dumps(
                {"build": self._number, "faults": self._faults, "proposed": self._proposed}
            )


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
            elif self.path == "/.noctuary-events":
                self._events(body)
            elif self.path == "/.noctuary-preview.js":
                self._send(_SCRIPT, "text/javascript", body)
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
        known = -1
        while body and not self.builds.ended:
            count, state = self.builds.wait(known, _PULSE_S)
            self.wfile.write(b": still here\n\n" if count == known else f"data: {state}\n\n".encode())
            self.wfile.flush()
            known = count

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
            size = path.stat().st_size
            file = path.open("rb")
        except (OSError, ValueError):  # ValueError: a path that no system can hold
            self.send_error(404)
            return
        with file:
            if page:
                before, end, after = data.rpartition(b"</body>")
                shown = before + _SCRIPT_TAG + end + after if end else data + _SCRIPT_TAG
                self._send(shown, "text/html; charset=utf-8", body)
                return
            first, last = 0, size - 1
            if found := _RANGE.fullmatch(self.headers.get("Range") or ""):
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
            self.send_header("Accept-Ranges", "bytes")
            self.send_header("Content-Length", str(last - first + 1))
            self.end_headers()
            file.seek(first)
            left = last - first + 1 if body else 0
            while left > 0 and (part := file.read(min(left, _AT_ONCE))):
                self.wfile.write(part)
                left -= len(part)

    def _send(self, data: bytes, kind: str, body: bool) -> None:
        self.send_response(200)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(data)))
        self.end_headers()
        if body:
            self.wfile.write(data)

    def end_headers(self) -> None:
        self.send_header("Cache-Control", "no-store")
        super().end_headers()

    def log_message(self, *_: object) -> None:
        return None


def _bounds(first: str, last: str, size: int) -> tuple[int, int]:
    """First and last byte of a range as it is asked for, the first beyond the last where there is no such range."""
    if not first and not last:
        return 1, 0
    if not first:
        return max(0, size - int(last[:20])), size - 1 if int(last[:20]) else -1
    return int(first[:20]), min(int(last[:20]), size - 1) if last else size - 1

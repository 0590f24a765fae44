"""Build, serve on this machine alone, build again when a file changes, and tell the open page."""

from __future__ import annotations

import threading
from collections.abc import Callable
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

from noctuary.build_manifest import FOLDER

# The page asks for the number of the build it shows and loads itself again when that has grown. The
# script is added while serving: the published files stay as they are.
_RELOAD = b"""<script src="/.noctuary-reload.js"></script>"""
_SCRIPT = b"""(function () {
  var shown = null;
  function ask() {
    fetch("/.noctuary-build").then(function (answer) { return answer.text(); }).then(function (now) {
      if (shown !== null && now !== shown) { location.reload(); }
      shown = now;
    }).catch(function () {}).finally(function () { setTimeout(ask, 700); });
  }
  ask();
}());
"""


class CannotServe(Exception):
    """The address cannot be had."""


class _Site(SimpleHTTPRequestHandler):
    """Serves a built site as it lies, with the reload script added to pages."""

    builds: list[int]
    protocol_version = "HTTP/1.1"

    def __init__(self, *args: object, builds: list[int], directory: str) -> None:
        self.builds = builds
        super().__init__(*args, directory=directory)  # type: ignore[arg-type]

    def do_GET(self) -> None:
        if not self._asked_by_this_machine():
            self.send_error(403)
            return
        if self.path == "/.noctuary-build":
            self._answer(str(self.builds[0]).encode(), "text/plain")
        elif self.path == "/.noctuary-reload.js":
            self._answer(_SCRIPT, "text/javascript")
        elif (page := self._page()) is not None:
            self._answer(page.replace(b"</body>", _RELOAD + b"</body>"), "text/html; charset=utf-8")
        else:
            super().do_GET()

    def do_HEAD(self) -> None:
        if self._asked_by_this_machine():
            super().do_HEAD()
        else:
            self.send_error(403)

    def _asked_by_this_machine(self) -> bool:
        # A page elsewhere that names a host of its own for 127.0.0.1 must not read the site through it.
        host = (self.headers.get("Host") or "").rsplit(":", 1)[0]
        return host in {"127.0.0.1", "localhost"}

    def _page(self) -> bytes | None:
        path = Path(self.translate_path(self.path))
        if path.is_dir() and self.path.split("?")[0].split("#")[0].endswith("/"):
            path /= "index.html"
        if path.suffix != ".html":
            return None
        try:
            return path.read_bytes()
        except OSError:
            return None

    def _answer(self, body: bytes, kind: str) -> None:
        self.send_response(200)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def end_headers(self) -> None:
        self.send_header("Cache-Control", "no-store")
        super().end_headers()

    def log_message(self, format: str, *args: object) -> None:
        return None


def serve(archive: Path, port: int, build: Callable[[], int], say: Callable[[str], None]) -> int:
    """Serves ``ARCHIVE/site`` on 127.0.0.1 until interrupted; the exit status.

    A build with faults leaves the site as it was, and the next change of a file tries again. Raises
    :class:`CannotServe` where the port is taken.
    """
    from watchfiles import watch

    folder = archive.resolve()
    site = folder / "site"
    status = build()
    if status and not (folder / "archive.yaml").exists():
        return status
    builds = [1]
    try:
        server = ThreadingHTTPServer(("127.0.0.1", port), partial(_Site, builds=builds, directory=str(site)))
    except OSError as error:
        raise CannotServe(f"port {port} cannot be had ({error.strerror}); try another with --port") from None
    server.daemon_threads = True
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    say(f"Serving http://127.0.0.1:{server.server_address[1]}/ (Ctrl-C ends it)")
    try:
        for _ in watch(folder, watch_filter=partial(_matters, folder, site), raise_interrupt=True):
            if build() == 0:
                builds[0] += 1
    except KeyboardInterrupt:
        say("Ended.")
        return 0
    finally:
        server.shutdown()
        server.server_close()
    return 0


def _matters(folder: Path, site: Path, _change: object, path: str) -> bool:
    """Whether a changed path is of the archive, and not the site, the cache or a hidden file."""
    try:
        relative = Path(path).relative_to(folder)
    except ValueError:
        return False
    if Path(path).is_relative_to(site) or FOLDER in relative.parts:
        return False
    return not any(part.startswith(".") for part in relative.parts)

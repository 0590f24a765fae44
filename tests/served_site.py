"""A built site as a visitor gets it: one page of each kind, and a server that packs texts."""

from __future__ import annotations

import gzip
import re
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache, partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

#: Endings of what web space sends packed.
PACKED = {".html", ".css", ".js", ".svg", ".json", ".xml", ".txt", ".webmanifest"}


def kinds_of_page(site: Path) -> list[str]:
    """A page of every kind: the longest of every folder, those at the top, and the Sun's, which carries a caution."""
    longest: dict[str, Path] = {}
    for page in site.rglob("*.html"):
        text = page.read_text(encoding="utf-8")
        body = re.search(r'<body class="([^"]*)"', text)
        if body is None or 'http-equiv="refresh"' in text:
            continue
        folder = page.parent.relative_to(site).as_posix()
        kind = f"{folder}/{page.stem}" if folder == "." else folder + body[1]
        if kind not in longest or page.stat().st_size > longest[kind].stat().st_size:
            longest[kind] = page
    found = {page.relative_to(site).as_posix() for page in longest.values()}
    # Its links begin at the root of a server, for it is shown at any address; from a folder it has none.
    found.discard("404.html")
    found |= {page.relative_to(site).as_posix() for page in site.glob("*/sun*.html")}
    return sorted(found)


def pages_of(site: Path, folder: str) -> list[str]:
    """Every page of one folder of the site, but for those that only lead on."""
    texts = {path: path.read_text(encoding="utf-8") for path in sorted((site / folder).glob("*.html"))}
    return [f"{folder}/{path.name}" for path, text in texts.items() if 'http-equiv="refresh"' not in text]


@cache
def _packed(file: Path) -> bytes:
    return gzip.compress(file.read_bytes(), 6)


class _Handler(SimpleHTTPRequestHandler):
    """Files of a folder; texts are packed for whoever takes them so."""

    def do_GET(self) -> None:
        file = Path(self.translate_path(self.path))
        if file.is_dir():
            file /= "index.html"
        if file.suffix not in PACKED or not file.is_file() or "gzip" not in self.headers.get("Accept-Encoding", ""):
            super().do_GET()
            return
        body = _packed(file)
        self.send_response(200)
        self.send_header("Content-Type", self.guess_type(str(file)))
        self.send_header("Content-Encoding", "gzip")
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_: object) -> None: ...


class _Server(ThreadingHTTPServer):
    """Who goes away in the middle of an answer is no error."""

    daemon_threads = True

    def handle_error(self, *_: object) -> None: ...


@contextmanager
def served(site: Path) -> Iterator[str]:
    """The address of the site at a free port of this machine."""
    with _Server(("127.0.0.1", 0), partial(_Handler, directory=str(site.resolve()))) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_address[1]}"
        server.shutdown()

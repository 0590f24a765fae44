"""How a file of the site is served: its kind of content, how long it may be kept, whether it is compressed."""

from __future__ import annotations

import gzip
import re

_TYPES = {
    "html": "text/html; charset=utf-8",
    "css": "text/css; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "json": "application/json",
    "xml": "application/xml",
    "csv": "text/csv; charset=utf-8",
    "ecsv": "text/plain; charset=utf-8",
    "txt": "text/plain; charset=utf-8",
    "vot": "application/x-votable+xml",
    "fits": "application/fits",  # RFC 4047
    "wcs": "application/fits",
    "svg": "image/svg+xml",
    "jpg": "image/jpeg",
    "jpeg": "image/jpeg",
    "png": "image/png",
    "webp": "image/webp",
    "avif": "image/avif",
    "gif": "image/gif",
    "ico": "image/x-icon",
    "woff2": "font/woff2",
    "woff": "font/woff",
    "pdf": "application/pdf",
}
_TEXT = {"html", "css", "js", "json", "xml", "csv", "ecsv", "txt", "vot", "svg"}
#: Compressing less than this saves nothing.
_WORTH_COMPRESSING = 512
#: A name with a digest of the picture's pixels: ``rosette-960.eb34da152331.jpg``, ``rosette-tiles.1f90ec51a1b1/``.
_CONTENT_NAMED = re.compile(r"\.[0-9a-f]{12}[./]")
_A_YEAR = "public, max-age=31536000, immutable"
_FIVE_MINUTES = "public, max-age=300"


def content_named(name: str) -> bool:
    """Whether the file's address changes with what it shows."""
    return _CONTENT_NAMED.search(name) is not None


def content_type(name: str) -> str:
    if name.rpartition("/")[2] == "feed.xml":
        return "application/atom+xml"
    return _TYPES.get(_ending(name), "application/octet-stream")


def cache_control(name: str) -> str:
    """How long browsers may keep a file: a year where its address changes with it, else five minutes."""
    return _A_YEAR if content_named(name) else _FIVE_MINUTES


def compressed(name: str, data: bytes) -> bytes | None:
    """The bytes compressed for ``Content-Encoding: gzip`` where that is worth it; the same for the same bytes."""
    if _ending(name) not in _TEXT or len(data) < _WORTH_COMPRESSING:
        return None
    packed = gzip.compress(data, compresslevel=9, mtime=0)
    return packed if len(packed) < len(data) else None


def _ending(name: str) -> str:
    return name.rpartition(".")[2].lower()

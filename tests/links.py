"""The links of a built site, read apart from the program that made it."""

from __future__ import annotations

import posixpath
import re
from collections.abc import Mapping
from html.parser import HTMLParser
from urllib.parse import unquote, urlsplit


class _Links(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        for name, value in attributes:
            if name in {"href", "src", "poster", "data"} and value:
                self.found.append(value)
            elif name in {"srcset", "imagesrcset"} and value:
                self.found += [part.split()[0] for part in value.split(",") if part.strip()]


def dead_links(site: Mapping[str, bytes]) -> list[str]:
    """Links of the pages and styles of a site, path → content, that lead to a file that is not there."""
    dead = []
    for name, content in site.items():
        text = content.decode("utf-8", "replace")
        if name.endswith(".html"):
            reader = _Links()
            reader.feed(text)
            links = reader.found
        elif name.endswith(".css"):
            links = re.findall(r"""url\(["']?([^"')]+)["']?\)""", text)
        else:
            continue
        for link in links:
            parts = urlsplit(link)
            if parts.scheme or parts.netloc or not parts.path:
                continue
            path = unquote(parts.path)
            target = posixpath.normpath(posixpath.join(posixpath.dirname(name), path))
            if path.endswith("/") or target == ".":
                target = posixpath.normpath(posixpath.join(target, "index.html"))
            if target not in site:
                dead.append(f"{name} → {link}")
    return dead

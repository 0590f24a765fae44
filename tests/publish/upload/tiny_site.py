"""A site of a few small files in which everything leads to everything, and what a visitor finds of it."""

from __future__ import annotations

import posixpath
import threading
from collections.abc import Callable, Iterable, Mapping
from html.parser import HTMLParser
from pathlib import Path

from noctuary.archive.upload_address import UploadAddress, read_address
from noctuary.publish.replace_site import Assembly
from noctuary.publish.upload.connection import Body, Connection, Destination, Folder, Standing
from noctuary.publish.upload.listing import NAME
from noctuary.publish.upload.site_files import SiteFile, site_files
from noctuary.publish.upload.upload import Archived, Choices, Report, upload_files

ADDRESS = "https://nights.example.org/"


PICTURES = ("rosette", "veil", "andromeda")


def tiny_site(pictures: Iterable[str] = PICTURES, title: str = "Two skies") -> dict[str, bytes]:
    """Pages of pictures that lead to each other, to their nights and to the front, and all that they show."""
    names = list(pictures)
    files = {
        "theme/styles/together.css": b"@font-face { src: url(../fonts/text.woff2) }",
        "theme/fonts/text.woff2": bytes(range(256)) * 3,
        "theme/scripts/umbra.js": b"'use strict';\n" + b"// closer\n" * 80,
        "robots.txt": b"User-agent: *\n",
    }
    top = '<link rel="stylesheet" href="{up}theme/styles/together.css">'
    top += '<script src="{up}theme/scripts/umbra.js"></script>'

    def page(name: str, head: str, links: Iterable[str], images: Iterable[str] = ()) -> None:
        up = "../" * name.count("/")
        body = "".join(f'<a href="{up}{link}">{link}</a>' for link in links)
        body += "".join(f'<img src="{up}{image}" alt="" srcset="{up}{image} 480w">' for image in images)
        start = f"<!DOCTYPE html><title>{head} – {title}</title>{top.format(up=up)}"
        files[name] = f"{start}{body}{'<p>words</p>' * 60}".encode()

    shown = {name: f"images/{name}-480.{number:012x}.jpg" for number, name in enumerate(names, 1 << 44)}
    for number, name in enumerate(names):
        files[shown[name]] = f"pixels of {name} ".encode() * 3000
        tile = f"images/{name}-tiles.{number:012x}/0,0,1024,1024/1024,/0/default.jpg"
        files[tile] = f"tile of {name}".encode() * 99
        beside = [f"pictures/{n}.html" for n in names[max(number - 1, 0) : number + 2] if n != name]
        page(f"pictures/{name}.html", name, ["index.html", f"nights/{name}.html", *beside], [shown[name]])
        page(f"nights/{name}.html", f"a night of {name}", ["index.html", "nights.html", f"pictures/{name}.html"])
    page("nights.html", "nights", ["index.html", *(f"nights/{n}.html" for n in names)])
    page("index.html", "front", ["nights.html", *(f"pictures/{n}.html" for n in names)], shown.values())
    listed = "".join(f"<entry><id>{ADDRESS}pictures/{name}.html</id></entry>" for name in names)
    files["feed.xml"] = f"<feed>{listed}</feed>".encode()
    files["search-index.js"] = repr(names).encode() * 40
    return files


def built(archive: Path, files: Mapping[str, bytes]) -> dict[str, SiteFile]:
    """These files as the built site of an archive."""
    archive.mkdir(parents=True, exist_ok=True)
    out = archive.resolve() / "site"
    with Assembly(out) as assembly:
        for name, data in files.items():
            assembly.write(name, data)
        assembly.publish()
    return site_files(archive.resolve(), out)


def archived(archive: Path, **other: str) -> Archived:
    values = {"title": "Two skies", "author": "Ilse Varnow", "address": ADDRESS} | other
    return Archived(archive.resolve(), **values)


def uploaded(
    archive: Path,
    files: Mapping[str, bytes],
    to: Destination,
    address: str = "sftp://somewhere/site",
    **choices: object,
) -> Report:
    """Builds these files and uploads them."""
    site = built(archive, files)
    chosen = Choices(**{"sleep": lambda seconds: None, **choices})  # type: ignore[arg-type]
    return upload_files(archived(archive), site, where(address), to, chosen)


def where(address: str) -> UploadAddress:
    return read_address(address)


def lying(connection: Connection, folder: str = "") -> dict[str, bytes]:
    """Every file at a destination with its bytes, but for what an upload keeps for itself."""
    there = connection.look(folder)
    prefix = f"{folder}/" if folder else ""
    found = {}
    for base in there.files:
        if not base.startswith("."):
            data = connection.read(f"{prefix}{base}")
            assert data is not None, f"{prefix}{base} is listed and cannot be read"
            found[f"{prefix}{base}"] = data
    for base in there.folders:
        found |= lying(connection, f"{prefix}{base}")
    return found


class _Links(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for name, value in attrs:
            if name in ("href", "src") and value:
                self.found.add(value)
            if name == "srcset" and value:
                self.found.update(part.split()[0] for part in value.split(","))


def dead_links(files: Mapping[str, bytes]) -> list[str]:
    """Every link of a page that leads to a file of the site that is not there.

    The page for addresses where nothing lies counts its links from the top of the host.
    """
    dead = []
    for name, data in files.items():
        if name.endswith(".html") and name != "404.html":
            reader = _Links()
            reader.feed(data.decode())
            for link in {found.partition("#")[0] for found in reader.found if "://" not in found} - {""}:
                target = posixpath.normpath(posixpath.join(posixpath.dirname(name), link))
                if target not in files:
                    dead.append(f"{name} → {target}")
    return dead


class Killed(BaseException):
    """The machine was switched off."""


class Counting(Connection):
    """A connection that counts what is asked of it and may be cut off after so many writes and removals."""

    def __init__(self, inner: Connection, tally: Tally) -> None:
        self._inner, self._tally = inner, tally

    def read(self, name: str) -> bytes | None:
        self._tally.asked.append(f"read {name}")
        return self._inner.read(name)

    def write(self, body: Body) -> None:
        self._tally.change("write", body.name)
        self._inner.write(body)

    def remove(self, name: str) -> None:
        self._tally.change("remove", name)
        self._inner.remove(name)

    def remove_folder(self, name: str) -> None:
        self._inner.remove_folder(name)

    def look(self, folder: str) -> Folder:
        self._tally.asked.append(f"look {folder}")
        return self._inner.look(folder)

    def everything(self) -> dict[str, Standing] | None:
        self._tally.asked.append("everything")
        return self._inner.everything()

    def settle(self) -> None:
        self._inner.settle()

    def close(self) -> None:
        self._inner.close()


class Tally:
    """What was asked of a destination; ``last`` is how many changes it sees before the machine is switched off."""

    def __init__(self, last: int | None = None) -> None:
        self.asked: list[str] = []
        self.changes: list[str] = []
        self._last = last
        self._turn = threading.Lock()

    def change(self, act: str, name: str) -> None:
        with self._turn:
            if self._last is not None and len(self.changes) >= self._last:
                raise Killed
            self.changes.append(f"{act} {name}")

    def written(self) -> list[str]:
        return [c.removeprefix("write ") for c in self.changes if c.startswith("write ") and not c.endswith(NAME)]


def counted(to: Destination, tally: Tally) -> Destination:
    connect: Callable[[], Connection] = lambda: Counting(to.connect(), tally)  # noqa: E731
    return Destination(to.shown, connect, to.connections, to.keeps_encoding, to.look)

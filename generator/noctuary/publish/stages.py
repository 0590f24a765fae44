"""In which order a site may change so that no page at the destination ever leads to a file that is not there.

What pages show comes before them, what tells of them (the feed, the site map, the search index) after them, and
removals last. New pages that lead to each other are the knot: whichever came first would lead to nothing. So as many
of them as do not know each other are sent after the others have been held open by a *placeholder*, a page without a
link that is overwritten a moment later.
"""

from __future__ import annotations

import posixpath
import re
from collections.abc import Callable, Collection, Iterable
from html import escape
from typing import Literal, NamedTuple

Act = Literal["send", "hold", "remove"]
_PAGE_ADDRESS = re.compile(r"""[^\s"'<>=()|,;]+\.html(?![\w-])""")
_TELLS_OF_PAGES = (".xml", ".json", ".js", ".csv", ".ecsv", ".vot", ".txt")
_SHOWN_BY_PAGES = ("images/", "theme/", "share/")


class Step(NamedTuple):
    """One thing to do at the destination: send a file, hold its place open, or remove it."""

    act: Act
    name: str


def is_page(name: str) -> bool:
    return name.endswith(".html")


def tells_of_pages(name: str) -> bool:
    """Whether a file lists pages by their addresses, as a feed does."""
    return name.endswith(_TELLS_OF_PAGES) and not name.startswith(_SHOWN_BY_PAGES)


def placeholder(title: str) -> bytes:
    """The page that holds a place open while what belongs there is on its way."""
    return (
        '<!DOCTYPE html>\n<html><head><meta charset="utf-8"><meta name="robots" content="noindex">'
        '<meta http-equiv="refresh" content="15"><meta name="color-scheme" content="dark light">'
        f"<title>{escape(title)}</title></head><body><h1>{escape(title)}</h1><p>…</p></body></html>\n"
    ).encode()


def stages(
    absent: Collection[str],
    changed: Collection[str],
    gone: Collection[str],
    read: Callable[[str], bytes],
    address: str | None,
) -> tuple[tuple[Step, ...], ...]:
    """Stages, each to be finished before the next begins; the steps of one stage may be done in any order.

    ``absent``: files to send that are not at the destination; ``changed``: files to send that are, in another
    version; ``gone``: files to remove. ``read`` gives the bytes of a page of the new site, ``address`` is its
    own.
    """
    new_pages = [name for name in absent if is_page(name)]
    free, held = _parted(new_pages, read, address)
    late = [name for name in changed if tells_of_pages(name)]
    first = [name for name in (*absent, *changed) if not is_page(name) and name not in set(late)]
    pages = [*held, *(name for name in changed if is_page(name))]
    old_pages = [name for name in gone if is_page(name)]
    found = (
        _steps("send", first),
        _steps("hold", held),
        _steps("send", free),
        _steps("send", pages),
        _steps("send", late),
        # Pages that go may lead to each other too.
        _steps("hold", old_pages) if len(old_pages) > 1 else (),
        _steps("remove", old_pages),
        _steps("remove", [name for name in gone if not is_page(name)]),
    )
    return tuple(stage for stage in found if stage)


def _steps(act: Act, names: Iterable[str]) -> tuple[Step, ...]:
    return tuple(Step(act, name) for name in sorted(names))


def _parted(
    pages: Collection[str], read: Callable[[str], bytes], address: str | None
) -> tuple[list[str], list[str]]:
    """New pages that may be sent once the places of the others are held, and those others.

    Pages that fewest others know come first, so that only the places of the rest need holding.
    """
    known = set(pages)
    near: dict[str, set[str]] = {name: set() for name in pages}
    for name in pages:
        for other in linked_pages(name, read(name), address) & known - {name}:
            near[name].add(other)
            near[other].add(name)
    free: set[str] = set()
    for name in sorted(pages, key=lambda n: (len(near[n]), n)):
        if not near[name] & free:
            free.add(name)
    return sorted(free), sorted(known - free)


def linked_pages(page: str, content: bytes, address: str | None) -> set[str]:
    """The addresses of pages, relative to the site's root, that a page names in any attribute or text."""
    found = set()
    folder = posixpath.dirname(page)
    for written in set(_PAGE_ADDRESS.findall(content.decode("utf-8", "replace"))):
        if "://" in written:
            if address is None or not written.startswith(address):
                continue
            found.add(posixpath.normpath(written[len(address) :]))
        elif written.startswith("/"):
            found.add(posixpath.normpath(written.lstrip("/")))
        else:
            found.add(posixpath.normpath(posixpath.join(folder, written)))
    return found

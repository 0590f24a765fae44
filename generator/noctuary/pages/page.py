"""A page before it is set: its address, its template, and everything that the template may say.

A context is plain data, complete and the same in every build from the same archive, so that a page need be set
again only when that, the theme or the program has changed. Markdown is carried
as the person wrote it, numbers and dates as such: a template decides on wording, :mod:`typography` on figures.
"""

from __future__ import annotations

import posixpath
from collections.abc import Callable
from dataclasses import fields
from typing import Any

from noctuary.archive.records import Archive
from noctuary.charts.address_code import AddressCode
from noctuary.plain_record import plain_record


@plain_record
class Link:
    """A text that leads to a page of the site (an address relative to the site's root)."""

    text: str
    page: str


@plain_record
class Frame:
    """What every page carries. ``sections`` are words of the theme, ``free_pages`` the person's own."""

    title: str
    author: str
    language: str
    licence: str
    description: str | None
    address: str | None
    sections: tuple[Link, ...]
    free_pages: tuple[Link, ...]


@plain_record
class Share:
    """How a page appears where its address is pasted. Addresses are absolute.

    ``picture`` is the share picture, ``picture_alt`` what it shows; ``structured`` is JSON-LD; ``code`` is for
    the printed sheet of a picture; ``feed`` is the file of the feed where there is one.
    """

    address: str
    site: str
    picture: str | None
    picture_alt: str
    structured: dict[str, Any]
    code: AddressCode | None
    feed: str | None


@plain_record
class Page:
    """A page to be set. ``path`` is relative to the site's root, with ``/``; ``context`` a :func:`plain` record.

    A page that is not ``listed`` is linked from nowhere, asks not to be indexed and is in no feed. ``data``
    leads to the numbers of the page as files; ``share`` is how it appears where its address is pasted, with an
    address only. A page that is shown at any address counts its links from the ``top`` of the host.
    """

    path: str
    template: str
    context: Any
    kind: str
    listed: bool = True
    data: tuple[Link, ...] = ()
    share: Share | None = None
    top: str | None = None

    def words(self) -> dict[str, Any]:
        """The context's fields by name, as the template receives them."""
        return {f.name: getattr(self.context, f.name) for f in fields(self.context)}


@plain_record
class PagePlan:
    """A page that is not told yet: its address, its template, and ``tell``, which gives its context.

    The contexts of all pages of a large archive would fill gigabytes, so each is told when it is needed, and once
    more when it is needed again; ``tell`` gives the same every time. ``share`` gives how the page appears where its
    address is pasted, from that address and the context. ``told_from`` is a digest of all that both tell it from,
    ``None`` where nobody has worked that out. The other fields are those of :class:`Page`.
    """

    path: str
    template: str
    kind: str
    tell: Callable[[], Any]
    listed: bool = True
    data: tuple[Link, ...] = ()
    share: Callable[[str, Any], Share] | None = None
    top: str | None = None
    told_from: str | None = None

    def page(self) -> Page:
        context = self.tell()
        share = self.share(self.path, context) if self.share is not None else None
        return Page(self.path, self.template, context, self.kind, self.listed, self.data, share, self.top)


def relative(here: str, address: str) -> str:
    """The link from one page to another file of the site, both relative to its root: ``../images/x.jpg``."""
    target, hash_, anchor = address.partition("#")
    if not target or target == here:
        return f"#{anchor}" if hash_ else posixpath.basename(here)
    # As posixpath.relpath has it, which takes ten times as long; a page has hundreds of links.
    if "/." in f"/{target}" or "//" in f"{target}/":  # in a person's text
        target = posixpath.normpath(target)
    folders, steps = here.split("/")[:-1], target.split("/")
    same = 0
    while same < min(len(folders), len(steps) - 1) and folders[same] == steps[same]:
        same += 1
    return "/".join([".."] * (len(folders) - same) + steps[same:]) + hash_ + anchor


def root(here: str) -> str:
    """The way from a page to the site's root: empty, or ``../`` once a folder."""
    return "../" * here.count("/")


def frame_of(archive: Archive, sections: tuple[Link, ...], free_pages: tuple[Link, ...]) -> Frame:
    """The words of an archive that every page carries."""
    return Frame(
        title=archive.title,
        author=archive.author,
        language=archive.language,
        licence=archive.licence,
        description=archive.description,
        address=archive.address,
        sections=sections,
        free_pages=free_pages,
    )

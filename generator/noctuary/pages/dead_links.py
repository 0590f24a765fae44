"""Links in a person's texts that lead to no page of the site, and pictures in them, which no page shows."""

from __future__ import annotations

import posixpath
from collections.abc import Callable, Container, Iterator
from functools import cache, partial
from pathlib import Path
from typing import NamedTuple
from urllib.parse import unquote

from noctuary.archive.did_you_mean import nearest
from noctuary.archive.keys import SidecarKeys
from noctuary.archive.records import Archive, Marks
from noctuary.diagnostic import Diagnostic, Mark, doubt
from noctuary.facts.archive_facts import ArchiveFacts
from noctuary.memo import Memo
from noctuary.pages.addresses import picture_page
from noctuary.pages.prose_limits import too_much

#: Folders of files that are no pages; nobody links to one of them by heart.
_FILES = ("data/", "images/", "theme/")


class Text(NamedTuple):
    """A Markdown text of the archive, where it begins, and which doubts of it are accepted."""

    text: str
    mark: Mark
    accepted: Container[str] = ()


#: Rules by which what is found lies in a text alone.
RULES = frozenset({"dead-link", "picture-in-text", "text-as-typed"})

_Addresses = tuple[tuple[str, ...], tuple[str, ...]]


def addresses_in_texts(
    folder: Path, facts: ArchiveFacts, shown: Container[str], memory: Memo
) -> list[Diagnostic]:
    """A doubt for each dead link and each picture in the texts of the pages of a site, with its line.

    ``shown`` are the ids of pictures that can be shown.
    """

    @cache
    def known() -> set[str]:
        from noctuary.pages.all_addresses import all_addresses

        return all_addresses(facts, shown)

    address = facts.archive.address
    return [found for text in _texts(facts.archive) for found in doubts_of(folder, text, address, known, memory)]


def doubts_of(
    folder: Path, text: Text, address: str | None, pages: Callable[[], set[str]], memory: Memo
) -> list[Diagnostic]:
    """A doubt for each dead link and each picture in one text.

    ``address`` is the site's; ``pages`` gives the addresses of its pages, and is asked where a link leads to one.
    """
    if why := too_much(text.text):
        hint = "close what is open, or make two texts of it"
        return _doubt(folder, text, "", "text-as-typed", f"{why}, so it is shown as it is typed", hint)
    doubts: list[Diagnostic] = []
    links, pictures = memory.ask(("addresses in", text.text), partial(_read, text.text), _Addresses)
    for link in links:
        target = _in_site(link, address)
        if target is not None and target not in (known := pages()):
            doubts += _doubt(folder, text, link, "dead-link", *_dead(link, target, known))
    for source in pictures:
        message = f"the picture {source} in the text is left out: texts hold words alone"
        hint = "make it a picture of the archive with a record of its own, and write a link to its page"
        doubts += _doubt(folder, text, source, "picture-in-text", message, hint)
    return doubts


def _read(text: str) -> _Addresses:
    from noctuary.pages.prose import addresses_in

    return addresses_in(text)


def texts_of(record: SidecarKeys, marks: Marks) -> Iterator[Text]:
    """The texts of a picture's record."""
    for key, text in (("description", record.description), ("processing", record.processing)):
        if text:
            yield Text(text, marks.at(key), record.accepted_doubts)


def _texts(archive: Archive) -> Iterator[Text]:
    """Every text that is set as prose."""
    for picture in archive.shown:
        yield from texts_of(picture, picture.marks)
    for night in archive.nights:
        yield Text(night.prose, night.mark)
    for exhibit in archive.exhibits:
        for commentary in (exhibit.introduction, *(text for _, text in exhibit.pictures)):
            if commentary:
                yield Text(commentary, exhibit.mark)
    for page in archive.pages:
        yield Text(page.prose, page.mark)


def _in_site(link: str, address: str | None) -> str | None:
    """The page of the site that a link means, ``""`` for one that is left out; ``None``: there is nothing to say."""
    from noctuary.pages.prose import site_address

    if address is not None and link.startswith(address):
        link = link.removeprefix(address) or "index.html"
    target = site_address(link)
    if target is None or link.startswith(("#", "?")):
        return None
    target = unquote(target.partition("#")[0].partition("?")[0])
    return None if target.startswith(_FILES) else target


def _dead(link: str, target: str, known: set[str]) -> tuple[str, str]:
    """What is wrong with a link, and what to write."""
    stem = posixpath.splitext(posixpath.basename(target or link))[0]
    by_stem = {posixpath.splitext(posixpath.basename(page))[0]: page for page in sorted(known, reverse=True)}
    by_stem |= {name: page for name, page in by_stem.items() if page == picture_page(name)}
    meant = by_stem.get(stem) or nearest(target or link, sorted(known), most=1, cutoff=0.7)
    hint = f"write {meant}" if meant else "links lead from the site's root: pictures/ID.html; mend or delete it"
    if not target:
        return f"the link {link} begins at the root of the server, and is left out", hint
    return f"the link {link} leads to no page of the site", hint


def _doubt(folder: Path, text: Text, address: str, rule: str, message: str, hint: str) -> list[Diagnostic]:
    if rule in text.accepted:
        return []
    return [doubt(_place(folder, text.mark, address), rule, message, hint)]


def _place(folder: Path, mark: Mark, address: str) -> Mark:
    """Where an address is written, at or below ``mark``; ``mark`` where it is not found word by word."""
    try:
        lines = (folder / mark.file).read_text(encoding="utf-8-sig").split("\n")
    except (OSError, ValueError):
        return mark
    for number, line in enumerate(lines[mark.line - 1 :], mark.line):
        if (at := line.find(address)) >= 0:
            return Mark(mark.file, number, at + 1)
    return mark

"""The address of each page. Addresses are flat, lower-case, and never change for what keeps its name."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date

from noctuary.plain_record import plain_record
from noctuary.portable_name import is_reserved, mark, portable
from noctuary.text import hyphenated


def slug(name: str) -> str:
    """A name in lower-case ASCII letters, digits and hyphens; never empty, at most 60 characters.

    >>> slug("NGC 2238"), slug("Sh2-155"), slug("Große Wolke")
    ('ngc-2238', 'sh2-155', 'grosse-wolke')
    """
    words = hyphenated(name)
    if not words or is_reserved(words):
        return f"{words or 'name'}-{mark(name)}"
    return words


def slugs(names: Iterable[str]) -> dict[str, str]:
    """A slug for each name, all different; of names that would share one the first has it unchanged."""
    return slugs_of((name, name) for name in names)


def slugs_of(called: Iterable[tuple[str, str]]) -> dict[str, str]:
    """A slug for each of the things that have an identity, the first of a pair, and a name, the second.

    All are different; of things whose names would share one the first has it unchanged.
    """
    chosen_slugs: dict[str, str] = {}
    taken: set[str] = set()
    for thing, name in called:
        if thing in chosen_slugs:
            continue
        chosen = slug(name)
        if chosen in taken:
            chosen = f"{chosen}-{mark(thing)}"
        chosen_slugs[thing] = chosen
        taken.add(chosen)
    return chosen_slugs


def picture_page(picture_id: str) -> str:
    return portable(f"pictures/{picture_id}.html")


def night_page(night: date) -> str:
    return f"nights/{night.isoformat()}.html"


def year_page(year: int) -> str:
    return f"years/{year}.html"


def exhibit_page(exhibit_id: str) -> str:
    return portable(f"exhibits/{exhibit_id}.html")


def slides_page(exhibit_id: str) -> str:
    return portable(f"exhibits/{exhibit_id}/slides.html")


def free_page(page_id: str, taken: frozenset[str]) -> str:
    """A free page is at the root, or one folder down where a page of ours has its name."""
    chosen = f"{slug(page_id)}.html"
    return f"pages/{chosen}" if chosen in taken else chosen


@plain_record
class Addresses:
    """Pages of what is known by name; a name without a page is absent.

    ``targets`` by identity; ``stems`` are names for files by identity, of what keeps its address whatever the target
    is called.
    """

    targets: Mapping[str, str]
    stems: Mapping[str, str]
    constellations: Mapping[str, str]
    kinds: Mapping[str, str]
    rigs: Mapping[str, str]
    nights: Mapping[date, str]
    free_pages: Mapping[str, str]

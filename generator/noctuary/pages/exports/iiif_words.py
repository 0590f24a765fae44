"""Texts, addresses and rights as IIIF Presentation 3.0 writes them: https://iiif.io/api/presentation/3.0/"""

from __future__ import annotations

import re
from collections.abc import Iterable
from html import escape
from typing import Any

from noctuary.archive.records import Archive
from noctuary.pages.picture_view import Source

Plain = dict[str, Any]

CONTEXT = "http://iiif.io/api/presentation/3/context.json"
FOLDER = "data/iiif"
COLLECTION = f"{FOLDER}/collection.json"
#: The language of words that are the program's own; "none" is that of names, numbers and dates.
OWN, NO_LANGUAGE = "en", "none"

_COMMONS = re.compile(r"\bCC[ -](BY(?:-NC)?(?:-ND|-SA)?)[ -](\d\.\d)\b", re.IGNORECASE)
_ADDRESS = re.compile(r"https?://(creativecommons\.org|rightsstatements\.org)/([\w./-]+)")


def language_map(text: str, language: str = NO_LANGUAGE) -> dict[str, list[str]]:
    """A text that is shown as it is.

    What begins with ``<`` and ends with ``>`` would be taken for HTML (section 4.1), so it becomes just that.
    """
    plain = f"<span>{escape(text)}</span>" if text.startswith("<") and text.endswith(">") else text
    return {language: [plain]}


def entry(label: str, value: str, language: str = NO_LANGUAGE) -> Plain:
    """One line of ``metadata``."""
    return {"label": language_map(label, OWN), "value": language_map(value, language)}


def entries(lines: Iterable[tuple[str, str | None]]) -> list[Plain]:
    """Those lines of ``metadata`` of which the value is known."""
    return [entry(label, value) for label, value in lines if value]


def rights_address(licence: str) -> str | None:
    """The address by which ``rights`` names a licence; ``None`` for one that has none of those that IIIF allows.

    >>> rights_address("CC BY-SA 4.0"), rights_address("CC0-1.0"), rights_address("All rights reserved")
    ('http://creativecommons.org/licenses/by-sa/4.0/', 'http://creativecommons.org/publicdomain/zero/1.0/', None)
    """
    if (written := _ADDRESS.search(licence)) is not None:
        return f"http://{written[1]}/{written[2].rstrip('./')}/"
    if (found := _COMMONS.search(licence)) is not None:
        return f"http://creativecommons.org/licenses/{found[1].lower()}/{found[2]}/"
    if re.search(r"\bCC0\b", licence, re.IGNORECASE):
        return "http://creativecommons.org/publicdomain/zero/1.0/"
    return None


def rights(archive: Archive, credit: str | None = None) -> Plain:
    """Who made it and what others may do with it, as far as the archive's licence has an address."""
    address = rights_address(archive.licence)
    names = f"{credit or archive.author}. {archive.licence}"
    statement = {"label": language_map("Credit", OWN), "value": language_map(names, archive.language)}
    return {**({"rights": address} if address else {}), "requiredStatement": statement}


def page(archive: Archive, path: str, label: str) -> Plain:
    """The ``homepage`` of what has a page of its own."""
    named = {"type": "Text", "label": language_map(label, archive.language), "format": "text/html"}
    return {"homepage": [{"id": f"{archive.address}{path}", **named, "language": [archive.language]}]}


def image(archive: Archive, source: Source) -> Plain:
    """A JPEG of the site."""
    size = {"width": source.width, "height": source.height}
    return {"id": f"{archive.address}{source.file}", "type": "Image", "format": "image/jpeg", **size}

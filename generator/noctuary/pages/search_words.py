"""The words by which a picture is found: folded, each spelt in every way in which people type it."""

from __future__ import annotations

import html
import re
import unicodedata
from collections.abc import Iterable
from datetime import date
from functools import lru_cache
from typing import TYPE_CHECKING

from noctuary.facts.filters import line_spellings
from noctuary.sky.designation import designation_of, plain_text, write_designation

if TYPE_CHECKING:
    from noctuary.archive.partial_date import PartialDate
    from noctuary.archive.records import Rig
    from noctuary.sky.sky_object import SkyObject

_WORD = re.compile(r"[^\W_]+")
_DESIGNATION = re.compile(r"([^\W\d_]+)[\s-]*(\d[\w-]*)")
_DASH = re.compile(r"(?<=\d)-(?=\d)")
_TAG = re.compile(r"<[^>]*>")


def folded(text: str) -> str:
    """Text without accents and capitals: what is compared when someone looks for a word.

    >>> folded("Große Wolke, Cæsar, Ångström")
    'grosse wolke, cæsar, angstrom'
    """
    if text.isascii():
        return text.lower()
    # Taking a letter apart may bring out a capital (a mathematical 𝕬), folding it another accent: until it is stable.
    while True:
        decomposed = unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", text).casefold())
        plain = "".join(c for c in decomposed if not unicodedata.combining(c))
        if plain == text:
            return plain
        text = plain


def joined(name: str) -> str:
    """A name as one folded word.

    >>> joined("H-alpha 7 nm")
    'halpha7nm'
    """
    return re.sub(r"[\W_]", "", folded(name))


def words_of(names: Iterable[str], prose: Iterable[str | None] = ()) -> set[str]:
    """The words in short texts and those that Markdown shows, folded. Addresses in Markdown are no words of the page;
    the name of an object is one word as well.

    >>> sorted(words_of(["NGC 2238"]))
    ['2238', 'ngc', 'ngc2238']
    """
    words: set[str] = set()
    for name in names:
        plain = folded(name)
        words.update(_WORD.findall(plain))
        words.update(re.sub(r"[\W_]", "", a + b) for a, b in _DESIGNATION.findall(plain))
    for text in filter(None, prose):
        from noctuary.pages import prose as prose_

        shown = html.unescape(_TAG.sub(" ", prose_.prose(text, here="", name="text")))
        words.update(_WORD.findall(folded(shown)))
    return words


def words_of_object(known: SkyObject, called: str) -> str:
    """The words by which an object of the sky is found, folded, with blanks between.

    A designation is one word, so that “NGC 224” finds no picture with an NGC object and a number 224.
    """
    words: dict[str, None] = {}
    for name in (called, known.name, known.common_name or "", *known.also):
        designation = designation_of(plain_text(name))
        if designation is None:
            words.update(dict.fromkeys(sorted(words_of([name]))))
            continue
        catalogue, number = designation
        # Minkowski 2-9 is not Messier 29: a dash between figures stays, as the script has it.
        words[joined(_DASH.sub("x", write_designation(catalogue, number)))] = None
        # Sh2 155 and Sharpless 155 as well as Sharpless 2-155: nobody says the 2 aloud.
        words[joined(catalogue) + joined(_DASH.sub("x", number))] = None
        words[catalogue_letters(catalogue) + joined(_DASH.sub("x", number))] = None
    return " ".join(words)


def catalogue_letters(catalogue: str) -> str:
    """The letters with which a catalogue's designations begin.

    >>> catalogue_letters("NGC"), catalogue_letters("Sh2-")
    ('ngc', 'sh')
    """
    return re.sub(r"\W|\d", "", folded(catalogue))


def words_of_filters(names: Iterable[str]) -> set[str]:
    """The words of filters' names, an emission line in every spelling: OIII, [O III] and O3 are one.

    >>> sorted(words_of_filters(["O III 6 nm"]))
    ['6', 'iii', 'iii6', 'nm', 'o', 'o3', 'oiii', 'oiii6nm']
    """
    return set().union(*map(_words_of_filter, names))


@lru_cache(1 << 10)
def _words_of_filter(name: str) -> frozenset[str]:
    return frozenset(words_of([name]) | {joined(name)} | {joined(spelling) for spelling in line_spellings(name)})


def words_of_rig(rig: Rig) -> set[str]:
    """The words of a rig, its optic and its camera, and its numbers: ``480mm``, ``f6``."""
    from noctuary.facts.optics import f_ratio, focal_length_mm

    names = [rig.name, *(part.name for part in (rig.optic, rig.camera) if part), rig.mount or ""]
    words = words_of(names)
    if (focal := focal_length_mm(rig)) is not None:
        words.add(f"{focal:.0f}mm")
    if (ratio := f_ratio(rig)) is not None:
        words.add("f" + f"{ratio:.1f}".removesuffix(".0").replace(".", ""))
    return words


def words_of_dates(dates: Iterable[PartialDate], language: str) -> set[str]:
    """Years and months: ``2024``, ``january`` in the language of the site, and both as one word in either order.

    >>> from noctuary.archive.partial_date import PartialDate
    >>> sorted(words_of_dates([PartialDate(2024, 1)], "en"))
    ['2024', '202401', '2024january', 'january', 'january2024']
    """
    words: set[str] = set()
    for year, month in {(d.year, d.month) for d in dates}:
        words.add(str(year))
        if month is not None:
            name = _month(month, language)
            words |= {name, f"{name}{year}", f"{year}{name}", f"{year}{month:02}"}
    return words


@lru_cache
def _month(month: int, language: str) -> str:
    from babel.dates import format_date

    from noctuary.pages.typography import locale_of

    return joined(format_date(date(2000, month, 1), "LLLL", locale=locale_of(language)))

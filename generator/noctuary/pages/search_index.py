"""What the front page's pictures can be found by: a small index that a script asks for when someone looks.

It holds listed pictures alone, and of them what their pages show. It is a script that hands over a value, since a
page opened as a file may not read other files. Words stand folded (no accents, no capitals), each once, with the
numbers of the pictures in which it occurs. The objects of the sky that are in a picture, named by its record or not,
stand apart, each once with all its names: a designation is one word, ``ngc2238``, and the script that looks for words
is told how people spell the catalogues.
"""

from __future__ import annotations

import html
import json
import re
import unicodedata
from collections.abc import Iterable, Mapping
from functools import partial
from typing import TYPE_CHECKING

from noctuary.facts.object_names import ObjectNames
from noctuary.facts.picture import PictureFacts
from noctuary.memo import Memo
from noctuary.pages.addresses import picture_page
from noctuary.pages.product import Product, digest
from noctuary.pages.site_model import SiteModel
from noctuary.plain_record import plain_record
from noctuary.sky.constellation import constellation_name
from noctuary.sky.designation import designation_of, plain_text, spellings, write_designation

if TYPE_CHECKING:
    from noctuary.sky.sky_object import SkyObject

#: Where the index lies in the site.
SEARCH_INDEX = "search-index.js"

#: By what the wall can be filtered, in the order in which it is offered.
FACETS = ("kind", "constellation", "target", "rig", "filter", "year", "place")

_WORD = re.compile(r"[^\W_]+")
_DESIGNATION = re.compile(r"([^\W\d_]+)[\s-]*(\d[\w-]*)")
_DASH = re.compile(r"(?<=\d)-(?=\d)")
_LETTERS = re.compile(r"[^\W\d_]+(?=\d)")
_TAG = re.compile(r"<[^>]*>")


@plain_record
class Found:
    """A picture as it can be found. ``values``: for each of :data:`FACETS` what holds of it, ``None``: unfiltered.

    ``words`` are those of short texts (title, kinds of objects, tags) and those that its text shows, folded, with
    blanks between; ``objects`` the identities of the objects that it names and of those in its field.
    """

    page: str
    values: tuple[tuple[str | None, ...], ...]
    words: str
    objects: tuple[str, ...] = ()


def products(model: SiteModel, program: str, memory: Memo) -> list[Product]:
    """The index as a file of the site."""
    listed = [p for p in model.facts.listed if p.picture.id in model.shown]
    names = model.facts.names
    found = tuple(_found(p, names, memory) for p in listed)
    seen = {known.name: known for p in listed for known in _objects(p)}
    objects = {identity: words_of_object(known, names.of(known)) for identity, known in sorted(seen.items())}
    ingredients = {"words and facts": digest((found, tuple(objects.items()))), "program": digest(program)}
    return [Product(SEARCH_INDEX, ingredients, partial(written, found, objects))]


def _objects(facts: PictureFacts) -> list[SkyObject]:
    return [*facts.objects, *(known for known, _, _ in facts.in_field or ())]


def _found(facts: PictureFacts, names: ObjectNames, memory: Memo) -> Found:
    picture, target = facts.picture, facts.target
    sessions = [s.session for s in facts.sessions]
    # The target alone decides kind and constellation, as it does on the pages of these.
    values: tuple[Iterable[str | None], ...] = (
        [target.kind] if target else [],
        [constellation_name(target.constellation)] if target and target.constellation else [],
        [names.of(target)] if target else [],
        facts.rig_names,
        [group.filter for s in sessions for group in s.frames],
        [str(picture.finished.year)],
        facts.places,
    )
    short = [picture.title, *picture.tags, picture.credit or ""]
    for known in facts.objects:
        short.append(known.kind)
        if known.constellation:
            short.append(constellation_name(known.constellation))
    said = tuple(dict.fromkeys(text for text in short if text)), (picture.description, picture.processing)
    return Found(
        page=picture_page(picture.id),
        values=tuple(tuple(dict.fromkeys(v)) for v in values),
        words=memory.ask(("words", *said), lambda: " ".join(sorted(words_of(*said))), str),
        objects=tuple(dict.fromkeys(known.name for known in _objects(facts))),
    )


def folded(text: str) -> str:
    """Text without accents and capitals: what is compared when someone looks for a word.

    >>> folded("Große Wolke, Cæsar, Ångström")
    'grosse wolke, cæsar, angstrom'
    """
    # Taking a letter apart may bring out a capital (a mathematical 𝕬), folding it another accent: so until it stands.
    while True:
        plain = unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", text).casefold())
        found = "".join(c for c in plain if not unicodedata.combining(c))
        if found == text:
            return found
        text = found


def words_of(names: Iterable[str], prose: Iterable[str | None] = ()) -> set[str]:
    """The words in short texts and those that Markdown shows, folded. Addresses in Markdown are no words of the page;
    the name of an object is one word as well.

    >>> sorted(words_of(["NGC 2238"]))
    ['2238', 'ngc', 'ngc2238']
    """
    from noctuary.pages import prose as prose_

    words: set[str] = set()
    for name in names:
        plain = folded(name)
        words.update(_WORD.findall(plain))
        words.update(re.sub(r"[\W_]", "", a + b) for a, b in _DESIGNATION.findall(plain))
    for text in filter(None, prose):
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
        words[_joined(_DASH.sub("x", write_designation(catalogue, number)))] = None
        # Sh2 155 and Sharpless 155 as well as Sharpless 2-155: nobody says the 2 aloud.
        words[_joined(catalogue) + _joined(_DASH.sub("x", number))] = None
        words[_prefix(catalogue) + _joined(_DASH.sub("x", number))] = None
    return " ".join(words)


def _prefix(catalogue: str) -> str:
    """The letters with which a catalogue's designations begin.

    >>> _prefix("NGC"), _prefix("Sh2-")
    ('ngc', 'sh')
    """
    return re.sub(r"\W|\d", "", folded(catalogue))


def _joined(name: str) -> str:
    return re.sub(r"[\W_]", "", folded(name))


def _spellings(objects: Iterable[str]) -> dict[str, str]:
    """How people write the catalogues that occur in ``objects`` → how the words of their designations begin."""
    occurring = {match[0] for words in objects for word in words.split() if (match := _LETTERS.match(word))}
    said = {spelling: _prefix(catalogue) for spelling, catalogue in spellings().items()}
    return {s: prefix for s, prefix in sorted(said.items()) if s != prefix and prefix in occurring}


def written(found: tuple[Found, ...], objects: Mapping[str, str] | None = None) -> bytes:
    """The index as a script: one call of ``loadSearchIndex`` with

    ``facets`` (name, values), ``pictures`` (page, for each facet the numbers of its values), ``words``
    (word → numbers of pictures, each as its distance from the one before), ``objects`` (words, the same numbers) and
    ``catalogues`` (how a catalogue is spelt → how the words of its designations begin). ``objects`` are given by
    identity.
    """
    facets = []
    numbers: list[dict[str | None, int]] = []
    for place, name in enumerate(FACETS):
        values: list[str | None] = sorted(
            {v for f in found for v in f.values[place]}, key=lambda v: _order(name, v)
        )  # fmt: skip
        facets.append([name, values])
        numbers.append({value: number for number, value in enumerate(values)})
    pictures = [[f.page, *([numbers[i][v] for v in values] for i, values in enumerate(f.values))] for f in found]
    words: dict[str, list[int]] = {}
    for number, f in enumerate(found):
        for word in f.words.split():
            words.setdefault(word, []).append(number)
    where_objects: dict[str, list[int]] = {}
    for number, f in enumerate(found):
        for identity in f.objects:
            where_objects.setdefault(identity, []).append(number)
    given = objects or {}
    index = {
        "facets": facets,
        "pictures": pictures,
        "words": {word: _steps(where) for word, where in sorted(words.items())},
        "objects": [[given[identity], _steps(where)] for identity, where in sorted(where_objects.items())],
        "catalogues": _spellings(given.values()),
    }
    plain = json.dumps(index, ensure_ascii=False, separators=(",", ":"))
    # JSON is JavaScript but for two line ends; they do not occur in folded words, but names may hold anything.
    safe = plain.replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")
    return f"loadSearchIndex({safe});\n".encode("utf-8", "replace")


def _steps(where: list[int]) -> list[int]:
    return [at - before for before, at in zip([0, *where], where, strict=False)]


def _order(facet: str, value: str | None) -> tuple[object, ...]:
    """Years newest first; names as one would look them up, numbers by their size, none at all last."""
    if value is None:
        return (1,)
    if facet == "year":
        return 0, -int(value)
    parts = re.split(r"(\d+)", folded(value))
    return 0, [(int(p), "") if p.isdecimal() and len(p) < 16 else (float("inf"), p) for p in parts]

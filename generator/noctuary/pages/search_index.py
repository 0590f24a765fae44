"""The index of the search: a script that hands over one value, which is asked for when someone looks for something.

It holds listed pictures alone, and of them what their pages show and what the nights they were taken in say. It is a
script, since a page opened as a file may not read other files, and its value is JSON in a string, so that the page
need not take it apart: a worker does. Words are folded (no accents, no capitals), each once, with the numbers of the
pictures in which it occurs. The objects of the sky that are in a picture, named by its record or not, are listed
apart, each once with all its names: a designation is one word, ``ngc2238``, and the script that looks for words
knows how people spell the catalogues.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from functools import cached_property, partial
from itertools import accumulate
from typing import TYPE_CHECKING, Any

import orjson

from noctuary.archive.partial_date import PartialDate
from noctuary.archive.records import Night
from noctuary.facts.picture import PictureFacts
from noctuary.memo import Memo
from noctuary.pages.addresses import picture_page
from noctuary.pages.product import Product, digest
from noctuary.pages.search_words import (
    catalogue_letters,
    folded,
    words_of,
    words_of_dates,
    words_of_filters,
    words_of_object,
    words_of_rig,
)
from noctuary.pages.site_model import SiteModel
from noctuary.plain_record import plain_record
from noctuary.sky.constellation import constellation_name
from noctuary.sky.designation import spellings

if TYPE_CHECKING:
    from noctuary.sky.sky_object import SkyObject

#: The path of the index in the site.
SEARCH_INDEX = "search-index.js"

#: By what pictures can be filtered, in the order in which it is offered.
FACETS = ("kind", "constellation", "target", "rig", "filter", "year", "place")

_LETTERS = re.compile(r"[^\W\d_]+(?=\d)")


@plain_record
class IndexedPicture:
    """A picture as it can be found. ``values``: for each of :data:`FACETS` what holds of it, ``None``: unfiltered.

    ``words`` are those of the values of its record, ``text`` the others of its texts and of the notes of its nights,
    folded, with blanks between; ``named`` the identities of the objects that its record names, ``in_field`` those of
    the others in its field. ``more`` are the texts beside what its own record says in words.
    """

    page: str
    values: tuple[tuple[str | None, ...], ...]
    words: str
    text: str = ""
    named: tuple[str, ...] = ()
    in_field: tuple[str, ...] = ()
    more: tuple[str, ...] = ()

    def saying(self, description: str | None, processing: str | None, memory: Memo) -> IndexedPicture:
        """The same picture, of which its record says these words."""
        prose = list(dict.fromkeys(filter(None, (description, processing, *self.more))))
        text = memory.ask(("words of texts", *prose), lambda: " ".join(sorted(words_of((), prose))), str)
        return replace(self, text=" ".join(sorted(set(text.split()) - set(self.words.split()))))


@plain_record
class IndexDigest:
    """What tells an index from others, so that one picture in it can change without a look at the rest.

    ``frame`` is a digest of its objects and of its pages in order; ``entries`` the digests of its pictures, added up
    and written in hexadecimal.
    """

    frame: str
    entries: str

    @property
    def digest(self) -> str:
        return digest((self.frame, self.entries))

    def with_other(self, before: IndexedPicture, now: IndexedPicture) -> IndexDigest:
        """That of the index in which one picture is found by something else."""
        return replace(self, entries=_sum([int(self.entries, 16), -_number(before), _number(now)]))


@plain_record
class Index:
    """All that the index is written from; ``objects`` are the words by which each is found, by its identity."""

    pictures: tuple[IndexedPicture, ...]
    objects: dict[str, str]

    @cached_property
    def told_by(self) -> IndexDigest:
        frame = digest((tuple(self.objects.items()), [each.page for each in self.pictures]))
        return IndexDigest(frame, _sum(map(_number, self.pictures)))

    def product(self, program: str) -> Product:
        """The index as a file of the site."""
        return index_product(self.told_by, program, partial(written, self.pictures, self.objects))


def index_product(told_by: IndexDigest, program: str, make: Callable[[], bytes]) -> Product:
    """The index of this digest as a file of the site."""
    return Product(SEARCH_INDEX, {"words and facts": told_by.digest, "program": digest(program)}, make)


def _number(each: IndexedPicture) -> int:
    return int(digest(each), 16)


def _sum(numbers: Iterable[int]) -> str:
    return f"{sum(numbers) % (1 << 96):x}"


def index(model: SiteModel, memory: Memo) -> Index:
    """What the pictures of a site are found by."""
    listed = [p for p in model.facts.listed if p.picture.id in model.shown]
    names = model.facts.names
    notes = _notes(model)
    pictures = tuple(_indexed_once(p, model, notes.get(p.picture.id, ()), memory) for p in listed)
    known = {each.name: each for p in listed for each in (*p.objects, *_in_field(p))}
    objects = {identity: words_of_object(each, names.of(each)) for identity, each in sorted(known.items())}
    return Index(pictures, objects)


def _in_field(facts: PictureFacts) -> list[SkyObject]:
    return [known for known, _, _ in facts.in_field or ()]


def _notes(model: SiteModel) -> dict[str, list[Night]]:
    """The notes of the nights in which each picture was taken, those of the places at which it was."""
    found: dict[str, list[Night]] = {}
    for night in model.facts.nights:
        for facts in night.pictures:
            sessions = [f.session for f in facts.sessions if f.session.night == night.night]
            places = {session.place.name for session in sessions if session.place}
            notes = [note for note in night.notes if note.place is None or note.place in places]
            found.setdefault(facts.picture.id, []).extend(notes)
    return found


def _indexed_once(
    facts: PictureFacts, model: SiteModel, notes: Iterable[Night], memory: Memo
) -> IndexedPicture:
    """A picture as it can be found, recollected where all that this is told from is as it was."""
    question = ("indexed", model.told_from.all_of((facts,), notes))
    known: IndexedPicture = memory.ask(question, lambda: _indexed(facts, model, notes, memory), IndexedPicture)
    return known


def _indexed(facts: PictureFacts, model: SiteModel, notes: Iterable[Night], memory: Memo) -> IndexedPicture:
    picture, target, names = facts.picture, facts.target, model.facts.names
    sessions = [s.session for s in facts.sessions]
    filters = [group.filter for s in sessions for group in s.frames]
    # The target alone decides kind and constellation, as it does on the pages of these.
    values: tuple[Iterable[str | None], ...] = (
        [target.kind] if target else [],
        [constellation_name(target.constellation)] if target and target.constellation else [],
        [names.of(target)] if target else [],
        facts.rig_names,
        filters,
        [str(picture.finished.year)],
        facts.places,
    )
    short = [picture.title, *picture.tags, picture.credit or "", *facts.places]
    for known in facts.objects:
        short.append(known.kind)
        if known.constellation:
            short += [constellation_name(known.constellation), known.constellation]
    short += [note.title for note in notes if note.title]
    more = (*(s.note for s in sessions), *(note.prose for note in notes))
    rigs = {rig.name: rig for rig in (picture.rig, *(s.rig for s in sessions)) if rig is not None}
    dates = [picture.finished, *(PartialDate.of(s.night) for s in sessions)]
    words = words_of(filter(None, short)) | words_of_filters({name for name in filters if name})
    words |= words_of_dates(dates, model.frame.language).union(*map(words_of_rig, rigs.values()))
    named = dict.fromkeys(known.name for known in facts.objects)
    indexed = IndexedPicture(
        page=picture_page(picture.id),
        values=tuple(tuple(dict.fromkeys(v)) for v in values),
        words=" ".join(sorted(words)),
        named=tuple(named),
        in_field=tuple(dict.fromkeys(known.name for known in _in_field(facts) if known.name not in named)),
        more=tuple(filter(None, more)),
    )
    return indexed.saying(picture.description, picture.processing, memory)


def _spellings(objects: Iterable[str]) -> dict[str, str]:
    """How people write the catalogues that occur in ``objects`` → how the words of their designations begin."""
    occurring = {match[0] for words in objects for word in words.split() if (match := _LETTERS.match(word))}
    heads = {spelling: catalogue_letters(catalogue) for spelling, catalogue in spellings().items()}
    return {s: head for s, head in sorted(heads.items()) if s != head and head in occurring}


def written(pictures: tuple[IndexedPicture, ...], objects: Mapping[str, str] | None = None) -> bytes:
    """The index as a script: one call of ``loadSearchIndex`` with JSON in a string. It has

    ``facets`` (name, values), ``pictures`` (page, for each facet the numbers of its values), ``words`` and
    ``text`` (word → numbers of pictures, each as its distance from the one before), ``objects`` (words, the
    numbers of pictures that name it, of those in whose field it is besides) and ``catalogues`` (how a catalogue is
    spelt → how the words of its designations begin). ``objects`` are given by identity.
    """
    facets = []
    numbers: list[dict[str | None, int]] = []
    for place, name in enumerate(FACETS):
        values: list[str | None] = sorted({v for p in pictures for v in p.values[place]}, key=partial(_order, name))
        facets.append([name, values])
        numbers.append({value: number for number, value in enumerate(values)})
    lines = [[p.page, *([numbers[i][v] for v in values] for i, values in enumerate(p.values))] for p in pictures]
    words: dict[str, list[int]] = {}
    text: dict[str, list[int]] = {}
    named: dict[str, list[int]] = {}
    in_field: dict[str, list[int]] = {}
    for number, p in enumerate(pictures):
        parts = ((words, p.words.split()), (text, p.text.split()), (named, p.named), (in_field, p.in_field))
        for places, keys in parts:
            for key in keys:
                places.setdefault(key, []).append(number)
    given = objects or {}
    index = {
        "facets": facets,
        "pictures": lines,
        "words": {word: _steps(where) for word, where in sorted(words.items())},
        "text": {word: _steps(where) for word, where in sorted(text.items())},
        "objects": [
            [given[identity], _steps(named.get(identity, [])), _steps(in_field.get(identity, []))]
            for identity in sorted({*named, *in_field})
        ],
        "catalogues": _spellings(given.values()),
    }
    return _script(index)


def saying_otherwise(script: bytes, before: IndexedPicture, now: IndexedPicture) -> bytes:
    """The script in which one picture is found by other words of its texts; raises ValueError where it lacks it."""
    head, tail = _CALL
    if not (script.startswith(head) and script.endswith(tail)):
        raise ValueError("no search index")
    escaped = script[len(head) : -len(tail)].decode()
    index = orjson.loads(_ESCAPE.sub(lambda escape: _UNESCAPED.get(escape[1], escape[1]), escaped))
    number = [line[0] for line in index["pictures"]].index(now.page)
    text: dict[str, list[int]] = index["text"]
    old, new = set(before.text.split()), set(now.text.split())
    for word in old ^ new:
        places = set(accumulate(text.pop(word, ())))
        places ^= {number}
        if (number in places) != (word in new):
            raise ValueError("another search index")
        if places:
            text[word] = _steps(sorted(places))
    index["text"] = dict(sorted(text.items()))
    return _script(index)


_CALL = (b"loadSearchIndex('", b"');\n")
_ESCAPE = re.compile(r"\\(u2028|u2029|.)")
_UNESCAPED = {"u2028": "\u2028", "u2029": "\u2029"}


def _script(index: dict[str, Any]) -> bytes:
    try:
        plain = orjson.dumps(index).decode()
    except TypeError:  # half a surrogate pair
        plain = json.dumps(index, ensure_ascii=False, separators=(",", ":"))
    for character, escaped in (("\\", "\\\\"), ("'", "\\'"), ("\u2028", "\\u2028"), ("\u2029", "\\u2029")):
        plain = plain.replace(character, escaped)
    return _CALL[0] + plain.encode("utf-8", "replace") + _CALL[1]


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

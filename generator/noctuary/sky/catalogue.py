"""A name as a person writes it → an object of the sky.

Three sources, the later over the earlier: the NGC and IC with what they cross-reference (the database file
of the pyongc package), the tables shipped beside this module (trade names, objects outside NGC and IC, named
stars), and the objects of one's own that a person declares.
"""

from __future__ import annotations

import difflib
import re
from bisect import bisect_left, bisect_right
from collections.abc import Iterable

from noctuary.geometry import separation_deg
from noctuary.sky.designation import (
    DESIGNATION,
    designation_of,
    name_key,
    plain_text,
    words_key,
    write_designation,
)
from noctuary.sky.name_index import name_index, spelt
from noctuary.sky.no_fixed_place import KINDS as WITHOUT_PLACE
from noctuary.sky.ongc import KINDS, SHAPES, WIDE_DEG, known_object, ongc_name, ongc_object, spots, table_object
from noctuary.sky.own_object import OwnObject, amended_by, declared
from noctuary.sky.shipped_objects import MOVING, named_stars, shipped_objects
from noctuary.sky.shipped_table import read_table
from noctuary.sky.sky_object import SkyObject
from noctuary.sky.whole_catalogues import kinds_of_tables, lines_around

__all__ = ["Catalogue", "OwnObject", "SkyObject", "kinds", "read_table"]


def kinds() -> frozenset[str]:
    """Every word by which an object's kind is called here; an archive's own objects may add theirs."""
    tables = (row["kind"] for name in ("objects.csv", "names.csv", "minor_planets.csv") for row in read_table(name))
    named = (
        *KINDS.values(),
        *dict(SHAPES).values(),
        *dict(MOVING).values(),
        *kinds_of_tables(),
        *WITHOUT_PLACE,
        "object",
    )
    return frozenset({*named, *filter(None, tables)})


#: How much alike two names must be for one to be offered for the other (difflib's ratio): a slip or two in a word.
NEAR = 0.72


def _digits(text: str) -> str:
    return "".join(filter(str.isdecimal, text))


class Catalogue:
    """Objects by name and by place, with a person's own on top."""

    def __init__(self, own: Iterable[OwnObject] = ()) -> None:
        self._own: dict[str, str] = {}
        self._own_objects: dict[str, SkyObject] = {}
        for entry in own:
            known = self.find(entry.name)
            if known is None:
                # A new name for what the other names say is one known object is that object, better named.
                meant = {item.name: item for name in entry.also if (item := self.find(name)) is not None}
                known = next(iter(meant.values())) if len(meant) == 1 else None
            item = declared(entry) if known is None else amended_by(known, entry)
            self._own_objects[item.name] = item
            for name in (item.name, entry.name, *entry.also):
                self._own[name_key(name)] = item.name

    def find(self, written: str) -> SkyObject | None:
        """The object that a name means, or None.

        Forgives case, spaces, leading zeros, articles, apostrophes, hyphens, accents, spelt-out catalogues
        ("Messier 42", "Sharpless 155") and a general last word left off ("the Rosette"). A designation followed by
        a name is accepted where both mean the same object.
        """
        plain = plain_text(written)
        if not plain:
            return None
        found = self._find_plain(plain)
        if found is None and (match := DESIGNATION.match(plain)):
            first, rest = plain[: match.end()], plain[match.end() :].strip(" -:/()=")
            one = self._find_plain(first)
            other = self._find_plain(rest) if one and rest else None
            if one is not None and other is not None and one.name == other.name:
                return one
        return found

    def _find_plain(self, plain: str) -> SkyObject | None:
        key = name_key(plain)
        if key in self._own:
            return self._own_objects[self._own[key]]
        known = name_index().get(key)
        found = designation_of(plain)
        if isinstance(known, str):
            found = designation_of(plain_text(known))
            item = ongc_object(known) or (known_object(*found) if found else None)
        else:
            item = known or (known_object(*found) if found else None)
        if item is None and " ned" in plain and (head := designation_of(plain.partition(" ned")[0])):
            name = ongc_name(*head)
            component = plain[plain.index("ned") :].upper()
            item = ongc_object(f"{name.partition(' ')[0]} {component}") if name else None
        # What the shipped catalogue calls by this name may be an object that the person has amended.
        return self._own_objects.get(item.name, item) if item is not None else None

    def nearest(self, written: str, count: int = 3) -> list[str]:
        """Known names most like one that is not known, nearest first, at most ``count``."""
        plain = plain_text(written)
        found = designation_of(plain)
        if found is not None:
            close = self._near_numbers(*found)
            if close:
                return close[:count]
        own = dict.fromkeys(name for item in self._own_objects.values() for name in (item.name, *item.also))
        known, shortened = spelt(tuple(own))
        # What the text is the first part of ("Orion" of the Orion Nebula), then what is spelt much like it.
        word = words_key(plain)[:80]
        names: dict[str, None] = dict.fromkeys(shortened.get(word, ()))
        for key in difflib.get_close_matches(word, {**known, **shortened}, n=2 * count, cutoff=NEAR):
            # A number is no word to be misspelt: "C/2023 A3" is nothing like "3C 273".
            if _digits(key) == _digits(word):
                names.update(dict.fromkeys([known[key]] if key in known else shortened[key]))
        return list(names)[:count]

    def _near_numbers(self, catalogue: str, number: str) -> list[str]:
        """Designations of the same catalogue that a slip of one digit makes of this one."""
        digits = re.sub(r"[A-Z]$", "", number)
        slips = [digits] if digits != number else []
        slips += [digits[:i] + digits[i + 1] + digits[i] + digits[i + 2 :] for i in range(len(digits) - 1)]
        slips += [digits[:i] + digits[i + 1 :] for i in range(len(digits))]
        slips += [digits[:i] + d + digits[i + 1 :] for i in reversed(range(len(digits))) for d in "1234567890"]
        near: dict[str, None] = {}
        for slip in slips:
            if not re.fullmatch(r"[1-9]\d*(?:-\d+)*", slip):
                continue
            name = write_designation(catalogue, slip)
            if self.find(name) is not None:
                near[name] = None
        return list(near)

    def around(self, ra_deg: float, dec_deg: float, radius_deg: float) -> list[SkyObject]:
        """Every object whose centre or extent may lie within a circle, nearest centre first.

        Degrees, ICRS. The extent is taken as a circle of the major axis, so an ellipse may miss. Duplicates,
        entries that do not exist and stars that got a catalogue number by mistake are left out; named stars are
        in :meth:`bright_stars`.
        """
        small, wide = spots()
        margin = radius_deg + WIDE_DEG
        low = bisect_left(small, dec_deg - margin, key=lambda spot: spot.dec_deg)
        high = bisect_right(small, dec_deg + margin, key=lambda spot: spot.dec_deg)
        hits: dict[str, tuple[float, SkyObject]] = {}
        for spot in (*small[low:high], *wide):
            away = separation_deg(ra_deg, dec_deg, spot.ra_deg, spot.dec_deg)
            if away <= radius_deg + spot.reach_deg and (item := ongc_object(spot.ongc_name)):
                hits.setdefault(item.name, (away, item))
        listed = (table_object(line) for line in lines_around(ra_deg, dec_deg, radius_deg))
        for item in (*listed, *shipped_objects(), *self._own_objects.values()):
            if item.ra_deg is None or item.dec_deg is None:
                continue
            hits.pop(item.name, None)
            away = separation_deg(ra_deg, dec_deg, item.ra_deg, item.dec_deg)
            if away <= radius_deg + item.reach_deg:
                hits[item.name] = (away, item)
        return [item for _, item in sorted(hits.values(), key=lambda hit: (hit[0], hit[1].name))]

    def bright_stars(
        self, ra_deg: float | None = None, dec_deg: float | None = None, radius_deg: float = 180.0
    ) -> list[SkyObject]:
        """Stars with a proper name, brightest first: all, or those within a circle in degrees, ICRS."""
        stars = [self._own_objects.get(star.name, star) for star in named_stars()]
        if ra_deg is not None and dec_deg is not None:
            stars = [
                star
                for star in stars
                if star.ra_deg is not None
                and star.dec_deg is not None
                and separation_deg(ra_deg, dec_deg, star.ra_deg, star.dec_deg) <= radius_deg
            ]
        return sorted(stars, key=lambda star: (star.magnitude is None, star.magnitude or 0.0, star.name))

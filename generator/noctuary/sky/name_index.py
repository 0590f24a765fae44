"""Names in words → objects, and the known names nearest to one that is not known."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import lru_cache

from noctuary.sky.constellation import constellation_rows
from noctuary.sky.designation import name_key, plain_text, short_key, words_key
from noctuary.sky.ongc import amendments, database, tidy_name
from noctuary.sky.shipped_objects import (
    listed,
    named_stars,
    shipped_objects,
    spelt_out,
    unplaced,
)
from noctuary.sky.sky_object import SkyObject


@lru_cache(maxsize=1)
def name_index() -> Mapping[str, SkyObject | str]:
    """Keys of names in words → an object, or the key of one: pyongc's name, or a designation of the tables."""
    index: dict[str, SkyObject | str] = {}
    short: dict[str, set[str]] = {}
    target_of: dict[str, SkyObject | str] = {}

    def enter(names: Iterable[str], target: SkyObject | str, identity: str) -> None:
        target_of[identity] = target
        for name in names:
            index.setdefault(name_key(name), target)
            if key := short_key(name):
                short.setdefault(key, set()).add(identity)

    for item in unplaced():
        enter([item.name, *item.also], item, item.name)
    for item in shipped_objects():
        enter([item.name, *item.also], item, item.name)
    dropped: dict[str, set[str]] = {}
    for ongc, row in amendments().items():
        names = [row["name"], row["common_name"], *listed(row["also"]), *listed(row["designations"])]
        enter(filter(None, names), ongc, ongc)
        dropped[ongc] = {name_key(n) for n in listed(row["drop"])}
    for ongc, names_ in database().execute("SELECT name, commonnames FROM objects WHERE commonnames <> ''"):
        kept = [tidy_name(n) for n in names_.split(",") if n.strip()]
        enter([n for n in kept if name_key(n) not in dropped.get(ongc, set())], ongc, ongc)
    for star in named_stars():
        enter([star.name, *star.also, *spelt_out(star)], star, star.name)
    # A name without its general word counts where it can mean one object only, and is no constellation.
    taken = {words_key(plain_text(row["name"])) for row in constellation_rows()}
    for key, identities in short.items():
        if key and len(identities) == 1 and key not in index and key not in taken:
            index[key] = target_of[next(iter(identities))]
    return index


@lru_cache(maxsize=1)
def _known_words() -> tuple[str, ...]:
    """Every name in words that the shipped catalogue knows, as it is written."""
    names: dict[str, None] = {}
    for item in unplaced():
        names[item.name] = None
    for item in (*shipped_objects(), *named_stars()):
        names.update(dict.fromkeys((item.name, *item.also)))
    dropped: set[str] = set()
    for row in amendments().values():
        names.update(dict.fromkeys(filter(None, (row["name"], row["common_name"], *listed(row["also"])))))
        dropped.update(name_key(n) for n in listed(row["drop"]))
    for (text,) in database().execute("SELECT commonnames FROM objects WHERE commonnames <> ''"):
        tidied = (tidy_name(n) for n in text.split(",") if n.strip())
        names.update(dict.fromkeys(n for n in tidied if name_key(n) not in dropped))
    return tuple(names)


@lru_cache(maxsize=8)
def spelt(own: tuple[str, ...]) -> tuple[Mapping[str, str], Mapping[str, list[str]]]:
    """Known names by their key, and by their key without the last, general word; a person's own included."""
    names = (*_known_words(), *own)
    shortened: dict[str, list[str]] = {}
    for name in dict.fromkeys(names):
        if short := short_key(name):
            shortened.setdefault(short, []).append(name)
    return {words_key(plain_text(name)): name for name in names}, shortened

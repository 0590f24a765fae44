"""Whole catalogues of nebulae, clusters and groups: the tables that the scripts beside them make.

A row is kept as its line of text until somebody asks for that object: most archives name a dozen of the seven
thousand. A row without a place only lists designations of an entry of the NGC/IC database, its first name.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Mapping
from functools import lru_cache
from importlib import resources
from math import cos, radians

from noctuary.geometry import separation_deg
from noctuary.sky.extents import extents
from noctuary.sky.sky_object import SkyObject, axes, object_at

FILES = ("bright_nebulae.csv", "dark_nebulae.csv", "planetary_nebulae.csv", "star_clusters.csv", "galaxy_groups.csv")


@lru_cache(maxsize=1)
def _lines() -> tuple[Mapping[str, str], Mapping[str, tuple[str, ...]]]:
    """The line of each designation, in capitals; and what the tables add to entries of the NGC/IC database."""
    lines: dict[str, str] = {}
    added: dict[str, tuple[str, ...]] = {}
    folder = resources.files("noctuary.sky.tables")
    for file in FILES:
        for line in folder.joinpath(file).read_text(encoding="utf-8").splitlines():
            if line.startswith(("#", "designations,")):
                continue
            names = line[: line.index(",")].split(";")
            if line[len(";".join(names)) + 1] == ",":
                added[names[0]] = (*added.get(names[0], ()), *names[1:])
                names = names[1:]
            for name in names:
                lines.setdefault(name.upper(), line)
    return lines, added


def line_of(designation: str) -> str | None:
    """The row of a designation as the tables write it, in any case; None if no table has it."""
    return _lines()[0].get(designation.upper())


def heading(line: str) -> str:
    """The first name of a row: its object, or the entry of the NGC/IC database that it adds to."""
    return line[: line.index(",")].partition(";")[0]


def has_place(line: str) -> bool:
    """Whether a row is an object of its own."""
    return not line.endswith(",,,,,,,,,")


def added_designations(name: str) -> tuple[str, ...]:
    """What the tables call an entry of the NGC/IC database besides, by its name ("NGC 6523")."""
    return _lines()[1].get(name, ())


def _decimals(degrees_written: str) -> int:
    """Decimals of a second of time that a place in degrees can bear: 3.6″ is no better than a second."""
    return 0 if len(degrees_written.partition(".")[2]) < 4 else 1


def object_of(line: str, amended: Mapping[str, str], common_names: tuple[str, ...] = ()) -> SkyObject:
    """The object of a row that has a place, with what the table of names says of it.

    ``amended`` is the row of names.csv about it, or nothing. Sizes in arcminutes, places ICRS in degrees.
    """
    names, ra, dec, kind, major, minor, angle, magnitude, _, sized = line.split(",")
    first, *others = names.split(";")
    if amended.get("name"):
        first, others = amended["name"], [first, *others]
    size = axes(_or_none(amended.get("major_arcmin", "")), _or_none(amended.get("minor_arcmin", "")))
    return object_at(
        first,
        amended.get("kind") or kind,
        (float(ra), _decimals(ra)),
        (float(dec), 0),
        magnitude=_or_none(magnitude),
        size=size or axes(_or_none(major), _or_none(minor)),
        angle=None if size else _or_none(angle),
        outline=sized == "yes" and size is None,
        common_name=common_names[0] if common_names else None,
        also=(*others, *common_names[1:]),
        note=amended.get("note"),
    )


def _or_none(text: str) -> float | None:
    return float(text) if text else None


def kinds_of_tables() -> frozenset[str]:
    """Every kind that the tables state."""
    return frozenset(line.split(",", 4)[3] for line in _lines()[0].values() if has_place(line))


@lru_cache(maxsize=1)
def _places() -> tuple[list[tuple[float, float, float, str]], float]:
    """Declination, right ascension and half extent in degrees, and the row; and the widest half extent."""
    places = []
    for line in dict.fromkeys(_lines()[0].values()):
        if has_place(line):
            _, ra, dec, _, major, _ = line.split(",", 5)
            reach = (float(major) if major else 0.0) / 120.0
            if extent := extents().get(heading(line)):
                reach = (extent.size_arcmin or (0.0,))[0] / 120.0
                if extent.centre_deg:
                    reach += separation_deg(float(ra), float(dec), *extent.centre_deg)
            places.append((float(dec), float(ra), reach, line))
    return sorted(places), max(reach for _, _, reach, _ in places)


def lines_around(ra_deg: float, dec_deg: float, radius_deg: float) -> Iterator[str]:
    """Rows whose centre or extent may lie within a circle in degrees; a few outside it are among them."""
    places, widest = _places()
    margin = radius_deg + widest
    low = bisect_left(places, dec_deg - margin, key=lambda place: place[0])
    high = bisect_right(places, dec_deg + margin, key=lambda place: place[0])
    for dec, ra, reach, line in places[low:high]:
        away = radius_deg + reach
        if abs(dec - dec_deg) > away:
            continue
        # The distance is at least 2/π of the difference in right ascension by the cosine of the higher declination.
        east = abs((ra - ra_deg + 180.0) % 360.0 - 180.0)
        if east * cos(radians(max(abs(dec), abs(dec_deg)))) > away * 1.6:
            continue
        yield line

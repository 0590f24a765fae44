"""The NGC and IC with what they cross-reference: the database file of the pyongc package.

The file is read here directly, read-only: pyongc's Python interface imports numpy and builds one object at a
time from several queries, some of which scan the whole file, where a handful of indexed queries is enough.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib import util
from math import degrees
from pathlib import Path

from noctuary.geometry import separation_deg
from noctuary.sky.designation import designation_of, name_key, plain_text, write_designation
from noctuary.sky.extents import Extent, extents
from noctuary.sky.shipped_objects import listed, number_or_none
from noctuary.sky.shipped_table import read_table
from noctuary.sky.sky_object import SkyObject, axes, object_at
from noctuary.sky.whole_catalogues import added_designations, has_place, heading, line_of, object_of

# Width to which pyongc pads the numbers of the catalogues that it indexes.
_PADDED = {"NGC": 4, "IC": 4, "M": 3, "C": 3, "B": 3, "Mel": 3, "Cr": 3, "H": 2, "HCG": 3, "UGC": 5, "UGCA": 3,
           "PGC": 6, "LBN": 3, "MWSC": 4}  # fmt: skip
_INDEXED_AS = {"Cr": "CL", "Mel": "MEL"}
# Cross-references that a photographer knows; the rest (survey numbers of galaxies and stars) is only found by.
_SHOWN = ("M", "C", "NGC", "IC", "B", "Sh2-", "LBN", "LDN", "vdB", "Mel", "Cr", "Tr", "H", "HCG", "Arp", "UGC",
          "UGCA", "PGC", "ESO")  # fmt: skip
KINDS = {
    "*": "star",
    "**": "double star",
    "*Ass": "association of stars",
    "OCl": "open cluster",
    "GCl": "globular cluster",
    "Cl+N": "open cluster with nebula",
    "G": "galaxy",
    "GPair": "pair of galaxies",
    "GTrpl": "triplet of galaxies",
    "GGroup": "group of galaxies",
    "PN": "planetary nebula",
    "HII": "emission nebula",
    "EmN": "emission nebula",
    "DrkN": "dark nebula",
    "Neb": "nebula",
    "RfN": "reflection nebula",
    "SNR": "supernova remnant",
    "Nova": "nova",
    "NonEx": "nonexistent object",
    "Other": "object of another kind",
}
SHAPES = (("SB", "barred spiral galaxy"), ("S0", "lenticular galaxy"), ("E-S0", "lenticular galaxy"),
           ("E", "elliptical galaxy"), ("I", "irregular galaxy"), ("S?", "galaxy"),
           ("S", "spiral galaxy"))  # fmt: skip

_COLUMNS = "name, type, ra, dec, majax, minax, pa, bmag, vmag, hubble, messier, ngc, ic, identifiers, commonnames"


@lru_cache(maxsize=1)
def database() -> sqlite3.Connection:
    """pyongc's database, opened so that it cannot be written. Raises ModuleNotFoundError without pyongc."""
    found = util.find_spec("pyongc")
    if found is None or found.origin is None:
        raise ModuleNotFoundError("pyongc is not installed")
    path = Path(found.origin).with_name("ongc.db")
    connection = sqlite3.connect(f"{path.as_uri()}?mode=ro&immutable=1", uri=True, check_same_thread=False)
    connection.row_factory = sqlite3.Row
    return connection


def _row(ongc_name: str) -> sqlite3.Row | None:
    row: sqlite3.Row | None = (
        database().execute(f"SELECT {_COLUMNS} FROM objects WHERE name = ?", (ongc_name,)).fetchone()
    )
    return row


@lru_cache(maxsize=1)
def _messier() -> Mapping[str, str]:
    rows = database().execute("SELECT messier, name FROM objects WHERE messier <> '' AND type <> 'Dup'")
    return {str(int(number)): name for number, name in rows}


_LEFT_OUT = re.compile(r"LEDA \d+|PGC \d{7}|LBN \d{4}|Cl \d+|Mel \d+|SH 2-\d+")


@lru_cache(maxsize=1)
def _unindexed() -> Mapping[tuple[str, str], str]:
    """Designations that an entry lists and pyongc's index leaves out, and the name of the entry."""
    rows = database().execute(
        "SELECT name, identifiers FROM objects WHERE identifiers GLOB '*LEDA [0-9]*'"
        " OR identifiers GLOB '*PGC [0-9][0-9][0-9][0-9][0-9][0-9][0-9]*'"
        " OR identifiers GLOB '*LBN [0-9][0-9][0-9][0-9]*' OR identifiers GLOB '*Cl [0-9]*'"
        " OR identifiers GLOB '*Mel [0-9]*' OR identifiers GLOB '*SH 2-*'"
    )
    unindexed: dict[tuple[str, str], str] = {}
    for name, identifiers in rows:
        for identifier in _LEFT_OUT.findall(identifiers):
            designation = designation_of(plain_text(identifier))
            if designation:
                unindexed.setdefault(designation, name)
    return unindexed


def ongc_name(catalogue: str, number: str) -> str | None:
    """pyongc's name of the entry with a designation, or None."""
    if catalogue == "M" and number in _messier():
        return _messier()[number]
    match = re.fullmatch(r"(\d+)([A-Z]{0,2})", number)
    if catalogue in _PADDED and match:
        identifier = f"{_INDEXED_AS.get(catalogue, catalogue)}{int(match[1]):0{_PADDED[catalogue]}d}{match[2]}"
    elif catalogue == "ESO" and (pair := re.fullmatch(r"(\d+)-(\d+)", number)):
        identifier = f"ESO{int(pair[1]):03d}-{int(pair[2]):03d}"
    elif catalogue == "MCG" and (three := re.fullmatch(r"([+-]?)(\d+)-(\d+)-(\d+)", number)):
        identifier = f"MCG{three[1] or '+'}{int(three[2]):02d}-{int(three[3]):02d}-{int(three[4]):03d}"
    else:
        return _unindexed().get((catalogue, number))
    row = database().execute("SELECT name FROM objIdentifiers WHERE identifier = ?", (identifier,)).fetchone()
    return _unindexed().get((catalogue, number)) if row is None else str(row[0])


def canonical(ongc_name: str) -> str:
    """pyongc's name as it is written: "NGC1976" → "NGC 1976"."""
    name, _, component = ongc_name.partition(" ")
    found = designation_of(plain_text(name))
    return (write_designation(*found) if found else name) + (f" {component}" if component else "")


def _kind(row: sqlite3.Row) -> str:
    if row["type"] == "G":
        return next((kind for start, kind in SHAPES if (row["hubble"] or "").startswith(start)), "galaxy")
    return KINDS.get(row["type"], "object of another kind")


def _cross_references(row: sqlite3.Row) -> Iterator[str]:
    """Other designations of an entry, the best known first.

    The database also lists neighbours and parts ("IC 1459" with NGC 7368, "NGC 5457E"): only what leads back to
    the same entry is another name of it.
    """
    if row["messier"]:
        yield f"M {int(row['messier'])}"
    for catalogue in ("NGC", "IC"):
        for number in filter(None, (part.strip() for part in row[catalogue.lower()].split(","))):
            twin = _row(catalogue + number)
            if twin is not None and twin["type"] == "Dup":
                yield canonical(twin["name"])
    written = []
    for identifier in row["identifiers"].split(","):
        found = designation_of(plain_text(identifier))
        if found and found[0] in _SHOWN and ongc_name(*found) == row["name"]:
            line = line_of(write_designation(*found))
            if line is None or heading(line) == canonical(row["name"]):
                written.append((_SHOWN.index(found[0]), write_designation(*found)))
    for name in added_designations(canonical(row["name"])):
        found = designation_of(plain_text(name))
        shown = _SHOWN.index(found[0]) if found and found[0] in _SHOWN else len(_SHOWN)
        written.append((shown, name))
    yield from (name for _, name in sorted(written, key=lambda pair: pair[0]))


def tidy_name(common: str) -> str:
    text = re.sub(r"^the\s+", "", common.strip())
    return re.sub(r" nebula$", " Nebula", text)


@lru_cache(maxsize=4096)
def ongc_object(ongc_name: str) -> SkyObject | None:
    """The object of a pyongc entry, duplicates followed to the entry that holds the data."""
    row, followed = _row(ongc_name), {ongc_name}
    while row is not None and row["type"] == "Dup":
        target = next((c + row[c.lower()] for c in ("NGC", "IC") if row[c.lower()]), None)
        if target is None and row["messier"]:
            target = _messier().get(str(int(row["messier"])))
        row = _row(target) if target and target not in followed else None
        followed.add(target or "")
    if row is None or row["ra"] is None:
        return None
    name = canonical(row["name"])
    amended = amendments().get(row["name"], {})
    name = amended.get("name") or name
    dropped = {name_key(n) for n in listed(amended.get("drop", ""))}
    common = [amended["common_name"]] if amended.get("common_name") else []
    given = (row["commonnames"] or "").split(",")
    common += [tidy_name(n) for n in given if n.strip() and name_key(n) not in dropped]
    names = [*common[:1], *_cross_references(row), *listed(amended.get("designations", "")), *common[1:],
             *listed(amended.get("also", ""))]  # fmt: skip
    magnitude = row["vmag"] if row["vmag"] is not None else row["bmag"]
    if written := amended.get("magnitude"):
        magnitude = None if written == "-" else float(written)
    return object_at(
        name,
        amended.get("kind") or _kind(row),
        (degrees(row["ra"]), 2),
        (degrees(row["dec"]), 1),
        magnitude=magnitude,
        size=axes(number_or_none(amended.get("major_arcmin", "")), number_or_none(amended.get("minor_arcmin", "")))
        or axes(row["majax"], row["minax"]),
        angle=None if amended.get("major_arcmin") or row["pa"] is None else float(row["pa"]),
        # Sizes of clusters and nebulae are drawn where extents.csv has them from two sources.
        outline=row["type"] in ("G", "GPair", "GTrpl", "GGroup", "PN"),
        common_name=common[0] if common else None,
        also=(canonical(row["name"]), *names) if amended.get("name") else names,
        note=amended.get("note"),
    )


@lru_cache(maxsize=1)
def amendments() -> Mapping[str, Mapping[str, str]]:
    """Rows of names.csv by what they amend: pyongc's name of an entry, or the first name of a row of the tables.

    Raises ValueError for a row about something that neither knows.
    """
    rows: dict[str, Mapping[str, str]] = {}
    for row in read_table("names.csv"):
        designation = designation_of(plain_text(row["object"]))
        line = line_of(write_designation(*designation)) if designation else None
        if line is not None and has_place(line):
            rows[heading(line)] = row
            continue
        name = ongc_name(*designation) if designation else None
        if name is None:
            raise ValueError(f"names.csv: no catalogue knows {row['object']}")
        rows[name] = row
    return rows


@lru_cache(maxsize=4096)
def known_object(catalogue: str, number: str) -> SkyObject | None:
    """The object of a designation: of the tables of whole catalogues, else of the NGC/IC database."""
    line = line_of(write_designation(catalogue, number))
    if line is None:
        name = ongc_name(catalogue, number)
        return ongc_object(name) if name else None
    if has_place(line):
        return table_object(line)
    found = designation_of(plain_text(heading(line)))
    name = ongc_name(*found) if found else None
    return ongc_object(name) if name else None


@lru_cache(maxsize=4096)
def table_object(line: str) -> SkyObject:
    """The object of a row of the tables, with what names.csv says of it."""
    amended = amendments().get(heading(line), {})
    names = (amended.get("common_name", ""), *listed(amended.get("also", "")))
    return object_of(line, amended, tuple(name for name in names if name))


@dataclass(frozen=True, slots=True)
class Spot:
    """Centre and half extent in degrees of an entry of pyongc's."""

    dec_deg: float
    ra_deg: float
    reach_deg: float
    ongc_name: str


WIDE_DEG = 0.5


def _checked_extents() -> Mapping[str, Extent]:
    """Rows of extents.csv by pyongc's name of the entry, for those about one."""
    found = ((designation_of(plain_text(name)), extent) for name, extent in extents().items())
    return {name: extent for key, extent in found if key and (name := ongc_name(*key))}


@lru_cache(maxsize=1)
def spots() -> tuple[tuple[Spot, ...], tuple[Spot, ...]]:
    """Entries that are objects: the small by declination, and those that reach further than WIDE_DEG.

    Left out are duplicates, what does not exist, and single and double stars and marks of other kinds that
    got a number by mistake, unless Messier counted them or the table of names says of what kind they are.
    """
    amended, checked = amendments(), _checked_extents()
    small: list[Spot] = []
    wide: list[Spot] = []
    rows = database().execute(
        "SELECT name, type, ra, dec, majax, messier FROM objects WHERE type NOT IN ('Dup', 'NonEx') AND ra NOT NULL"
    )
    for name, kind, ra, dec, major, messier in rows:
        row = amended.get(name, {})
        if kind in ("*", "**", "Other", "Nova") and not messier and not row.get("kind"):
            continue
        reach = (number_or_none(row.get("major_arcmin", "")) or major or 0.0) / 120.0
        if extent := checked.get(name):
            reach = extent.size_arcmin[0] / 120.0 if extent.size_arcmin else 0.0
            if extent.centre_deg:
                reach += separation_deg(degrees(ra), degrees(dec), *extent.centre_deg)
        spot = Spot(degrees(dec), degrees(ra), reach, name)
        (wide if reach > WIDE_DEG else small).append(spot)
    return tuple(sorted(small, key=lambda spot: spot.dec_deg)), tuple(wide)

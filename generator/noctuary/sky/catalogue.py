"""A name as a person writes it → an object of the sky.

Three sources, the later over the earlier: the NGC and IC with what they cross-reference (the database file
of the pyongc package), the tables shipped beside this module (trade names, objects outside NGC and IC, named
stars), and the objects of one's own that a person declares.

pyongc's file is read here directly, read-only: its Python interface imports numpy and builds one object at a
time from several queries, some of which scan the whole file, where a handful of indexed queries is enough.
"""

from __future__ import annotations

import csv
import difflib
import re
import sqlite3
import unicodedata
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib import resources, util
from math import acos, cos, degrees, hypot, radians, sin
from pathlib import Path

from noctuary.sky.constellation import constellation_of, galactic


@dataclass(frozen=True, slots=True)
class SkyObject:
    """One object of the sky.

    Coordinates are ICRS in degrees, None for what has no fixed place; the decimals are those of the seconds
    of time and of arc that the source gives. ``size_arcmin`` is (major, minor) axis, ``size_angle_deg`` the
    position angle of the major axis from north through east. ``magnitude`` is V, or B where V is unknown.
    ``also`` holds the common names and other designations, never ``name`` itself. ``moves`` is true for the
    Sun, the Moon and the planets, whose place depends on the time.
    """

    name: str
    kind: str
    ra_deg: float | None
    dec_deg: float | None
    ra_decimals: int
    dec_decimals: int
    constellation: str | None
    galactic_l_deg: float | None
    galactic_b_deg: float | None
    magnitude: float | None
    size_arcmin: tuple[float, float] | None
    size_angle_deg: float | None
    common_name: str | None
    also: tuple[str, ...]
    note: str | None
    moves: bool


@dataclass(frozen=True, slots=True)
class OwnObject:
    """An object that a person declares: everything but the name may be left out.

    If the catalogue knows the name, only what is given is added or replaced.
    """

    name: str
    ra_deg: float | None = None
    dec_deg: float | None = None
    kind: str | None = None
    size_arcmin: tuple[float, float] | None = None
    also: tuple[str, ...] = ()
    note: str | None = None


# ------------------------------------------------------------------------------------------- spelling

# How each catalogue is written, and how people write it. A trailing hyphen joins without a space ("Sh2-155").
_SPELLINGS: Mapping[str, tuple[str, ...]] = {
    "M": ("m", "messier"),
    "C": ("c", "caldwell"),
    "NGC": ("ngc",),
    "IC": ("ic",),
    "B": ("b", "barnard"),
    "Mel": ("mel", "melotte"),
    "Cr": ("cr", "collinder", "coll", "cl"),
    "Tr": ("tr", "trumpler"),
    "H": ("h", "harvard"),
    "Sh2-": ("sh", "sharpless"),
    "vdB": ("vdb", "van den bergh", "vandenbergh"),
    "LDN": ("ldn", "lynds dark nebula"),
    "LBN": ("lbn", "lynds bright nebula"),
    "Gum": ("gum",),
    "RCW": ("rcw",),
    "Ced": ("ced", "cederblad"),
    "Abell": ("abell", "aco", "pn a66"),
    "Arp": ("arp",),
    "HCG": ("hcg", "hickson", "hickson compact group"),
    "UGC": ("ugc",),
    "UGCA": ("ugca",),
    "PGC": ("pgc", "leda"),
    "ESO": ("eso",),
    "MCG": ("mcg",),
    "MWSC": ("mwsc",),
    "Pal": ("pal", "palomar"),
    "Stock": ("stock",),
    "King": ("king",),
    "Simeis": ("simeis",),
    "CTB": ("ctb",),
    "HIP": ("hip",),
}
_CATALOGUE_OF = {spelling: prefix for prefix, all_ in _SPELLINGS.items() for spelling in all_}
_DESIGNATION = re.compile(
    r"(?:(?P<sharpless>sh|sharpless)\.?\s*-?\s*2\s*[- ]\s*|"
    r"(?P<catalogue>" + "|".join(sorted(_CATALOGUE_OF, key=len, reverse=True)) + r")"
    r"\.?\s*(?:no\.?\s*|#\s*|-\s*(?!\d\d-\d\d-))?)"
    r"(?P<number>[+-]?\d{1,7}(?:-\d{1,7}){0,3}(?:\s?(?:[ns][ew]|[a-z]))?)(?![0-9a-z])",
    re.ASCII,
)
# Width to which pyongc pads the numbers of the catalogues that it indexes.
_PADDED = {"NGC": 4, "IC": 4, "M": 3, "C": 3, "B": 3, "Mel": 3, "Cr": 3, "H": 2, "HCG": 3, "UGC": 5, "UGCA": 3,
           "PGC": 6, "LBN": 3, "MWSC": 4}  # fmt: skip
_INDEXED_AS = {"Cr": "CL", "Mel": "MEL"}
# Cross-references that a photographer knows; the rest (survey numbers of galaxies and stars) is only found by.
_SHOWN = ("M", "C", "NGC", "IC", "B", "Sh2-", "LBN", "LDN", "vdB", "Mel", "Cr", "Tr", "H", "HCG", "Arp", "UGC",
          "UGCA", "PGC", "ESO")  # fmt: skip

_ARTICLES = re.compile(r"^(?:the|a|an)\s+")
# Endings that people leave off ("the Rosette") or exchange ("Dumbbell" for "Dumbbell Nebula").
_ENDINGS = re.compile(r"\s(?:nebulae?|neb|galax(?:y|ies)|clusters?|group|asterism|star cloud|cloud|complex|loop)$")
_GREEK = {
    "α": "alpha", "β": "beta", "γ": "gamma", "δ": "delta", "ε": "epsilon", "ζ": "zeta", "η": "eta", "θ": "theta",
    "ι": "iota", "κ": "kappa", "λ": "lambda", "μ": "mu", "ν": "nu", "ξ": "xi", "ο": "omicron", "π": "pi", "ρ": "rho",
    "σ": "sigma", "ς": "sigma", "τ": "tau", "υ": "upsilon", "φ": "phi", "χ": "chi", "ψ": "psi", "ω": "omega",
}  # fmt: skip


def _plain(written: str) -> str:
    """Lower case, no accents, no apostrophes, one kind of dash, single spaces."""
    text = "".join(_GREEK.get(c, c) for c in unicodedata.normalize("NFKC", written).casefold())
    text = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    text = re.sub(r"['’‘`´ʼ\"“”]", "", text)
    text = re.sub(r"[‐‑‒–—−]", "-", text)
    return " ".join(re.sub(r"[\s_,]+", " ", text).split())


def _designation(plain: str) -> tuple[str, str] | None:
    """Catalogue and number ("NGC", "2238") of a plain text that is a designation."""
    match = _DESIGNATION.fullmatch(plain)
    if match is None:
        return None
    number = re.sub(r"(?<!\d)0+(?=\d)", "", match["number"].replace(" ", "")).upper()
    return _CATALOGUE_OF[match["sharpless"] or match["catalogue"]], number


def _written(catalogue: str, number: str) -> str:
    return catalogue + number if catalogue.endswith("-") else f"{catalogue} {number}"


def _word_key(plain: str) -> str:
    """Key of a name in words: without article, spaces, hyphens and other marks."""
    text = _ARTICLES.sub("", plain).replace("&", " and ")
    text = re.sub(r"\sneb\.?$", " nebula", text)
    return re.sub(r"[^0-9a-z+]", "", text)


def _key(written: str) -> str:
    """The one key under which every accepted spelling of a name or designation falls."""
    plain = _plain(written)
    found = _designation(plain)
    return f"{found[0]}:{found[1]}" if found else _word_key(plain)


def _short_key(written: str) -> str | None:
    """Key of a common name without its last, general word; None if it has none."""
    plain = _plain(written)
    if _designation(plain):
        return None
    short = _ENDINGS.sub("", plain)
    return _word_key(short) if short != plain else None


# ------------------------------------------------------------------------------------- shipped tables


def read_table(name: str) -> Iterator[dict[str, str]]:
    """Rows of a shipped table; lines that begin with # are about its source."""
    text = resources.files("noctuary.sky.tables").joinpath(name).read_text(encoding="utf-8")
    yield from csv.DictReader((line for line in text.splitlines() if not line.startswith("#")), restval="")


def _split(text: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in text.split(";") if part.strip())


def _number(text: str) -> float | None:
    return float(text) if text.strip() else None


def _sexagesimal(text: str) -> tuple[float, int]:
    """Value and decimals of the seconds of "05 41 00.0" or "-02 27 00"."""
    whole, minutes, seconds = text.split()
    value = abs(int(whole)) + int(minutes) / 60 + float(seconds) / 3600
    decimals = len(seconds.partition(".")[2])
    return (-value if whole.startswith("-") else value), decimals


def _size(major: float | None, minor: float | None) -> tuple[float, float] | None:
    return None if major is None else (major, major if minor is None else minor)


def _others(name: str, names: Iterable[str]) -> tuple[str, ...]:
    """The names, each once however it is spelt, without the object's own."""
    seen, kept = {_key(name)}, []
    for other in names:
        key = _key(other)
        if key and key not in seen:
            seen.add(key)
            kept.append(other)
    return tuple(kept)


def _placed(
    name: str,
    kind: str,
    ra: tuple[float, int],
    dec: tuple[float, int],
    *,
    magnitude: float | None = None,
    size: tuple[float, float] | None = None,
    angle: float | None = None,
    common_name: str | None = None,
    also: Iterable[str] = (),
    note: str | None = None,
) -> SkyObject:
    l_deg, b_deg = galactic(ra[0], dec[0])
    return SkyObject(
        name=name,
        kind=kind,
        ra_deg=ra[0],
        dec_deg=dec[0],
        ra_decimals=ra[1],
        dec_decimals=dec[1],
        constellation=constellation_of(ra[0], dec[0]),
        galactic_l_deg=l_deg,
        galactic_b_deg=b_deg,
        magnitude=magnitude,
        size_arcmin=size,
        size_angle_deg=angle,
        common_name=common_name,
        also=_others(name, (*([common_name] if common_name else ()), *also)),
        note=note or None,
        moves=False,
    )


_MOVING = (("Sun", "Sun"), ("Moon", "Moon"), *((p, "planet") for p in (
    "Mercury", "Venus", "Mars", "Jupiter", "Saturn", "Uranus", "Neptune")))  # fmt: skip


def _unplaced() -> Iterator[SkyObject]:
    """What every archive may show and has no fixed place: the Sun, the Moon, the planets, the Milky Way."""
    for name, kind in _MOVING:
        yield SkyObject(name, kind, None, None, 0, 0, None, None, None, None, None, None, None, (), None, True)
    yield SkyObject("Milky Way", "galaxy seen from within", None, None, 0, 0, None, None, None, None, None, None,
                    None, (), None, False)  # fmt: skip


@lru_cache(maxsize=1)
def _shipped_objects() -> tuple[SkyObject, ...]:
    """The objects of the shipped table: what is photographed and stands outside NGC and IC."""
    found = []
    for row in read_table("objects.csv"):
        ra, ra_decimals = _sexagesimal(row["ra"])
        found.append(
            _placed(
                row["name"],
                row["kind"],
                (ra * 15.0, ra_decimals),
                _sexagesimal(row["dec"]),
                magnitude=_number(row["magnitude"]),
                size=_size(_number(row["major_arcmin"]), _number(row["minor_arcmin"])),
                angle=_number(row["angle_deg"]),
                common_name=row["common_name"] or None,
                also=_split(row["also"]),
                note=row["note"],
            )
        )
    return tuple(found)


@lru_cache(maxsize=1)
def _named_stars() -> tuple[SkyObject, ...]:
    found = []
    for row in read_table("named_stars.csv"):
        also = [row["bayer"], f"HIP {row['hip']}", *_split(row["also"])]
        found.append(
            _placed(
                row["name"],
                "star",
                (float(row["ra_deg"]), 2),
                (float(row["dec_deg"]), 1),
                magnitude=float(row["magnitude"]),
                also=[name for name in also if name],
            )
        )
    return tuple(found)


@lru_cache(maxsize=1)
def _amendments() -> Mapping[str, Mapping[str, str]]:
    """Rows of names.csv by pyongc's name of the entry that they amend.

    Raises ValueError for a row about an entry that pyongc does not know.
    """
    rows: dict[str, Mapping[str, str]] = {}
    for row in read_table("names.csv"):
        designation = _designation(_plain(row["object"]))
        name = _ongc_name(*designation) if designation else None
        if name is None:
            raise ValueError(f"names.csv: pyongc does not know {row['object']}")
        rows[name] = row
    return rows


# ---------------------------------------------------------------------------------------- NGC and IC

_KINDS = {
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
_SHAPES = (("SB", "barred spiral galaxy"), ("S0", "lenticular galaxy"), ("E-S0", "lenticular galaxy"),
           ("E", "elliptical galaxy"), ("I", "irregular galaxy"), ("S?", "galaxy"),
           ("S", "spiral galaxy"))  # fmt: skip


def kinds() -> frozenset[str]:
    """Every word by which an object's kind is called here; an archive's own objects may add theirs."""
    tables = (row["kind"] for name in ("objects.csv", "names.csv") for row in read_table(name))
    return frozenset({*_KINDS.values(), *dict(_SHAPES).values(), *dict(_MOVING).values(), *filter(None, tables)})


_COLUMNS = "name, type, ra, dec, majax, minax, pa, bmag, vmag, hubble, messier, ngc, ic, identifiers, commonnames"


@lru_cache(maxsize=1)
def _database() -> sqlite3.Connection:
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
        _database().execute(f"SELECT {_COLUMNS} FROM objects WHERE name = ?", (ongc_name,)).fetchone()
    )
    return row


@lru_cache(maxsize=1)
def _messier() -> Mapping[str, str]:
    rows = _database().execute("SELECT messier, name FROM objects WHERE messier <> '' AND type <> 'Dup'")
    return {str(int(number)): name for number, name in rows}


_LEFT_OUT = re.compile(r"LEDA \d+|PGC \d{7}|LBN \d{4}|Cl \d+|Mel \d+|SH 2-\d+")


@lru_cache(maxsize=1)
def _unindexed() -> Mapping[tuple[str, str], str]:
    """Designations that an entry lists and pyongc's index leaves out, and the name of the entry."""
    rows = _database().execute(
        "SELECT name, identifiers FROM objects WHERE identifiers GLOB '*LEDA [0-9]*'"
        " OR identifiers GLOB '*PGC [0-9][0-9][0-9][0-9][0-9][0-9][0-9]*'"
        " OR identifiers GLOB '*LBN [0-9][0-9][0-9][0-9]*' OR identifiers GLOB '*Cl [0-9]*'"
        " OR identifiers GLOB '*Mel [0-9]*' OR identifiers GLOB '*SH 2-*'"
    )
    found: dict[tuple[str, str], str] = {}
    for name, identifiers in rows:
        for identifier in _LEFT_OUT.findall(identifiers):
            designation = _designation(_plain(identifier))
            if designation:
                found.setdefault(designation, name)
    return found


def _ongc_name(catalogue: str, number: str) -> str | None:
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
    row = _database().execute("SELECT name FROM objIdentifiers WHERE identifier = ?", (identifier,)).fetchone()
    return _unindexed().get((catalogue, number)) if row is None else str(row[0])


def _canonical(ongc_name: str) -> str:
    """pyongc's name as it is written: "NGC1976" → "NGC 1976"."""
    name, _, component = ongc_name.partition(" ")
    found = _designation(_plain(name))
    return (_written(*found) if found else name) + (f" {component}" if component else "")


def _kind(row: sqlite3.Row) -> str:
    if row["type"] == "G":
        return next((kind for start, kind in _SHAPES if (row["hubble"] or "").startswith(start)), "galaxy")
    return _KINDS.get(row["type"], "object of another kind")


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
                yield _canonical(twin["name"])
    written = []
    for identifier in row["identifiers"].split(","):
        found = _designation(_plain(identifier))
        if found and found[0] in _SHOWN and _ongc_name(*found) == row["name"]:
            written.append((_SHOWN.index(found[0]), _written(*found)))
    yield from (name for _, name in sorted(written, key=lambda pair: pair[0]))


def _tidy(common: str) -> str:
    text = re.sub(r"^the\s+", "", common.strip())
    return re.sub(r" nebula$", " Nebula", text)


@lru_cache(maxsize=4096)
def _ongc_object(ongc_name: str) -> SkyObject | None:
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
    name = _canonical(row["name"])
    amended = _amendments().get(row["name"], {})
    name = amended.get("name") or name
    dropped = {_key(n) for n in _split(amended.get("drop", ""))}
    common = [amended["common_name"]] if amended.get("common_name") else []
    common += [_tidy(n) for n in (row["commonnames"] or "").split(",") if n.strip() and _key(n) not in dropped]
    names = [*common[:1], *_cross_references(row), *_split(amended.get("designations", "")), *common[1:],
             *_split(amended.get("also", ""))]  # fmt: skip
    magnitude = row["vmag"] if row["vmag"] is not None else row["bmag"]
    if written := amended.get("magnitude"):
        magnitude = None if written == "-" else float(written)
    return _placed(
        name,
        amended.get("kind") or _kind(row),
        (degrees(row["ra"]), 2),
        (degrees(row["dec"]), 1),
        magnitude=magnitude,
        size=_size(_number(amended.get("major_arcmin", "")), _number(amended.get("minor_arcmin", "")))
        or _size(row["majax"], row["minax"]),
        angle=None if amended.get("major_arcmin") or row["pa"] is None else float(row["pa"]),
        common_name=common[0] if common else None,
        also=(_canonical(row["name"]), *names) if amended.get("name") else names,
        note=amended.get("note"),
    )


@dataclass(frozen=True, slots=True)
class _Spot:
    """Centre and half extent in degrees of an entry of pyongc's."""

    dec_deg: float
    ra_deg: float
    reach_deg: float
    ongc_name: str


_WIDE_DEG = 0.5


@lru_cache(maxsize=1)
def _spots() -> tuple[tuple[_Spot, ...], tuple[_Spot, ...]]:
    """Entries that are objects: the small by declination, and those that reach further than _WIDE_DEG.

    Left out are duplicates, what does not exist, and single and double stars and marks of other kinds that
    got a number by mistake, unless Messier counted them or the table of names says of what kind they are.
    """
    amended = _amendments()
    small: list[_Spot] = []
    wide: list[_Spot] = []
    rows = _database().execute(
        "SELECT name, type, ra, dec, majax, messier FROM objects WHERE type NOT IN ('Dup', 'NonEx') AND ra NOT NULL"
    )
    for name, kind, ra, dec, major, messier in rows:
        row = amended.get(name, {})
        if kind in ("*", "**", "Other", "Nova") and not messier and not row.get("kind"):
            continue
        reach = (_number(row.get("major_arcmin", "")) or major or 0.0) / 120.0
        spot = _Spot(degrees(dec), degrees(ra), reach, name)
        (wide if reach > _WIDE_DEG else small).append(spot)
    return tuple(sorted(small, key=lambda spot: spot.dec_deg)), tuple(wide)


def _separation_deg(ra1: float, dec1: float, ra2: float, dec2: float) -> float:
    """Great-circle distance of two places in degrees (haversine-free: by the chord, stable when small)."""
    a, d = radians(ra1), radians(dec1)
    b, e = radians(ra2), radians(dec2)
    chord = hypot(cos(d) * cos(a) - cos(e) * cos(b), cos(d) * sin(a) - cos(e) * sin(b), sin(d) - sin(e))
    return degrees(acos(max(-1.0, 1.0 - chord * chord / 2.0))) if chord > 0.1 else degrees(chord)


# ----------------------------------------------------------------------------------------- the catalogue


def _decimals(value: float, limit: int) -> int:
    """The fewest decimals, at most ``limit``, that write ``value`` in full."""
    return next((n for n in range(limit) if abs(value - round(value, n)) < 10.0 ** (-limit - 2)), limit)


def _own_place(own: OwnObject) -> tuple[tuple[float, int], tuple[float, int]] | None:
    if own.ra_deg is None or own.dec_deg is None:
        return None
    return (own.ra_deg, _decimals(own.ra_deg * 240.0, 2)), (own.dec_deg, _decimals(own.dec_deg * 3600.0, 1))


def _in_words(names: Iterable[str]) -> str | None:
    """The first name that is no catalogue designation."""
    return next((name for name in names if _designation(_plain(name)) is None), None)


def _amended(known: SkyObject, own: OwnObject) -> SkyObject:
    """The catalogue's object with what a person says of it.

    An entry headed by a name in words makes that the common name: it is what the person calls the object.
    """
    preferred = None if _key(own.name) == _key(known.name) else _in_words([own.name])
    common = preferred or known.common_name or _in_words(own.also)
    given = replace(
        known,
        kind=own.kind or known.kind,
        size_arcmin=own.size_arcmin or known.size_arcmin,
        size_angle_deg=None if own.size_arcmin else known.size_angle_deg,
        common_name=common,
        also=_others(known.name, (*([common] if common else ()), own.name, *own.also, *known.also)),
        note=own.note or known.note,
    )
    place = _own_place(own)
    if place is None:
        return given
    (ra, ra_decimals), (dec, dec_decimals) = place
    l_deg, b_deg = galactic(ra, dec)
    return replace(given, ra_deg=ra, dec_deg=dec, ra_decimals=ra_decimals, dec_decimals=dec_decimals, moves=False,
                   constellation=constellation_of(ra, dec), galactic_l_deg=l_deg, galactic_b_deg=b_deg)  # fmt: skip


def _declared(own: OwnObject) -> SkyObject:
    """An object that only the person knows."""
    kind = own.kind or "object"
    common = _in_words(own.also) if _designation(_plain(own.name)) else None
    place = _own_place(own)
    if place is not None:
        return _placed(own.name, kind, *place, size=own.size_arcmin, also=own.also, common_name=common, note=own.note)
    return SkyObject(own.name, kind, None, None, 0, 0, None, None, None, None, own.size_arcmin, None, common,
                     _others(own.name, own.also), own.note, False)  # fmt: skip


def _spelt_out(star: SkyObject) -> Iterator[str]:
    """Greek letter designations with the genitive: "α Ori" → "α Orionis"."""
    genitive = {row["abbr"]: row["genitive"] for row in _constellation_rows()}
    for name in star.also:
        letter, _, abbr = name.partition(" ")
        if abbr in genitive:
            yield f"{letter} {genitive[abbr]}"


@lru_cache(maxsize=1)
def _constellation_rows() -> tuple[dict[str, str], ...]:
    return tuple(read_table("constellations.csv"))


@lru_cache(maxsize=1)
def _index() -> Mapping[str, SkyObject | str]:
    """Keys of names in words and of designations outside pyongc's index → an object, or pyongc's name of it."""
    index: dict[str, SkyObject | str] = {}
    short: dict[str, set[str]] = {}
    target_of: dict[str, SkyObject | str] = {}

    def enter(names: Iterable[str], target: SkyObject | str, identity: str) -> None:
        target_of[identity] = target
        for name in names:
            index.setdefault(_key(name), target)
            if key := _short_key(name):
                short.setdefault(key, set()).add(identity)

    for item in _unplaced():
        enter([item.name], item, item.name)
    for item in _shipped_objects():
        enter([item.name, *item.also], item, item.name)
    dropped: dict[str, set[str]] = {}
    for ongc, row in _amendments().items():
        names = [row["name"], row["common_name"], *_split(row["also"]), *_split(row["designations"])]
        enter(filter(None, names), ongc, ongc)
        dropped[ongc] = {_key(n) for n in _split(row["drop"])}
    for ongc, names_ in _database().execute("SELECT name, commonnames FROM objects WHERE commonnames <> ''"):
        kept = [_tidy(n) for n in names_.split(",") if n.strip()]
        enter([n for n in kept if _key(n) not in dropped.get(ongc, set())], ongc, ongc)
    for star in _named_stars():
        enter([star.name, *star.also, *_spelt_out(star)], star, star.name)
    # A name without its general word counts where it can mean one object only, and is no constellation.
    taken = {_word_key(_plain(row["name"])) for row in _constellation_rows()}
    for key, identities in short.items():
        if key and len(identities) == 1 and key not in index and key not in taken:
            index[key] = target_of[next(iter(identities))]
    return index


@lru_cache(maxsize=1)
def _known_words() -> tuple[str, ...]:
    """Every name in words that the shipped catalogue knows, as it is written."""
    names: dict[str, None] = {}
    for item in _unplaced():
        names[item.name] = None
    for item in (*_shipped_objects(), *_named_stars()):
        names.update(dict.fromkeys((item.name, *item.also)))
    dropped: set[str] = set()
    for row in _amendments().values():
        names.update(dict.fromkeys(filter(None, (row["name"], row["common_name"], *_split(row["also"])))))
        dropped.update(_key(n) for n in _split(row["drop"]))
    for (text,) in _database().execute("SELECT commonnames FROM objects WHERE commonnames <> ''"):
        tidied = (_tidy(n) for n in text.split(",") if n.strip())
        names.update(dict.fromkeys(n for n in tidied if _key(n) not in dropped))
    return tuple(names)


@lru_cache(maxsize=8)
def _spelt(own: tuple[str, ...]) -> tuple[Mapping[str, str], Mapping[str, list[str]]]:
    """Known names by their key, and by their key without the last, general word; a person's own included."""
    names = (*_known_words(), *own)
    shortened: dict[str, list[str]] = {}
    for name in dict.fromkeys(names):
        if short := _short_key(name):
            shortened.setdefault(short, []).append(name)
    return {_word_key(_plain(name)): name for name in names}, shortened


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
            item = _declared(entry) if known is None else _amended(known, entry)
            self._own_objects[item.name] = item
            for name in (item.name, entry.name, *entry.also):
                self._own[_key(name)] = item.name

    def find(self, written: str) -> SkyObject | None:
        """The object that a name means, or None.

        Forgives case, spaces, leading zeros, articles, apostrophes, hyphens, accents, spelt-out catalogues
        ("Messier 42", "Sharpless 155") and a general last word left off ("the Rosette"). A designation followed by
        a name is accepted where both mean the same object.
        """
        plain = _plain(written)
        if not plain:
            return None
        found = self._find_plain(plain)
        if found is None and (match := _DESIGNATION.match(plain)):
            first, rest = plain[: match.end()], plain[match.end() :].strip(" -:/()=")
            one = self._find_plain(first)
            other = self._find_plain(rest) if one and rest else None
            if one is not None and other is not None and one.name == other.name:
                return one
        return found

    def _find_plain(self, plain: str) -> SkyObject | None:
        key = _key(plain)
        if key in self._own:
            return self._own_objects[self._own[key]]
        item: SkyObject | str | None = _index().get(key)
        if item is None and (found := _designation(plain)):
            item = _ongc_name(*found)
        if item is None and (found := _designation(plain.partition(" ned")[0])) and " ned" in plain:
            head = _ongc_name(*found)
            item = f"{head.partition(' ')[0]} {plain[plain.index('ned') :].upper()}" if head else None
        item = _ongc_object(item) if isinstance(item, str) else item
        # What the shipped catalogue calls by this name may be an object that the person has amended.
        return self._own_objects.get(item.name, item) if item is not None else None

    def nearest(self, written: str, count: int = 3) -> list[str]:
        """Known names most like one that is not known, nearest first, at most ``count``."""
        plain = _plain(written)
        found = _designation(plain)
        if found is not None:
            close = self._near_numbers(*found)
            if close:
                return close[:count]
        own = dict.fromkeys(name for item in self._own_objects.values() for name in (item.name, *item.also))
        spelt, shortened = _spelt(tuple(own))
        # What the text is the first part of ("Orion" of the Orion Nebula), then what is spelt much like it.
        word = _word_key(plain)[:80]
        names: dict[str, None] = dict.fromkeys(shortened.get(word, ()))
        for key in difflib.get_close_matches(word, {**spelt, **shortened}, n=2 * count, cutoff=0.5):
            names.update(dict.fromkeys([spelt[key]] if key in spelt else shortened[key]))
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
            name = _written(catalogue, slip)
            if self.find(name) is not None:
                near[name] = None
        return list(near)

    def around(self, ra_deg: float, dec_deg: float, radius_deg: float) -> list[SkyObject]:
        """Every object whose centre or extent may lie within a circle, nearest centre first.

        Degrees, ICRS. The extent is taken as a circle of the major axis, so an ellipse may miss. Duplicates,
        entries that do not exist and stars that got a catalogue number by mistake are left out; named stars are
        in :meth:`bright_stars`.
        """
        small, wide = _spots()
        margin = radius_deg + _WIDE_DEG
        low = bisect_left(small, dec_deg - margin, key=lambda spot: spot.dec_deg)
        high = bisect_right(small, dec_deg + margin, key=lambda spot: spot.dec_deg)
        hits: dict[str, tuple[float, SkyObject]] = {}
        for spot in (*small[low:high], *wide):
            away = _separation_deg(ra_deg, dec_deg, spot.ra_deg, spot.dec_deg)
            if away <= radius_deg + spot.reach_deg and (item := _ongc_object(spot.ongc_name)):
                hits.setdefault(item.name, (away, item))
        for item in (*_shipped_objects(), *self._own_objects.values()):
            if item.ra_deg is None or item.dec_deg is None:
                continue
            hits.pop(item.name, None)
            away = _separation_deg(ra_deg, dec_deg, item.ra_deg, item.dec_deg)
            if away <= radius_deg + (item.size_arcmin[0] / 120.0 if item.size_arcmin else 0.0):
                hits[item.name] = (away, item)
        return [item for _, item in sorted(hits.values(), key=lambda hit: (hit[0], hit[1].name))]

    def bright_stars(
        self, ra_deg: float | None = None, dec_deg: float | None = None, radius_deg: float = 180.0
    ) -> list[SkyObject]:
        """Stars with a proper name, brightest first: all, or those within a circle in degrees, ICRS."""
        stars = [self._own_objects.get(star.name, star) for star in _named_stars()]
        if ra_deg is not None and dec_deg is not None:
            stars = [
                star
                for star in stars
                if star.ra_deg is not None
                and star.dec_deg is not None
                and _separation_deg(ra_deg, dec_deg, star.ra_deg, star.dec_deg) <= radius_deg
            ]
        return sorted(stars, key=lambda star: (star.magnitude is None, star.magnitude or 0.0, star.name))

"""Write the tables of whole catalogues: bright and dark nebulae, planetary nebulae, star clusters.

Run: python -m noctuary.sky.tables.make_deep_sky catalog.dat deep_sky.hnd named_objects.json (see witnesses.py).

Each object is looked for in both packages. Where their places differ by more than the object's size (or by more than
ALLOWED_ARCMIN where it is small), a third witness decides: another designation of one of the two whose place both
packages agree on, or the catalogue's own numbers. Barnard, Cederblad, Collinder, Melotte and van den Bergh count by
right ascension, Sharpless, Lynds and Rodgers, Campbell & Whiteoak by galactic longitude, so a number lies between its
neighbours; PK, PN G and SNR G numbers are galactic coordinates. Where none can tell, the designation is left out and
written to left_out.txt. Designations of one object in a row are those that the packages put together; a row without
a place only adds designations to an object of the NGC/IC database.
"""

from __future__ import annotations

import csv
import hashlib
import io
import re
import sys
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from math import cos, degrees, hypot, radians
from pathlib import Path
from statistics import median

from noctuary.geometry import separation_deg
from noctuary.sky.constellation import galactic
from noctuary.sky.designation import designation_of, plain_text
from noctuary.sky.ongc import canonical, database, ongc_name
from noctuary.sky.shipped_objects import listed
from noctuary.sky.shipped_table import read_table
from noctuary.sky.tables.catalogue_groups import GROUPS, Group
from noctuary.sky.tables.witnesses import Entry, as_catalogued, read_globulars, read_lines, read_records

HERE = Path(__file__).parent
#: How far two readings of one place may lie apart whatever the size: Lynds and Barnard gave places of large, vague
#: clouds to a tenth of a degree or a minute of time; planetary nebulae are points beside those.
ALLOWED_ARCMIN = {"B": 15, "LDN": 15, "LBN": 15, "PK": 5, "PN G": 5}
ALLOWED_OTHERWISE_ARCMIN = 10
#: A nebula this many times as large as an NGC or IC object is not that object, which is a knot in it.
PART = 8.0
#: Two sizes whose ratio is no larger are one size, measured twice.
ONE_SIZE = 1.4
LEGEND = "apart_arcmin: between the two places; sized: whether both give it the same size."
COLUMNS = ("designations", "ra_deg", "dec_deg", "kind", "major_arcmin", "minor_arcmin", "angle_deg", "magnitude",
           "apart_arcmin", "sized")  # fmt: skip


#: How each catalogue counts: by right ascension, or by galactic longitude.
_ORDER = {**dict.fromkeys(("B", "vdB", "Ced", "Cr", "Mel"), "ra"),
          **dict.fromkeys(("Sh2-", "LBN", "LDN", "RCW"), "longitude")}  # fmt: skip


def catalogue_of(designation: str) -> str:
    """The part of a designation before its number."""
    match = re.match(r"(Sh2-|PN G|SNR G|.*?(?= ))", designation)
    return match[0] if match else designation


def apart_arcmin(one: Entry, other: Entry) -> float:
    """Great-circle distance of two places in arcminutes."""
    return separation_deg(one.ra_deg, one.dec_deg, other.ra_deg, other.dec_deg) * 60.0


class Order:
    """Where a catalogue's numbering expects a number, from the entries around it."""

    def __init__(self, entries: Iterable[Entry]) -> None:
        self._along: dict[str, dict[int, list[float]]] = defaultdict(lambda: defaultdict(list))
        for entry in entries:
            for name in entry.designations:
                if (key := self._number(name)) is not None:
                    self._along[key[0]][key[1]].append(self._coordinate(key[0], entry))

    @staticmethod
    def _number(name: str) -> tuple[str, int] | None:
        catalogue = catalogue_of(name)
        match = re.match(r"\d+", name[len(catalogue) :].strip())
        return (catalogue, int(match[0])) if catalogue in _ORDER and match else None

    @staticmethod
    def _coordinate(catalogue: str, entry: Entry) -> float:
        return entry.ra_deg if _ORDER[catalogue] == "ra" else galactic(entry.ra_deg, entry.dec_deg)[0]

    def off_deg(self, name: str, entry: Entry) -> float | None:
        """How far the entry lies along the numbering from the middle of its eight neighbours, degrees.

        For a number that is a place: from that place, galactic longitude and latitude.
        """
        if match := re.fullmatch(r"(?:PK |PN G|SNR G)([\d.]+)([+-][\d.]+)", name):
            longitude, latitude = galactic(entry.ra_deg, entry.dec_deg)
            along = (longitude - float(match[1]) + 180.0) % 360.0 - 180.0
            return hypot(along * cos(radians(latitude)), latitude - float(match[2]))
        key = self._number(name)
        if key is None:
            return None
        catalogue, number = key
        here = self._coordinate(catalogue, entry)
        steps = [
            (value - here + 180.0) % 360.0 - 180.0
            for n in range(number - 4, number + 5)
            if n != number
            for value in self._along[catalogue][n]
        ]
        return abs(median(steps)) if len(steps) >= 4 else None


def settle(name: str, one: Entry, other: Entry, order: Order) -> Entry | None:
    """Which of two places the catalogue's numbering allows, or None where it cannot tell."""
    first, second = order.off_deg(name, one), order.off_deg(name, other)
    if first is None or second is None or max(first, second) < 0.5:
        return None
    if first * 3.0 < second:
        return one
    return other if second * 3.0 < first else None


@dataclass
class Row:
    """An object on its way into a table: its names in this table, and all that its package calls it."""

    entry: Entry
    called: tuple[str, ...]
    apart: float | None = None
    sized: bool = False  # whether both packages give it one size

    def line(self, group: Group, attached: str | None) -> tuple[str, ...]:
        """The fields of the table; only names where the object is an entry of the NGC/IC database."""
        entry = self.entry
        rank = {catalogue: n for n, catalogue in enumerate(group.catalogues)}
        names = sorted(entry.designations, key=lambda n: rank[catalogue_of(n)])
        if entry.kind == "reflection nebula":
            names.sort(key=lambda n: catalogue_of(n) != "vdB")
        if attached:
            return (";".join(dict.fromkeys([attached, *names])), *[""] * (len(COLUMNS) - 1))
        if group.default_kind in ("dark nebula", "nebula"):
            entry = replace(entry, magnitude=None)  # it is Lynds's class of opacity, or the lighting star's
        decimals = 3 if (entry.major_arcmin or 0.0) >= 3.0 else 4
        minor = None if entry.minor_arcmin == entry.major_arcmin else entry.minor_arcmin
        numbers = (entry.major_arcmin, minor, entry.angle_deg, entry.magnitude)
        return (";".join(names), f"{entry.ra_deg:.{decimals}f}", f"{entry.dec_deg:.{decimals}f}", entry.kind or "",
                *("" if number is None else f"{number:.4g}" for number in numbers),
                "" if self.apart is None else f"{self.apart:.1f}", "yes" if self.sized else "")  # fmt: skip


def joined(one: Entry, other: Entry, extra: tuple[str, ...], group: Group) -> Entry:
    """The two packages' entries of one object: the finer place; sizes and the rest from whichever has them."""
    # The first package has only areas of dark nebulae and round diameters of planetary nebulae.
    dark = group.default_kind == "dark nebula"
    measured = dark or group.default_kind == "planetary nebula"
    sized = other if (measured and other.major_arcmin) or not one.major_arcmin else one
    coarse = all(abs(value * 10.0 - round(value * 10.0)) < 1e-3 for value in (one.ra_deg, one.dec_deg))
    placed = other if dark or coarse else one
    return replace(
        one,
        designations=(*one.designations, *extra),
        ra_deg=placed.ra_deg,
        dec_deg=placed.dec_deg,
        major_arcmin=sized.major_arcmin,
        minor_arcmin=sized.minor_arcmin,
        angle_deg=sized.angle_deg,
        kind=one.kind if one.kind not in (None, "nebula", "molecular cloud") else other.kind or one.kind,
        magnitude=one.magnitude if one.magnitude is not None else other.magnitude,
    )


def numbered(name: str) -> bool:
    """Whether a designation is a number of a catalogue here; "M 40" is Messier's, "M 1-92" Minkowski's."""
    if re.fullmatch(r"M \d+", name) or designation_of(plain_text(name)) is None:
        return False
    return "." not in name or name.startswith(("PK ", "PN G", "SNR G"))


def rows_of(entries: Iterable[Entry], group: Group) -> list[Row]:
    """The entries of one package that a group's catalogues name."""
    rows = []
    for entry in entries:
        entry, named = as_catalogued(entry), dict.fromkeys(entry.designations)
        names = tuple(n for n in named if catalogue_of(n) in group.catalogues and numbered(n))
        if names and (entry.kind or group.usual) in group.kinds:
            rows.append(Row(replace(entry, designations=names), entry.designations))
    return rows


def without(row: Row, name: str) -> None:
    """Take a designation from a row."""
    row.entry = replace(row.entry, designations=tuple(n for n in row.entry.designations if n != name))


def agree(name: str, one: Entry, other: Entry) -> bool:
    """Whether two packages place one object within its size, or within what its catalogue can tell."""
    least = ALLOWED_ARCMIN.get(catalogue_of(name), ALLOWED_OTHERWISE_ARCMIN)
    return round(apart_arcmin(one, other)) <= max(one.major_arcmin or 0.0, other.major_arcmin or 0.0, least)


def vouched(name: str, entry: Entry, elsewhere: Mapping[str, list[Row]]) -> bool:
    """Whether another designation of an entry has, in the other package, a row of its own at the same place."""
    rows = [row for n in entry.designations if n != name for row in elsewhere.get(n, [])[:1]]
    return any(name not in row.entry.designations and agree(name, entry, row.entry) for row in rows)


def combine(first: list[Row], second: list[Row], group: Group) -> tuple[list[Row], list[str]]:
    """The rows of both packages as one list, and a line for each designation that is left out."""
    order = Order([row.entry for row in (*first, *second)])
    left_out = []
    by_name: dict[str, list[Row]] = defaultdict(list)
    for row in first:
        for name in row.entry.designations:
            by_name[name].append(row)
    theirs = {name: row for row in reversed(second) for name in row.entry.designations}
    for name, rows in by_name.items():
        # A number given to several: to the one where the other package has it, else to the largest.
        other = theirs.get(name)
        rows.sort(key=lambda row: apart_arcmin(row.entry, other.entry) if other else -(row.entry.major_arcmin or 0.0))
        for row in rows[1:]:
            without(row, name)
    for other in second:
        partner: Row | None = None
        for name in other.entry.designations:
            if name not in by_name or by_name[name][0] is partner:
                continue
            row = by_name[name][0]
            if agree(name, row.entry, other.entry) and not borrowed(row, group):
                partner = partner or row
                partner.apart = apart_arcmin(partner.entry, other.entry)
                continue
            settled = other.entry if borrowed(row, group) else settle(name, row.entry, other.entry, order)
            if settled is None and vouched(name, other.entry, by_name):
                settled = other.entry
            if settled is row.entry and name.startswith(("PK ", "PN G")):
                # The number itself is the place: the other package erred, and its names go along.
                partner = partner or row
                continue
            if settled is not other.entry:
                without(other, name)
            if settled is not row.entry:
                without(row, name)
            if settled is None:
                left_out.append(
                    f"{name}: {row.entry.ra_deg:.3f} {row.entry.dec_deg:+.3f} and {other.entry.ra_deg:.3f}"
                    f" {other.entry.dec_deg:+.3f}, {apart_arcmin(row.entry, other.entry):.0f} arcmin apart"
                )
        if partner is not None:
            extra = tuple(
                n for n in other.entry.designations if n not in by_name or n not in by_name[n][0].entry.designations
            )
            sizes = (partner.entry.major_arcmin or 0.0, other.entry.major_arcmin or 0.0)
            partner.sized = min(sizes) > 0.0 and max(sizes) <= ONE_SIZE * min(sizes)
            partner.entry = joined(partner.entry, other.entry, extra, group)
            other.entry = replace(other.entry, designations=())
        else:
            for name in other.entry.designations:
                if name in by_name and name in by_name[name][0].entry.designations:
                    without(other, name)
    for row in first:
        if borrowed(row, group):
            row.entry = replace(row.entry, kind=None, major_arcmin=None, minor_arcmin=None, magnitude=None)
    return merge_twins([row for row in (*first, *second) if row.entry.designations]), left_out


def twins(row: Row, other: Row) -> bool:
    """Whether rows of different catalogues are plainly one object.

    Plainly: of one kind, of like size (a factor of two), and closer than a quarter of the smaller. A dark cloud in
    front of a nebula, a cluster in it and a knot on its rim all fail one of the three.
    """
    size, theirs = row.entry.major_arcmin or 0.0, other.entry.major_arcmin or 0.0
    catalogues = {catalogue_of(name) for name in row.entry.designations}
    return (
        size > 0.0
        and 0.5 <= theirs / size <= 2.0
        and row.entry.kind == other.entry.kind
        and apart_arcmin(row.entry, other.entry) <= min(size, theirs) / 4.0
        and not catalogues & {catalogue_of(name) for name in other.entry.designations}
    )


def merge_twins(rows: list[Row]) -> list[Row]:
    """The rows, with those that are plainly one object as one."""
    kept: dict[int, list[Row]] = defaultdict(list)
    merged = []
    for row in rows:
        band = round(row.entry.dec_deg)
        near = (other for n in (band - 1, band, band + 1) for other in kept[n])
        twin = next((other for other in near if twins(row, other)), None)
        if twin is None:
            kept[band].append(row)
            merged.append(row)
        else:
            twin.entry = replace(twin.entry, designations=(*twin.entry.designations, *row.entry.designations))
            twin.called = (*twin.called, *row.called)
    return merged


# --------------------------------------------------------------------------- what the NGC and IC hold


def _known(name: str) -> tuple[str, str, Entry] | None:
    """Name, type and place of the NGC/IC database's entry of a designation, duplicates followed."""
    found = designation_of(plain_text(name))
    entry = ongc_name(*found) if found else None
    for _ in range(3):
        row = database().execute(
            "SELECT name, type, ra, dec, majax, ngc, ic FROM objects WHERE name = ?", (entry,)
        ).fetchone()  # fmt: skip
        if row is None or row["type"] != "Dup":
            break
        entry = next((c + row[c.lower()] for c in ("NGC", "IC") if row[c.lower()]), None)
    if row is None or row["ra"] is None:
        return None
    place = Entry((), degrees(row["ra"]), degrees(row["dec"]), row["majax"], None, None, None, None)
    return row["name"], row["type"], place


def borrowed(row: Row, group: Group) -> bool:
    """Whether a row has place and size of an object of another kind (of a cluster beside the nebula)."""
    known = [_known(name) for name in row.called if catalogue_of(name) in ("NGC", "IC")]
    if known:
        return not any(found and found[1] in group.joins for found in known)
    return row.entry.kind in group.foreign


@lru_cache(maxsize=1)
def _decided() -> Mapping[str, str]:
    """The designations that names.csv gives to an object of the NGC/IC database."""
    return {name: row["object"] for row in read_table("names.csv") for name in listed(row["designations"])}


def attached_to(row: Row, group: Group) -> str | None:
    """The entry of the NGC/IC database that a row is: as names.csv decides, or as the packages say."""
    for name in row.entry.designations:
        if name in _decided():
            return _decided()[name]
    rank = {"NGC": 0, "IC": 1}
    for name in sorted(row.called, key=lambda n: rank.get(catalogue_of(n), 2)):
        known = _known(name)
        if known is None or known[1] not in group.joins:
            continue
        near = max(row.entry.major_arcmin or 0.0, known[2].major_arcmin or 0.0, 20.0) / 2.0
        part = (row.entry.major_arcmin or 0.0) > max(60.0, PART * (known[2].major_arcmin or 60.0))
        if apart_arcmin(row.entry, known[2]) <= near and not (part and group.foreign):
            return canonical(known[0])
    return None


def kind_of(entry: Entry, group: Group) -> str:
    """The kind that a row states: the packages', or what its first catalogue is a catalogue of."""
    vague = {None, "nebula", "molecular cloud", *group.foreign}
    if group.default_kind == "dark nebula" or entry.kind in vague:
        by_catalogue = {"vdB": "reflection nebula", "vdBH": "reflection nebula", "Sh2-": "emission nebula",
                        "RCW": "emission nebula", "Gum": "emission nebula"}  # fmt: skip
        catalogues = {catalogue_of(name) for name in entry.designations}
        return next((kind for c, kind in by_catalogue.items() if c in catalogues), group.default_kind)
    return entry.kind or group.default_kind


def digest(path: Path) -> str:
    """SHA-256 of a file, by which a reader knows that it is the same."""
    return hashlib.sha256(path.read_bytes()).hexdigest()


def main(records: Path, lines: Path, globulars: Path, folder: Path = HERE) -> None:
    """Write the four tables and the list of what is left out."""
    first, second = list(read_records(records)), list(read_lines(lines))
    clusters = read_globulars(globulars)
    left_out = []
    for group in GROUPS:
        rows, doubtful = combine(rows_of(first, group), rows_of(second, group), group)
        left_out += doubtful
        text = io.StringIO()
        sources = "; ".join(dict.fromkeys(f"{c}: {s}" if " " in s else s for c, s in group.sources if s[0].isupper()))
        made = f"{records.name} {digest(records)[:16]} and {lines.name} {digest(lines)[:16]}"
        text.write(f"# {sources}.\n# Made by make_deep_sky.py from {made}.\n# {LEGEND}\n")
        writer = csv.writer(text, lineterminator="\n")
        writer.writerow(COLUMNS)
        for row in rows:
            place = next((clusters[n] for n in row.entry.designations if n in clusters), None)
            if place and row.apart is None:
                precise = replace(row.entry, ra_deg=place[0], dec_deg=place[1])
                row.apart = apart_arcmin(row.entry, precise)
                row.entry = precise
            row.entry = replace(row.entry, kind=kind_of(row.entry, group))
            if row.entry.major_arcmin is None and all(n.startswith("SNR G") for n in row.entry.designations):
                continue  # a radio source without a measured extent
            fields = row.line(group, attached_to(row, group))
            if fields[1] or ";" in fields[0]:
                writer.writerow(fields)
        (folder / group.file).write_text(text.getvalue(), encoding="utf-8")
    (folder / "left_out.txt").write_text("\n".join(left_out) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:4]))

"""Write galaxy_groups.csv: Hickson's groups, Arp's peculiar galaxies, Abell's clusters of galaxies.

Run: python -m noctuary.sky.tables.make_galaxy_groups catalog.dat deep_sky.hnd (see witnesses.py).

Hickson: the groups of one package against the middle of the members (a, b, c …) that the other lists. Arp: a number
names the NGC or IC object in its picture, or where there is none the galaxies of that number together; an Arp number
that a package gives to a Hickson group is another name of the group. Abell: clusters whose tenth brightest galaxy
reaches FAINTEST; the rest are specks in any amateur's picture.
"""

from __future__ import annotations

import csv
import io
import re
import sys
from collections import defaultdict
from dataclasses import replace
from math import cos, radians
from pathlib import Path

from noctuary.sky.designation import designation_of, plain_text
from noctuary.sky.ongc import canonical, ongc_name
from noctuary.sky.tables.make_deep_sky import COLUMNS, HERE, LEGEND, apart_arcmin, catalogue_of, digest
from noctuary.sky.tables.witnesses import Entry, read_lines, read_records

FAINTEST = 16.0
SOURCES = (
    "HCG: Hickson 1982, ApJ 255, 382; Arp: Arp 1966, ApJS 14, 1; ACO, Abell: Abell, Corwin & Olowin 1989, ApJS 70, 1"
)


def middle(members: list[Entry]) -> Entry:
    """The members as one object: the middle of their places, and how far they reach from end to end."""
    first = members[0]
    shrink = cos(radians(first.dec_deg))
    east = [(m.ra_deg - first.ra_deg + 180.0) % 360.0 - 180.0 for m in members]
    centre = replace(
        first,
        ra_deg=(first.ra_deg + (min(east) + max(east)) / 2.0) % 360.0,
        dec_deg=(min(m.dec_deg for m in members) + max(m.dec_deg for m in members)) / 2.0,
    )
    reach = max(apart_arcmin(centre, m) + (m.major_arcmin or 0.0) / 2.0 for m in members)
    along = (max(east) - min(east)) * shrink * 60.0
    assert along < 120.0, first.designations
    kind = "group of galaxies" if members[2:] else "pair of galaxies" if members[1:] else first.kind
    return replace(centre, major_arcmin=round(2.0 * reach, 1), minor_arcmin=None, angle_deg=None, kind=kind)


def known_as(entry: Entry) -> str | None:
    """The NGC/IC database's name of a galaxy, by any of its designations, NGC and IC first."""
    rank = {"NGC": 0, "IC": 1}
    for name in sorted(entry.designations, key=lambda n: rank.get(catalogue_of(n), 2)):
        found = designation_of(plain_text(name)) if catalogue_of(name) in ("NGC", "IC", "UGC", "PGC", "ESO") else None
        if found and (entry_name := ongc_name(*found)):
            return canonical(entry_name)
    return None


def fields(names: list[str], entry: Entry, kind: str, apart: float | None) -> tuple[str, ...]:
    """One row of the table."""
    size = "" if entry.major_arcmin is None else f"{entry.major_arcmin:.4g}"
    minor = "" if entry.minor_arcmin in (None, entry.major_arcmin) else f"{entry.minor_arcmin:.4g}"
    angle = "" if entry.angle_deg is None else f"{entry.angle_deg:.0f}"
    magnitude = "" if entry.magnitude is None else f"{entry.magnitude:.4g}"
    return (";".join(names), f"{entry.ra_deg:.4f}", f"{entry.dec_deg:.4f}", kind, size, minor, angle, magnitude,
            "" if apart is None else f"{apart:.1f}", "")  # fmt: skip


def hickson_and_arp(records: list[Entry], lines: list[Entry]) -> list[tuple[str, ...]]:
    """Rows of the Hickson groups, then of the Arp numbers that are no Hickson group."""
    members: dict[str, list[Entry]] = defaultdict(list)
    for entry in records:
        for name in entry.designations:
            if catalogue_of(name) == "HCG":
                members[name.rstrip("abcdefghij")].append(entry)
            elif catalogue_of(name) == "Arp":
                members[name].append(entry)
    rows, done = [], set()
    sizes = {name: entry for entry in lines for name in entry.designations if catalogue_of(name) == "Arp"}
    for entry in lines:
        groups = [name for name in entry.designations if catalogue_of(name) in ("HCG", "Arp")]
        if not groups or catalogue_of(groups[0]) != "HCG":
            continue
        done.update(groups)
        found = designation_of(plain_text(groups[0]))
        if found and (name_there := ongc_name(*found)):
            rows.append((";".join(dict.fromkeys([canonical(name_there), *groups])), *[""] * (len(COLUMNS) - 1)))
            continue
        held = members.get(groups[0], [])
        apart = apart_arcmin(entry, middle(held)) if held else None
        if apart and apart > (entry.major_arcmin or 0.0) and any(known_as(member) for member in held):
            # The NGC/IC database is the third witness: one of the members is there.
            entry = replace(entry, ra_deg=middle(held).ra_deg, dec_deg=middle(held).dec_deg)
        rows.append(fields(groups, entry, "group of galaxies", apart))
    for number in range(1, 339):
        name = f"Arp {number}"
        held = members.get(name, [])
        if name in done or not held:
            continue
        known = next((k for member in held if (k := known_as(member))), None)
        if known:
            rows.append((f"{known};{name}", *[""] * (len(COLUMNS) - 1)))
            continue
        whole = middle(held)
        measured = sizes.get(name)
        others = [n for n in held[0].designations if catalogue_of(n) in ("UGC", "PGC")] if len(held) == 1 else []
        if len(held) == 1:
            whole = held[0]
        if measured and measured.major_arcmin:
            whole = replace(whole, major_arcmin=measured.major_arcmin, minor_arcmin=measured.minor_arcmin)
        rows.append(fields([name, *others], whole, whole.kind or "galaxy", None))
    return rows


def abell_clusters(records: list[Entry], lines: list[Entry]) -> list[tuple[str, ...]]:
    """Rows of the clusters, nearest numbers first; numbers up to 86 are written ACO, since Abell 39 is a nebula."""
    measured = {name: entry for entry in lines for name in entry.designations if catalogue_of(name) == "ACO"}
    rows = []
    for entry in records:
        name = next((n for n in entry.designations if catalogue_of(n) == "ACO"), None)
        if name is None or not (name in measured or (entry.magnitude or 99.0) <= FAINTEST):
            continue
        other = measured.get(name)
        if other is not None:
            entry = replace(entry, major_arcmin=other.major_arcmin, minor_arcmin=other.minor_arcmin)
        number = re.sub(r"\D", "", name)
        shown = name.replace("ACO", "Abell") if name[4:5] == "S" or int(number) > 86 else name
        apart = apart_arcmin(entry, other) if other else None
        rows.append(fields([shown], entry, "cluster of galaxies", apart))
    return rows


def main(records: Path, lines: Path, folder: Path = HERE) -> None:
    """Write the table."""
    first, second = list(read_records(records)), list(read_lines(lines))
    text = io.StringIO()
    made = f"{records.name} {digest(records)[:16]} and {lines.name} {digest(lines)[:16]}"
    text.write(f"# {SOURCES}.\n# Made by make_galaxy_groups.py from {made}.\n# {LEGEND}\n")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows(hickson_and_arp(first, second))
    writer.writerows(abell_clusters(first, second))
    (folder / "galaxy_groups.csv").write_text(text.getvalue(), encoding="utf-8")


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:3]))

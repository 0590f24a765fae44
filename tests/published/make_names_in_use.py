"""Write names_in_use.csv: what is photographed, with a place and a size that the catalogue does not take from itself.

Run: python tests/published/make_names_in_use.py deep_sky.hnd catalog.dat (see sky/tables/witnesses.py).

Messier 1 to 110, Caldwell 1 to 109, COMMON names, and from each other catalogue those that both packages hold, taken
at even steps and none by hand, so that the list favours nothing. A place is that of deep_sky.hnd (the Saguaro
Astronomy Club's database and Steinicke's Revised NGC and IC) wherever it has one, for our own come from pyongc,
catalog.dat and named_objects.json; of King's and Berkeley's clusters it is the only source. What the two place so
differently that no table has it (left_out.txt) has no witness.
"""

from __future__ import annotations

import csv
import re
import sys
from pathlib import Path
from typing import Any

from noctuary.sky.tables.make_deep_sky import HERE, catalogue_of, numbered
from noctuary.sky.tables.witnesses import Entry, read_lines, read_records

#: How many of each list are taken besides Messier and Caldwell.
TAKEN = {"NGC": 90, "IC": 30, "Sh2-": 70, "LDN": 30, "LBN": 25, "vdB": 35, "B": 45, "Abell": 30, "Cr": 20,
         "Stock": 10, "Tr": 12, "King": 10, "Be": 15, "Mel": 6, "Ru": 10, "Pal": 8, "HCG": 15, "Arp": 9, "RCW": 10,
         "Ced": 8, "DWB": 8, "PK": 20}  # fmt: skip
#: Lists that one package has only under other names (Abell's planetary nebulae, Hickson's groups), or not at all.
ALONE = ("Abell", "HCG", "Pal", "King", "Be")
#: What an entry must be: Arp numbered globular clusters too.
KINDS = {"Arp": ("galaxy", "group of galaxies"), "PK": ("planetary nebula",), "Abell": ("planetary nebula",)}
#: Names in words that observers use ("common practice"), by a designation.
COMMON = {
    "Andromeda Galaxy": "M 31", "Triangulum Galaxy": "M 33", "Whirlpool Galaxy": "M 51", "Pinwheel Galaxy": "M 101",
    "Bode's Galaxy": "M 81", "Cigar Galaxy": "M 82", "Sombrero Galaxy": "M 104", "Black Eye Galaxy": "M 64",
    "Sunflower Galaxy": "M 63", "Needle Galaxy": "NGC 4565", "Whale Galaxy": "NGC 4631", "Sculptor Galaxy": "NGC 253",
    "Fireworks Galaxy": "NGC 6946", "Centaurus A": "NGC 5128", "Southern Pinwheel": "M 83", "Orion Nebula": "M 42",
    "Lagoon Nebula": "M 8", "Trifid Nebula": "M 20", "Eagle Nebula": "M 16", "Omega Nebula": "M 17",
    "Crab Nebula": "M 1", "Ring Nebula": "M 57", "Dumbbell Nebula": "M 27", "Owl Nebula": "M 97",
    "Little Dumbbell": "M 76", "Helix Nebula": "NGC 7293", "Rosette Nebula": "NGC 2238",
    "Horsehead Nebula": "B 33", "Flame Nebula": "NGC 2024", "California Nebula": "NGC 1499",
    "North America Nebula": "NGC 7000", "Pelican Nebula": "IC 5070", "Crescent Nebula": "NGC 6888",
    "Iris Nebula": "NGC 7023", "Cocoon Nebula": "IC 5146", "Bubble Nebula": "NGC 7635", "Wizard Nebula": "NGC 7380",
    "Pacman Nebula": "NGC 281", "Heart Nebula": "IC 1805", "Soul Nebula": "IC 1848", "Elephant's Trunk": "IC 1396",
    "Cave Nebula": "Sh2-155", "Lion Nebula": "Sh2-132", "Tulip Nebula": "Sh2-101", "Flying Bat Nebula": "Sh2-129",
    "Lobster Claw": "Sh2-157", "Spaghetti Nebula": "Sh2-240", "Jellyfish Nebula": "IC 443",
    "Monkey Head Nebula": "Sh2-252", "Thor's Helmet": "NGC 2359", "Seagull Nebula": "IC 2177",
    "Dolphin Head Nebula": "Sh2-308", "Medusa Nebula": "Abell 21", "Flaming Star Nebula": "IC 405",
    "Tadpoles": "IC 410", "Witch Head Nebula": "IC 2118", "Cat's Paw Nebula": "NGC 6334", "Snake Nebula": "B 72",
    "Running Chicken Nebula": "IC 2944", "Carina Nebula": "NGC 3372", "Prawn Nebula": "IC 4628",
    "Western Veil": "NGC 6960", "Ghost Nebula": "vdB 141", "Wolf's Cave": "vdB 152", "Gulf of Mexico": "LDN 935",
    "Ghost of Cassiopeia": "IC 63", "Parrot's Head Nebula": "B 87", "Dark Wolf Nebula": "B 228",
    "Seahorse Nebula": "B 150", "Beehive Cluster": "M 44", "Wild Duck Cluster": "M 11", "Pleiades": "M 45",
    "Hyades": "Mel 25", "Coma Star Cluster": "Mel 111", "Alpha Persei Cluster": "Mel 20", "Coathanger": "Cr 399",
    "Jewel Box": "NGC 4755", "47 Tucanae": "NGC 104", "Omega Centauri": "NGC 5139", "Stephan's Quintet": "HCG 92",
    "Boogeyman Nebula": "LDN 1622", "Dark Shark Nebula": "LDN 1235", "Copeland's Septet": "HCG 57",
}  # fmt: skip


def row(name: str, entry: Entry, source: str) -> tuple[str, str, str, str, str]:
    """One line of the list."""
    size = "" if entry.major_arcmin is None else f"{entry.major_arcmin:.4g}"
    return name, f"{entry.ra_deg % 360.0:.3f}", f"{entry.dec_deg:.3f}", size, source


def main(lines: Path, records: Path) -> None:
    """Write the list."""
    target = Path(__file__).with_name("names_in_use.csv")
    line_of: dict[str, Entry] = {}
    record_of: dict[str, Entry] = {}
    for entry in read_lines(lines):
        for name in entry.designations:
            line_of.setdefault(name, entry)
    for entry in read_records(records):
        for name in entry.designations:
            record_of.setdefault(name, entry)
    left_out = {line.split(":")[0] for line in (HERE / "left_out.txt").read_text(encoding="utf-8").splitlines()}
    wanted = [(f"{c} {n}", f"{c} {n}") for c, last in (("M", 110), ("C", 109)) for n in range(1, last + 1)]
    for catalogue, count in TAKEN.items():
        held = [
            n
            for n in line_of
            if catalogue_of(n) == catalogue and numbered(n) and (n in record_of or catalogue in ALONE)
        ]
        held = [n for n in held if n not in left_out and line_of[n].kind in KINDS.get(catalogue, (line_of[n].kind,))]
        if catalogue in ("NGC", "IC", "PK"):
            # The large are what is photographed.
            held = [n for n in held if (line_of[n].major_arcmin or 0.0) >= (2.0 if catalogue == "PK" else 8.0)]
        held.sort(key=lambda n: [int(d) for d in re.findall(r"\d+", n)])
        wanted += [(name, name) for name in held[:: max(1, len(held) // count)][:count]]
    wanted += COMMON.items()
    rows: dict[str, Any] = {}
    for called, name in wanted:
        source, held_by = (lines.name, line_of) if name in line_of else (records.name, record_of)
        if name in held_by:
            beside = "" if called == name else f": {name}"
            rows.setdefault(called, row(called, held_by[name], source + beside))
    with target.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(("name", "ra_deg", "dec_deg", "major_arcmin", "source"))
        writer.writerows(rows.values())


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:3]))

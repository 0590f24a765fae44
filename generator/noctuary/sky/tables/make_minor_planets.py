"""Write minor_planets.csv: the minor planets that a small telescope shows, and the dwarf planets.

Run: python -m noctuary.sky.tables.make_minor_planets asteroids.dat (of the Debian package kstars-data 3.6.2-2: the
JPL Small-Body Database as JSON). Taken are bodies that can reach BRIGHTEST_AT_LEAST when they are opposite the Sun at
perihelion, H + 5 log10(q (q - 1)) with q in astronomical units (the H, G system without its phase term, which is zero
there: Bowell et al. 1989, in Asteroids II), and the dwarf planets of the IAU.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
import sys
from math import log10
from pathlib import Path

HERE = Path(__file__).parent
BRIGHTEST_AT_LEAST = 9.5
#: "The Iris" is the Iris Nebula to everybody; the minor planet is called by its number too.
ALSO_A_NEBULA = ("Iris",)
DWARF_PLANETS = ("Ceres", "Pluto", "Eris", "Haumea", "Makemake")


def main(bodies: Path, folder: Path = HERE) -> None:
    """Write the table."""
    data = json.loads(bodies.read_text(encoding="utf-8"))
    rows: list[tuple[str, str, str]] = []
    for record in data["data"]:
        body = dict(zip(data["fields"], record, strict=True))
        match = re.fullmatch(r"\s*(\d+) ([^()]+?)(?: \(.*\))?\s*", body["full_name"])
        if match is None or not body["H"] or not body["q"]:
            continue
        number, name, q = match[1], match[2], float(body["q"])
        brightest = float(body["H"]) + 5.0 * log10(q * (q - 1.0)) if q > 1.05 else 99.0
        if brightest <= BRIGHTEST_AT_LEAST or name in DWARF_PLANETS:
            called = f"{number} {name}" if name in ALSO_A_NEBULA else name
            rows.append((number, called, "dwarf planet" if name in DWARF_PLANETS else "minor planet"))
    text = io.StringIO()
    digest = hashlib.sha256(bodies.read_bytes()).hexdigest()[:16]
    made = f"make_minor_planets.py from {bodies.name} {digest}"
    text.write(f"# Numbers and names: JPL Small-Body Database. Made by {made}.\n")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(("number", "name", "kind"))
    rows.sort(key=lambda row: int(row[0]))
    writer.writerows(rows)
    (folder / "minor_planets.csv").write_text(text.getvalue(), encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]))

"""Write boundaries.csv and the label places of constellations.csv from Roman's table.

Run: python -m noctuary.sky.tables.make_constellations

The table says which constellation a position belongs to. Cut along every right ascension and declination that
it names, the sky falls into cells of one constellation each, and the boundaries are the sides between cells
of different ones. Sides in line are joined; along each, points no more than a degree apart are carried from
B1875 to J2000, so that straight lines drawn between them follow the curve.
"""

from __future__ import annotations

from collections import defaultdict
from itertools import pairwise
from math import ceil, cos, radians
from pathlib import Path

import numpy as np

from noctuary.geometry import lon_lat_deg, unit_vector
from noctuary.sky.constellation import (
    constellation_at_b1875,
    constellation_rows,
    precession_to_b1875,
    roman_table,
    rotated,
    transposed,
)

HERE = Path(__file__).parent
STEP_DEG = 1.0
Place = tuple[float, float]


def arcs() -> list[tuple[Place, Place, str, str]]:
    """Boundaries as (from, to, constellation on one side, on the other), hours and degrees of B1875."""
    hours = sorted({0.0, 24.0} | {r for row in roman_table() for r in row[:2]})
    decs = sorted({-90.0, 90.0} | {row[2] for row in roman_table()})
    cell = [[constellation_at_b1875((a + b) / 2, (c + d) / 2) for a, b in pairwise(hours)] for c, d in pairwise(decs)]
    found: list[tuple[Place, Place, str, str]] = []
    columns = len(hours) - 1
    for i in range(columns):  # meridians
        start = None
        for j in range(len(decs)):
            pair = (cell[j][i - 1], cell[j][i]) if j < len(decs) - 1 else ("", "")
            if start is not None and pair != start[1]:
                found.append(((hours[i], start[0]), (hours[i], decs[j]), *start[1]))
                start = None
            if start is None and pair[0] != pair[1]:
                start = (decs[j], pair)
    for j in range(1, len(decs) - 1):  # parallels
        start = None
        for i in range(columns + 1):
            pair = (cell[j - 1][i], cell[j][i]) if i < columns else ("", "")
            if start is not None and pair != start[1]:
                found.append(((start[0], decs[j]), (hours[i], decs[j]), *start[1]))
                start = None
            if start is None and pair[0] != pair[1]:
                start = (hours[i], pair)
    return found


def at_j2000(begin: Place, end: Place) -> list[Place]:
    """Points along an arc, degrees, ICRS."""
    back = transposed(precession_to_b1875())
    width = abs(end[0] - begin[0]) * 15.0 * cos(radians(begin[1])) + abs(end[1] - begin[1])
    steps = max(1, ceil(width / STEP_DEG))
    points = []
    for n in range(steps + 1):
        hours = begin[0] + (end[0] - begin[0]) * n / steps
        declination = begin[1] + (end[1] - begin[1]) * n / steps
        points.append(lon_lat_deg(rotated(back, unit_vector(hours * 15.0, declination))))
    return points


def label_places(sides: dict[str, list[Place]]) -> dict[str, Place]:
    """For each constellation the place inside it that is furthest from its boundary, to half a degree or so."""
    edge = {name: np.array([unit_vector(*place) for place in places]) for name, places in sides.items()}
    best: dict[str, tuple[float, Place]] = {}
    for dec in np.arange(-89.5, 90.0, 0.5):
        for ra in np.arange(0.0, 360.0, 0.5 / max(0.02, cos(radians(dec)))):
            towards = unit_vector(float(ra), float(dec))
            b1875 = lon_lat_deg(rotated(precession_to_b1875(), towards))
            name = constellation_at_b1875(b1875[0] / 15.0, b1875[1])
            away = 1.0 - float((edge[name] @ np.array(towards)).max())
            if name not in best or away > best[name][0]:
                best[name] = (away, (float(ra), float(dec)))
    return {name: place for name, (_, place) in best.items()}


def main(folder: Path = HERE) -> None:
    """Write both tables into a folder."""
    lines: list[str] = []
    sides: dict[str, list[Place]] = defaultdict(list)
    for begin, end, one, other in arcs():
        points = at_j2000(begin, end)
        lines.append(" ".join(f"{ra:.3f} {dec:.3f}" for ra, dec in points))
        sides[one] += points
        sides[other] += points
    (folder / "boundaries.csv").write_text(
        "# Boundaries of the constellations, an arc a line: right ascension and declination in turn, degrees,\n"
        "# ICRS. From roman_1987.csv (Roman 1987, PASP 99, 695), made by make_constellations.py.\n"
        "points\n" + "\n".join(lines) + "\n",
        encoding="utf-8",
    )
    labels = label_places(sides)
    names = constellation_rows()
    if {row["abbr"] for row in names} != set(labels):
        raise SystemExit("the names and the boundaries do not speak of the same constellations")
    with (folder / "constellations.csv").open("w", encoding="utf-8", newline="\n") as out:
        out.write(
            "# Abbreviation (Roman 1987, PASP 99, 695), name (a test holds it against PyEphem's) and genitive (the\n"
            "# rules of Latin, common usage) of the 88 constellations and, in each, the place furthest from its\n"
            "# boundary (where a label fits), degrees, ICRS. Names are kept by hand, the script writes the places.\n"
            "abbr,name,genitive,label_ra_deg,label_dec_deg\n"
        )
        for row in names:
            ra, dec = labels[row["abbr"]]
            out.write(f"{row['abbr']},{row['name']},{row['genitive']},{ra:.1f},{dec:.1f}\n")


if __name__ == "__main__":
    main()

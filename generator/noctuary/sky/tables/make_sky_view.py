"""Write sky_view_stars.bin and figures.csv, what a view of the sky that can be moved draws besides pictures.

Run: python -m noctuary.sky.tables.make_sky_view

Stars are those of tycho2.bin, in which they are one with Hipparcos (see ``make_tycho2``), at J2000. Figures are
this project's own drawing: in each constellation, the shortest set of lines that joins its bright stars (a minimum
spanning tree by angular distance), so that nobody's picture book is copied and every figure can be made again.

**Format of the stars.** Little-endian: ``b"NOCTVIEW"``, the number of stars of the whole-sky block and of each of
the 40 cells (uint32 each), then the blocks, brightest first in each. A star has a right ascension and a declination
as fractions of its cell (uint16 each; of the whole circle and 180° in the whole-sky block) and a magnitude in steps
of 1/20 from −2 (uint8). Cells hold every star to magnitude 9, the whole-sky block those to 6.5.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np

from noctuary.geometry import separation_deg
from noctuary.sky.atlas import AtlasStar, stars
from noctuary.sky.constellation import constellation_of
from noctuary.sky.sky_view import CELLS, DEEP_MAG, HEAD, MAGIC, RECORD, RECORD_BYTES, WHOLE_MAG, WHOLE_SKY, Cell
from noctuary.sky.star_cells import brightest_everywhere

HERE = Path(__file__).parent
#: So many stars at most make a figure, none of them fainter than this.
MOST_STARS, FAINTEST = 14, 4.6


def records(ra: np.ndarray, dec: np.ndarray, mag: np.ndarray, cell: Cell) -> bytes:
    """Stars of a cell, packed, brightest first."""
    order = np.argsort(mag, kind="stable")
    found = np.zeros(len(order), dtype=RECORD)
    found["ra"] = np.clip(np.floor((ra[order] - cell.ra_deg) / cell.ra_wide_deg * 65536), 0, 65535)
    found["dec"] = np.clip(np.floor((dec[order] - cell.dec_deg) / cell.dec_high_deg * 65536), 0, 65535)
    found["mag"] = np.clip(np.rint((mag[order] + 2) * 20), 0, 255)
    return found.tobytes()


def view_stars() -> bytes:
    """The stars of the view as a file."""
    # The shipped table has the ten brightest of each seventh of a square degree: all to magnitude 9 are among them.
    every = brightest_everywhere(60)
    ra, dec, mag = every.ra, every.dec, every.mag
    blocks = []
    for cell, limit in ((WHOLE_SKY, WHOLE_MAG), *((cell, DEEP_MAG) for cell in CELLS)):
        inside = (mag <= limit) & (ra >= cell.ra_deg) & (ra < cell.ra_deg + cell.ra_wide_deg)
        inside &= (dec >= cell.dec_deg) & (dec < cell.dec_deg + cell.dec_high_deg)
        blocks.append(records(ra[inside], dec[inside], mag[inside], cell))
    return HEAD.pack(MAGIC, *(len(block) // RECORD_BYTES for block in blocks)) + b"".join(blocks)


def tree(points: list[AtlasStar]) -> list[tuple[AtlasStar, AtlasStar]]:
    """The shortest lines that join all points (Prim's algorithm)."""
    joined, waiting, lines = points[:1], points[1:], []
    while waiting:
        _, start, end = min(
            ((separation_deg(a.ra_deg, a.dec_deg, b.ra_deg, b.dec_deg), a, b) for a in joined for b in waiting),
            key=lambda line: (line[0], line[1].hip, line[2].hip),
        )
        lines.append((start, end))
        joined.append(end)
        waiting.remove(end)
    return lines


def figures() -> dict[str, list[tuple[AtlasStar, AtlasStar]]]:
    """The lines of each constellation."""
    of_constellation: dict[str, list[AtlasStar]] = {}
    for star in stars():
        if star.magnitude <= FAINTEST:
            of_constellation.setdefault(constellation_of(star.ra_deg, star.dec_deg), []).append(star)
    return {name: tree(found[:MOST_STARS]) for name, found in sorted(of_constellation.items()) if len(found) > 1}


def main(folder: Path = HERE) -> None:
    """Write both files into a folder."""
    (folder / "sky_view_stars.bin").write_bytes(view_stars())
    with (folder / "figures.csv").open("w", encoding="utf-8", newline="") as file:
        file.write("# Figures of the constellations, a line between two stars a row: ICRS degrees. This project's\n")
        file.write("# own drawing: the shortest lines that join the stars of each. Made by make_sky_view.py.\n")
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(["constellation", "ra1_deg", "dec1_deg", "ra2_deg", "dec2_deg"])
        for name, lines in figures().items():
            for a, b in lines:
                rows.writerow([name, *(f"{n:.3f}" for n in (a.ra_deg, a.dec_deg, b.ra_deg, b.dec_deg))])


if __name__ == "__main__":
    main()

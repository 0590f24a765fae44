"""How many names that are photographed are unknown, and how many lie elsewhere than a second source says.

Run: python -m tests.benchmarks.bench_names (a second). The list and its sources: tests/published/names_in_use.csv.
"""

from __future__ import annotations

import csv
import sys
import time
from pathlib import Path

from noctuary.geometry import separation_deg
from noctuary.sky.catalogue import Catalogue

NAMES = Path(__file__).parent.parent / "published" / "names_in_use.csv"
#: Two sources agree where they are closer than a third of the object's size, or than this.
LEAST_ARCMIN = 2.0


def measured(names: Path = NAMES) -> tuple[int, list[str], dict[str, float]]:
    """How many names there are, those that are unknown, and how far off (arcminutes) those that disagree are."""
    catalogue = Catalogue()
    unknown, apart = [], {}
    with names.open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        found = catalogue.find(row["name"])
        if found is None or found.ra_deg is None or found.dec_deg is None:
            unknown.append(row["name"])
            continue
        # The middle of what is seen, where that is another than the place.
        middle = found.outline_centre_deg or (found.ra_deg, found.dec_deg)
        witness = float(row["ra_deg"]), float(row["dec_deg"])
        off = 60.0 * min(separation_deg(*place, *witness) for place in (middle, (found.ra_deg, found.dec_deg)))
        size = max(float(row["major_arcmin"] or 0.0), found.size_arcmin[0] if found.size_arcmin else 0.0)
        if off > max(size / 3.0, LEAST_ARCMIN):
            apart[row["name"]] = off
    return len(rows), unknown, apart


def main() -> None:
    """Print the counts, then every name that is unknown or lies elsewhere."""
    start = time.perf_counter()
    count, unknown, apart = measured()
    took = time.perf_counter() - start
    print(f"{count} names, {len(unknown)} unknown, {len(apart)} disagree, {took:.2f} s")
    for name in unknown:
        print(f"unknown: {name}")
    for name, off in apart.items():
        print(f"{off:.0f} arcmin off: {name}")
    sys.exit(bool(unknown))


if __name__ == "__main__":
    main()

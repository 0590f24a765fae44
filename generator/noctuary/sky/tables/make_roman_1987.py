"""Write roman_1987.csv from the copy of Roman's table (CDS VI/42) that astropy ships.

Run: python -m noctuary.sky.tables.make_roman_1987
"""

from __future__ import annotations

from pathlib import Path

from astropy.utils.data import get_pkg_data_contents

HERE = Path(__file__).parent
HEADER = """\
# Constellation boundaries, equator and equinox B1875, from north to south: the first row that holds a
# position names its constellation. Roman 1987, PASP 99, 695 (CDS VI/42). Made by make_roman_1987.py.
ra_low_hours,ra_high_hours,dec_low_deg,constellation
"""


def main(folder: Path = HERE) -> None:
    """Write the table into a folder."""
    text = get_pkg_data_contents("data/constellation_data_roman87.dat", package="astropy.coordinates")
    rows = [line.split() for line in text.splitlines() if line.strip() and not line.startswith("#")]
    (folder / "roman_1987.csv").write_text(HEADER + "".join(",".join(row) + "\n" for row in rows), encoding="utf-8")


if __name__ == "__main__":
    main()

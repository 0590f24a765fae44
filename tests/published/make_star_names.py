"""Write star_names.csv: names and Bayer letters of stars as another compilation has them.

Run: python -m tests.published.make_star_names STARS_OF_A_CULTURE DESIGNATIONS

The files are skycultures/western/star_names.fab and stars/default/name.fab of the package stellarium-data 0.22.2. The
first gives each name's references; 6 is the IAU Catalog of Star Names, 12 the IAU's page Naming Stars. Only facts are
taken: which star a name and a letter belong to.
"""

from __future__ import annotations

import csv
import re
import sys
from pathlib import Path

from noctuary.sky.tables.make_stars import read

OF_THE_IAU = {"6", "12"}


def main(names: Path, designations: Path) -> None:
    """Write the table beside this script: every name of the IAU, and all names of the stars that we name."""
    ours = {int(row["hip"]) for row in read("star_names.csv")}
    references: dict[tuple[int, str], set[str]] = {}
    for line in names.read_text(encoding="utf-8").splitlines():
        if found := re.match(r'\s*(\d+)\|_\("([^"]+)"\)\s*([\d,]*)', line):
            references.setdefault((int(found[1]), found[2]), set()).update(found[3].split(","))
    letters: dict[int, list[str]] = {}
    for line in designations.read_text(encoding="utf-8").splitlines():
        number, _, letter = line.strip().partition("|")
        letters.setdefault(int(number), []).append(letter.replace("_", " "))
    with (Path(__file__).parent / "star_names.csv").open("w", encoding="utf-8", newline="\n") as out:
        out.write(
            "# Names of stars as compiled in stellarium-data 0.22.2, made by make_star_names.py. iau: the IAU's.\n"
        )
        rows = csv.writer(out, lineterminator="\n")
        rows.writerow(("hip", "name", "iau", "designations"))
        for (hip, name), whose in sorted(references.items()):
            if hip in ours or whose & OF_THE_IAU:
                approved = "yes" if whose & OF_THE_IAU else ""
                rows.writerow((hip, name, approved, ";".join(sorted(letters.get(hip, [])))))


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))

"""Names and letters of stars against another compilation (star_names.csv; its header says which)."""

from __future__ import annotations

import csv
import re
from collections import defaultdict
from pathlib import Path

import pytest
from noctuary.sky.catalogue import Catalogue
from noctuary.sky.tables.make_stars import read

TABLE = Path(__file__).with_name("star_names.csv")
WITNESS = list(csv.DictReader(line for line in TABLE.read_text(encoding="utf-8").splitlines() if line[0] != "#"))
OURS = read("star_names.csv")
CATALOGUE = Catalogue()
#: Spellings of the IAU and of common usage that the compilation has otherwise.
USAGE = {"Schedar": "Shedar", "Khambalia": "Khambaliya", "Garnet Star": "The Garnet Star"}
#: The components of one star that it counts apart.
APART = {"Zubenelgenubi I", "Zubenelgenubi II", "Alula Australis"}


def bare(designation: str) -> str:
    """A letter without the number and the component: ``ψ1 Dra A`` → ``ψ Dra``."""
    return re.sub(r"^(\D)\d", r"\1", designation).removesuffix(" A").removesuffix(" B")


def test_every_name_is_that_of_the_same_star() -> None:
    stars = defaultdict(set)
    for row in WITNESS:
        stars[row["name"]].add(row["hip"])
    for row in OURS:
        known = stars[USAGE.get(row["name"], row["name"])]
        assert row["hip"] in known, row["name"]


def test_every_letter_is_that_of_the_same_star() -> None:
    letters = {row["hip"]: {bare(text) for text in row["designations"].split(";")} for row in WITNESS}
    # Variables, numbers of other lists and a component that has none of its own are not in the compilation.
    other = {"V2500 Oph", "Y CVn", "α Cen C"}
    wrong = [
        (row["name"], row["bayer"])
        for row in OURS
        if row["bayer"] and row["bayer"] not in other and bare(row["bayer"]) not in letters[row["hip"]]
    ]
    assert wrong == []


#: What we call each star of Hipparcos.
CALLED: dict[str, set[str]] = defaultdict(set)
for _ours in OURS:
    CALLED[_ours["hip"]] |= {name.strip() for name in (_ours["name"], *_ours["also"].split(";"))}


@pytest.mark.parametrize("row", [r for r in WITNESS if r["iau"]], ids=lambda r: r["name"])
def test_every_name_of_the_iau_is_known(row: dict[str, str]) -> None:
    if row["name"] in APART:
        return
    assert row["name"] in CALLED[row["hip"]]
    assert CATALOGUE.find(row["name"]) is not None

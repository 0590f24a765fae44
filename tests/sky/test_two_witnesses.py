"""How two packages become one table: who is believed, what is left out, and which rows are one object."""

from __future__ import annotations

import struct
from pathlib import Path

import pytest
from noctuary.sky.tables import make_deep_sky as made
from noctuary.sky.tables.catalogue_groups import GROUPS, Group
from noctuary.sky.tables.witnesses import Entry, read_lines, read_records, written

BRIGHT, DARK, PLANETARY, CLUSTERS = GROUPS


def entry(
    *names: str, ra: float, dec: float = 10.0, size: float | None = 10.0, kind: str = "emission nebula"
) -> Entry:
    return Entry(names, ra, dec, size, size, None, None, kind)


def row(item: Entry) -> made.Row:
    return made.Row(item, item.designations)


def combined(
    first: list[Entry], second: list[Entry], group: Group = BRIGHT
) -> tuple[dict[str, Entry], list[str]]:
    rows, left_out = made.combine(made.rows_of(first, group), made.rows_of(second, group), group)
    return {name: r.entry for r in rows for name in r.entry.designations}, left_out


# Cederblad's list counts by right ascension: eight neighbours a degree apart tell where number 5 lies.
NEIGHBOURS = [entry(f"Ced {n}", ra=float(n), size=2.0) for n in (1, 2, 3, 4, 6, 7, 8, 9)]


def test_two_that_agree_are_one_row() -> None:
    held, left_out = combined([entry("Sh2-1", ra=50.0)], [entry("Sh2-1", "Gum 1", ra=50.05)])
    assert held["Sh2-1"] is held["Gum 1"]
    assert held["Sh2-1"].ra_deg in (50.0, 50.05)
    assert left_out == []


def test_the_order_of_the_catalogue_decides() -> None:
    for right, wrong in ((0, 1), (1, 0)):
        places = [5.0, 25.0]
        first = [*NEIGHBOURS, entry("Ced 5", ra=places[right], size=2.0)]
        second = [*NEIGHBOURS, entry("Ced 5", ra=places[wrong], size=2.0)]
        held, left_out = combined(first, second)
        assert held["Ced 5"].ra_deg == 5.0
        assert left_out == []


def test_what_nothing_decides_is_left_out_and_said() -> None:
    held, left_out = combined([entry("Gum 5", ra=5.0)], [entry("Gum 5", ra=7.0)])
    assert "Gum 5" not in held
    assert len(left_out) == 1
    assert left_out[0].startswith("Gum 5: 5.000 +10.000 and 7.000 +10.000, 118 arcmin")


def test_another_designation_at_the_same_place_decides() -> None:
    first = [entry("Gum 5", ra=5.0), entry("DWB 14", ra=7.0)]
    held, _ = combined(first, [entry("Gum 5", "DWB 14", ra=7.0)])
    assert held["Gum 5"].ra_deg == held["DWB 14"].ra_deg == 7.0


def test_a_number_that_is_a_place_decides() -> None:
    # Galactic longitude 0, latitude 0 is the centre of the Galaxy, 17h 45.6m −28.94° (IAU 1958).
    centre = entry("PN G0.0+0.0", ra=266.405, dec=-28.936, kind="planetary nebula")
    elsewhere = entry("PN G0.0+0.0", "HDW 9", ra=270.0, dec=-20.0, kind="planetary nebula")
    held, left_out = combined([centre], [elsewhere], PLANETARY)
    assert held["PN G0.0+0.0"].ra_deg == held["HDW 9"].ra_deg == 266.405
    assert left_out == []


@pytest.mark.parametrize(
    ("other", "one"),
    [
        (entry("LBN 2", ra=50.0, size=12.0), True),
        (entry("LBN 2", ra=50.0, size=40.0), False),
        (entry("LBN 2", ra=50.1, size=10.0), False),
        (entry("LBN 2", ra=50.0, size=10.0, kind="reflection nebula"), False),
        (entry("Sh2-2", ra=50.0, size=10.0), False),
    ],
)
def test_only_what_is_plainly_one_is_merged(other: Entry, one: bool) -> None:
    merged = made.merge_twins([row(entry("Sh2-1", ra=50.0)), row(other)])
    assert (len(merged) == 1) is one


def test_designations_are_written_one_way() -> None:
    assert written("PK", "036-57.1") == "PK 36-57.1"
    assert written("PN G", "009.4+04.2") == "PN G9.4+4.2"
    assert written("Sh2-", "155") == "Sh2-155"
    assert [made.catalogue_of(n) for n in ("Sh2-155", "PN G9.4+4.2", "vdB 152")] == ["Sh2-", "PN G", "vdB"]


def test_lines_of_the_text_catalogue(tmp_path: Path) -> None:
    # Tenths of a second of time and of arc as the package's head has them: 1h = 36,000, 1° = 3,600.
    path = tmp_path / "deep_sky.hnd"
    path.write_text("head\nunits\n36000,-36000,75,PK_036-57.1/PN_A66_5,PN/x,70,25,20,90\nbroken,1\n", "latin-1")
    (found,) = read_lines(path)
    assert found == Entry(("PK 36-57.1", "Abell 5"), 15.0, -10.0, 2.5, 2.0, 90.0, 7.5, "planetary nebula")


def test_a_binary_catalogue_that_ends_too_soon(tmp_path: Path) -> None:
    import gzip

    path = tmp_path / "catalog.dat"
    path.write_bytes(gzip.compress(struct.pack(">II", 0, 0) + b"\0" * 20))
    with pytest.raises(struct.error):
        list(read_records(path))

"""Whole catalogues: what the tables hold, how their numbers are spelt, and which numbers are one object."""

import subprocess
import sys

import pytest
from noctuary.sky.catalogue import Catalogue, SkyObject, kinds
from noctuary.sky.designation import designation_of, plain_text
from noctuary.sky.whole_catalogues import FILES, has_place, heading, line_of

CATALOGUE = Catalogue()


def found(written: str) -> SkyObject:
    item = CATALOGUE.find(written)
    assert item is not None, written
    return item


# How many numbers each catalogue has, as its paper says (Sharpless 1959, Lynds 1962 and 1965, van den Bergh 1966,
# Abell 1966 of whose 86 six are galaxies or marks on the plate, Hickson 1982, Arp 1966 …), and how many the two
# packages agree on. A catalogue may only come closer to whole.
@pytest.mark.parametrize(
    ("catalogue", "numbers", "known"),
    [
        ("Sh2-", 313, 309),
        ("B ", 370, 340),
        ("vdB ", 159, 154),
        ("LDN ", 1802, 1775),
        ("LBN ", 1125, 1110),
        ("Abell ", 86, 81),
        ("RCW ", 182, 175),
        ("Stock ", 24, 22),
        ("Tr ", 37, 33),
        ("King ", 27, 23),
        ("Be ", 104, 89),
        ("Cr ", 471, 455),
        ("Mel ", 245, 243),
        ("Ru ", 176, 160),
        ("Pal ", 15, 13),
        ("HCG ", 100, 100),
        ("Arp ", 338, 336),
    ],
)
def test_a_catalogue_is_as_whole_as_its_sources(catalogue: str, numbers: int, known: int) -> None:
    held = [n for n in range(1, numbers + 1) if CATALOGUE.find(f"{catalogue}{n}") is not None]
    assert len(held) >= known
    for number in held[::7]:
        item = found(f"{catalogue}{number}")
        assert f"{catalogue}{number}" in (item.name, *item.also)


# Spellings in common use among observers ("common practice").
@pytest.mark.parametrize(
    ("name", "spellings"),
    [
        ("Sh2-157", ["Sh 2-157", "SH2 157", "sh2-157", "Sharpless 157", "Sharpless 2-157", "Sh-2 157"]),
        ("LDN 1622", ["ldn1622", "Lynds 1622", "Lynds dark nebula 1622", "Boogeyman"]),
        ("LBN 437", ["lbn 437", "Lynds Bright Nebula 437", "Gecko Nebula"]),
        ("vdB 152", ["VdB152", "vdb 152", "van den Bergh 152", "Wolf's Cave"]),
        ("B 33", ["Barnard 33", "b33"]),
        ("Abell 39", ["abell39", "PN A66 39", "PK 47+42.1", "PK 047+42.1", "PN G047.0+42.4", "PNG47.0+42.4"]),
        ("Abell 2151", ["ACO 2151", "Hercules Galaxy Cluster"]),
        ("Cr 399", ["Collinder 399", "Cr399"]),
        ("Mel 111", ["Melotte 111"]),
        ("Stock 2", ["St 2", "stock2"]),
        ("HCG 44", ["Hickson 44", "Arp 316"]),
        ("HCG 92", ["Hickson 92", "Arp 319", "Stephan's Quintet"]),
        ("Arp 273", ["arp273", "Rose Galaxy"]),
        ("Be 59", ["Berkeley 59", "Berk 59", "Berk59"]),
        ("King 14", ["king14"]),
        ("IC 1396", ["Tr 37", "Trumpler 37"]),
        ("Pal 12", ["Palomar 12"]),
        ("Ru 98", ["Rup 98", "Ruprecht 98"]),
        ("NGC 224", ["Messier 31", "M31"]),
        ("NGC 2238", ["Caldwell 49", "Sh2-275"]),
        ("Ter 5", ["Terzan 5"]),
        ("Jn 1", ["Jones 1", "PK 104-29.1"]),
        ("M 2-9", ["Minkowski 2-9", "Twin Jet Nebula"]),
        ("Pluto", ["pluto", "134340 Pluto"]),
        ("Ceres", ["1 Ceres", "(1) Ceres"]),
        ("7 Iris", ["(7) Iris"]),
        ("NGC 7023", ["the Iris"]),
    ],
)  # fmt: skip
def test_spellings(name: str, spellings: list[str]) -> None:
    for spelling in (name, *spellings):
        assert found(spelling).name == name, spelling


def test_a_number_that_two_of_abells_lists_share() -> None:
    # Abell 1966 numbers planetary nebulae 1–86; Abell 1958 and Abell, Corwin & Olowin 1989 clusters of galaxies.
    assert found("Abell 39").kind == "planetary nebula"
    assert found("Abell 426").kind == "cluster of galaxies"
    assert CATALOGUE.find("ACO 39") != found("Abell 39")


# Numbers that were taken for neighbours, each with a witness: Lynds 1962 (LDN 134, 183, 1529), Barnard 1927 (B 18,
# 22, 209), Lada, Bally & Stark 1991, ApJ 368, 432 (LDN 1630 is the cloud Orion B; the Horsehead stands before it),
# ESA/Hubble's release of 25 October 2018 (IC 63 is the Ghost of Cassiopeia; its title from memory), Melotte 1915.
@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("LDN 134", "LDN 183"),
        ("LDN 1529", "B 22"),
        ("B 209", "LDN 1495"),
        ("LDN 1630", "B 33"),
        ("Ghost of Cassiopeia", "IC 59"),
        ("Mel 72", "NGC 2506"),
        ("Sh2-185", "IC 63"),
        ("Tr 37", "vdB 142"),
        ("Abell 39", "ACO 39"),
    ],
)
def test_neighbours_that_are_not_one(one: str, other: str) -> None:
    item = CATALOGUE.find(other)
    assert item is None or found(one).name != item.name


def test_numbers_that_are_one() -> None:
    assert found("LDN 1529").name == "B 18"
    assert found("Ghost of Cassiopeia").name == "IC 63"
    assert found("LDN 1630").common_name == "Orion B"
    assert found("Sh2-136").name == found("vdB 141").name == "vdB 141"
    assert found("Abell 21").name == found("Sh2-274").name == found("Medusa Nebula").name == "Abell 21"
    mel72 = found("Mel 72")
    # Melotte 1915, carried to J2000: 7h 38.4m, −10° 42′ (both packages; Collinder's number is 467 or 156).
    assert mel72.ra_deg == pytest.approx(114.62, abs=0.05)
    assert mel72.dec_deg == pytest.approx(-10.70, abs=0.05)


@pytest.mark.slow
def test_every_row_leads_back_to_itself() -> None:
    import csv
    from importlib import resources

    folder = resources.files("noctuary.sky.tables")
    rows = 0
    for file in FILES:
        lines = folder.joinpath(file).read_text(encoding="utf-8").splitlines()
        body = [line for line in lines if not line.startswith("#")]
        assert lines[0].startswith("# ")
        for row in list(csv.DictReader(body))[::11]:
            names = row["designations"].split(";")
            item = found(names[0])
            for name in names[1:]:
                again = CATALOGUE.find(name)
                assert again is not None, name
                assert again.name == item.name or line_of(name) != line_of(names[0]), (name, names)
            if row["ra_deg"]:
                assert 0.0 <= float(row["ra_deg"]) < 360.0
                assert -90.0 <= float(row["dec_deg"]) <= 90.0
                assert row["kind"] in kinds()
                assert heading(line_of(names[0]) or "") == names[0]
            else:
                assert not has_place(",".join(row.values()))
            rows += 1
    assert rows > 600


def test_minor_planets_move_and_nobody_follows_them() -> None:
    for name in ("Pluto", "Ceres", "Vesta", "Pallas", "Juno"):
        item = found(name)
        assert item.moves
        assert item.ra_deg is item.body is None
    assert found("Mars").body == "Mars"


def test_nothing_is_read_before_it_is_asked_for() -> None:
    code = (
        "from noctuary.sky import catalogue, whole_catalogues as w; c = catalogue.Catalogue();"
        "assert w._lines.cache_info().misses == 0;"
        "assert c.find('LDN 1622'); assert w._lines.cache_info().misses > 0"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_designations_outside_the_tables_stay_unknown() -> None:
    for written in ("Sh2-314", "LDN 1803", "Abell 5000", "PK 400+10.1", "PN G", "HCG 101", "S 12", "NGC S12"):
        assert CATALOGUE.find(written) is None, written
        found_ = designation_of(plain_text(written))
        assert found_ is None or line_of(written) is None

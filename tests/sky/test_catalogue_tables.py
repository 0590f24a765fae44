"""The shipped tables: each against the others, against the object database, and against the script that makes it."""

import csv
from collections import defaultdict
from itertools import pairwise
from math import cos, hypot, radians
from pathlib import Path

import ephem
import ephem.stars
import pytest
from astropy.coordinates import SkyCoord, get_constellation
from noctuary.geometry import lon_lat_deg, unit_vector
from noctuary.sky import atlas
from noctuary.sky.catalogue import Catalogue, read_table
from noctuary.sky.constellation import constellation_of
from noctuary.sky.tables import make_constellations, make_roman_1987, make_stars

CATALOGUE = Catalogue()
OBJECTS = list(read_table("objects.csv"))
NAMES = list(read_table("names.csv"))
STARS = list(read_table("named_stars.csv"))
SHIPPED = Path(make_stars.__file__).parent


def parts(text: str) -> list[str]:
    return [part.strip() for part in text.split(";") if part.strip()]


def separation_deg(ra1: float | None, dec1: float | None, ra2: float | None, dec2: float | None) -> float:
    return float(SkyCoord(ra1, dec1, unit="deg").separation(SkyCoord(ra2, dec2, unit="deg")).deg)


@pytest.mark.parametrize("row", OBJECTS, ids=lambda row: row["name"])
def test_an_object_lies_where_its_row_says(row: dict[str, str]) -> None:
    assert None not in row, "a comma too many"
    assert row["source"]
    assert row["kind"]
    item = CATALOGUE.find(row["name"])
    assert item is not None
    assert item.name == row["name"]
    if not row["ra"]:
        assert item.ra_deg is item.constellation is None
        return
    assert item.ra_deg is not None
    assert item.dec_deg is not None
    assert item.constellation == row["constellation"]
    if item.size_arcmin:
        assert item.size_arcmin[0] >= item.size_arcmin[1] > 0
    for outer, inner in [(row["lies_on"], row["name"]), *((row["name"], name) for name in parts(row["holds"]))]:
        if outer:
            whole, part = CATALOGUE.find(outer), CATALOGUE.find(inner)
            assert whole is not None, outer
            assert part is not None, inner
            if whole.size_arcmin is None:
                continue
            away = separation_deg(part.ra_deg, part.dec_deg, whole.ra_deg, whole.dec_deg)
            assert away * 60 <= whole.size_arcmin[0] / 2, (outer, inner)


def test_every_constellation_of_the_objects_agrees_with_astropy() -> None:
    rows = [row for row in OBJECTS if row["ra"]]
    places = SkyCoord([f"{row['ra']} {row['dec']}" for row in rows], unit=("hourangle", "deg"))
    assert list(get_constellation(places, short_name=True)) == [row["constellation"] for row in rows]


def test_no_name_means_two_objects() -> None:
    owners: dict[str, set[str]] = defaultdict(set)
    for row in OBJECTS:
        for name in (row["name"], row["common_name"], *parts(row["also"])):
            owners[name.casefold()].add(row["name"])
    for row in NAMES:
        item = CATALOGUE.find(row["object"])
        assert item is not None
        for name in (row["common_name"], *parts(row["also"]), *parts(row["designations"])):
            owners[name.casefold()].add(item.name)
    for row in STARS:
        for name in (row["name"], row["bayer"], *parts(row["also"])):
            owners[name.casefold()].add(row["name"])
    owners.pop("")
    assert {name: held for name, held in owners.items() if len(held) > 1} == {}
    for name, held in owners.items():
        item = CATALOGUE.find(name)
        assert item is not None, name
        assert item.name in held, name


@pytest.mark.parametrize("row", NAMES, ids=lambda row: row["object"])
def test_a_row_of_names_takes_effect(row: dict[str, str]) -> None:
    assert None not in row, "a comma too many"
    item = CATALOGUE.find(row["object"])
    assert item is not None
    # Not a duplicate of another entry: that would never be shown.
    assert row["object"] in (item.name, *item.also) or row["name"] == item.name
    if row["common_name"]:
        assert item.common_name == row["common_name"]
    if row["kind"]:
        assert item.kind == row["kind"]
    if row["major_arcmin"]:
        assert item.size_arcmin is not None
        assert item.size_arcmin[0] == float(row["major_arcmin"])
    for name in parts(row["drop"]):
        kept = {row["common_name"].casefold(), *(n.casefold() for n in parts(row["also"]))}
        if name.casefold() not in kept:
            assert name not in item.also


# Names that the object database gives to something else ("common practice").
@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("Flame Nebula", "NGC 2024"),
        ("Eagle Nebula", "NGC 6611"),
        ("Lobster Nebula", "NGC 6357"),
        ("Heart Nebula", "IC 1805"),
        ("Pacman Nebula", "NGC 281"),
        ("Elephant's Trunk Nebula", "IC 1396"),
        ("Alnilam", "Alnilam"),
        ("Pencil Nebula", "NGC 2736"),
        ("Western Veil", "NGC 6960"),
        ("Veil Nebula", "Sh2-103"),
        ("Fighting Dragons of Ara", "NGC 6188"),
        ("Running Chicken", "IC 2944"),
        ("Rho Ophiuchi", "Rho Ophiuchi Cloud Complex"),
        ("Spaghetti Nebula", "Sh2-240"),
        ("Simeis 147", "Sh2-240"),
        ("Barnard's Loop", "Sh2-276"),
        ("Leo Triplet", "Leo Triplet"),
        ("Stephan's Quintet", "HCG 92"),
        ("Markarian's Chain", "Markarian's Chain"),
        ("Hercules Galaxy Cluster", "Abell 2151"),
        ("Jones-Emberson 1", "Jones-Emberson 1"),
        ("vdB 141", "vdB 141"),
        ("Sh2-136", "vdB 141"),
    ],
)
def test_names_in_use(name: str, expected: str) -> None:
    item = CATALOGUE.find(name)
    assert item is not None
    assert item.name == expected


def test_the_most_photographed_have_a_name() -> None:
    named = {row["object"] for row in NAMES if row["common_name"]}
    assert len(named) > 180
    southern = [n for n in named if (item := CATALOGUE.find(n)) and item.dec_deg is not None and item.dec_deg < -20]
    assert len(southern) > 40


def test_named_stars_lie_in_their_constellation() -> None:
    written = {row["name"]: row for row in read_table("star_names.csv")}
    assert len(written) == len(STARS) > 250
    assert len({row["hip"] for row in STARS}) == len(STARS)
    for row in STARS:
        assert constellation_of(float(row["ra_deg"]), float(row["dec_deg"])) == row["constellation"]
        assert written[row["name"]]["constellation"] == row["constellation"]
        if row["bayer"]:
            assert row["bayer"].split()[-1] in (row["constellation"], "C") or row["name"] == "Intercrus"


@pytest.mark.slow
def test_shipped_tables_are_what_their_scripts_make(tmp_path: Path) -> None:
    make_roman_1987.main(tmp_path)
    make_constellations.main(tmp_path)
    make_stars.main(tmp_path)
    made = sorted(path.name for path in tmp_path.iterdir())
    assert made == ["boundaries.csv", "constellations.csv", "named_stars.csv", "roman_1987.csv", "stars.csv"]
    for name in made:
        assert (tmp_path / name).read_text(encoding="utf-8") == (SHIPPED / name).read_text(encoding="utf-8")


# ------------------------------------------------------------------------------------------------ atlas


def test_atlas_stars() -> None:
    stars = atlas.stars()
    # About 1,600 stars are brighter than V = 5.0 (Bright Star Catalogue, 5th ed., 1991: 1,631 entries; from memory).
    assert 1550 < len(stars) < 1700
    assert [star.hip for star in stars[:3]] == [32349, 30438, 69673]  # Sirius, Canopus, Arcturus
    assert all(a.magnitude <= b.magnitude for a, b in pairwise(stars))
    assert all(0 <= star.ra_deg < 360 and -90 <= star.dec_deg <= 90 for star in stars)


def test_atlas_stars_agree_with_pyephem() -> None:
    # PyEphem's table holds V and Hipparcos places of its own copy; loose only for variables.
    stars = SkyCoord([s.ra_deg for s in atlas.stars()], [s.dec_deg for s in atlas.stars()], unit="deg")
    away = []
    for name in ephem.stars.stars:
        theirs = ephem.star(name)
        theirs.compute("2000/1/1 12:00", epoch="2000")
        if theirs.mag > 4.5:
            continue
        place = SkyCoord(float(theirs.a_ra), float(theirs.a_dec), unit="rad")
        index, separation, _ = place.match_to_catalog_sky(stars)
        assert separation.arcsec < 30, name
        away.append(abs(atlas.stars()[int(index)].magnitude - float(theirs.mag)))
    away.sort()
    assert len(away) > 80
    assert away[len(away) // 2] < 0.06
    assert away[int(0.9 * len(away))] < 0.25


def test_constellations_and_their_labels() -> None:
    all_ = atlas.constellations()
    assert len(all_) == len({c.abbr for c in all_}) == 88
    by_abbr = {c.abbr: c for c in all_}
    for c in all_:
        _, name = ephem.constellation((radians(c.label_ra_deg), radians(c.label_dec_deg)))
        assert c.name.replace("ö", "o") == name.removesuffix(" Caput")
    assert by_abbr["Ori"].genitive == "Orionis"
    assert by_abbr["CVn"].genitive == "Canum Venaticorum"
    places = SkyCoord([c.label_ra_deg for c in all_], [c.label_dec_deg for c in all_], unit="deg")
    assert list(get_constellation(places, short_name=True)) == [c.abbr for c in all_]


@pytest.mark.parametrize(("ra", "dec", "reach"), [(83.8, -5.4, 30.0), (0.1, 12.0, 5.0), (200.0, 90.0, 20.0)])
def test_boundaries_near_a_place_are_all_that_come_so_close(ra: float, dec: float, reach: float) -> None:
    def off(point: tuple[float, float]) -> float:
        return float(ephem.separation((radians(ra), radians(dec)), (radians(point[0]), radians(point[1]))))

    near = list(atlas.boundaries_near(ra, dec, reach))
    assert near == [arc for arc in atlas.boundaries() if min(map(off, arc)) < radians(reach)]
    assert 0 < len(near) < len(atlas.boundaries()) / 2


def test_a_boundary_has_different_constellations_on_its_sides() -> None:
    arcs = atlas.boundaries()
    assert len(arcs) > 500
    for arc in arcs:
        assert len(arc) >= 2
        for (ra1, dec1), (ra2, dec2) in pairwise(arc):
            assert separation_deg_fast(ra1, dec1, ra2, dec2) < 1.1
    for arc in arcs[::7]:
        (ra1, dec1), (ra2, dec2) = arc[len(arc) // 2 - 1], arc[len(arc) // 2]
        one, other = unit_vector(ra1, dec1), unit_vector(ra2, dec2)
        middle = [a + b for a, b in zip(one, other, strict=True)]
        across = (
            one[1] * other[2] - one[2] * other[1],
            one[2] * other[0] - one[0] * other[2],
            one[0] * other[1] - one[1] * other[0],
        )
        length = sum(a * a for a in across) ** 0.5
        if length < radians(0.05):
            continue  # an arc too short to have a side
        sides = set()
        for sign in (-1, 1):
            step = sign * radians(0.02) * 2 / length
            x, y, z = (m + step * a for m, a in zip(middle, across, strict=True))
            size = (x * x + y * y + z * z) ** 0.5
            sides.add(constellation_of(*lon_lat_deg((x / size, y / size, z / size))))
        assert len(sides) == 2


def separation_deg_fast(ra1: float, dec1: float, ra2: float, dec2: float) -> float:
    across = (ra1 - ra2 + 180.0) % 360.0 - 180.0
    return hypot(across * cos(radians((dec1 + dec2) / 2)), dec1 - dec2)


def test_boundaries_join_up() -> None:
    # Every end of an arc is the end of another, or lies on one (a T): nothing dangles.
    ends = [end for arc in atlas.boundaries() for end in (arc[0], arc[-1])]
    points = {point for arc in atlas.boundaries() for point in arc}
    counted: defaultdict[tuple[float, float], int] = defaultdict(int)
    for end in ends:
        counted[end] += 1
    lonely = [end for end, n in counted.items() if n == 1]
    for ra, dec in lonely:
        near = [p for p in points if abs(p[1] - dec) < 1.2 and separation_deg_fast(ra, dec, *p) < 1.2]
        assert len(near) > 1


def test_tables_are_plain_csv() -> None:
    for path in sorted(SHIPPED.glob("*.csv")):
        text = path.read_text(encoding="utf-8")
        assert text.startswith("# "), path.name
        assert text.endswith("\n")
        rows = list(csv.reader(line for line in text.splitlines() if not line.startswith("#")))
        assert all(len(row) <= len(rows[0]) for row in rows), path.name

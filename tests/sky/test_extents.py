"""How large the extended objects are: against sizes and angles published elsewhere than in the table."""

import pytest
from noctuary.sky.catalogue import Catalogue, SkyObject
from noctuary.sky.extents import SLIM, extents
from noctuary.sky.shipped_table import read_table

CATALOGUE = Catalogue()
ROWS = list(read_table("extents.csv"))

# Apparent sizes in arcminutes as observers' handbooks print them beside a picture's field (from memory, and each
# within 40 % of two of the lists that the table's head names).
HANDBOOK = {
    "M 4": 36, "M 6": 25, "M 7": 80, "M 8": 90, "M 11": 14, "M 13": 20, "M 15": 18, "M 16": 35, "M 17": 40,
    "M 20": 28, "M 22": 32, "M 25": 32, "M 31": 178, "M 33": 70, "M 34": 35, "M 35": 28, "M 39": 32,
    "M 41": 38, "M 42": 85, "M 44": 95, "M 45": 110, "M 46": 27, "M 47": 30, "M 51": 11, "M 52": 13, "M 67": 30,
    "M 81": 26, "M 82": 11, "M 97": 3.4, "M 101": 28, "M 104": 8.7, "M 106": 18.6, "M 108": 8.7,
    "NGC 5139": 55, "NGC 104": 44, "NGC 3532": 50, "NGC 2244": 24, "NGC 7000": 120, "IC 5070": 60, "NGC 1499": 160,
    "NGC 2237": 80, "NGC 2238": 80, "NGC 6820": 40, "NGC 6960": 70, "NGC 6992": 60, "NGC 6888": 18, "NGC 7635": 15,
    "NGC 7380": 25, "NGC 281": 35, "IC 405": 37, "IC 410": 40, "IC 443": 50, "IC 1396": 170, "IC 1805": 150,
    "IC 1848": 150, "IC 2177": 120, "IC 4703": 35, "IC 5146": 12, "NGC 3372": 120, "NGC 2024": 30, "IC 434": 60,
    "NGC 752": 75, "NGC 457": 20, "NGC 7789": 25, "IC 2602": 100, "IC 4665": 70, "NGC 7293": 16, "Hyades": 330,
    "Coma Star Cluster": 275, "Simeis 147": 180, "NGC 4395": 13, "NGC 4656": 15, "NGC 3718": 8.1, "NGC 660": 8.3,
}  # fmt: skip

# Position angles of the major axis: Third Reference Catalogue of Bright Galaxies (de Vaucouleurs and others 1991).
RC3_ANGLES = {
    "M 31": 35, "M 33": 23, "M 63": 105, "M 65": 174, "M 66": 173, "M 81": 157, "M 82": 65, "M 98": 155, "M 104": 89,
    "M 106": 150, "M 108": 80, "M 110": 170, "NGC 253": 52, "NGC 891": 22, "NGC 2403": 127, "NGC 2903": 17,
    "NGC 3628": 104, "NGC 4244": 48, "NGC 4565": 136, "NGC 4631": 86, "NGC 4656": 33, "NGC 5907": 155,
    "NGC 7331": 171, "NGC 660": 170, "NGC 3718": 15,
}  # fmt: skip

# Where a picture shows the middle of a nebula, to a few arcminutes: read off photographs with their grid (practice).
MIDDLES = {
    "NGC 2237": (97.98, 4.95), "NGC 2238": (97.98, 4.95), "NGC 1499": (60.3, 36.4), "NGC 7000": (314.9, 44.4),
    "IC 1848": (43.7, 60.4), "IC 1805": (38.3, 61.4), "IC 1396": (324.8, 57.5), "IC 2177": (106.3, -10.8),
    "NGC 6992": (314.1, 31.6), "NGC 6960": (311.5, 30.7),
}  # fmt: skip


def found(name: str) -> SkyObject:
    item = CATALOGUE.find(name)
    assert item is not None, name
    return item


@pytest.mark.parametrize(("name", "arcmin"), HANDBOOK.items())
def test_sizes_are_those_of_handbooks(name: str, arcmin: float) -> None:
    item = found(name)
    assert item.size_arcmin is not None
    assert arcmin / 1.4 <= item.size_arcmin[0] <= arcmin * 1.4


@pytest.mark.parametrize(("name", "angle"), RC3_ANGLES.items())
def test_angles_run_from_north_through_east(name: str, angle: float) -> None:
    item = found(name)
    assert item.position_angle_deg is not None
    assert item.outline
    assert abs((item.position_angle_deg - angle + 90) % 180 - 90) <= 8


@pytest.mark.parametrize(("name", "middle"), MIDDLES.items())
def test_outlines_lie_on_what_pictures_show(name: str, middle: tuple[float, float]) -> None:
    item = found(name)
    assert item.ra_deg is not None
    assert item.dec_deg is not None
    assert item.size_arcmin is not None
    ra, dec = item.outline_centre_deg or (item.ra_deg, item.dec_deg)
    # Well under a tenth of a degree of declination is lost by treating this as flat.
    away = ((ra - middle[0]) ** 2 * 0.5 + (dec - middle[1]) ** 2) ** 0.5 * 60
    assert away <= item.size_arcmin[0] / 8


def test_the_rosette_is_named_where_it_lies() -> None:
    assert (found("NGC 2237").ra_deg, found("Rosette Nebula").ra_deg) == (97.979, 97.979)


@pytest.mark.parametrize("name", ["NGC 6820", "IC 1318"])
def test_a_star_s_magnitude_is_not_the_nebula_s(name: str) -> None:
    assert found(name).magnitude is None


@pytest.mark.parametrize("name", ["NGC 6888", "NGC 2237", "NGC 6188", "NGC 6726", "C 14", "Cone Nebula"])
def test_outlines_are_only_where_two_sources_agree(name: str) -> None:
    item = found(name)
    # The Crescent is drawn; parts of another object, objects in dispute and slim ones without an angle are not.
    assert item.outline is (name == "NGC 6888")


def test_messier_objects_are_outlined_but_for_those_that_have_no_outline() -> None:
    # M 24 and M 43 are parts of more; M 40 is a pair of stars and M 73 four of them.
    bare = {n for n in range(1, 111) if not found(f"M {n}").outline}
    assert bare == {24, 40, 43, 73}
    assert (found("M 40").kind, found("M 73").kind) == ("double star", "asterism")


def test_every_row_is_about_a_known_object() -> None:
    assert len({row["name"] for row in ROWS}) == len(ROWS)
    for name in extents():
        item = found(name)
        assert name in (item.name, *item.also)


def test_what_is_drawn_has_two_sources_and_a_direction() -> None:
    for row in ROWS:
        if row["drawn"] != "yes":
            continue
        assert row["source"], row
        assert row["witness"], row
        major, minor = float(row["major_arcmin"]), float(row["minor_arcmin"])
        assert major >= minor > 0, row
        assert row["position_angle_deg"] or minor >= SLIM * major, row
        assert 0 <= float(row["position_angle_deg"] or 0) < 180, row

"""Names as people write them, their own objects, and what lies in a circle of sky."""

import pickle
import subprocess
import sys
import unicodedata

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from noctuary.sky.catalogue import Catalogue, OwnObject, SkyObject

CATALOGUE = Catalogue()


def found(written: str, catalogue: Catalogue = CATALOGUE) -> SkyObject:
    item = catalogue.find(written)
    assert item is not None, written
    return item


# Spellings in common use among observers ("common practice").
@pytest.mark.parametrize(
    ("name", "spellings"),
    [
        ("NGC 1976", ["M 42", "m42", "Messier 42", "M042", "NGC1976", "ngc 1976", "Ngc-1976", " the  Orion nebula ",
                      "great orion nebula", "Orion Neb", "LBN 974", "M 42 – Orion Nebula"]),
        ("NGC 2238", ["C 49", "c49", "Caldwell 49", "Rosette Nebula", "the rosette", "ROSETTE", "NGC 2238",
                      "Rosette-Nebula", "Sh2-275"]),
        ("B 33", ["B 33", "b33", "Barnard 33", "B033", "Horsehead Nebula", "The Horsehead", "horse head nebula"]),
        ("Cr 399", ["Cr 399", "cr399", "Collinder 399", "Coathanger", "Brocchis Cluster", "Brocchi’s cluster"]),
        ("Mel 22", ["Mel 22", "Melotte 22", "M45", "M 45", "Pleiades", "the Pleiades", "Seven Sisters"]),
        ("Mel 25", ["Hyades", "Mel 25", "C 41", "Caldwell 41"]),
        ("Sh2-155", ["Sh2-155", "sh2-155", "Sh 2-155", "Sh2 155", "SH 2 155", "Sharpless 155", "sharpless 2-155",
                     "C 9", "Cave Nebula"]),
        ("NGC 2024", ["Flame Nebula", "the flame", "NGC 2024"]),
        ("IC 434", ["IC434", "ic 0434"]),
        ("IC 1805", ["Heart Nebula", "the Heart"]),
        ("IC 1848", ["Soul Nebula"]),
        ("NGC 281", ["Pacman", "Pacman Nebula", "pac-man nebula", "IC 11"]),
        ("NGC 2244", ["NGC 2244", "NGC 2239", "C 50"]),
        ("HCG 44", ["Hickson 44", "HCG44"]),
        ("ESO 97-13", ["ESO 097-013", "eso97-13", "Circinus Galaxy"]),
        ("IC 1515", ["MCG+00-01-004", "MCG +00-01-004", "UGC 12848"]),
        ("IC 80 NED01", ["IC 80 NED01"]),
        ("ESO 56-115", ["LMC", "Large Magellanic Cloud"]),
        ("NGC 292", ["SMC", "small magellanic cloud"]),
        ("Betelgeuse", ["betelgeuse", "α Ori", "Alpha Orionis", "α Orionis", "HIP 27989"]),
        ("Moon", ["moon", "The Moon"]),
        ("Sun", ["the Sun"]),
        ("Jupiter", ["JUPITER"]),
        ("Milky Way", ["the Milky Way"]),
    ],
)  # fmt: skip
def test_spellings(name: str, spellings: list[str]) -> None:
    for spelling in spellings:
        assert found(spelling).name == name, spelling


@pytest.mark.parametrize(
    "written",
    ["", "   ", "the", "NGC", "NGC 0", "NGC 9999", "M 111", "C 110", "nebula", "Rosette Galaxy",
     "M 42 Rosette Nebula", "NGC 1976 and friends", "Butterfly", "Orion", "42",
     "Sh2-", "M" + "4" * 5000, "-", "🌌", "M 1-99999"],
)  # fmt: skip
def test_what_is_unknown_or_ambiguous_is_not_guessed(written: str) -> None:
    # "Butterfly" is a nebula, a cluster and a pair of galaxies; "Orion" is a constellation and not its nebula.
    assert CATALOGUE.find(written) is None


def test_an_object_has_all_its_facts() -> None:
    rosette = found("NGC 2238")
    assert rosette.common_name == "Rosette Nebula"
    assert rosette.kind == "emission nebula"
    assert (rosette.constellation, rosette.size_arcmin) == ("Mon", (80.0, 75.2))
    assert (rosette.ra_decimals, rosette.dec_decimals) == (0, 0)
    assert {"C 49", "LBN 948", "Rosette Nebula"} <= set(rosette.also)
    assert not rosette.moves


def test_moving_objects_have_no_place() -> None:
    for name in ("Sun", "Moon", "Mercury", "Venus", "Mars", "Jupiter", "Saturn", "Uranus", "Neptune"):
        item = found(name)
        assert item.moves
        assert item.ra_deg is item.dec_deg is item.constellation is item.galactic_l_deg is None


def test_a_duplicate_leads_to_the_entry_with_the_data() -> None:
    assert found("IC 2118").name == "NGC 1909"
    assert "IC 2118" in found("Witch Head Nebula").also


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        ("Roseta Nebula", "Rosette Nebula"),
        ("rosett", "Rosette Nebula"),
        ("Plejades", "Pleiades"),
        ("Betelguese", "Betelgeuse"),
        ("Andromeda", "Andromeda Galaxy"),
        ("Orion", "Orion Nebula"),
        ("NGC 19766", "NGC 1976"),
        ("M 142", "M 42"),
        ("Sh2-999", "Sh2-199"),
        ("Jupitre", "Jupiter"),
    ],
)
def test_nearest_offers_what_was_meant(written: str, expected: str) -> None:
    assert CATALOGUE.find(written) is None
    near = CATALOGUE.nearest(written)
    assert expected in near
    assert len(near) <= 3


def test_everything_that_nearest_offers_is_known() -> None:
    for written in ("Elefant", "Nort America", "NGC 77777", "flame galaxy", "C 110", "x", "vdB 999", "the veil neb"):
        for name in CATALOGUE.nearest(written, count=5):
            assert CATALOGUE.find(name) is not None


WRITTEN = st.one_of(
    st.text(max_size=40),
    st.builds(
        "{}{}{}".format,
        st.sampled_from(["M", "NGC ", "sh2-", "Sh 2", "C", "MCG", "ESO ", "the ", "IC", "α ", "hickson "]),
        st.text(alphabet="0123456789-+ abNED.#٤²'", max_size=12),
        st.text(max_size=4),
    ),
)


@given(WRITTEN)
@settings(max_examples=100, deadline=None)
def test_any_text_gets_an_answer(written: str) -> None:
    item = CATALOGUE.find(written)
    near = CATALOGUE.nearest(written)
    assert item is None or isinstance(item, SkyObject)
    assert len(near) <= 3


@given(st.sampled_from(["Rosette Nebula", "Hubble's Variable Nebula", "M 31", "Sh2-101", "Horsehead Nebula"]),
       st.data())  # fmt: skip
@settings(deadline=None)
def test_case_spaces_and_dashes_do_not_matter(name: str, data: st.DataObject) -> None:
    written = "".join(data.draw(st.sampled_from([c.lower(), c.upper()])) for c in name)
    written = written.replace(" ", data.draw(st.sampled_from([" ", "  ", "\t", "_", "\u00a0"])))
    written = written.replace("-", data.draw(st.sampled_from(["-", "–", "−", "-"])))
    written = unicodedata.normalize(data.draw(st.sampled_from(["NFC", "NFD", "NFKC"])), written)
    assert found(written) == found(name)


# ---------------------------------------------------------------------------------------- own objects


def test_an_own_object_that_the_catalogue_lacks() -> None:
    own = OwnObject("The Garden Cloud", 85.25, -2.45, "dark wisp", (30.0, 20.0), ("GC 1",), "found by chance")
    item = found("garden cloud", Catalogue([own]))
    assert item.name == "The Garden Cloud"
    assert item.kind == "dark wisp"
    assert (item.ra_deg, item.dec_deg, item.constellation) == (85.25, -2.45, "Ori")
    # 05h41m00s −02°27′00″: nothing finer than a second was written.
    assert (item.ra_decimals, item.dec_decimals) == (0, 0)
    assert item.also == ("GC 1",)
    assert item.note == "found by chance"
    assert found("gc1", Catalogue([own])) == item


def test_an_own_object_without_a_place() -> None:
    item = found("C/2031 K2", Catalogue([OwnObject("C/2031 K2", kind="comet")]))
    assert item.kind == "comet"
    assert item.ra_deg is item.dec_deg is item.constellation is None
    assert not item.moves


def test_an_own_entry_adds_to_what_the_catalogue_knows() -> None:
    mine = Catalogue(
        [OwnObject("ngc2238", also=("Skull in the rose",), note="first light", size_arcmin=(90.0, 90.0))]
    )
    known, item = found("NGC 2238"), found("Rosette Nebula", mine)
    assert found("skull in the rose", mine) == found("C 49", mine) == item
    assert item.name == "NGC 2238"
    assert (item.ra_deg, item.kind, item.common_name) == (known.ra_deg, known.kind, "Rosette Nebula")
    assert (item.note, item.size_arcmin) == ("first light", (90.0, 90.0))
    assert set(known.also) | {"Skull in the rose"} == set(item.also)
    # The shipped catalogue is not touched.
    assert found("NGC 2238") == known


def test_an_own_place_overrides_and_takes_its_constellation_along() -> None:
    item = found("M 42", Catalogue([OwnObject("M 42", ra_deg=10.0, dec_deg=41.0)]))
    assert (item.ra_deg, item.constellation) == (10.0, "And")
    assert item.galactic_b_deg == pytest.approx(-21.8, abs=0.5)


def test_the_name_that_a_person_prefers() -> None:
    mine = Catalogue([OwnObject("Winter Rose", also=("NGC 2238",))])
    item = found("winter rose", mine)
    assert item.name == "NGC 2238"
    assert item.common_name == item.also[0] == "Winter Rose"
    assert "Rosette Nebula" in item.also
    assert [o.name for o in mine.around(item.ra_deg, item.dec_deg, 0.01)].count("NGC 2238") == 1


def test_two_entries_for_one_object_both_count() -> None:
    mine = Catalogue([OwnObject("M 42", note="one"), OwnObject("NGC 1976", also=("two",))])
    item = found("two", mine)
    assert (item.note, item.name) == ("one", "NGC 1976")
    assert found("M 42", mine) == item


def test_nearest_knows_own_names() -> None:
    assert CATALOGUE.nearest("Gardn Cloud") != ["Garden Cloud"]
    assert Catalogue([OwnObject("Garden Cloud", kind="cloud")]).nearest("Gardn Cloud")[0] == "Garden Cloud"


# -------------------------------------------------------------------------------------- what lies where


def test_around_orion() -> None:
    names = [item.name for item in CATALOGUE.around(83.82, -5.39, 1.0)]
    assert names[0] == "NGC 1976"
    assert {"NGC 1982", "NGC 1977", "NGC 1980"} <= set(names)
    assert len(names) == len(set(names))


def test_around_counts_extents() -> None:
    # The Large Magellanic Cloud is ten degrees across: a circle four degrees off still touches it.
    cloud = found("LMC")
    assert cloud.ra_deg is not None
    assert cloud.dec_deg is not None
    assert "ESO 56-115" in [o.name for o in CATALOGUE.around(cloud.ra_deg, cloud.dec_deg + 4.0, 0.1)]
    assert "ESO 56-115" not in [o.name for o in CATALOGUE.around(cloud.ra_deg, cloud.dec_deg + 8.0, 0.1)]


def test_around_the_pole_and_across_zero_hours() -> None:
    assert "NGC 188" in [o.name for o in CATALOGUE.around(200.0, 89.0, 6.0)]
    assert "NGC 7814" in [o.name for o in CATALOGUE.around(359.9, 16.1, 1.5)]
    assert "NGC 7814" in [o.name for o in CATALOGUE.around(0.1, 16.1, 1.5)]


def test_around_has_no_duplicates_and_no_mistaken_stars() -> None:
    for item in CATALOGUE.around(83.0, 0.0, 12.0):
        assert item.kind not in ("nonexistent object", "nova")
        assert item.name not in ("NGC 1990", "IC 2118")
    assert "M 40" in [o.name for o in CATALOGUE.around(185.55, 58.08, 0.2)]


def test_around_includes_own_objects_once() -> None:
    mine = Catalogue([OwnObject("Garden Cloud", 85.25, -2.45, size_arcmin=(60.0, 60.0)), OwnObject("B 33", note="x")])
    items = mine.around(85.25, -2.0, 0.1)
    assert "Garden Cloud" in [o.name for o in items]
    assert [o.note for o in mine.around(85.25, -2.45, 0.3) if o.name == "B 33"] == ["x"]


@example(86.5, -4.0, 2.625)  # NGC 1977, whose outline is not about its place
@given(st.floats(0, 360), st.floats(-90, 90), st.floats(0.05, 3.0))
@settings(max_examples=40, deadline=None)
def test_around_finds_every_centre(ra: float, dec: float, radius: float) -> None:
    # Against the plain definition, over every object of a wider circle.
    from math import acos, cos, degrees, radians, sin

    def apart(ra: float, dec: float, other_ra: float, other_dec: float) -> float:
        a, b = radians(dec), radians(other_dec)
        cosine = sin(a) * sin(b) + cos(a) * cos(b) * cos(radians(ra - other_ra))
        return degrees(acos(max(-1.0, min(1.0, cosine))))

    def away(item: SkyObject) -> float:
        assert item.ra_deg is not None
        assert item.dec_deg is not None
        return apart(ra, dec, item.ra_deg, item.dec_deg)

    near = {item.name for item in CATALOGUE.around(ra, dec, radius)}
    wider = CATALOGUE.around(ra, dec, radius + 5.0)
    assert {item.name for item in wider if away(item) < radius - 1e-6} <= near
    for item in wider:
        reach = item.size_arcmin[0] / 120.0 if item.size_arcmin else 0.0
        if item.outline_centre_deg is not None:  # what is seen of it lies to one side of its place
            reach += apart(item.ra_deg, item.dec_deg, *item.outline_centre_deg)
        if item.name in near:
            assert away(item) <= radius + reach + 1e-5


def test_bright_stars_in_a_circle() -> None:
    belt = CATALOGUE.bright_stars(84.05, -1.2, 3.0)
    assert [star.name for star in belt] == ["Alnilam", "Alnitak", "Mintaka"]
    assert CATALOGUE.bright_stars()[0].name == "Sirius"
    assert all(star.kind == "star" for star in CATALOGUE.bright_stars())


# ------------------------------------------------------------------------------------------- the module


def test_importing_is_light_and_a_catalogue_travels() -> None:
    code = (
        "import sys; import noctuary.sky.catalogue as c; c.Catalogue();"
        "heavy = {'numpy', 'astropy', 'pandas', 'pydantic', 'pyongc'} & set(sys.modules); assert not heavy, heavy;"
        "assert c.Catalogue().find('M 42'); heavy = {'pandas', 'astropy', 'numpy'} & set(sys.modules);"
        "assert not heavy, heavy"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
    mine = Catalogue([OwnObject("Garden Cloud", 85.25, -2.45)])
    assert found("garden cloud", pickle.loads(pickle.dumps(mine))) == found("Garden Cloud", mine)


def test_every_designation_leads_back_to_its_object() -> None:
    seen = 0
    for number in range(3, 7840, 13):
        item = CATALOGUE.find(f"NGC {number}")
        if item is None:
            continue  # an entry that does not exist has no place
        for name in item.also:
            back = CATALOGUE.find(name)
            assert back is not None, name
            assert back.name == item.name, name
            seen += 1
    assert seen > 800
    # A neighbour and a part that the database lists are no other names.
    assert "IC 1459" not in found("NGC 7368").also
    assert found("PGC 1175571").name == "IC 88"
    assert found("LBN 1041").name == "NGC 2359"
    assert found("IC 715NW").name == "IC 715NW"

"""What an archive calls the objects of the sky: as the person does, its spelling made even, newest record first."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from noctuary.archive.records import OwnObject
from noctuary.facts.almanac import Almanac
from noctuary.facts.archive_facts import ArchiveFacts, archive_facts
from noctuary.facts.object_names import (
    common_name_beside,
    designations_beside,
    made_even,
    object_names,
    usual_name,
)
from noctuary.pages.exports.facts_json import archive_json, picture_json
from noctuary.sky.catalogue import Catalogue
from noctuary.sky.designation import name_key

from tests.builders.records import MARK, archive, picture, session

CATALOGUE = Catalogue()


def of(written: str) -> Any:
    found = CATALOGUE.find(written)
    assert found is not None, written
    return found


@pytest.mark.parametrize(
    ("written", "even"),
    [
        ("m31", "M 31"),
        ("M31", "M 31"),
        ("messier 31", "M 31"),
        ("ngc7000", "NGC 7000"),
        ("ngc 0224", "NGC 224"),
        ("ic434", "IC 434"),
        ("sh2-155", "Sh2-155"),
        ("barnard 33", "B 33"),
        ("caldwell 49", "C 49"),
        ("Andromeda Galaxy", "Andromeda Galaxy"),
        ("  the   Rosette ", "the Rosette"),
    ],
)
def test_the_spelling_is_made_even(written, even):
    assert made_even(written) == even
    assert made_even(written, of(written).name) == even


def test_a_word_that_is_the_catalogues_own_name_has_its_capitals():
    assert made_even("sun", of("sun").name) == "Sun"
    assert made_even("JUPITER", of("jupiter").name) == "Jupiter"


@given(st.text(max_size=30))
def test_making_even_stands_and_means_the_same(written):
    even = made_even(written)
    assert made_even(even) == even
    assert name_key(even) == name_key(written)


# The cross-identifications are those of the New General Catalogue and of Messier's list, as every atlas has them.
@pytest.mark.parametrize(
    ("written", "usual"),
    [
        ("NGC 224", "M 31"),
        ("Pleiades", "M 45"),
        ("NGC 1976", "M 42"),
        ("NGC 7000", "NGC 7000"),
        ("IC 434", "IC 434"),
        ("C 49", "NGC 2238"),
        ("Sun", "Sun"),
        ("Vega", "Vega"),
        ("Minkowski 2-9", "M 2-9"),
    ],
)
def test_what_nobody_named_is_called_by_messier_then_ngc_or_ic(written, usual):
    assert usual_name(of(written)) == usual


@pytest.mark.parametrize("number", range(1, 110))
def test_never_by_caldwells_list_where_there_is_another_name(number):
    assert not usual_name(of(f"C {number}")).startswith("C ")


@pytest.mark.parametrize("number", [n for n in range(1, 111) if n != 102])
def test_every_messier_object_is_called_by_its_number(number):
    assert usual_name(of(f"M {number}")) == f"M {number}"


def test_the_catalogues_designations_stand_beside():
    andromeda = of("M 31")
    assert designations_beside(andromeda, "M 31") == ("NGC 224",)
    assert designations_beside(andromeda, "NGC 224") == ("M 31",)
    assert designations_beside(andromeda, "Andromeda Galaxy") == ("M 31", "NGC 224")
    assert designations_beside(andromeda, "M 31 Andromeda Galaxy") == ("NGC 224",)
    assert designations_beside(of("NGC 7000"), "NGC 7000") == ()
    assert common_name_beside(andromeda, "M 31") == "Andromeda Galaxy"
    assert common_name_beside(andromeda, "Andromeda Galaxy") is None


def whole(*pictures: Any, **more: Any) -> ArchiveFacts:
    told = archive(*pictures, **more)
    return archive_facts(told, Almanac(told), {}, {})


def shot(name: str, written: str, year: int, **more: Any) -> Any:
    own = session(night=date(year, 1, 5), written_in=name, target=written)
    return picture(name, (own,), objects=(written,), finished=date(year, 2, 1), **more)


def test_records_of_one_object_belong_together_and_the_newest_names_it():
    facts = whole(shot("a", "ngc224", 2021), shot("b", "m31", 2023), shot("c", "Andromeda Galaxy", 2022))
    (target,) = facts.targets
    assert (target.name, target.identity) == ("M 31", "NGC 224")
    assert len(target.pictures) == 3
    told = archive_json(facts)["targets"]
    assert [(t["name"], t["identity"]) for t in told] == [("M 31", "NGC 224")]
    # Each record keeps its own words.
    objects = {p.picture.id: picture_json(p)["objects"][0] for p in facts.listed}
    assert {i: o["name"] for i, o in objects.items()} == {"a": "NGC 224", "b": "M 31", "c": "Andromeda Galaxy"}
    assert {o["identity"] for o in objects.values()} == {"NGC 224"}


def test_a_picture_that_is_not_listed_names_nothing_that_a_listed_one_names():
    facts = whole(shot("a", "M 31", 2021), shot("b", "Andromeda Galaxy", 2023, listed=False))
    assert facts.targets[0].name == "M 31"


def own(name: str, **more: Any) -> OwnObject:
    return OwnObject(name=name, mark=MARK, **more)


def test_an_object_that_only_the_persons_list_names_is_called_as_it_is_there():
    told = archive(shot("a", "m31", 2021), own_objects=(own("my galaxy", also=("M 33",)), own("Aurora of May")))
    almanac = Almanac(told)
    names = object_names(told, almanac.object)
    assert names.of(almanac.object("M 33")) == "my galaxy"
    assert names.of(almanac.object("aurora of may")) == "Aurora of May"


def test_what_the_persons_list_says_it_is_called_wins():
    own_objects = (own("M 31", called="Big Spiral"),)
    facts = whole(shot("a", "m31", 2021), shot("b", "Andromeda Galaxy", 2023), own_objects=own_objects)
    assert (facts.targets[0].name, facts.targets[0].identity) == ("Big Spiral", "NGC 224")
    assert {picture_json(p)["objects"][0]["name"] for p in facts.listed} == {"Big Spiral"}


def test_a_name_that_nothing_knows_is_kept():
    facts = whole(shot("a", "C/2031  X9", 2021))
    assert facts.names.of_written("C/2031  X9") == "C/2031 X9"
    assert [t.name for t in facts.targets] == ["C/2031 X9"]

"""What is marked on a wide picture of the Milky Way: what people speak of, and not every number of every list."""

from __future__ import annotations

from datetime import date

import pytest
from noctuary.charts.overlay import MOST_OBJECTS
from noctuary.facts.almanac import Almanac
from noctuary.facts.archive_facts import archive_facts
from noctuary.facts.object_names import well_known
from noctuary.facts.placement_summary import placement_numbers
from noctuary.pages.picture_page import ENOUGH_OBJECTS, overlay_of
from noctuary.sky.catalogue import Catalogue
from noctuary.sky.placement import from_centre

from tests.builders.records import archive, picture, session


@pytest.mark.parametrize(
    ("name", "known"),
    [("M 29", True), ("NGC 6910", True), ("IC 5068", True), ("Deneb", True), ("Sun", True), ("LBN 320", False),
     ("LDN 914", False)],
)  # fmt: skip
def test_what_people_speak_of(name, known):
    found = Catalogue().find(name)
    assert found is not None
    assert well_known(found) is known


# Deneb, Sadr, M 29 and the North America Nebula stand in every atlas within this field.
def test_a_wide_field_is_not_full_of_numbers():
    wide = from_centre(311.0, 43.0, 25.0, 0.0, False, 2400, 1600)
    night = session(night=date(2024, 8, 4), written_in="wide", target="ngc7000")
    told = archive(picture("wide", (night,), objects=("ngc7000",)))
    whole = archive_facts(told, Almanac(told), {"wide": (2400, 1600)}, {"wide": placement_numbers(wide)})
    facts = whole.pictures["wide"]
    assert len(facts.touching) > MOST_OBJECTS
    overlay = overlay_of(facts, whole.names)
    assert overlay is not None
    names = [mark.name for mark in overlay.marked]
    assert names[0] == "NGC 7000"
    assert {"Deneb", "Sadr", "M 29", "NGC 6910", "IC 5070"} <= set(names)
    spoken_of = {whole.names.of(known) for known, _, _ in facts.touching if well_known(known)}
    assert len(names) <= max(ENOUGH_OBJECTS, len(spoken_of))
    assert len(spoken_of & set(names)) > len(names) / 2

"""What was measured of two pictures, beside what their light lets expect."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from noctuary.archive.partial_date import PartialDate
from noctuary.archive.reach_file import KeptReach
from noctuary.facts.almanac import Almanac
from noctuary.facts.archive_facts import ArchiveFacts, archive_facts
from noctuary.facts.placement_summary import placement_numbers
from noctuary.facts.reach import Reach, incomparable
from noctuary.pages.depth_note import growth_note
from noctuary.sky.placement import from_centre

from tests.builders.records import archive, frames, picture, session
from tests.pages.templates import set_macro

KEPT = KeptReach("older", 0.7, 0.2, 480, 200, 190, 3.1, 4.4, "ab" * 32, "cd" * 32)


def whole(reach: dict[str, Any] | None = None, filters: tuple[str | None, str | None] = (None, None)) -> ArchiveFacts:
    """Two placed pictures of one target, the newer with four times the hours."""
    pictures = [
        picture(
            name,
            (session(night=date(year, 1, 18), groups=(frames(kept=kept, filter=kind),), written_in=name),),
            finished=PartialDate(year, 2, 9),
        )
        for name, year, kept, kind in (("older", 2024, 50, filters[0]), ("newer", 2025, 200, filters[1]))
    ]
    records = archive(*pictures)
    size = (6248, 4176)
    placement = placement_numbers(from_centre(97.98, 4.94, 1.6, 0.0, False, *size))
    names = ("older", "newer")
    return archive_facts(
        records, Almanac(records), dict.fromkeys(names, size), dict.fromkeys(names, placement), {}, reach
    )


def newest(facts: ArchiveFacts) -> Any:
    return facts.targets[0].growth[-1]


def test_it_is_found_whichever_picture_keeps_it() -> None:
    beside = newest(whole({"newer": (KEPT,)})).reach
    assert beside == Reach(0.7, 0.2, 2.4, 3.1, 4.4)
    turned = KeptReach("newer", -0.7, 0.2, 200, 480, 190, 4.4, 3.1, "cd" * 32, "ab" * 32)
    assert newest(whole({"older": (turned,)})).reach == beside
    assert newest(whole()).reach is None


def test_the_page_says_it_beside_what_was_expected() -> None:
    # Four times the hours: 1.25 · log10 4 = 0.75 mag.
    note = growth_note(newest(whole({"newer": (KEPT,)}))).reach
    assert note is not None
    text = " ".join(set_macro("history.html", "shown", r=note).split())
    assert text == (
        "expected 0.8 mag deeper; the pictures show 0.7 ± 0.2 mag deeper, 2.4 times the stars, stars 3.1″ after 4.4″."
    )


def test_a_large_shortfall_is_worth_a_sentence() -> None:
    assert not Reach(0.2, 0.2, 1.2, 3.1, 3.1).falls_short_of(0.8)
    assert Reach(-0.1, 0.2, 0.9, 3.1, 3.1).falls_short_of(0.8)
    kept = KeptReach("older", -0.3, 0.2, 180, 200, 150, 4.4, 4.4, "ab" * 32, "cd" * 32)
    note = growth_note(newest(whole({"newer": (kept,)}))).reach
    text = set_macro("history.html", "shown", r=note)
    assert "0.3 ± 0.2 mag less deep" in text
    assert "haze or thin cloud" in text


@pytest.mark.parametrize(
    ("filters", "why"),
    [
        ((None, "H-alpha"), "narrowband"),
        (("OIII", "L"), "narrowband"),
        (("H-alpha", "OIII"), None),
        ((None, "L"), None),
    ],
)
def test_narrowband_is_not_compared_with_broadband(filters: tuple[str | None, str | None], why: str | None) -> None:
    pictures = whole(filters=filters).pictures
    refusal = incomparable(pictures["newer"], pictures["older"])
    assert (refusal is None) == (why is None)
    assert why is None or (refusal is not None and why in refusal[0])

"""A mosaic's hours are its panels' together; its light and depth are a panel's own."""

from __future__ import annotations

from datetime import date

import pytest
from noctuary.facts.almanac import Almanac
from noctuary.facts.archive_facts import ArchiveFacts, archive_facts
from noctuary.pages.light_note import PanelsNote, light_note

from tests.builders.records import archive, frames, picture, rig, session

REFRACTOR = rig("refractor", focal=480, aperture=80)
PANELS = ("veil-1", "veil-2", "veil-3", "veil-4")


def panel(name: str, minutes: int, number: int = 1, **more):
    own = session(
        0, written_in=name, rig=REFRACTOR, target="NGC 6960", night=date(2024, 8, number), sky_brightness=21.0,
        groups=(frames(60, minutes),),
    )  # fmt: skip
    return picture(name, (own,), objects=("NGC 6960",), finished=date(2024, 9, number), **more)


def whole(*pictures) -> ArchiveFacts:
    records = archive(*pictures)
    return archive_facts(records, Almanac(records), {}, {})


def veil(minutes=(225, 225, 225, 225), *others, **more) -> ArchiveFacts:
    parts = [panel(name, m, n) for n, (name, m) in enumerate(zip(PANELS, minutes, strict=True), 1)]
    mosaic = picture("veil", (), objects=("NGC 6960",), panels=PANELS, finished=date(2024, 10, 1), **more)
    return whole(*parts, mosaic, *others)


def test_four_panels_of_three_hours_and_three_quarters():
    # 4 * 3.75 h = 15 h. Light: pi/4 * 0.08^2 * 3.75 = 0.018850 m2 h. Depth under 21.0 against one hour of the same
    # rig: 1.25 * log10(3.75) = 0.717539; the fifteen hours together would say 1.470114.
    facts = veil().pictures["veil"]
    assert facts.integration.total_s == 15 * 3600
    assert facts.light_m2_h == pytest.approx(0.018850, abs=1e-6)
    assert facts.depth.mag == pytest.approx(0.717539, abs=1e-6)
    assert light_note(facts).panels == PanelsNote(4, 3.75 * 3600, 3.75 * 3600)


def test_the_least_panel_counts():
    facts = veil((225, 60, 225, 600)).pictures["veil"]
    assert facts.depth.mag == pytest.approx(0.0)
    assert light_note(facts).panels == PanelsNote(4, 3600, 36000)


def test_a_target_counts_each_session_once_and_is_as_deep_as_its_least_part():
    # The panels are pictures of the same target: 15 h in all, and every part of the sky has 3.75 h of them.
    (target,) = veil().targets
    assert target.integration.total_s == 15 * 3600
    assert target.depth.mag == pytest.approx(0.717539, abs=1e-6)
    # Half a magnitude more for four panels: 4 * 3.75 h * (10^0.4 - 1) = 22.6783 h.
    assert target.half_magnitude_h == pytest.approx(22.6783, abs=1e-3)


def test_what_is_in_no_panel_adds_to_the_whole_target():
    # One hour more on the target, in no mosaic: 4.75 h, 1.25 * log10(4.75) = 0.845867.
    (target,) = veil((225,) * 4, panel("veil-wide", 60, 9)).targets
    assert target.depth.mag == pytest.approx(0.845867, abs=1e-5)


def test_a_picture_that_builds_on_a_mosaic_has_its_panels_with_what_it_adds():
    more = panel("veil-again", 60, 9, builds_on=("veil",))
    facts = veil((225,) * 4, more).pictures["veil-again"]
    assert facts.integration.total_s == 16 * 3600
    assert facts.depth.mag == pytest.approx(0.845867, abs=1e-5)


def test_a_shallow_mosaic_beside_a_deep_one_takes_nothing_away():
    shallow = [panel(f"quick-{n}", 10, 10 + n) for n in (1, 2)]
    quick = picture("quick", (), objects=("NGC 6960",), panels=("quick-1", "quick-2"), finished=date(2024, 11, 1))
    (target,) = veil((225,) * 4, *shallow, quick).targets
    assert target.depth.mag >= 0.717538


def test_a_panel_without_a_record_leaves_light_and_depth_unknown():
    mosaic = picture("two", (), objects=("NGC 6960",), panels=("known", "bare"), finished=date(2024, 10, 1))
    bare = picture("bare", (), objects=("NGC 6960",), finished=date(2024, 9, 1))
    facts = whole(panel("known", 60), bare, mosaic).pictures["two"]
    assert (facts.light_m2_h, facts.depth.mag) == (None, None)
    assert light_note(facts).panels == PanelsNote(2, None, None)

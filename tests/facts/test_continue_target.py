"""The observing card: what to set, what is lacking, which darks match. Worked by hand; common practice."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from noctuary.archive.records import Calibration
from noctuary.facts.continue_target import continuation, evenly, with_darks
from noctuary.facts.placement_summary import PlacementSummary

from tests.builders.records import frames, picture, rig, session
from tests.facts.test_target import facts_of

LENS = rig("lens", focal=135, aperture=48)
REFRACTOR = rig("refractor", focal=480, aperture=80)



def lights(exposure, kept, *, temperature=-10.0, **more):
    return frames(exposure, kept, gain=100, sensor_temperature_c=temperature, **more)


def test_what_each_filter_lacks_and_its_part_of_the_hours_to_come():
    # 4 h of H-alpha and 2 h of OIII with one rig: half a magnitude more is 6 h * (10^0.4 - 1) = 9.0713 h of it.
    # Fifteen hours and a bit in all are 7.5357 h a filter: 3.5357 h of H-alpha, 5.5357 h of OIII.
    # In subs of 300 s, rounded up: 42.43 -> 43 and 66.43 -> 67. OIII lacks half of what H-alpha has.
    sessions = [
        session(0, rig=REFRACTOR, night=date(2025, 1, 1), groups=(lights(300, 48, filter="H-alpha"),)),
        session(1, rig=REFRACTOR, night=date(2025, 1, 2), groups=(lights(300, 24, filter="OIII"),)),
    ]
    card = continuation(sessions, (), None, [])
    assert card is not None
    assert card.half_magnitude_h == pytest.approx(9.0713, abs=1e-4)
    h_alpha, oiii = card.settings
    assert (h_alpha.filter, h_alpha.lacks, h_alpha.next_subs) == ("H-alpha", 0.0, 43)
    assert h_alpha.next_s == pytest.approx(3.5357 * 3600, abs=0.5)
    assert (oiii.filter, oiii.lacks, oiii.next_subs) == ("OIII", pytest.approx(0.5), 67)
    assert oiii.next_s == pytest.approx(5.5357 * 3600, abs=0.5)


def test_luminance_and_colours_keep_the_balance_that_they_have():
    # 8 h of luminance, 2 + 2 + 1 of red, green, blue: 13 h * 1.511886 = 19.6545 h to come. Eight thirteenths of them,
    # 12.0951 h, are luminance; the colours share 7.5594 h so that each has (5 + 7.5594) / 3 = 4.1865 h.
    kept = {"Luminance": 160, "Red": 40, "Green": 40, "Blue": 20}
    group = tuple(lights(180, n, filter=name) for name, n in kept.items())
    card = continuation([session(0, rig=REFRACTOR, groups=group)], (), None, [])
    assert card is not None
    hours = [round(s.next_s / 3600, 4) for s in card.settings if s.next_s is not None]
    assert hours == pytest.approx([12.0951, 2.1865, 2.1865, 3.1865], abs=2e-4)
    assert [s.lacks for s in card.settings] == pytest.approx([0, 0, 0, 0.5])


def test_the_rig_is_the_latest_and_what_others_shot_is_in_the_hours_only():
    # One hour with 48 mm and one with 80 mm: light as 1.36 h with 80 mm, (48/80)^2 = 0.36; times 1.5119 is 2.0562 h.
    old = session(0, rig=LENS, night=date(2022, 1, 1), groups=(lights(60, 60),))
    new = session(1, rig=REFRACTOR, night=date(2024, 1, 1), groups=(lights(120, 30),))
    card = continuation([new, old], (), None, [])
    assert card is not None
    assert card.rig.name == "refractor"
    assert [(s.exposure_s, s.have_s) for s in card.settings] == [(120, 3600)]
    assert card.half_magnitude_h == pytest.approx(2.0562, abs=1e-4)


def test_settings_are_those_of_the_last_night_and_of_most_of_it():
    first = session(0, night=date(2024, 1, 1), groups=(frames(60, 60, gain=0.0),))
    last = session(1, night=date(2024, 1, 9), groups=(frames(10, 6, gain=0.0), frames(180, 40, gain=100.0)))
    card = continuation([last, first], (), None, [])
    assert card is not None
    assert [(s.exposure_s, s.gain) for s in card.settings] == [(180, 100.0)]


def darks(n, **more):
    return Calibration(darks=n, **more)


def test_darks_match_by_exposure_gain_and_temperature():
    now = session(0, night=date(2025, 1, 1), groups=(lights(300, 20),))
    other = [
        session(1, night=date(2024, 1, 1), groups=(lights(300, 20),), calibration=darks(30, dark_exposure_s=300)),
        session(2, night=date(2024, 2, 1), groups=(lights(300, 9, temperature=-10.4),), calibration=darks(25)),
        session(3, night=date(2024, 3, 1), groups=(lights(300, 9),), calibration=darks(9, dark_exposure_s=120)),
        session(4, night=date(2024, 4, 1), groups=(lights(300, 9, temperature=5.0),), calibration=darks(9)),
        session(5, night=date(2024, 5, 1), groups=(lights(300, 9),), calibration=darks(9, dark_gain=0.0)),
        session(6, night=date(2024, 6, 1), groups=(lights(300, 9, binning=2),), calibration=darks(9)),
        session(7, night=date(2024, 7, 1), groups=(lights(300, 9), lights(60, 9)), calibration=darks(9)),
        session(8, night=date(2024, 8, 1), groups=(lights(300, 9),), calibration=darks(0)),
    ]
    card = continuation([now], (), None, with_darks([now, *other]))
    assert card is not None
    assert [(d.exposure_s, d.frames, d.night) for d in card.darks] == [(300, 25, date(2024, 2, 1))]


def test_darks_of_another_camera_are_no_darks():
    now = session(0, groups=(lights(300, 20),))
    ours = now.rig
    other = replace(ours, name="other", camera=replace(ours.camera, name="other camera", pixels=(100, 100)))
    foreign = session(1, rig=other, groups=(lights(300, 20),), calibration=darks(30))
    card = continuation([now], (), None, with_darks([now, foreign]))
    assert card is not None
    assert [(d.frames, d.night) for d in card.darks] == [(None, None)]


def placed(ra, angle):
    return PlacementSummary((ra, 5.0), 4.0, angle, False, (), (1.0, 1.0, 1.4), {})


def test_where_to_point_comes_from_the_newest_placed_picture_of_the_rig():
    own = session(0, written_in="own", rig=REFRACTOR)
    other = session(0, written_in="lens", rig=LENS, night=date(2023, 1, 1))
    by_rig = facts_of(picture("own", (own,), finished=date(2025, 2, 1)))
    wide = facts_of(picture("lens", (other,), finished=date(2025, 6, 1)))
    object.__setattr__(by_rig, "placement", placed(98.0, 12.4))
    object.__setattr__(wide, "placement", placed(97.0, 80.0))
    card = continuation([own, other], (by_rig, wide), (96.0, 4.0), [])
    assert card is not None
    assert card.pointing is not None
    assert (card.pointing.ra_deg, card.pointing.position_angle_deg, card.pointing.picture_id) == (98.0, 12.4, "own")
    object.__setattr__(by_rig, "placement", None)
    object.__setattr__(wide, "placement", None)
    bare = continuation([own, other], (by_rig, wide), (96.0, 4.0), [])
    assert bare is not None
    assert bare.pointing is not None
    assert (bare.pointing.ra_deg, bare.pointing.position_angle_deg) == (96.0, None)


def test_nothing_to_repeat_without_a_session():
    assert continuation([], (), None, []) is None


amounts = st.lists(st.floats(0, 1e6), min_size=1, max_size=8)


@settings(deadline=None)
@given(amounts, st.floats(0, 1e6))
def test_sharing_out_evens_and_takes_nothing_away(have, more):
    parts = evenly(have, more)
    assert all(p >= 0 for p in parts)
    assert sum(parts) == pytest.approx(more, abs=1e-3)
    ends = [h + p for h, p in zip(have, parts, strict=True)]
    filled = [e for e, p in zip(ends, parts, strict=True) if p > 1e-6]
    # Those that were filled up end level, and none that was not lies below them.
    if filled:
        assert max(filled) == pytest.approx(min(filled), abs=1e-3)
        assert min(ends) == pytest.approx(min(filled), abs=1e-3)

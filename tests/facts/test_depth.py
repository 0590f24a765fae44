import math
from datetime import date

import pytest
from noctuary.facts.depth import depth_of, hours_to_half_magnitude, light_m2_h

from tests.archive_builder import frames, place, rig, session

LENS = rig("lens", focal=135, aperture=48)
REFRACTOR = rig("refractor", focal=480, aperture=80)


def test_light_adds_each_session_with_its_own_aperture():
    # By hand: pi/4 * 0.048^2 = 0.0018096 m2 for 2 h, pi/4 * 0.080^2 = 0.0050265 m2 for 3 h:
    # 0.0036191 + 0.0150796 = 0.0186988 m2 h.
    sessions = [
        session(0, rig=LENS, groups=(frames(60, 120),)),
        session(1, rig=REFRACTOR, groups=(frames(180, 60),)),
    ]
    assert light_m2_h(sessions) == pytest.approx(0.0186988, abs=1e-6)


def test_depth_by_hand():
    # The reference is one hour with the refractor under 21.0. Four hours with it are four times the light:
    # 1.25 * log10(4) = 0.7526 mag. Under a sky of 20.0 the limit is half of one magnitude brighter: 0.2526 mag.
    four_hours = session(groups=(frames(240, 60),), rig=REFRACTOR, place=place(sky_brightness=21.0))
    assert depth_of([four_hours], REFRACTOR) == pytest.approx(0.7526, abs=1e-4)
    in_town = session(groups=(frames(240, 60),), rig=REFRACTOR, place=place(sky_brightness=20.0))
    assert depth_of([in_town], REFRACTOR) == pytest.approx(0.2526, abs=1e-4)


def test_a_session_says_better_than_its_place_how_bright_the_sky_was():
    dark = session(groups=(frames(240, 60),), rig=REFRACTOR, sky_brightness=21.0, place=place(sky_brightness=18.0))
    assert depth_of([dark], REFRACTOR) == pytest.approx(0.7526, abs=1e-4)


def test_the_sky_is_averaged_by_integration():
    # Three hours under 21, one under 19: mean 20.5, so 0.7526 - 0.25.
    sessions = [
        session(0, rig=REFRACTOR, sky_brightness=21.0, groups=(frames(180, 60),)),
        session(1, rig=REFRACTOR, sky_brightness=19.0, groups=(frames(60, 60),)),
    ]
    assert depth_of(sessions, REFRACTOR) == pytest.approx(0.5026, abs=1e-4)


def test_one_unknown_sky_leaves_the_sky_out():
    sessions = [
        session(0, rig=REFRACTOR, sky_brightness=19.0, groups=(frames(180, 60),)),
        session(1, rig=REFRACTOR, place=place(sky_brightness=None), groups=(frames(60, 60),)),
    ]
    assert depth_of(sessions, REFRACTOR) == pytest.approx(0.7526, abs=1e-4)


def test_no_light_has_no_depth():
    assert depth_of([session(groups=(frames(60, 0, 10),))], REFRACTOR) is None
    assert depth_of([session()], None) is None


def test_half_a_magnitude_more_costs_one_and_a_half_times_what_is_there():
    # 1.25 * log10(x) = 0.5 gives x = 10^0.4 = 2.5119; so 4 h on the same rig need 1.5119 * 4 = 6.0475 h more.
    there = session(groups=(frames(240, 60),), rig=REFRACTOR)
    assert hours_to_half_magnitude([there]) == pytest.approx(6.0475, abs=1e-3)


def test_the_hours_to_come_are_hours_of_the_latest_rig():
    old = session(0, groups=(frames(240, 60),), rig=LENS, night=date(2022, 1, 1))
    new = session(1, groups=(frames(60, 60),), rig=REFRACTOR, night=date(2024, 1, 1))
    light = math.pi / 4 * (4 * 0.048**2 + 1 * 0.080**2)
    expected = light * 1.5118864 / (math.pi / 4 * 0.080**2)
    assert hours_to_half_magnitude([new, old]) == pytest.approx(expected, rel=1e-6)


def test_half_a_magnitude_is_reached_after_those_hours():
    there = session(0, groups=(frames(240, 60),), rig=REFRACTOR, sky_brightness=20.0)
    hours = hours_to_half_magnitude([there])
    more = session(1, groups=(frames(3600 * hours, 1),), rig=REFRACTOR, sky_brightness=20.0)
    assert depth_of([there, more], REFRACTOR) - depth_of([there], REFRACTOR) == pytest.approx(0.5)

import math
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st
from noctuary.facts.depth import depth_of, depth_of_fields, hours_to_half_magnitude, light_m2_h, light_of_fields

from tests.builders.records import frames, place, rig, session

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
    # 1.25 * log10(4) = 0.7526 mag. Under a sky of 20.0 each counts for 10^-0.4 of that, half a magnitude: 0.2526 mag.
    four_hours = session(groups=(frames(240, 60),), rig=REFRACTOR, place=place(sky_brightness=21.0))
    assert depth_of([four_hours], REFRACTOR).mag == pytest.approx(0.7526, abs=1e-4)
    in_town = session(groups=(frames(240, 60),), rig=REFRACTOR, place=place(sky_brightness=20.0))
    assert depth_of([in_town], REFRACTOR).mag == pytest.approx(0.2526, abs=1e-4)


def test_a_session_says_better_than_its_place_how_bright_the_sky_was():
    dark = session(groups=(frames(240, 60),), rig=REFRACTOR, sky_brightness=21.0, place=place(sky_brightness=18.0))
    assert depth_of([dark], REFRACTOR).mag == pytest.approx(0.7526, abs=1e-4)


def test_each_session_counts_under_its_own_sky_and_with_its_own_rig():
    # By hand, in hours of the reference rig under 21.0:
    #   3 h with 80 mm under 21.0: 3
    #   1 h with 80 mm under 19.0: 10^(0.4 * -2) = 0.158489
    #   2 h with 48 mm under 21.5: 2 * (48/80)^2 * 10^(0.4 * 0.5) = 0.72 * 1.584893 = 1.141123
    # together 4.299612, and 1.25 * log10(4.299612) = 0.791786. The average sky by hours would give 0.65.
    sessions = [
        session(0, rig=REFRACTOR, sky_brightness=21.0, groups=(frames(180, 60),)),
        session(1, rig=REFRACTOR, sky_brightness=19.0, groups=(frames(60, 60),)),
        session(2, rig=LENS, sky_brightness=21.5, groups=(frames(120, 60, filter="H-alpha"),)),
    ]
    depth = depth_of(sessions, REFRACTOR)
    assert depth.mag == pytest.approx(0.791786, abs=1e-6)
    assert (depth.hours, depth.narrowband_h, depth.sessions_without_sky) == (6, 2, 0)
    assert not depth.at_least


def test_a_session_under_an_unknown_sky_adds_nothing():
    # Three hours under 19.0 are 3 * 10^-0.8 = 0.475468 h under 21.0, -0.403598 mag, whatever else was shot.
    known = session(0, rig=REFRACTOR, sky_brightness=19.0, groups=(frames(180, 60),))
    unknown = session(1, rig=REFRACTOR, place=place(sky_brightness=None), groups=(frames(10, 60),))
    nothing_kept = session(2, rig=REFRACTOR, place=place(sky_brightness=None), groups=(frames(10, 0, 60),))
    depth = depth_of([known, unknown, nothing_kept], REFRACTOR)
    assert depth.mag == depth_of([known], REFRACTOR).mag == pytest.approx(-0.403598, abs=1e-6)
    assert (depth.sessions_without_sky, depth.at_least) == (1, True)


def test_without_any_known_sky_there_is_no_depth():
    unknown = session(0, rig=REFRACTOR, place=place(sky_brightness=None))
    depth = depth_of([unknown], REFRACTOR)
    assert (depth.mag, depth.sessions_without_sky, depth.at_least) == (None, 1, False)


def test_no_light_has_no_depth():
    assert depth_of([session(groups=(frames(60, 0, 10),))], REFRACTOR).mag is None
    assert depth_of([session()], None).mag is None


_sessions = st.lists(
    st.tuples(
        st.one_of(st.none(), st.floats(15, 22.5)), st.integers(0, 50), st.integers(1, 900),
        st.sampled_from([LENS, REFRACTOR]),
    ), max_size=7,
)  # fmt: skip


@given(_sessions, st.integers(0, 7))
def test_depth_never_falls_when_light_is_added(written, first):
    sessions = [
        session(i, rig=own, sky_brightness=sky, place=place(sky_brightness=None), groups=(frames(exposure, kept),))
        for i, (sky, kept, exposure, own) in enumerate(written)
    ]
    some, all_of_it = (depth_of(part, REFRACTOR) for part in (sessions[:first], sessions))
    assert (all_of_it.mag is not None) >= (some.mag is not None)
    if some.mag is not None and all_of_it.mag is not None:
        assert all_of_it.mag >= some.mag
    assert all_of_it.sessions_without_sky >= some.sessions_without_sky


def test_of_several_fields_the_least_counts():
    # Two panels of 1 h and 4 h: light and depth are those of the hour. Half a magnitude more for both takes
    # 10^0.4 = 2.5119 h on each: 1.5119 h on the first, nothing on the second.
    hour = session(0, rig=REFRACTOR, sky_brightness=21.0, groups=(frames(60, 60),))
    four = session(1, rig=REFRACTOR, sky_brightness=21.0, groups=(frames(240, 60),))
    fields = ((hour,), (four,))
    assert light_of_fields(fields) == pytest.approx(light_m2_h([hour]))
    assert depth_of_fields(fields, REFRACTOR).mag == pytest.approx(0.0)
    assert hours_to_half_magnitude(fields) == pytest.approx(1.5119, abs=1e-4)
    nowhere = session(2, rig=REFRACTOR, place=place(sky_brightness=None))
    assert depth_of_fields((*fields, (nowhere,)), REFRACTOR).mag is None
    assert depth_of_fields((), REFRACTOR).mag is None


def test_half_a_magnitude_more_costs_one_and_a_half_times_what_is_there():
    # 1.25 * log10(x) = 0.5 gives x = 10^0.4 = 2.5119; so 4 h on the same rig need 1.5119 * 4 = 6.0475 h more.
    there = session(groups=(frames(240, 60),), rig=REFRACTOR)
    assert hours_to_half_magnitude([[there]]) == pytest.approx(6.0475, abs=1e-3)


def test_the_hours_to_come_are_hours_of_the_latest_rig():
    old = session(0, groups=(frames(240, 60),), rig=LENS, night=date(2022, 1, 1))
    new = session(1, groups=(frames(60, 60),), rig=REFRACTOR, night=date(2024, 1, 1))
    light = math.pi / 4 * (4 * 0.048**2 + 1 * 0.080**2)
    expected = light * 1.5118864 / (math.pi / 4 * 0.080**2)
    assert hours_to_half_magnitude([[new, old]]) == pytest.approx(expected, rel=1e-6)


@given(st.lists(st.floats(17, 22), min_size=1, max_size=4))
def test_half_a_magnitude_is_reached_after_those_hours(skies):
    there = [
        session(i, groups=(frames(240, 60),), rig=REFRACTOR, sky_brightness=sky, night=date(2025, 1, 1 + i))
        for i, sky in enumerate(skies)
    ]
    hours = hours_to_half_magnitude([there])
    more = session(9, groups=(frames(3600 * hours, 1),), rig=REFRACTOR, sky_brightness=skies[-1])
    deeper = depth_of([*there, more], REFRACTOR).mag - depth_of(there, REFRACTOR).mag
    assert deeper == pytest.approx(0.5)

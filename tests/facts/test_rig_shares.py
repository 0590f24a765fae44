"""Which rigs a picture's one sentence names, and with what hours."""

from hypothesis import given
from hypothesis import strategies as st
from noctuary.facts.rig_shares import rig_shares

from tests.builders.records import frames, rig, session

REFLECTOR = rig("reflector", focal=1000, aperture=250)
REFRACTOR = rig("refractor", focal=400, aperture=80)
LENS = rig("lens", focal=135, aperture=48)


def of(index, used, minutes):
    return session(index, rig=used, groups=(frames(60, minutes),))


def test_two_rigs_are_named_with_their_hours():
    # 3 h 20 min and 3 h 30 min. The refractor's 80 mm gave 9.7 % of the light: 3.5 · 80² / (3.33 · 250² + 3.5 · 80²),
    # but half of the hours.
    shares = rig_shares(REFRACTOR, [of(0, REFLECTOR, 200), of(1, REFRACTOR, 210)])
    assert [(s.rig, s.focal_length_mm, s.integration_s) for s in shares.named] == [
        ("reflector", 1000, 12000),
        ("refractor", 400, 12600),
    ]
    assert shares.others_s == 0


def test_a_rig_that_gave_next_to_nothing_is_not_named():
    # 12 min of 4 h 12 min are 4.8 %, and with 48 mm against 80 mm 1.8 % of the light.
    shares = rig_shares(REFRACTOR, [of(0, REFRACTOR, 240), of(1, LENS, 12)])
    assert [s.rig for s in shares.named] == ["refractor"]
    assert shares.others_s == 12 * 60
    assert shares.by_rig_s == {"refractor": 240 * 60, "lens": 12 * 60}


def test_few_hours_through_a_large_aperture_are_much_light():
    # 12 min of 252 are 4.8 % of the hours, and 12 · 250² / (240 · 80² + 12 · 250²) = 32.8 % of the light.
    shares = rig_shares(REFRACTOR, [of(0, REFRACTOR, 240), of(1, REFLECTOR, 12)])
    assert [s.rig for s in shares.named] == ["refractor", "reflector"]


def test_the_rig_that_is_shown_is_named_whatever_it_gave():
    shares = rig_shares(REFRACTOR, [of(0, LENS, 600), of(1, REFRACTOR, 5)])
    assert {s.rig for s in shares.named} == {"lens", "refractor"}
    assert [s.rig for s in rig_shares(REFRACTOR, []).named] == ["refractor"]
    assert [s.rig for s in rig_shares(REFRACTOR, [of(0, LENS, 600)]).named] == ["lens"]
    assert rig_shares(None, []).named == ()


@given(st.lists(st.tuples(st.sampled_from([REFLECTOR, REFRACTOR, LENS]), st.integers(0, 300)), max_size=8))
def test_what_is_named_and_the_rest_are_all_of_it(parts):
    sessions = [of(i, used, minutes) for i, (used, minutes) in enumerate(parts)]
    shares = rig_shares(REFRACTOR, sessions)
    total = sum(60 * minutes for _, minutes in parts)
    assert sum(s.integration_s for s in shares.named) + shares.others_s == total
    assert shares.others_s <= 0.2 * total
    assert len({s.rig for s in shares.named}) == len(shares.named)

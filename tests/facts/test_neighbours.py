"""A target's neighbours on the sky, against every pair measured by another library."""

from __future__ import annotations

import pytest
from astropy import units as u
from astropy.coordinates import SkyCoord
from hypothesis import given, settings
from hypothesis import strategies as st
from noctuary.facts.neighbours import MOST, WITHIN_DEG, Neighbour, neighbours
from noctuary.facts.target import TargetFacts, target_facts
from noctuary.sky.catalogue import Catalogue
from noctuary.sky.sky_object import SkyObject

POSITIONS = st.lists(st.tuples(st.floats(0, 359.99), st.floats(-90, 90)), max_size=30)
CROWDED = st.lists(st.tuples(st.floats(350, 360) | st.floats(0, 10), st.floats(60, 90)), max_size=30)


def target(name: str, ra: float | None, dec: float | None, moves: bool = False) -> TargetFacts:
    known = SkyObject(
        name=name, kind="galaxy", ra_deg=ra, dec_deg=dec, ra_decimals=0, dec_decimals=0, constellation=None,
        galactic_l_deg=None, galactic_b_deg=None, magnitude=None, size_arcmin=None, position_angle_deg=None,
        common_name=None, also=(), note=None, moves=moves,
    )  # fmt: skip
    return target_facts(known, name, (), None)


@settings(max_examples=60, deadline=None)
@given(POSITIONS | CROWDED)
def test_the_nearest_of_all_pairs_are_found(positions):
    targets = [target(f"N {n}", ra, dec) for n, (ra, dec) in enumerate(positions)]
    found = neighbours(targets)
    assert found.keys() == {t.identity for t in targets}
    for t in targets:
        here = SkyCoord(t.object.ra_deg * u.deg, t.object.dec_deg * u.deg)
        others = {
            o.identity: here.separation(SkyCoord(o.object.ra_deg * u.deg, o.object.dec_deg * u.deg)).deg
            for o in targets
            if o is not t
        }
        near = sorted(d for d in others.values() if d <= WITHIN_DEG)
        near_ones = found[t.identity]
        assert [n.separation_deg for n in near_ones] == pytest.approx(near[: len(near_ones)], abs=1e-6)
        # A distance of just the limit may be taken for more or less.
        assert len(near_ones) >= len([d for d in near if d < WITHIN_DEG - 1e-6][:MOST])
        assert len(near_ones) <= MOST
        for n in near_ones:
            assert n.separation_deg == pytest.approx(others[n.target.identity], abs=1e-6)


def test_messier_31_and_33():
    # Their places in the New General Catalogue (pyongc); the galaxies are 14.8° apart in every handbook.
    catalogue = Catalogue()
    known = {name: at for name in ("M 31", "M 33", "M 42") if (at := catalogue.find(name))}
    found = neighbours(target_facts(each, name, (), None) for name, each in known.items())
    (near,) = found[known["M 31"].name]
    assert near.target.name == "M 33"
    assert near.separation_deg == pytest.approx(14.8, abs=0.05)
    assert 130 < near.position_angle_deg < 140  # towards the south-east
    assert found[known["M 42"].name] == ()


def test_what_moves_or_has_no_position_has_no_neighbours():
    targets = [target("here", 10.0, 10.0), target("nowhere", None, None), target("Comet", 10.0, 11.0, moves=True)]
    assert neighbours(targets) == {"here": ()}


def test_targets_at_one_place_are_neighbours_in_the_order_of_their_names():
    targets = [target(name, 10.0, 10.0) for name in ("b", "c", "a")]
    assert neighbours(targets)["b"] == (Neighbour(targets[2], 0.0, 0.0), Neighbour(targets[1], 0.0, 0.0))

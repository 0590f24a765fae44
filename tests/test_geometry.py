"""Directions and distances on the sphere against definitions, an independent library and a published example."""

import math

import ephem
import numpy as np
import pytest
from astropy.coordinates import position_angle
from hypothesis import assume, given
from hypothesis import strategies as st
from noctuary.geometry import (
    lon_lat_deg,
    lons_lats_deg,
    position_angle_deg,
    separation_deg,
    separations_deg,
    unit_vector,
    unit_vectors,
)

LON = st.floats(0, 360, allow_nan=False)
LAT = st.floats(-90, 90, allow_nan=False)


def test_arcturus_and_spica():
    # Meeus, Astronomical Algorithms, example 17.a (from memory; the definition and PyEphem agree below).
    assert separation_deg(213.9154, 19.1825, 201.2983, -11.1614) == pytest.approx(32.7930, abs=5e-5)


@given(LON, LAT, LON, LAT)
def test_one_pair_many_pairs_and_another_library_agree(lon1, lat1, lon2, lat2):
    one = separation_deg(lon1, lat1, lon2, lat2)
    many = float(separations_deg([lon1], [lat1], lon2, lat2)[0])
    pair = [(math.radians(lon), math.radians(lat)) for lon, lat in ((lon1, lat1), (lon2, lat2))]
    there = math.degrees(ephem.separation(*pair))
    assert one == pytest.approx(many, abs=2e-6)
    assert one == pytest.approx(there, abs=2e-6)


@given(LON, st.floats(-89.9, 89.9))
def test_a_direction_comes_back_from_its_vector(lon, lat):
    vector = unit_vector(lon, lat)
    back = lon_lat_deg(vector)
    assert separation_deg(*back, lon, lat) < 1e-9
    assert np.allclose(unit_vectors(lon, lat), vector, atol=1e-15)


def test_a_longitude_stays_below_360_degrees():
    # A float cannot tell 360° from a hair less, which is what a direction just below 0° has.
    assert lon_lat_deg((1.0, -1e-20, 0.0)) == (0.0, 0.0)
    assert lons_lats_deg([[1.0, -1e-20, 0.0]])[0].tolist() == [0.0]


@given(LON, st.floats(-89.9, 89.9), LON, st.floats(-89.9, 89.9))
def test_a_position_angle_is_another_librarys(lon1, lat1, lon2, lat2):
    assume(1e-6 < separation_deg(lon1, lat1, lon2, lat2) < 179.9)
    theirs = position_angle(*map(math.radians, (lon1, lat1, lon2, lat2))).deg
    ours = position_angle_deg(lon1, lat1, lon2, lat2)
    assert 0 <= ours < 360
    assert abs((ours - theirs + 180) % 360 - 180) < 1e-4


def test_a_position_angle_runs_from_north_through_east():
    # By definition, and at the pole itself, from where every way leads south.
    assert position_angle_deg(10.0, 0.0, 10.0, 5.0) == 0.0
    assert position_angle_deg(10.0, 0.0, 15.0, 0.0) == pytest.approx(90.0)
    assert position_angle_deg(359.0, 20.0, 359.0, -5.0) == pytest.approx(180.0)
    assert position_angle_deg(1.0, 0.0, 359.0, 0.0) == pytest.approx(270.0)
    assert position_angle_deg(42.0, 13.0, 42.0, 13.0) == 0.0


def test_small_and_opposite_distances_keep_their_digits():
    assert separation_deg(10.0, 45.0, 10.0, 45.0 + 1e-7) == pytest.approx(1e-7, rel=1e-6)
    assert float(separations_deg(0.0, 0.0, 180.0, 0.0)) == pytest.approx(180.0, abs=1e-12)

"""Positions as people write them: decimal or in minutes and seconds, with a sign or a letter of the compass."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from noctuary.quantity import NotAQuantity
from noctuary.sexagesimal import read_coordinates, read_latitude, read_longitude

NORTH = 48 + 12 / 60 + 30 / 3600


@pytest.mark.parametrize(
    ("text", "degrees"),
    [
        ("48.2", 48.2),
        ("-48.2 deg", -48.2),
        ("48d12m30s", NORTH),  # the s closes the row of marks: it is no south
        ("48D12M30S", NORTH),
        ("48d12m30s S", -NORTH),
        ("48d12m30sS", -NORTH),
        ("S 48d12m30s", -NORTH),
        ("48d12m30s N", NORTH),
        ("-48d12m30s", -NORTH),
        ("48°12′30″ N", NORTH),
        ("48°12'30\"S", -NORTH),
        ("48 12 30", NORTH),
        ("48 12 30 S", -NORTH),
        ("48:12:30s", -NORTH),
        ("N48°12.5′", NORTH),
        ("48.2 S", -48.2),
        ("n 48.2", 48.2),
        ("48° S", -48.0),
        ("0d30m00s S", -0.5),
        ("48° 12′ 30″ North", NORTH),
        ("48d12m30s South", -NORTH),
    ],
)
def test_latitudes(text: str, degrees: float) -> None:
    assert read_latitude(text) == pytest.approx(degrees, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "degrees"),
    [("3d06m20s W", -(3 + 6 / 60 + 20 / 3600)), ("E 151.2", 151.2), ("-3.1 deg", -3.1), ("180", 180)],
)
def test_longitudes(text: str, degrees: float) -> None:
    assert read_longitude(text) == pytest.approx(degrees, abs=1e-9)


@pytest.mark.parametrize(
    "text",
    ["", "x", "91", "90d00m01s", "48d60m00s", "48d12m60s", "-48 S", "N 48 N", "48 E", "48d12m30s W", "48.5 12 30",
     "48h12m30s", "5 mm", "nan", "48 12 30 15"],
)  # fmt: skip
def test_what_is_no_latitude(text: str) -> None:
    with pytest.raises(NotAQuantity) as caught:
        read_latitude(text)
    assert caught.value.hint


def test_a_letter_of_the_other_axis_is_named() -> None:
    with pytest.raises(NotAQuantity, match="longitude"):
        read_latitude("48d12m30s W")


@pytest.mark.parametrize(
    ("text", "ra", "dec"),
    [
        ("06h32m00s 04d57m00s", 98.0, 4.95),
        ("06h32m00s 04d57m00s N", 98.0, 4.95),
        ("06h32m00s 04d57m00s S", 98.0, -4.95),
        ("06 32 00 04 57 00", 98.0, 4.95),
        ("06:32:00, 04:57:00 S", 98.0, -4.95),
        ("98d00m00s +04d57m00s", 98.0, 4.95),
        ("98°00′00″ S 04°57′00″", 98.0, -4.95),
        ("98.0 4.95 S", 98.0, -4.95),
        # The north galactic pole: The Hipparcos and Tycho Catalogues, volume 1, section 1.5.3.
        ("12h51m26.2752s 27d07m41.7s", 192.85948, 27.12825),
    ],
)
def test_positions_on_the_sky(text: str, ra: float, dec: float) -> None:
    assert read_coordinates(text) == pytest.approx((ra, dec), abs=1e-6)


@given(st.integers(0, 89), st.integers(0, 59), st.integers(0, 59), st.sampled_from("NSns"))
def test_every_way_of_writing_a_latitude_says_the_same(d: int, m: int, s: int, letter: str) -> None:
    sign = "-" if letter in "Ss" else ""
    ways = [f"{sign}{d}d{m}m{s}s", f"{d}d{m}m{s}s {letter}", f"{letter} {d} {m} {s}", f"{d}°{m}′{s}″{letter}",
            f"{sign}{d}:{m}:{s}", f"{sign}{d + m / 60 + s / 3600!r} deg"]  # fmt: skip
    assert [read_latitude(way) for way in ways] == pytest.approx([read_latitude(ways[0])] * len(ways), abs=1e-9)

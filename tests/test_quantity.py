"""Numbers with units, in and out of text."""

from __future__ import annotations

import math
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st
from noctuary import quantity
from noctuary.quantity import Kind, NotAQuantity
from noctuary.sexagesimal import read_coordinates

KINDS = [quantity.TIME, quantity.FOCAL, quantity.PIXEL_SIZE, quantity.ELEVATION, quantity.ANGLE,
         quantity.OBJECT_SIZE,
         quantity.SMALL_ANGLE, quantity.BRIGHTNESS, quantity.TEMPERATURE, quantity.HUMIDITY,
         quantity.WIND]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("90 s", quantity.TIME, 90),
        ("90", quantity.TIME, 90),
        ("90s", quantity.TIME, 90),
        ("1.5 min", quantity.TIME, 90),
        ("1h 30m", quantity.TIME, 5400),
        ("1h30m", quantity.TIME, 5400),
        ("1m30s", quantity.TIME, 90),
        ("2 m 30 s", quantity.TIME, 150),
        ("4 ms", quantity.TIME, 0.004),
        ("3.76 um", quantity.PIXEL_SIZE, 3.76),
        ("3.76 µm", quantity.PIXEL_SIZE, 3.76),  # U+00B5 MICRO SIGN
        ("3.76 μm", quantity.PIXEL_SIZE, 3.76),  # U+03BC GREEK SMALL LETTER MU
        ("135 mm", quantity.FOCAL, 135),
        ("0.48 m", quantity.FOCAL, 480),
        # One inch is 25.4 mm (international yard and pound agreement of 1959).
        ("10 in", quantity.FOCAL, 254),
        ("20.8 mag/arcsec2", quantity.BRIGHTNESS, 20.8),
        ("20.8 mag/arcsec²", quantity.BRIGHTNESS, 20.8),
        ("-10 °C", quantity.TEMPERATURE, -10),
        ("−10 °C", quantity.TEMPERATURE, -10),  # U+2212 MINUS SIGN
        ("-10\u00a0°C", quantity.TEMPERATURE, -10),
        ("1.9 arcsec", quantity.SMALL_ANGLE, 1.9),
        ("1 arcmin", quantity.SMALL_ANGLE, 60),
        ("0.5 deg", quantity.OBJECT_SIZE, 30),
        ("12.4 deg", quantity.ANGLE, 12.4),
        ("36 km/h", quantity.WIND, 10),
        # One knot is one nautical mile, 1852 m, an hour (SI Brochure, 8th edition, table 8).
        ("10 kn", quantity.WIND, 18520 / 3600),
        # One metre is 1 / 0.3048 feet (the same agreement).
        ("1000 ft", quantity.ELEVATION, 304.8),
    ],
)
def test_quantities(text: str, kind: Kind, value: float) -> None:
    assert quantity.read(text, kind) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "kind", "rule"),
    [
        ("90 mm", quantity.TIME, "wrong-unit"),
        ("90 s", quantity.FOCAL, "wrong-unit"),
        ("5 parsec", quantity.FOCAL, "wrong-unit"),
        ("10 °F", quantity.TEMPERATURE, "wrong-unit"),
        ("nan", quantity.TIME, "not-a-quantity"),
        (".inf", quantity.TIME, "not-a-quantity"),
        ("1e999 s", quantity.TIME, "not-a-quantity"),
        ("9" * 400, quantity.TIME, "not-a-quantity"),
        ("1,5 s", quantity.TIME, "not-a-quantity"),
        ("19:40", quantity.TIME, "not-a-quantity"),
        ("", quantity.TIME, "not-a-quantity"),
        ("s", quantity.TIME, "not-a-quantity"),
        ("1h -30m", quantity.TIME, "not-a-quantity"),
        ("1" + " " * 100_000 + "x", quantity.TIME, "not-a-quantity"),
        ("1e308 h", quantity.TIME, "not-a-quantity"),
    ],
)
def test_what_is_no_quantity(text: str, kind: Kind, rule: str) -> None:
    with pytest.raises(NotAQuantity) as caught:
        quantity.read(text, kind)
    assert caught.value.rule == rule
    assert caught.value.hint


def test_a_short_exposure_may_be_written_as_cameras_show_it() -> None:
    assert quantity.read("1/250 s", quantity.TIME) == pytest.approx(0.004)
    assert quantity.read("1/2", quantity.TIME) == 0.5
    with pytest.raises(NotAQuantity):
        quantity.read("1/0 s", quantity.TIME)
    with pytest.raises(NotAQuantity):
        quantity.read("1/250 mm", quantity.FOCAL)


@pytest.mark.parametrize(
    ("text", "ra", "dec"),
    [
        ("06h32m00s +04d57m00s", 98.0, 4.95),
        ("06:32:00 +04:57:00", 98.0, 4.95),
        ("05h41m00s -02d27m00s", 85.25, -2.45),
        ("05h41m -00d27m", 85.25, -0.45),
        ("98.0 deg 4.95 deg", 98.0, 4.95),
        ("98 -4.95", 98.0, -4.95),
        # The north galactic pole (The Hipparcos and Tycho Catalogues, volume 1, section 1.5.3), as degrees
        # and worked into hours.
        ("192.85948 deg 27.12825 deg", 192.85948, 27.12825),
        ("12h51m26.2752s +27d07m41.7s", 192.85948, 27.12825),
    ],
)
def test_positions(text: str, ra: float, dec: float) -> None:
    assert read_coordinates(text) == pytest.approx((ra, dec), abs=1e-6)


@pytest.mark.parametrize("text", ["", "x", "25h00m00s +00d00m00s", "06h60m00s +04d57m00s", "06h32m00s +91d00m00s",
                                  "360 0",
                                  "0 91", "06h32m00s", "nan nan"])  # fmt: skip
def test_what_is_no_position(text: str) -> None:
    with pytest.raises(NotAQuantity):
        read_coordinates(text)


@pytest.mark.parametrize("text", ["-1", "1.5", "", "x", "1e3", "9" * 30, "½", "²"])
def test_what_is_no_count(text: str) -> None:
    with pytest.raises(NotAQuantity):
        quantity.read_count(text)


@given(st.sampled_from(KINDS), st.floats(-1e9, 1e9, allow_nan=False), st.data())
def test_a_unit_is_a_factor(kind: Kind, number: float, data: st.DataObject) -> None:
    unit = data.draw(st.sampled_from(sorted(kind.units)))
    assert quantity.read(f"{number!r} {unit}", kind) == pytest.approx(
        number * kind.units[unit], rel=1e-12, abs=1e-300
    )


@given(st.text(max_size=40), st.sampled_from(KINDS))
def test_any_text_is_a_finite_number_or_refused(text: str, kind: Kind) -> None:
    for read in (
        lambda: quantity.read(text, kind),
        lambda: quantity.read_number(text),
        lambda: float(quantity.read_count(text)),
    ):
        with suppress(NotAQuantity):
            assert math.isfinite(read())


@given(st.floats(0, 359.999), st.floats(-89.999, 89.999))
def test_positions_in_degrees_are_read_back(ra: float, dec: float) -> None:
    assert read_coordinates(f"{ra:.9f} deg {dec:+.9f} deg") == pytest.approx((ra, dec), abs=1e-8)


@given(
    st.integers(0, 23), st.integers(0, 59), st.integers(0, 59), st.booleans(), st.integers(0, 89), st.integers(0, 59)
)
def test_positions_in_hours_are_read_back(h: int, m: int, s: int, south: bool, d: int, dm: int) -> None:
    sign = "-" if south else "+"
    ra, dec = read_coordinates(f"{h:02d}h{m:02d}m{s:02d}s {sign}{d:02d}d{dm:02d}m00s")
    assert ra == pytest.approx(15 * (h + m / 60 + s / 3600))
    assert dec == pytest.approx((d + dm / 60) * (-1 if south else 1))

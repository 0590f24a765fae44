"""Figures as they are set. The forms are those that astronomers and printers use; values are worked by hand."""

from __future__ import annotations

import re
from datetime import date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st
from markupsafe import Markup
from noctuary.pages.typography import Typography

EN = Typography("en")
DE = Typography("de")


@pytest.mark.parametrize(
    ("seconds", "said"),
    [(24120, "6 h 42 min"), (3600, "1 h"), (45, "45 s"), (0.36, "0.36 s"), (0, "0 min"), (3599.9, "1 h"), (None, "—"),
     (float("nan"), "—")],
)  # fmt: skip
def test_durations(seconds, said):
    assert EN.duration(seconds).replace("\u202f", " ") == said


@pytest.mark.parametrize(
    ("seconds", "said"), [(180, "180 s"), (2.5, "2.5 s"), (0.004, "1/250 s"), (1 / 1000, "1/1000 s"), (None, "—")]
)
def test_exposures(seconds, said):
    assert EN.exposure(seconds).replace("\u202f", " ") == said


def test_counts_mark_their_thousands_and_measures_of_four_figures_do_not():
    assert [EN.count(n) for n in (300, 2000, 12000, None)] == ["300", "2,000", "12,000", "—"]
    assert [EN.number(n) for n in (300, 2000, 12000)] == ["300", "2000", "12,000"]
    assert DE.count(2000) == "2.000"


@pytest.mark.parametrize(
    ("light", "said"),
    [(0.119, "0.119 m²·h"), (1.7e-5, "0.000017 m²·h"), (0.0094, "0.0094 m²·h"), (12.3456, "12.346 m²·h")],
)
def test_light_keeps_two_digits_however_little_it_is(light, said):
    assert EN.light(light).replace("\u202f", " ") == said


def test_right_ascension_and_declination_to_the_precision_of_the_source():
    # 06h 32m 00s = 98.0°, +04° 57′ 00″ = 4.95°: by the definition of the units.
    assert EN.right_ascension(98.0) == "06ʰ\u202f32ᵐ\u202f00ˢ"
    assert EN.declination(4.95) == "+04°\u202f57′\u202f00″"
    assert EN.declination(-2.45, 1) == "−02°\u202f27′\u202f00.0″"
    assert EN.right_ascension(98.0, -1) == "06ʰ\u202f32ᵐ"
    assert EN.right_ascension(359.9999999) == "00ʰ\u202f00ᵐ\u202f00ˢ"
    assert EN.declination(-0.00001) == "+00°\u202f00′\u202f00″"
    assert EN.declination(None) == "—"


@given(st.floats(0, 359.999), st.integers(-1, 3))
def test_no_sixty_ever_appears(degrees, decimals):
    said = EN.right_ascension(degrees, decimals)
    assert not re.search(r"(?<![.\d])60(\.\d*)?[ᵐˢ]", said)
    assert int(said[:2]) < 24


def test_signs_of_numbers():
    assert EN.number(-12345.6, 1) == "−12,345.6"
    assert EN.number(1234) == "1234"
    assert EN.number(-0.04, 1) == "0.0"
    assert EN.signed(0.56) == "+0.6"
    assert EN.signed(-0.56) == "−0.6"
    assert EN.percent(0.776) == "78\u202f%"
    assert EN.spread(41.2, 61.8, "°") == "41–62°"
    assert EN.spread(-3, 4, "°") == "−3° to 4°"
    assert EN.spread(None, None, "°") == "—"
    assert DE.number(1234567.5, 1) == "1.234.567,5"


def test_angles_in_the_unit_that_suits_them():
    assert EN.angle(4.23) == "4.2°"
    assert EN.angle(0.7) == "42′"
    assert EN.angle(3.5 / 3600) == "3.5″"
    assert EN.extent((4.2, 2.8)) == "4.2° × 2.8°"
    assert EN.extent_arcmin((9.3, 9.3)) == "9.3′"


def test_the_sides_of_one_thing_are_in_one_unit():
    # 110′ are 1.83°, and 2.7° beside them; the North America Nebula's 120′ × 100′; Andromeda's 178′ × 63′.
    assert EN.extent((2.7, 110 / 60)) == "2.7° × 1.8°"
    assert EN.extent_arcmin((120, 100)) == "2.0° × 1.7°"
    assert EN.extent_arcmin((178, 63)) == "3.0° × 1.1°"
    assert EN.extent_arcmin((90, 60)) == "90′ × 60′"
    assert EN.extent_arcmin((180, 12)) == "3.0° × 0.20°"
    # What would vanish takes both to the smaller unit.
    assert EN.extent_arcmin((180, 2.4)) == "180′ × 2.4′"
    assert EN.extent_arcmin((1.2, 0.6)) == "1.2′ × 0.60′"
    assert EN.extent_arcmin((0.8, 0.5)) == "48.0″ × 30.0″"
    assert EN.extent((25.0, 16.7)) == "25° × 17°"
    assert EN.in_one_unit((2.7, 1.8, 3.24)) == ["2.7°", "1.8°", "3.2°"]
    assert EN.in_one_unit((1.9, 1.2, 2.25)) == ["1.9°", "1.2°", "2.2°"]
    assert EN.in_one_unit((None, None)) == ["—", "—"]
    assert EN.extent((None, None)) == "—"


@given(st.lists(st.floats(1e-3, 180), min_size=2, max_size=3))
def test_no_side_vanishes_and_none_has_a_unit_of_its_own(sides):
    said = EN.in_one_unit(sides)
    assert len({text[-1] for text in said}) == 1
    assert all(re.search("[1-9]", text) for text in said)


def test_dates_and_ranges_in_the_language():
    assert EN.date(date(2025, 1, 18)) == "18 January 2025"
    assert EN.evening(date(2025, 1, 18)) == "18–19 January 2025"
    assert EN.evening(date(2024, 12, 31)).count("20") == 2
    assert DE.date(date(2025, 1, 18)) == "18. Januar 2025"
    assert EN.dates(date(2025, 1, 18), date(2025, 1, 18)) == "18 January 2025"
    assert EN.clock(datetime(2025, 1, 18, 19, 40)) == "19:40"
    assert EN.date(None) == "—"


def test_small_things():
    assert EN.f_ratio(2.8) == "f/2.8"
    assert EN.f_ratio(4.0) == "f/4"
    assert EN.unit(480.0, "mm") == "480\u202fmm"
    assert EN.hours(9900) == "2.75"
    assert EN.hours(0.36) == "<0.01"
    assert EN.hours(0) == "0.00"
    assert EN.in_words(4) == "four"
    assert EN.in_words(17) == "17"
    assert EN.listed(["a", "b", "c"]) == "a, b and c"
    assert EN.listed(["R & C", Markup("3 h with R &amp; C")]) == "R &amp; C and 3 h with R &amp; C"
    assert EN.latitude(-34.0) == "34°\u202fS"


@pytest.mark.parametrize("tag", ["en", "en-GB", "de-AT", "zh-Hant-TW", "xx-nonsense", "", "pt_BR"])
def test_any_language_tag_sets_a_date(tag):
    assert "2025" in Typography(tag).date(date(2025, 1, 18))


def test_a_month_in_a_sentence_is_written_out():
    assert Typography("en").month_name(9) == "September"
    assert Typography("de").month_name(3) == "März"

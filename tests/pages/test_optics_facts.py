"""What a picture's page says of its optics, and on what condition."""

import re
from dataclasses import replace
from typing import Any

import pytest
from noctuary.archive.partial_date import PartialDate
from noctuary.facts.almanac import Almanac
from noctuary.facts.archive_facts import archive_facts
from noctuary.facts.optics import Optics, optics
from noctuary.facts.target import growth
from noctuary.pages.depth_note import growth_note

from tests.builders.records import archive, picture, rig, session
from tests.pages.templates import set_macro


def seen(pixels: tuple[int, int], resampling: float | None, **more: Any) -> Optics:
    found = optics(rig(), [session(star_width_arcsec=3.2)], pixels, resampling, **more)
    assert found is not None
    return found


def told(facts: Optics) -> str:
    text = set_macro("optics.html", "optics_facts", o=facts)
    return re.sub(r"\s+", " ", re.sub("<[^>]*>", " ", text)).strip()


def test_a_written_resampling_needs_no_condition() -> None:
    # 206.2648 · 3.76 / 480 = 1.6157″; 2 · atan(6248 · 0.00376 / 960) = 2.80°, 1.87°, 3.37°; 3.2 / 1.6157 = 1.98 px.
    text = told(seen((6248, 4176), 1.0))
    assert "Image scale 1.62″/px Field 2.8° × 1.9°, diagonal 3.4° FWHM in the frames 3.2″, 2.0 px of" in text


def test_an_inferred_scale_says_on_what_condition() -> None:
    whole = told(seen((3124, 2088), None))
    assert "3.23″/px, if the picture shows the whole sensor Field" in whole
    assert "Field 2.8° × 1.9°, diagonal 3.4°, if the picture shows the whole sensor" in whole
    crop = told(seen((2000, 2000), None))
    assert "1.62″/px, if the picture is a crop at full size Field 54′ × 54′, diagonal 76′, if" in crop
    placed = told(seen((3124, 2088), None, placed_scale_arcsec_px=3.2314, placed_field_deg=(2.8, 1.87, 3.37)))
    assert "if the picture" not in placed


@pytest.mark.parametrize(
    ("lacking", "reason"),
    [
        ({"focal_length_mm": None}, "not known without a focal length"),
        ({"pixel_size_um": None}, "not known without the camera’s pixel size"),
        ({}, "not known: neither the camera’s pixels nor a resampling are recorded"),
    ],
)
def test_what_is_missing_is_named_and_nothing_is_zero(lacking: dict[str, None], reason: str) -> None:
    none = dict.fromkeys(
        ("image_scale_arcsec_px", "field_width_deg", "field_height_deg", "field_diagonal_deg", "sampling_px")
    )
    facts = replace(seen((3124, 2088), 1.0), inferred=False, **none, **lacking)
    text = told(facts)
    assert f"Image scale {reason}" in text
    assert "Field" not in text
    assert "FWHM in the frames 3.2″" in text
    assert "None" not in text


@pytest.mark.parametrize(
    ("share", "said"),
    [(0.784, "78 % of the shorter side"), (1.2, "120 % of the shorter side"), (2.34, "2.3 times the shorter side"),
     (22.28, "22 times the shorter side")],
)  # fmt: skip
def test_an_object_that_does_not_fit_is_a_factor(share: float, said: str) -> None:
    assert set_macro("optics.html", "fill", share=share) == said


def test_what_a_picture_added_says_which_scale_is_inferred() -> None:
    # 206.2648 · 3.76 / 135 = 5.745″ on the sensor, and twice that on half of its pixels: stars of 11.5″ span one.
    lens = rig("lens", focal=135, aperture=48)
    one = picture("one", (session(written_in="one", rig=lens, star_width_arcsec=11.5),), resampling=None)
    two = picture("two", (session(written_in="two", star_width_arcsec=3.2),), finished=PartialDate(2026, 2, 1))
    whole = archive(one, two)
    sizes = {"one": (3124, 2088), "two": (6248, 4176)}
    both = archive_facts(whole, Almanac(whole), sizes, {}).pictures
    older, newer = growth((both["one"], both["two"]))
    assert not newer.same_sessions
    text = set_macro("history.html", "added", note=growth_note(newer))
    assert "A finer image scale: 1.62″/px" in text
    assert "the FWHM in the frames is 2.0 px of the picture, 1.0 before." in text
    assert "The scale of the older one is inferred from the size of the picture." in text
    assert (older.scale_inferred, newer.scale_inferred, newer.scale_before_inferred) == (True, False, True)


def test_a_picture_that_adds_no_session_says_so() -> None:
    light = session(written_in="one", star_width_arcsec=3.2)
    one = picture("one", (light,))
    again = picture("again", (light,), finished=PartialDate(2026, 2, 1))
    whole = archive(one, again)
    sizes = {"one": (3124, 2088), "again": (6248, 4176)}
    both = archive_facts(whole, Almanac(whole), sizes, {}).pictures
    older, newer = growth((both["one"], both["again"]))
    text = set_macro("history.html", "added", note=growth_note(newer))
    assert text.strip().startswith("The same sessions as the picture before.")
    assert "0 min" not in text
    assert "0.000" not in text
    assert (older.same_sessions, newer.same_sessions) == (False, True)

"""Films, mosaics, comets and depths in words: what pages say is what the facts say."""

from __future__ import annotations

import json
import re
from datetime import UTC, date, datetime
from functools import cache
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from noctuary.archive.records import OwnObject
from noctuary.facts.almanac import Almanac
from noctuary.facts.archive_facts import ArchiveFacts, archive_facts
from noctuary.facts.placement_summary import placement_numbers
from noctuary.pages.exports.acquisition import COLUMNS, Rows, acquisition
from noctuary.pages.exports.facts_json import picture_json
from noctuary.pages.page_list import pages, site_model
from noctuary.pages.picture_view import PictureView, Source
from noctuary.pages.render import Renderer
from noctuary.pages.theme import theme_folders
from noctuary.sky.placement import from_centre

from tests.builders.records import MARK, archive, frames, picture, place, rig, session

REFRACTOR = rig("refractor", focal=480, aperture=80)
PIXELS = (600, 400)
COMET = OwnObject(name="C/2023 A3", kind="comet", mark=MARK)


def night(name: str, day: date, *groups, index: int = 0, **more):
    values: dict[str, Any] = {"rig": REFRACTOR, "sky_brightness": 21.0, "hours": 5.0} | more
    return session(index, written_in=name, night=day, groups=groups, **values)


def panel(name: str, day: int, minutes: int):
    own = night(name, date(2024, 8, day), frames(60, minutes), target="NGC 6960")
    return picture(name, (own,), objects=("NGC 6960",), finished=date(2024, 8, 20), listed=name != "east")


@cache
def facts() -> ArchiveFacts:
    film = night("sun", date(2024, 6, 18), frames(1 / 250, 300, 2000), target="Sun", hours=0.5, star_width_arcsec=2.0,
                 start=datetime(2024, 6, 18, 10, tzinfo=UTC))  # fmt: skip
    moon = night("moon", date(2024, 2, 17), frames(1 / 100, 200, 1000), target="Moon", hours=0.5)
    comet = night("comet", date(2024, 10, 14), frames(60, 120, 150), target="C/2023 A3", hours=2.5)
    known = night("ring", date(2024, 7, 1), frames(60, 60, 60), target="M 57", sky_brightness=20.0)
    more = night("ring", date(2024, 7, 2), frames(300, 24, 30, filter="H-alpha"), target="M 57", index=1,
                 sky_brightness=None, place=place(sky_brightness=None))  # fmt: skip
    records = archive(
        picture("sun", (film,), objects=("Sun",), finished=date(2024, 6, 19)),
        picture("moon", (moon,), objects=("Moon",), finished=date(2024, 2, 18)),
        picture("comet", (comet,), objects=("C/2023 A3",), finished=date(2024, 10, 20)),
        picture("ring", (known, more), objects=("M 57",), finished=date(2024, 7, 9)),
        panel("west", 1, 225), panel("east", 2, 225),
        picture("veil", (), objects=("NGC 6960",), panels=("west", "east"), finished=date(2024, 9, 1)),
        own_objects=(COMET,), reference_rig=REFRACTOR,
    )  # fmt: skip
    # The mosaic lies around 20h 50m, +30.7°, its panels half a degree to the west and to the east of that.
    placements = {
        name: placement_numbers(from_centre(ra, 30.7, scale, 0.0, False, *PIXELS))
        for name, ra, scale in (("veil", 312.5, 12.0), ("west", 311.9, 6.0), ("east", 313.1, 6.0))
    }
    return archive_facts(records, Almanac(records), dict.fromkeys(records.pictures, PIXELS), placements)


@cache
def site() -> dict[str, str]:
    """Address → HTML."""
    whole = facts()
    shown = {}
    for name, record in whole.archive.pictures.items():
        source = Source(f"images/{name}.jpg", *PIXELS, "jpeg")
        page = f"pictures/{name}.html"
        shown[name] = PictureView(name, record.title, "A picture", page, *PIXELS, "#241a30", (source,), source)
    renderer = Renderer(theme_folders(None, Path("no-archive-here")), "en")
    plans = pages(site_model(whole, shown))
    return {plan.path: renderer.render(plan.page()) for plan in plans if plan.path.endswith(".html")}


def words(address: str) -> str:
    """What a reader reads, with every space of one kind."""
    body = re.sub(r"(?s)<(script|style|svg).*?</\1>", " ", site()[address])
    return " ".join(re.sub(r"\s|&NoBreak;", " ", unescape(re.sub(r"<[^>]+>", " ", body))).split())


def test_a_film_is_told_by_its_frames():
    text = words("pictures/sun.html")
    assert re.search(r"300 of 2,000 frames of 1/250 s on (18 June|June 18,) 2024", text)
    assert "over one night" not in text
    assert "15 % of the frames taken are in the picture" in text


@pytest.mark.parametrize("name", ["sun", "moon"])
def test_the_sun_and_the_moon_have_no_depth_no_light_and_no_star_width(name):
    text = words(f"pictures/{name}.html")
    for word in ("Light gathered", "Depth", "FWHM", "Stars 2", "half a magnitude", "Shutter open"):
        assert word not in text
    plain = json.loads(json.dumps(picture_json(facts().pictures[name])))
    assert (plain["light_m2_h"], plain["depth_mag"], plain["depth_sessions_without_sky"]) == (None, None, 0)
    assert plain["optics"]["sampling_px"] is None


def test_the_moon_is_no_distance_away_from_itself():
    assert " away" not in words("pictures/moon.html")
    assert picture_json(facts().pictures["moon"])["sessions"][0]["moon"]["separation_deg"] is None
    assert " away" in words("pictures/ring.html") or "below the horizon" in words("pictures/ring.html")


@pytest.mark.parametrize("target", ["sun", "moon", "c-2023-a3"])
def test_what_moves_has_no_card_no_season_and_no_half_magnitude(target):
    assert f"cards/{target}.html" not in site()
    text = words(f"targets/{target}.html")
    assert "half a magnitude" not in text
    assert "It has no fixed place on the sky" in text
    assert 'class="chart season"' not in site()[f"targets/{target}.html"]
    assert "cards/m-57.html" in site()


def test_a_comet_is_told_with_its_date():
    assert re.search(r"2 h on (14 October|October 14,) 2024", words("pictures/comet.html"))


def test_films_stand_apart_from_what_a_year_kept():
    # Deep-sky exposures of 2024: the comet 120 of 150 min, the ring 60 of 60 and 120 of 150, the panels 225 of 225
    # each: 750 of 810 min, 93 %. The films' 500 of 3000 frames would make 26 % of the frames of it.
    text = words("years/2024.html")
    assert "93 % of 13 h 30 min of deep-sky exposures kept" in text
    assert "Sun, Moon and planets: 500 of 3,000 frames kept" in text
    seen_first = text[text.index("New targets") : text.index("Hours by month")]
    assert "Sun" not in seen_first
    assert "Moon" not in seen_first
    assert "M 57" in seen_first


def test_a_depth_that_leaves_light_out_says_at_least_and_which():
    # One hour with the reference rig under 20.0: 1.25 * log10(10^-0.4) = -0.50; two hours under an unknown sky.
    text = words("pictures/ring.html")
    assert "at least −0.50 mag/arcsec²" in text
    assert "The sky of one session is not recorded, so its light is left out." in text
    plain = picture_json(facts().pictures["ring"])
    assert plain["depth_mag"] == pytest.approx(-0.5)
    assert plain["depth_sessions_without_sky"] == 1


def test_a_mosaic_says_its_panels_and_shows_where_they_lie():
    text, html = words("pictures/veil.html"), site()["pictures/veil.html"]
    assert "7 h 30 min in two panels of 3 h 45 min over two nights" in text
    assert 'content="Veil: 7 h 30 min in two panels of 3 h 45 min' in " ".join(re.sub(r"\s", " ", html).split())
    # pi/4 * 0.08^2 * 3.75 h = 0.01885 m2 h and 1.25 * log10(3.75) = 0.72, of one panel.
    assert "0.019 m²·h" in text
    assert "+0.72 mag/arcsec²" in text
    # West lies to the right of the middle, north being up; a degree of right ascension is 0.86° there.
    drawn = re.search(r'(?s)<svg class="panel-outlines".*?</svg>', html)
    assert drawn is not None
    places = {n: float(x) for x, n in re.findall(r'<text x="([\d.]+)"[^>]*>(\d)</text>', drawn[0])}
    assert places["1"] > 300 > places["2"]
    assert places["1"] - places["2"] == pytest.approx(1.2 * 0.8599 * 3600 / 12.0, rel=0.01)
    panels = html[html.index('id="panels"') :]
    assert 'href="west.html"' in panels
    assert 'href="east.html"' not in panels
    assert "images/east.jpg" in panels


def test_altitudes_on_the_page_are_those_of_the_data():
    sky = picture_json(facts().pictures["ring"])["sessions"][0]["target"]
    least, greatest = round(sky["altitude_least_deg"]), round(sky["altitude_greatest_deg"])
    assert f"Altitude {least}–{greatest}°" in words("pictures/ring.html")


def test_a_night_of_two_rigs_is_one_night_and_a_film_through_two_names_both():
    large = rig("reflector", focal=1000, aperture=200)
    both = (
        night("jupiter", date(2024, 9, 26), frames(1 / 100, 500, 5000), target="Jupiter", rig=large, hours=0.2),
        night("jupiter", date(2024, 9, 26), frames(1 / 50, 600, 3000), target="Jupiter", index=1, hours=0.2,
              star_width_arcsec=2.0),
    )  # fmt: skip
    records = archive(
        picture("jupiter", both, objects=("Jupiter",), finished=date(2024, 10, 1)), reference_rig=REFRACTOR
    )
    whole = archive_facts(records, Almanac(records), {"jupiter": PIXELS}, {})
    source = Source("images/jupiter.jpg", *PIXELS, "jpeg")
    page = "pictures/jupiter.html"
    views = {"jupiter": PictureView("jupiter", "Jupiter", "A", page, *PIXELS, "#000000", (source,), source)}
    renderer = Renderer(theme_folders(None, Path("no-archive-here")), "en")
    told = {plan.path: plan.page() for plan in pages(site_model(whole, views))}
    text = " ".join(unescape(re.sub(r"<[^>]+>", " ", renderer.render(told["targets/jupiter.html"]))).split())
    assert "One night, 17 s" in text
    assert "26 September , reflector" in text
    assert "26 September , refractor" in text
    assert "500 of 5,000 frames of 1/100 s and 600 of 3,000 frames of 1/50 s" in text
    assert "5 s at 1000 mm and 12 s at 480 mm" in text
    table = acquisition("", whole.pictures["jupiter"].sessions, Rows(whole.names, {}))
    widths = [dict(zip((c.name for c in COLUMNS), row, strict=True))["star_width_arcsec"] for row in table.rows]
    assert widths == [None, None]

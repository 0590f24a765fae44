"""Charts of the sky: a night, a season, the map, the finder, panels; by their numbers, and against other engines."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from datetime import UTC, date, datetime, timedelta

import ephem
import pytest
from noctuary.charts import night, season
from noctuary.charts.night import Curve, NightChart, night_chart
from noctuary.charts.panels import PanelOutline, PanelsChart
from noctuary.charts.season import SeasonChart
from noctuary.charts.sky_map import FINDER_DEG, FINDER_SIZE, MAP_HEIGHT, MAP_WIDTH, Finder, Outline, SkyMap, Spot
from noctuary.pages.typography import Typography
from noctuary.sky.placement import from_centre

WORDS = Typography("en")
PLACE = (47.0, 8.0, 500.0)
ORION = (83.8221, -5.3911)
START, END = datetime(2024, 1, 12, 19, 0, tzinfo=UTC), datetime(2024, 1, 12, 22, 0, tzinfo=UTC)


def text_of(svg: ET.Element) -> str:
    return (svg.get("aria-label") or "").replace("\N{NARROW NO-BREAK SPACE}", " ").replace("\N{NO-BREAK SPACE}", " ")


def paths(svg: ET.Element, kind: str) -> list[list[tuple[float, float]]]:
    """The corners of each line of a class; lines of straight pieces only."""
    found = []
    for path in svg.iter("path"):
        if path.get("class") == kind:
            numbers = [float(n) for n in re.findall(r"-?[\d.]+", path.get("d") or "")]
            found.append(list(zip(numbers[::2], numbers[1::2], strict=True)))
    return found


def night_svg() -> ET.Element:
    curve = Curve("Orion Nebula", *ORION, None, ((START, END),))
    chart = night_chart("Hill", PLACE, "Europe/Zurich", 30.0, (curve,))
    assert chart is not None
    return ET.fromstring(chart.svg(WORDS))


def ephem_altitude(at: datetime, ra_deg: float, dec_deg: float) -> float:
    observer = ephem.Observer()
    observer.lat, observer.lon, observer.elevation, observer.pressure = str(PLACE[0]), str(PLACE[1]), PLACE[2], 0
    observer.date = ephem.Date(at.replace(tzinfo=None))
    body = ephem.FixedBody()
    body._ra, body._dec, body._epoch = math.radians(ra_deg), math.radians(dec_deg), ephem.J2000
    body.compute(observer)
    return math.degrees(float(body.alt))


def test_a_nights_session_is_drawn_at_the_altitudes_that_another_engine_has() -> None:
    (bar,) = paths(night_svg(), "session")
    for (_, y), at in ((bar[0], START), (bar[-1], END)):
        altitude = 90 * (1 - (y - night.TOP) / (night.HEIGHT - night.TOP - night.BOTTOM))
        assert altitude == pytest.approx(ephem_altitude(at, *ORION), abs=0.1)


def test_a_nights_text_gives_clock_times_of_the_place_and_the_dark_hours() -> None:
    said = text_of(night_svg())
    observer = ephem.Observer()
    observer.lat, observer.lon, observer.pressure, observer.horizon = str(PLACE[0]), str(PLACE[1]), 0, "-18"
    observer.date = ephem.Date("2024/1/12 15:00")
    dusk = observer.next_setting(ephem.Sun(), use_center=True).datetime() + timedelta(hours=1)  # CET
    found = re.search(r"Hill, dark from (\d\d):(\d\d) to \d\d:\d\d", said)
    assert found is not None
    assert abs(60 * int(found[1]) + int(found[2]) - (60 * dusk.hour + dusk.minute)) <= 2
    assert re.search(r"Orion Nebula from 20:00 at \d+° to 23:00 at \d+°", said)


def test_a_night_without_times_or_places_of_its_targets_has_no_chart() -> None:
    assert night_chart("Hill", PLACE, "UTC", 30.0, (Curve("M 42", *ORION, None, ()),)) is None
    assert night_chart("Hill", PLACE, "UTC", 30.0, (Curve("?", None, None, None, ((START, END),)),)) is None


def test_names_of_targets_at_one_height_do_not_cover_each_other() -> None:
    curves = tuple(Curve(f"Target {i}", *ORION, None, ((START, END),)) for i in range(4))
    svg = ET.fromstring(NightChart("Hill", *PLACE, "UTC", 30.0, curves).svg(WORDS))
    at = [float(t.get("y") or 0) for t in svg.iter("text") if (t.text or "").startswith("Target")]
    assert len(at) == 4
    assert all(abs(a - b) >= night.LABEL_GAP for i, a in enumerate(at) for b in at[:i])


def test_a_season_is_highest_where_the_target_is_opposite_the_sun() -> None:
    chart = SeasonChart("Hill", PLACE[0], PLACE[1], *ORION, 20.0, 2024)
    svg = ET.fromstring(chart.svg(WORDS))
    (line,) = paths(svg, "line")
    peak = min(line, key=lambda point: point[1])
    share = (peak[0] - season.LEFT) / (season.WIDTH - season.LEFT - season.RIGHT)
    # Right ascension 5h 35m is opposite the Sun in mid December (common practice: charts of the season).
    best = date(2024, 1, 1) + timedelta(days=365 * share)
    assert best.month in (12, 1)
    assert chart.best_month in (12, 1)
    assert re.search(r"From Hill above 20° in darkness for up to \d+ h", text_of(svg))


def test_a_target_that_never_rises_has_a_season_without_a_line_above_the_foot() -> None:
    svg = ET.fromstring(SeasonChart("Hill", 60.0, 8.0, 100.0, -80.0, 20.0, 2024).svg(WORDS))
    (line,) = paths(svg, "line")
    assert {y for _, y in line} == {max(y for _, y in line)}
    assert text_of(svg) == "From Hill never above 20° in darkness."


def hammer_px(ra: float, dec: float) -> tuple[float, float]:
    """Hammer's projection (1892) with 0 h in the middle and right ascension growing to the left, in px of the map."""
    lon, lat = math.radians((ra + 180) % 360 - 180), math.radians(dec)
    size = math.sqrt(2 / (1 + math.cos(lat) * math.cos(lon / 2)))
    x, y = -2 * size * math.cos(lat) * math.sin(lon / 2), size * math.sin(lat)  # within 2√2 and √2
    across, down = MAP_WIDTH / 2 - 8, MAP_HEIGHT / 2 - 4
    return MAP_WIDTH / 2 + x / (2 * math.sqrt(2)) * across, MAP_HEIGHT / 2 - y / math.sqrt(2) * down


def test_the_map_has_each_picture_and_target_where_hammers_projection_puts_it() -> None:
    corners = ((82.0, -4.0), (85.0, -4.0), (85.0, -7.0), (82.0, -7.0))
    svg = ET.fromstring(
        SkyMap((Outline("Great Nebula", "pictures/m42.html", corners),), (Spot("M 42", "t.html", *ORION),)).svg(WORDS)
    )
    links = {link.get("href") for link in svg.iter("a")}
    assert links == {"pictures/m42.html", "t.html"}
    (link,) = (a for a in svg.iter("a") if a.get("href") == "pictures/m42.html")
    numbers = [float(n) for n in re.findall(r"-?[\d.]+", next(link.iter("path")).get("d") or "")]
    xs, ys = numbers[::2], numbers[1::2]
    wanted = [hammer_px(*corner) for corner in corners]
    assert min(xs) == pytest.approx(min(x for x, _ in wanted), abs=1.5)
    assert max(xs) == pytest.approx(max(x for x, _ in wanted), abs=1.5)
    assert min(ys) == pytest.approx(min(y for _, y in wanted), abs=1.5)
    assert text_of(svg).startswith("The whole sky with 1 pictures outlined")


def test_the_narrow_map_has_each_half_of_the_sky_around_its_middle() -> None:
    # Zenithal equidistant (Calabretta & Greisen 2002, ARC): 90° are the radius of a disc, 172 px of 350.
    spots = {"middle": (90.0, 0.0), "pole": (90.0, 89.999), "west": (45.0, 0.0), "other": (270.0, -45.0)}
    chart = SkyMap((), tuple(Spot(name, f"{name}.html", *at) for name, at in spots.items()))
    svg = ET.fromstring(chart.narrow_svg(WORDS))
    found = {
        link.get("href"): [float(spot.get(axis) or 0) for axis in ("cx", "cy")]
        for link in svg.iter("a")
        for spot in link.iter("circle")
    }
    assert found["middle.html"] == [175, 175]
    assert found["pole.html"] == [pytest.approx(175, abs=0.1), pytest.approx(3, abs=0.1)]
    assert found["west.html"] == [175 + 172 / 2, 175]  # east is left
    assert found["other.html"] == [175, 364 + 175 + 172 / 2]


def test_names_on_the_narrow_map_never_lie_on_each_other_and_every_target_is_a_link() -> None:
    crowd = tuple(Spot(f"NGC {6000 + n}", f"{n}.html", 235 + n % 8 * 10, n // 8 * 8.0 - 30) for n in range(80))
    svg = ET.fromstring(SkyMap((), crowd).narrow_svg(WORDS))
    assert {a.get("href") for a in svg.iter("a")} == {spot.href for spot in crowd}
    words = [(float(t.get("x") or 0), float(t.get("y") or 0), 6.4 * len(t.text or "")) for t in svg.iter("text")]
    assert len([t for t in svg.iter("text") if t.get("class") == "label"]) > 10
    for n, (x, y, width) in enumerate(words):
        for other_x, other_y, other_width in words[:n]:
            assert not (x < other_x + other_width and other_x < x + width and abs(y - other_y) < 10)
    # A mark without its name says it by its title.
    for link in svg.iter("a"):
        assert {child.tag for child in link} & {"text", "title"}


def test_a_finder_has_its_target_in_the_middle_and_the_picture_to_scale() -> None:
    half = 1.0
    ra, dec = 83.0, 0.0
    corners = ((ra + half, half), (ra - half, half), (ra - half, -half), (ra + half, -half))
    finder = Finder("M 42", ra, dec, (Outline("P", "p.html", corners),), (600.0, 300.0), 90.0, True, None)
    svg = ET.fromstring(finder.svg(WORDS))
    (link,) = svg.iter("a")
    numbers = [float(n) for n in re.findall(r"-?[\d.]+", next(link.iter("path")).get("d") or "")]
    assert max(numbers[::2]) - min(numbers[::2]) == pytest.approx(FINDER_SIZE * 2 * half / FINDER_DEG, rel=0.03)
    assert (max(numbers[::2]) + min(numbers[::2])) / 2 == pytest.approx(FINDER_SIZE / 2, abs=2)
    (extent,) = paths(svg, "extent")
    wide = max(x for x, _ in extent) - min(x for x, _ in extent)
    tall = max(y for _, y in extent) - min(y for _, y in extent)
    assert wide == pytest.approx(FINDER_SIZE * 10 / FINDER_DEG, rel=0.03)  # the longer axis lies east and west
    assert tall == pytest.approx(wide / 2, rel=0.03)
    assert "20° of sky around M 42" in text_of(svg)


def test_panels_are_outlined_on_the_mosaic_where_their_corners_are() -> None:
    mosaic = from_centre(10.0, 41.0, 4.0, 0.0, False, 2000, 1000)
    right, right_dec = (float(v) for v in mosaic.sky(1499.5, 499.5))
    left, left_dec = (float(v) for v in mosaic.sky(499.5, 499.5))
    west = from_centre(right, right_dec, 4.0, 0.0, False, 1000, 1000)
    east = from_centre(left, left_dec, 4.0, 0.0, False, 1000, 1000)
    chart = PanelsChart(
        mosaic.to_plain(), (PanelOutline(1, "West", west.corners_deg), PanelOutline(2, "East", east.corners_deg))
    )
    svg = ET.fromstring(chart.svg(WORDS))
    first, second = ((float(t.get("x") or 0), float(t.get("y") or 0), t.text) for t in svg.iter("text"))
    assert first == (pytest.approx(1499.5, abs=2), pytest.approx(499.5, abs=2), "1")
    assert second == (pytest.approx(499.5, abs=2), pytest.approx(499.5, abs=2), "2")
    assert text_of(svg).endswith("1 West, 2 East")
    # A panel on the other side of the sky cannot be drawn and is not spoken of.
    away = PanelOutline(3, "Away", tuple(((ra + 180) % 360, -dec) for ra, dec in west.corners_deg))
    assert "Away" not in text_of(ET.fromstring(PanelsChart(mosaic.to_plain(), (away,)).svg(WORDS)))

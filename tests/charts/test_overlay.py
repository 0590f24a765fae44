"""What is laid over a picture lies where the sky says, for every way a picture can lie."""

import math
import re
from itertools import pairwise
from xml.etree import ElementTree

import pytest
from noctuary.charts.overlay import MarkedObject, Overlay
from noctuary.charts.season import SeasonChart
from noctuary.charts.sky_map import Finder, Outline, SkyMap, Spot
from noctuary.pages.typography import Typography
from noctuary.sky.map_projection import around, ecliptic, galactic_plane, hammer
from noctuary.sky.placement import from_centre

VOICE = Typography("en")
WIDTH, HEIGHT, SCALE = 1500, 1000, 6.0
WAYS = [
    (98.0, 5.0, 0.0, False),
    (98.0, 5.0, 90.0, False),
    (98.0, 5.0, 180.0, False),
    (98.0, 5.0, 33.0, True),
    (200.0, 89.0, 20.0, False),
    (200.0, -89.0, 20.0, True),
    (0.05, -12.0, 350.0, False),
]
IDS = ["up is north", "up is east", "upside down", "mirrored", "north pole", "south pole", "across 0h"]


def layer(ra, dec, angle, mirrored, marked=()):
    placement = from_centre(ra, dec, SCALE, angle, mirrored, WIDTH, HEIGHT)
    svg = Overlay(placement.to_plain(), tuple(marked)).svg(VOICE)
    return placement, ElementTree.fromstring(svg)


def group(root, name):
    return next(g for g in root.iter("g") if g.get("class") == name)


def drawn(path):
    """The points of a path of moves and relative steps."""
    points: list[tuple[float, float]] = []
    for letter, numbers in re.findall(r"([Ml])([^Mlz]*)", path.get("d")):
        values = [float(number) for number in re.findall(r"-?[\d.]+", numbers)]
        for x, y in zip(values[::2], values[1::2], strict=True):
            points.append((x, y) if letter == "M" else (points[-1][0] + x, points[-1][1] + y))
    return points


def size_of(text):
    return float(text.get("font-size"))


def box(text):
    """Left, top, right, bottom of a label, by the narrow letters that its setting reckons with."""
    size, x, y = size_of(text), float(text.get("x")), float(text.get("y"))
    length = 0.45 * size * len(text.text)
    left = x - {"start": 0, "middle": length / 2, "end": length}[text.get("text-anchor", "start")]
    return left, y - 0.7 * size, left + length, y


@pytest.mark.parametrize(("ra", "dec", "angle", "mirrored"), WAYS, ids=IDS)
def test_arrows_point_north_and_east(ra, dec, angle, mirrored):
    placement, root = layer(ra, dec, angle, mirrored)
    shown = group(group(root, "of-bearings"), "names wide")
    shafts = [re.fullmatch(r"M[\d.-]+ [\d.-]+l([\d.-]+) ([\d.-]+)", p.get("d")) for p in shown.iter("path")][:1]
    shafts += [re.fullmatch(r"M[\d.-]+ [\d.-]+l([\d.-]+) ([\d.-]+)", p.get("d")) for p in shown.iter("path")][1:2]
    north, east = ((float(m[1]), float(m[2])) for m in shafts)
    x0, y0 = placement.middle_px
    here = placement.centre
    there = placement.pixel(here[0], here[1] + 0.01)
    expected = math.atan2(float(there[1]) - y0, float(there[0]) - x0)
    assert math.atan2(north[1], north[0]) == pytest.approx(expected, abs=0.01)
    there = placement.pixel(here[0] + 0.01 / math.cos(math.radians(here[1])), here[1])
    expected = math.atan2(float(there[1]) - y0, float(there[0]) - x0)
    assert math.cos(math.atan2(east[1], east[0]) - expected) == pytest.approx(1, abs=0.001)


@pytest.mark.parametrize(("ra", "dec", "angle", "mirrored"), WAYS, ids=IDS)
def test_the_grid_lies_on_round_coordinates_and_its_labels_in_the_frame(ra, dec, angle, mirrored):
    placement, root = layer(ra, dec, angle, mirrored)
    grid = group(root, "of-grid")
    lines = [p for p in grid.iter("path") if p.get("class") in {"ra", "dec"}]
    assert len([p for p in lines if p.get("class") == "ra"]) >= 2
    assert len([p for p in lines if p.get("class") == "dec"]) >= 2
    for line in lines:
        points = drawn(line)
        sky = [placement.sky(x, y) for x, y in points]
        if line.get("class") == "dec":
            spread = {round(float(d), 2) for _, d in sky}
            assert max(spread) - min(spread) <= 0.011
        for x, y in points:
            assert -1 <= x <= WIDTH
            assert -1 <= y <= HEIGHT
    for name in ("narrow", "middling", "wide"):
        labels = list(group(grid, f"names {name}").iter("text"))
        assert labels
        boxes = [box(t) for t in labels]
        for left, top, right, bottom in boxes:
            assert left >= -1
            assert top >= -1
            assert right <= WIDTH
            assert bottom <= HEIGHT
        for i, a in enumerate(boxes):
            for b in boxes[:i]:
                assert a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]


@pytest.mark.parametrize(("ra", "dec", "angle", "mirrored"), WAYS, ids=IDS)
def test_objects_are_ringed_where_they_lie_at_their_size(ra, dec, angle, mirrored):
    placement = from_centre(ra, dec, SCALE, angle, mirrored, WIDTH, HEIGHT)
    at = placement.sky(WIDTH * 0.4, HEIGHT * 0.55)
    x, y = WIDTH * 0.4, HEIGHT * 0.55
    thing = MarkedObject("Thing", float(at[0]), float(at[1]), x, y, (20.0, 8.0), 30.0, True, None, False, 0)
    _, root = layer(ra, dec, angle, mirrored, [thing])
    ellipse = next(p for p in group(root, "of-objects").iter("ellipse") if p.get("class") == "thing")
    middle = float(ellipse.get("cx")), float(ellipse.get("cy"))
    assert math.dist(middle, (thing.x, thing.y)) < 0.3
    assert float(ellipse.get("rx")) == pytest.approx(10 * 60 / SCALE, rel=0.01)
    assert float(ellipse.get("ry")) == pytest.approx(4 * 60 / SCALE, rel=0.01)
    turned, *about = (float(number) for number in re.findall(r"[\d.]+", ellipse.get("transform")))
    assert tuple(about) == middle
    turn = math.radians(turned)
    reach = float(ellipse.get("rx"))
    tip = placement.sky(middle[0] + reach * math.cos(turn), middle[1] + reach * math.sin(turn))
    bearing = math.degrees(
        math.atan2(
            math.sin(math.radians(float(tip[0]) - thing.ra_deg)) * math.cos(math.radians(float(tip[1]))),
            math.sin(math.radians(float(tip[1]) - thing.dec_deg)),
        )
    )
    if abs(dec) < 60:  # near a pole north itself turns within the ring
        assert bearing % 180 == pytest.approx(30, abs=3)


def test_names_do_not_touch_and_fewer_fit_on_a_narrow_showing():
    placement = from_centre(98.0, 5.0, SCALE, 0.0, False, WIDTH, HEIGHT)
    things = []
    for i in range(60):
        x, y = 60 + (i * 137) % (WIDTH - 120), 40 + (i * 89) % (HEIGHT - 80)
        at = placement.sky(x, y)
        things.append(
            MarkedObject(f"Object {i}", float(at[0]), float(at[1]), x, y, None, None, False, None, False, i)
        )
    _, root = layer(98.0, 5.0, 0.0, False, things)
    counts = []
    for name in ("narrow", "middling", "wide"):
        labels = list(group(group(root, "of-objects"), f"names {name}").iter("text"))
        boxes = [box(t) for t in labels]
        for i, a in enumerate(boxes):
            assert a[0] >= 0
            assert a[2] <= WIDTH
            for b in boxes[:i]:
                assert a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]
        counts.append(len(labels))
    assert counts[0] < counts[1] < counts[2]


@pytest.mark.parametrize("showing", ["narrow", "middling", "wide"])
def test_no_word_over_a_picture_is_on_another_whatever_is_asked_for(showing):
    """Names, figures of the grid, arrows' letters and the bar's length, with all three layers at once."""
    placement = from_centre(98.0, 5.0, SCALE, 33.0, False, WIDTH, HEIGHT)
    at = [(x, y) for x in range(15, WIDTH, 118) for y in range(12, HEIGHT, 97)]
    marked = []
    for n, (x, y) in enumerate(at):
        ra, dec = placement.sky(x, y)
        marked.append(MarkedObject(f"LBN {900 + n}", float(ra), float(dec), x, y, None, None, False, None, False, n))
    _, root = layer(98.0, 5.0, 33.0, False, marked)
    boxes = [
        box(text)
        for name in ("of-grid", "of-objects", "of-bearings")
        for text in group(group(root, name), f"names {showing}").iter("text")
    ]
    assert len(boxes) > 20
    for n, (left, top, right, bottom) in enumerate(boxes):
        for other in boxes[:n]:
            across = min(right, other[2]) - max(left, other[0])
            down = min(bottom, other[3]) - max(top, other[1])
            assert across <= 0 or down <= 0, (n, showing)


def test_the_bar_is_as_long_as_it_says():
    _, root = layer(98.0, 5.0, 0.0, False)
    shown = group(group(root, "of-bearings"), "names wide")
    bar = next(m for p in shown.iter("path") if (m := re.search(r"M([\d.]+) [\d.]+H([\d.]+)$", p.get("d"))))
    length = float(bar[2]) - float(bar[1])
    label = next(t.text for t in shown.iter("text") if t.text.endswith("′"))
    assert length * SCALE / 60 == pytest.approx(float(label.removesuffix("′")), rel=0.01)


def test_the_whole_sky_keeps_areas_and_the_north_up():
    # Hammer's map is equal-area: the unit square of the poles and the edge fill an ellipse of axes 4 and 2.
    assert hammer(0, 90) == pytest.approx((0, 1))
    assert hammer(180, 0) in (pytest.approx((2, 0)), pytest.approx((-2, 0)))
    assert hammer(90, 0)[0] < 0 < hammer(270, 0)[0]
    step = 0.5
    for ra, dec in ((20, 10), (100, 60), (250, -70)):
        (ax, ay), (bx, by), (cx, cy) = hammer(ra, dec), hammer(ra + step, dec), hammer(ra, dec + step)
        area = abs((bx - ax) * (cy - ay) - (cx - ax) * (by - ay))
        patch = math.radians(step) ** 2 * math.cos(math.radians(dec + step / 2))
        assert area / patch == pytest.approx(0.5, rel=0.02)  # 2π of the ellipse over 4π of the sphere


def test_planes_are_great_circles_through_their_known_points():
    # The ecliptic meets the equator at 0h and 12h, and is 23.44 degrees off it at 6h (IAU 2006 obliquity).
    assert max(dec for _, dec in ecliptic()) == pytest.approx(23.4393, abs=0.01)
    # The galactic centre, Sgr A*, lies within a tenth of a degree of the galactic plane.
    nearest = min(math.hypot(*(around(ra, dec, (266.417, -29.008)) or (99, 99))) for ra, dec in galactic_plane(0.2))
    assert nearest < 0.2


def test_every_outline_leads_to_its_picture_and_lies_where_it_belongs():
    outline = Outline("A & <B>", "pictures/a.html", ((99, 4), (97, 4), (97, 6), (99, 6)))
    root = ElementTree.fromstring(SkyMap((outline,), (Spot("M 1", "targets/m-1.html", 83.6, 22.0),)).svg(VOICE))
    links = {a.get("href"): a for a in root.iter("a")}
    path = next(links["pictures/a.html"].iter("path"))
    points = [tuple(map(float, p.split())) for p in re.split(r"[MLz]", path.get("d")) if p.strip()]
    x, y = hammer(98, 5)
    assert sum(p[0] for p in points) / len(points) == pytest.approx(600 + x * 296, abs=3)
    assert sum(p[1] for p in points) / len(points) == pytest.approx(300 - y * 296, abs=3)
    assert "targets/m-1.html" in links


def test_an_outline_at_the_edge_of_the_map_does_not_cross_it():
    outline = Outline("edge", "e.html", ((178, -5), (182, -5), (182, 5), (178, 5)))
    root = ElementTree.fromstring(SkyMap((outline,), ()).svg(VOICE))
    path = next(next(root.iter("a")).iter("path")).get("d")
    for line in path.split("M")[1:]:
        points = [tuple(map(float, p.split())) for p in line.split("L")]
        assert all(abs(a[0] - b[0]) < 100 for a, b in pairwise(points))


def test_the_finder_is_to_scale():
    outline = Outline("p", "p.html", ((11, 41), (9, 41), (9, 43), (11, 43)))
    root = ElementTree.fromstring(Finder("NGC 224", 10.0, 42.0, (outline,), None, None, False, None).svg(VOICE))
    path = next(next(root.iter("a")).iter("path")).get("d")
    points = [tuple(map(float, p.split())) for p in re.split(r"[ML]", path) if p.strip()]
    high = max(y for _, y in points) - min(y for _, y in points)
    assert high == pytest.approx(2 * 420 / 20, rel=0.02)


def test_the_season_of_orion_is_winter_in_the_north():
    # Common practice: Orion's nebula is a winter target from mid-northern latitudes.
    chart = SeasonChart("garden", 51.0, -3.0, 83.82, -5.39, 25.0, 2025)
    assert chart.best_month in {12, 1}
    assert f"best month: {VOICE.month(chart.best_month)}" in chart.svg(VOICE)
    assert "never" in SeasonChart("garden", 51.0, -3.0, 83.82, -60.0, 25.0, 2025).svg(VOICE)


def test_the_finder_draws_a_target_at_its_size_and_angle():
    chart = Finder("M 31", 10.685, 41.269, (), (178.0, 70.0), 35.0, True, None)
    root = ElementTree.fromstring(chart.svg(VOICE))
    path = next(p for p in root.iter("path") if p.get("class") == "extent")
    points = [tuple(map(float, p.split())) for p in re.split(r"[MLz]", path.get("d")) if p.strip()]
    reach = [math.dist(p, (210.0, 210.0)) for p in points]  # the middle of a chart of 20° in 420 px
    assert max(reach) == pytest.approx(178 / 60 / 2 * 21, rel=0.02)
    assert min(reach) == pytest.approx(70 / 60 / 2 * 21, rel=0.02)
    x, y = points[reach.index(max(reach))]
    # North is up and east is left: 35° from north through east leans to the upper left and the lower right.
    assert math.degrees(math.atan2(210 - x, 210 - y)) % 180 == pytest.approx(35, abs=3)


def test_the_finder_draws_no_ellipse_that_cannot_be_trusted():
    root = ElementTree.fromstring(Finder("Thing", 10.0, 41.0, (), (178.0, 70.0), None, False, None).svg(VOICE))
    assert not [p for p in root.iter("path") if p.get("class") == "extent"]

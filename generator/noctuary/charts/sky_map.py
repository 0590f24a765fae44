"""The whole sky with every picture's outline and every target, and the finder of a target's surroundings."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from functools import lru_cache
from html import escape

from noctuary.charts.drawing import NARROW, Formatter
from noctuary.charts.simplify import simplified
from noctuary.plain_record import plain_record
from noctuary.sky.map_projection import Point, around, ecliptic, galactic_plane, great_circle, hammer, unbroken

MAP_WIDTH, MAP_HEIGHT = 1200, 600
FINDER_SIZE = 420
FINDER_DEG = 20.0
#: An object's own ellipse is drawn on the finder where it is longer than this, in px of the chart.
LEAST_EXTENT = 12.0
#: Stars are drawn in a few sizes: brighter than each magnitude, with so large a dot (in px of the chart).
SIZES = ((0.5, 4.6), (1.5, 3.7), (2.5, 2.9), (3.5, 2.1), (4.2, 1.5), (5.0, 1.1))

#: A line may pass so far from where it belongs, in px of the chart; its points are written to a tenth.
UNSEEN = 0.1
#: Stars of the narrow map are brighter than this: more of them would be a grey.
_BRIGHT = 4.2
#: The halves of the narrow map: right ascension of the middle, degrees, and the upper edge in px.
_HALVES = ((90.0, 0), (270.0, NARROW + 14))
_HALF_RADIUS = NARROW / 2 - 3

#: A word on a map: where it begins, its foot, and how long it is.
Taken = tuple[float, float, float]


@plain_record
class Outline:
    """A picture on the sky: its title, where it leads (relative to the page), corners in ICRS degrees in order."""

    title: str
    href: str
    corners: tuple[Point, ...]


@plain_record
class Spot:
    """A target: its name, where it leads, ICRS degrees."""

    name: str
    href: str
    ra_deg: float
    dec_deg: float


@plain_record
class SkyMap:
    """The whole sky, equal-area, right ascension 0 h in the middle and growing to the left."""

    outlines: tuple[Outline, ...]
    spots: tuple[Spot, ...]

    def svg(self, formatter: Formatter) -> str:
        spots, taken = _spots(self.spots, _on_map)
        parts = [_whole_sky(), *_names_of_the_sky(taken), *_outlines(self.outlines, _on_map, 100.0), *spots]
        return self._element("chart sky", MAP_WIDTH, MAP_HEIGHT, parts, formatter)

    def narrow_svg(self, formatter: Formatter) -> str:
        """Its halves under each other, 0–12 h above 12–24 h, each around the middle of the celestial equator.

        Distances from the middle are true. A target whose name has no room is a mark that leads to it all the same.
        """
        parts = [part for middle, top in _HALVES for part in _half(self, middle, top)]
        return self._element("chart sky narrow", NARROW, _HALVES[-1][1] + NARROW, parts, formatter)

    def _element(self, kind: str, width: int, height: int, parts: Iterable[str], formatter: Formatter) -> str:
        label = formatter.gettext(
            "The whole sky with {count} pictures outlined; the pictures are listed below."
        ).format(count=len(self.outlines))
        return (
            f'<svg class="{kind}" viewBox="0 0 {width} {height}" role="group" '
            f'aria-label="{escape(label)}">' + "".join(parts) + "</svg>"
        )


@plain_record
class Finder:
    """Twenty degrees around a target, north up and east left, with the pictures' outlines and its own to scale.

    Its size is (major, minor) axis in arcminutes, its angle from north through east, as in the catalogue.
    """

    name: str
    ra_deg: float
    dec_deg: float
    outlines: tuple[Outline, ...]
    size_arcmin: tuple[float, float] | None
    position_angle_deg: float | None
    outline: bool
    outline_centre_deg: tuple[float, float] | None

    def svg(self, formatter: Formatter) -> str:
        return _finder(self, formatter)


def _on_map(ra: float, dec: float) -> Point:
    x, y = hammer(ra, dec)
    return MAP_WIDTH / 2 + x * (MAP_WIDTH / 4 - 4), MAP_HEIGHT / 2 - y * (MAP_HEIGHT / 2 - 4)


def _path(lines: Iterable[list[Point]], closed: bool = False) -> str:
    """Lines as the data of a path, without the points that nobody could tell from the line: a page waits for all."""
    end = "z" if closed else ""
    shorter = (simplified(line, UNSEEN) for line in lines)
    return "".join("M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in line) + end for line in shorter)


@lru_cache
def _whole_sky() -> str:
    """What lies under every map of the sky: net, boundaries, planes and stars."""
    from noctuary.sky.atlas import boundaries, stars

    def projected(points: Iterable[Point]) -> list[list[Point]]:
        return unbroken((_on_map(ra, dec) for ra, dec in points), MAP_WIDTH / 6)

    edge = [_on_map(180 - 1e-6, d) for d in range(-90, 91, 3)] + [_on_map(180 + 1e-6, d) for d in range(90, -91, -3)]
    net = [[_on_map((ra + 1e-6) % 360, d) for d in range(-90, 91, 3)] for ra in range(0, 360, 30) if ra != 180]
    net += [line for dec in (-60, -30, 0, 30, 60) for line in projected((ra, dec) for ra in range(181, 540, 3))]
    parts = [
        f'<path class="edge" d="{_path([edge], closed=True)}"/>',
        f'<path class="net" d="{_path(net)}"/>',
        f'<path class="boundary" d="{_path(line for b in boundaries() for line in projected(b))}"/>',
        f'<path class="ecliptic" d="{_path(projected(ecliptic()))}"/>',
        f'<path class="galactic" d="{_path(projected(galactic_plane()))}"/>',
        _dots((star.magnitude, _on_map(star.ra_deg, star.dec_deg)) for star in stars()),
    ]
    return "".join(parts)


def _names_of_the_sky(taken: list[Taken]) -> list[str]:
    """Figures of the net and names of constellations, but for those that would lie under what is ``taken``."""
    from noctuary.sky.atlas import constellations

    parts = []
    figures = [(f"{hour}ʰ", hour * 15 if hour != 12 else 180 - 1e-6, 0) for hour in range(0, 24, 4)]
    figures += [(f"{'+' if dec > 0 else '−'}{abs(dec)}°", 0, dec) for dec in (-60, -30, 30, 60)]
    occupied = list(taken)
    for figure, ra, dec in figures:
        x, y = _on_map(ra, dec)
        box = x + 4, y - 4, 7.0 * len(figure)
        if not _meets(box, occupied):
            occupied.append(box)
            parts.append(f'<text class="scale" x="{x + 4:.0f}" y="{y - 4:.0f}">{figure}</text>')
    for constellation in constellations():
        x, y = _on_map(constellation.label_ra_deg, constellation.label_dec_deg)
        if not _meets((x - 10, y, 20.0), occupied):
            parts.append(
                f'<text class="constellation" x="{x:.0f}" y="{y:.0f}" text-anchor="middle">{constellation.abbr}'
                f"<title>{escape(constellation.name)}</title></text>"
            )
    return parts


def _dots(stars: Iterable[tuple[float, Point]]) -> str:
    """Stars as dots, one path a size: lines of no length with round ends."""
    by_size: dict[float, str] = {size: "" for _, size in SIZES}
    for magnitude, (x, y) in stars:
        size = next((size for limit, size in SIZES if magnitude < limit), SIZES[-1][1])
        by_size[size] += f"M{x:.1f} {y:.1f}h0"
    return "".join(f'<path class="stars" stroke-width="{size}" d="{d}"/>' for size, d in by_size.items() if d)


def _outlines(outlines: Iterable[Outline], lay: Callable[[float, float], Point | None], gap: float) -> list[str]:
    """Outlines as links; a line that jumps further than ``gap`` is cut, as it is at the edge of the sky."""
    parts = []
    for outline in outlines:
        if len(outline.corners) < 3:
            continue
        around_it = great_circle([*outline.corners, outline.corners[0]], 1.0)
        points = [point for point in (lay(ra, dec) for ra, dec in around_it) if point is not None]
        lines = unbroken(points, gap)
        if not lines:
            continue
        parts.append(
            f'<a href="{escape(outline.href)}"><title>{escape(outline.title)}</title>'
            f'<path class="outline" d="{_path(lines)}"/></a>'
        )
    return parts


def _meets(box: Taken, others: Iterable[Taken]) -> bool:
    """Whether a word would lie over others: where each begins, its foot, and how long it is."""
    start, at, width = box
    return any(start < x + w and x < start + width and abs(at - y) < 14 for x, y, w in others)


def _spots(spots: Iterable[Spot], lay: Callable[[float, float], Point]) -> tuple[list[str], list[Taken]]:
    """Names of targets beside their places, moved down where they would cover one another; and where they lie."""
    parts, taken = [], list[Taken]()
    for spot in sorted(spots, key=lambda s: lay(s.ra_deg, s.dec_deg)[1]):
        x, y = lay(spot.ra_deg, spot.dec_deg)
        width = 7.0 * len(spot.name) + 8
        left = x + 8 + width > MAP_WIDTH
        start = x - 8 - width if left else x + 8
        at = y + 4
        while _meets((start, at, width), taken):
            at += 7
        taken.append((start, at, width))
        anchor = "end" if left else "start"
        parts.append(
            f'<a href="{escape(spot.href)}"><circle class="spot" cx="{x:.1f}" cy="{y:.1f}" r="5"/>'
            f'<text class="label" x="{x - 8 if left else x + 8:.1f}" y="{at:.1f}" text-anchor="{anchor}">'
            f"{escape(spot.name)}</text></a>"
        )
    return parts, taken


def _on_half(middle: float, top: int) -> Callable[[float, float], Point | None]:
    """Where the half of the sky around ``middle`` has a place, its upper edge at ``top``."""

    def lay(ra: float, dec: float) -> Point | None:
        point = around(ra, dec, (middle, 0.0))
        if point is None or math.hypot(*point) > 90.0 + 1e-6:
            return None
        return NARROW / 2 + point[0] / 90 * _HALF_RADIUS, top + NARROW / 2 - point[1] / 90 * _HALF_RADIUS

    return lay


def _hours(middle: float) -> range:
    return range(int(middle) - 90, int(middle) + 91, 30)


@lru_cache
def _under_half(middle: float, top: int) -> str:
    """What lies under every map of this half of the sky: net, planes and stars."""
    from noctuary.sky.atlas import stars

    lay = _on_half(middle, top)
    net = [[(ra, dec) for dec in range(-90, 91, 3)] for ra in _hours(middle)]
    net += [[(ra, dec) for ra in range(int(middle) - 90, int(middle) + 91, 3)] for dec in (-60, -30, 0, 30, 60)]
    bright = ((s.magnitude, lay(s.ra_deg, s.dec_deg)) for s in stars() if s.magnitude < _BRIGHT)
    return (
        f'<circle class="edge" cx="{NARROW / 2:.0f}" cy="{top + NARROW / 2:.0f}" r="{_HALF_RADIUS:.0f}"/>'
        f'<path class="net" d="{_path(line for part in net for line in _within(part, lay))}"/>'
        f'<path class="ecliptic" d="{_path(_within(ecliptic(), lay))}"/>'
        f'<path class="galactic" d="{_path(_within(galactic_plane(), lay))}"/>'
        + _dots((magnitude, point) for magnitude, point in bright if point is not None)
    )


def _half(chart: SkyMap, middle: float, top: int) -> Iterable[str]:
    """Half of the sky as a disc, its upper edge at ``top``: what lies under it, then pictures, targets, names."""
    from noctuary.sky.atlas import constellations

    lay = _on_half(middle, top)
    yield _under_half(middle, top)
    yield from _outlines(chart.outlines, lay, NARROW)
    spots = [(s, point) for s in chart.spots if (point := lay(s.ra_deg, s.dec_deg)) is not None]
    taken = [(x - 5, y + 4, 10.0) for _, (x, y) in spots]
    for spot, (x, y) in spots:
        start = _free_place(x, y, 7.0 * len(spot.name), (top, top + NARROW), taken)
        text = ""
        if start is not None:
            taken.append((*start, 7.0 * len(spot.name)))
            text = f'<text class="label" x="{start[0]:.1f}" y="{start[1]:.1f}">{escape(spot.name)}</text>'
        title = "" if text else f"<title>{escape(spot.name)}</title>"
        yield f'<a href="{escape(spot.href)}">{title}<circle class="spot" cx="{x:.1f}" cy="{y:.1f}" r="4"/>{text}</a>'
    for ra in _hours(middle)[1:-1:2]:
        yield from _word("scale", f"{ra // 15}ʰ", lay(ra, 0.0), taken)
    for constellation in constellations():
        yield from _word(
            "constellation", constellation.abbr, lay(constellation.label_ra_deg, constellation.label_dec_deg), taken
        )


def _within(points: Iterable[Point], lay: Callable[[float, float], Point | None]) -> list[list[Point]]:
    """The parts of a line that a map has, each of two points at least."""
    lines: list[list[Point]] = [[]]
    for ra, dec in points:
        if (point := lay(ra % 360, dec)) is None:
            lines.append([])
        else:
            lines[-1].append(point)
    return [line for line in lines if len(line) > 1]


def _free_place(
    x: float, y: float, width: float, rows: tuple[float, float], taken: Iterable[Taken]
) -> tuple[float, float] | None:
    """Where a name of this width stands beside a mark, inside the map and on nothing that is taken; or nowhere."""
    for start, foot in ((x + 7, y + 4), (x - 7 - width, y + 4), (x - width / 2, y - 8), (x - width / 2, y + 17)):
        inside = start >= 1 and start + width <= NARROW - 1 and rows[0] + 12 <= foot <= rows[1] - 2
        if inside and not _meets((start, foot, width), taken):
            return start, foot
    return None


def _word(kind: str, text: str, point: Point | None, taken: list[Taken]) -> Iterable[str]:
    """A word in the middle of a place, where it lies under nothing."""
    if point is None:
        return
    width = 7.0 * len(text)
    start = min(max(point[0] - width / 2, 1.0), NARROW - 1 - width)
    if not _meets((start, point[1], width), taken):
        taken.append((start, point[1], width))
        yield f'<text class="{kind}" x="{start:.1f}" y="{point[1]:.1f}">{text}</text>'


def _finder(chart: Finder, formatter: Formatter) -> str:
    from noctuary.sky.atlas import boundaries_near, constellations, stars

    centre = (chart.ra_deg, chart.dec_deg)
    scale = FINDER_SIZE / FINDER_DEG
    reach = FINDER_DEG * 0.75

    def lay(ra: float, dec: float) -> Point | None:
        # Nothing is nearer than its declination says, which spares the way across most of the sky.
        if abs(dec - centre[1]) > reach * 2 + 1e-6:
            return None
        point = around(ra, dec, centre)
        if point is None or math.hypot(*point) > reach * 2:
            return None
        return FINDER_SIZE / 2 + point[0] * scale, FINDER_SIZE / 2 - point[1] * scale

    def near(ra: float, dec: float) -> bool:
        if abs(dec - centre[1]) > reach:
            return False
        point = around(ra, dec, centre)
        return point is not None and max(abs(point[0]), abs(point[1])) < FINDER_DEG / 2 + 0.3

    def projected(points: Iterable[Point]) -> list[list[Point]]:
        """The parts of a line that cross the chart; everything far off is left away."""
        lines: list[list[Point]] = []
        joined = False
        for ra, dec in points:
            point = lay(ra, dec)
            if point is None:
                joined = False
                continue
            if joined:
                lines[-1].append(point)
            else:
                lines.append([point])
            joined = True
        return [line for line in lines if len(line) > 1]

    arcs = boundaries_near(*centre, reach * 2 + 0.01)
    parts = [
        f'<rect class="edge" x="0.5" y="0.5" width="{FINDER_SIZE - 1}" height="{FINDER_SIZE - 1}"/>',
        f'<path class="boundary" d="{_path(line for arc in arcs for line in projected(arc))}"/>',
        f'<path class="ecliptic" d="{_path(projected(ecliptic()))}"/>',
        f'<path class="galactic" d="{_path(projected(galactic_plane()))}"/>',
    ]
    shown = [(s.magnitude, lay(s.ra_deg, s.dec_deg)) for s in stars() if near(s.ra_deg, s.dec_deg)]
    parts.append(_dots((magnitude, point) for magnitude, point in shown if point is not None))
    for constellation in constellations():
        point = lay(constellation.label_ra_deg, constellation.label_dec_deg)
        if point is not None and near(constellation.label_ra_deg, constellation.label_dec_deg):
            x = min(max(point[0], 50.0), FINDER_SIZE - 50.0)
            parts.append(
                f'<text class="constellation" x="{x:.0f}" y="{point[1]:.0f}" text-anchor="middle">'
                f"{escape(constellation.name)}</text>"
            )
    if chart.outline and chart.size_arcmin and chart.size_arcmin[0] / 60 * scale > LEAST_EXTENT:
        from noctuary.sky.field_contents import outline

        ellipse = zip(*outline(chart), strict=True)
        parts.append(f'<path class="extent" d="{_path(projected((float(ra), float(dec)) for ra, dec in ellipse))}"/>')
    parts += _outlines(chart.outlines, lay, FINDER_SIZE * 3)
    middle = FINDER_SIZE / 2
    parts.append(
        f'<path class="spot" d="M{middle - 12} {middle}h7M{middle + 5} {middle}h7'
        f'M{middle} {middle - 12}v7M{middle} {middle + 5}v7"/>'
    )
    label = formatter.gettext("{degrees}° of sky around {name}, north up, with {count} pictures outlined").format(
        degrees=formatter.number(FINDER_DEG), name=chart.name, count=len(chart.outlines)
    )
    return (
        f'<svg class="chart finder" viewBox="0 0 {FINDER_SIZE} {FINDER_SIZE}" role="group" '
        f'aria-label="{escape(label)}">' + "".join(parts) + "</svg>"
    )

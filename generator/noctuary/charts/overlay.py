"""What can be drawn over a picture: its objects with their names, a grid of coordinates, an arrow and a scale bar.

Drawn in the picture's own pixels, so that it scales with it. Names would shrink with the picture; so they
are set three times, for a narrow, a middling and a wide showing, each with as many as fit without touching, and the
style shows the one that suits. overlay_names.py finds their places.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from html import escape
from itertools import islice
from typing import TYPE_CHECKING, Any

from noctuary.charts.drawing import Formatter
from noctuary.charts.ellipse import ellipse_through
from noctuary.charts.overlay_names import Box, NameSetter, Point, Shape, box_around, ring
from noctuary.charts.simplify import path, simplified
from noctuary.plain_record import plain_record
from noctuary.sexagesimal import parts

if TYPE_CHECKING:
    from noctuary.sky.placement import Placement

#: Width of a picture as it is shown, in CSS pixels that each set of names is made for, with the class it is shown by.
SHOWINGS = ((390, "narrow"), (900, "middling"), (1700, "wide"))
#: On a narrow showing so many names at most: more would hide the picture.
MOST_NARROW_NAMES = 20
LETTER = 14.0  # px on the screen
MOST_OBJECTS = 120
#: An ellipse thinner than this on a wide showing is drawn as a ring of this radius, in px on the screen.
LEAST_RADIUS = 7.0


@plain_record
class MarkedObject:
    """An object over a picture: its name, ICRS degrees, pixel, size in arcmin, angle of its major axis, how bright.

    ``rank``: 0 is named first where names compete for room.
    """

    name: str
    ra_deg: float
    dec_deg: float
    x: float
    y: float
    size_arcmin: tuple[float, float] | None
    position_angle_deg: float | None
    outline: bool
    outline_centre_deg: tuple[float, float] | None
    is_star: bool
    rank: int


@plain_record
class Overlay:
    """The layer of one picture; ``plain`` is its placement as plain numbers."""

    plain: Mapping[str, Any]
    marked: tuple[MarkedObject, ...]

    def svg(self, formatter: Formatter) -> str:
        from noctuary.sky.placement import from_plain

        return _Layer(from_plain(self.plain), self.marked, formatter).svg()


@plain_record
class _Figure:
    """A figure of the grid: its text, where it begins, its foot, and its room."""

    label: str
    x: float
    y: float
    box: Box


def outline_px(placement: Placement, thing: MarkedObject) -> tuple[Point, ...]:
    """Points around an object, in the picture's pixels and beyond them; none where it has no outline that fits it."""
    from noctuary.sky.field_contents import outline

    if thing.size_arcmin is None or not thing.outline:
        return ()
    x, y = placement.pixel(*outline(thing))
    points = [(float(a), float(b)) for a, b in zip(x, y, strict=True) if math.isfinite(a) and math.isfinite(b)]
    return tuple(points) if len(points) > 2 else ()


class _Layer:
    def __init__(self, placement: Placement, marked: tuple[MarkedObject, ...], formatter: Formatter) -> None:
        from noctuary.sky.graticule import graticule

        self.placement, self.formatter = placement, formatter
        self.width, self.height = placement.width_px, placement.height_px
        self.net = graticule(placement)
        #: A tenth of a pixel where the picture is shown a thousand wide.
        self.unseen = self.width / 10_000
        self.marked = sorted(marked, key=lambda m: m.rank)[:MOST_OBJECTS]
        #: What the names of each showing take, once they are set.
        self.named: dict[int, list[Box]] = {}

    def svg(self) -> str:
        text = escape(self._description())
        objects = self._objects()
        return (
            f'<svg class="overlay" viewBox="-0.5 -0.5 {self.width} {self.height}" role="img" aria-label="{text}">'
            f'<g class="of-grid">{self._grid()}</g>'
            f'<g class="of-objects">{objects}</g>'
            f'<g class="of-bearings">{self._bearings()}</g>'
            "</svg>"
        )

    def _description(self) -> str:
        names = [m.name for m in self.marked][:12]
        return self.formatter.gettext("Over the picture: {names}").format(names=", ".join(names))

    # ------------------------------------------------------------------------------------ objects

    def _objects(self) -> str:
        least = LEAST_RADIUS * self.width / SHOWINGS[-1][0]
        parts, shapes = [], []
        for thing in self.marked:
            kind = "star" if thing.is_star else "thing"
            around = () if thing.is_star else self._ellipse(thing, least)
            if around:
                parts.append(self._outline(kind, around))
            else:
                parts.append(f'<circle class="{kind}" cx="{thing.x:.1f}" cy="{thing.y:.1f}" r="{least:.1f}"/>')
                around = ring(thing.x, thing.y, least)
            shapes.append(Shape(thing.name, around))
        for shown, name in SHOWINGS:
            parts.append(f'<g class="names {name}">{self._names(shown, shapes)}</g>')
        return "".join(parts)

    def _ellipse(self, thing: MarkedObject, least: float) -> tuple[Point, ...]:
        """Points around the object where it lies, none where it is too small to be seen as an ellipse."""
        if thing.size_arcmin is None or thing.size_arcmin[0] * 30 / self.placement.image_scale_arcsec_px < least:
            return ()
        return outline_px(self.placement, thing)

    def _outline(self, kind: str, around: tuple[Point, ...]) -> str:
        """The ring as the ellipse that it is on nearly every picture: 72 points of each made half of a page."""
        found = ellipse_through(around, self.unseen)
        if found is None:
            return f'<path class="{kind}" d="{path(simplified(around, self.unseen))}z"/>'
        place = f'cx="{found.x:.1f}" cy="{found.y:.1f}"'
        if found.major - found.minor < self.unseen:
            return f'<circle class="{kind}" {place} r="{found.major:.1f}"/>'
        turned = f"rotate({found.angle_deg:.1f} {found.x:.1f} {found.y:.1f})"
        return f'<ellipse class="{kind}" {place} rx="{found.major:.1f}" ry="{found.minor:.1f}" transform="{turned}"/>'

    def _names(self, shown: int, shapes: list[Shape]) -> str:
        """Names for one showing, with a thin line to those that find no room beside their objects."""
        size = LETTER * self.width / shown
        figures = [figure.box for figure in self._figures(shown)]
        setter = NameSetter(self.width, self.height, size, figures, self._bearing_boxes(shown))
        most = MOST_NARROW_NAMES if shown == SHOWINGS[0][0] else None
        placed = tuple(islice(setter.place(shapes), most))
        self.named[shown] = [name.box for name in placed]
        parts = []
        for named in placed:
            if named.line:
                (x, y), (to_x, to_y) = named.line
                parts.append(f'<path class="lead" d="M{x:.1f} {y:.1f}L{to_x:.1f} {to_y:.1f}"/>')
            held = "" if named.anchor == "start" else f' text-anchor="{named.anchor}"'
            parts.append(
                f'<text x="{named.x:.0f}" y="{named.y:.0f}"{held} font-size="{size:.1f}">{escape(named.name)}</text>'
            )
        return "".join(parts)

    # --------------------------------------------------------------------------------------- grid

    def _grid(self) -> str:
        parts = []
        for line in self.net.lines:
            drawn = "".join(path(simplified(run, self.unseen)) for run in line.runs)
            if drawn:
                parts.append(f'<path class="{line.kind}" d="{drawn}"/>')
        for shown, name in SHOWINGS:
            size = LETTER * 0.92 * self.width / shown
            clear = (f for f in self._figures(shown) if not any(f.box.meets(name) for name in self.named[shown]))
            words = (f'<text x="{f.x:.0f}" y="{f.y:.0f}" font-size="{size:.1f}">{f.label}</text>' for f in clear)
            parts.append(f'<g class="names {name}">{"".join(words)}</g>')
        return "".join(parts)

    def _figures(self, shown: int) -> list[_Figure]:
        """The grid's figures for one showing, clear of one another, of the arrows and of the bar."""
        size = LETTER * 0.92 * self.width / shown
        bearings = self._bearing_boxes(shown)
        figures: list[_Figure] = []
        for line in self.net.lines:
            step = self.net.ra_step_deg if line.kind == "ra" else self.net.dec_step_deg
            label = _hours(line.value_deg, step) if line.kind == "ra" else _degrees(line.value_deg, step)
            for mark in line.marks:
                length = 0.55 * size * len(label)
                x, y = _at_edge(mark.x, mark.y, mark.edge, length, size)
                x = min(max(x, 0.3 * size), self.width - length - 0.3 * size)
                y = min(max(y, 1.1 * size), self.height - 0.4 * size)
                box = Box(x - 0.3 * size, y - size, x + length + 0.3 * size, y + 0.3 * size)
                if not any(box.meets(other) for other in (*bearings, *(figure.box for figure in figures))):
                    figures.append(_Figure(label, x, y, box))
        return figures

    # ----------------------------------------------------------------------------------- bearings

    def _bearing_boxes(self, shown: int) -> tuple[Box, Box]:
        """What the arrows and the bar take in one showing."""
        from noctuary.sky.graticule import north_east, scale_bar

        unit = self.width / shown
        right, low, edge = self.width - 22 * unit, self.height, 52 * unit
        foot = edge, self.height - edge
        tips = [(foot[0] + dx * 50 * unit, foot[1] + dy * 50 * unit) for dx, dy in north_east(self.placement)]
        arrows, room = box_around([foot, *tips]), 8 * unit
        return (
            Box(arrows.left - room, arrows.top - room, arrows.right + room, arrows.bottom + room),
            Box(right - scale_bar(self.placement)[1] - 8 * unit, low - 60 * unit, self.width, low - 22 * unit),
        )

    def _bearings(self) -> str:
        """Arrows to north and east in the lower left, the bar of a round number of arcminutes in the lower right."""
        from noctuary.sky.graticule import north_east, scale_bar

        north, east = north_east(self.placement)
        arcmin, bar = scale_bar(self.placement)
        parts = []
        for shown, name in SHOWINGS:
            unit = self.width / shown
            size, arm, edge = LETTER * unit, 34 * unit, 52 * unit
            x, y = edge, self.height - edge
            words = []
            for (dx, dy), letter in ((north, self.formatter.gettext("N")), (east, self.formatter.gettext("E"))):
                words.append(f'<path d="M{x:.1f} {y:.1f}l{dx * arm:.1f} {dy * arm:.1f}"/>')
                at_x, at_y = x + dx * (arm + 0.7 * size), y + dy * (arm + 0.7 * size) + 0.35 * size
                words.append(
                    f'<text x="{at_x:.1f}" y="{at_y:.1f}" font-size="{size:.1f}" text-anchor="middle">'
                    f"{escape(letter)}</text>"
                )
            tip = 0.28 * arm
            for side in (-0.5, 0.5):
                angle = math.atan2(-north[1], -north[0]) + side
                words.append(
                    f'<path d="M{x + north[0] * arm:.1f} {y + north[1] * arm:.1f}'
                    f'l{math.cos(angle) * tip:.1f} {math.sin(angle) * tip:.1f}"/>'
                )
            right, low, tick = self.width - 22 * unit, self.height - 30 * unit, 4 * unit
            words.append(
                f'<path d="M{right - bar:.1f} {low - tick:.1f}v{2 * tick:.1f}M{right:.1f} {low - tick:.1f}'
                f'v{2 * tick:.1f}M{right - bar:.1f} {low:.1f}H{right:.1f}"/>'
            )
            words.append(
                f'<text x="{right - bar / 2:.1f}" y="{low - 9 * unit:.1f}" font-size="{size:.1f}" '
                f'text-anchor="middle">{_arc(arcmin, self.formatter)}</text>'
            )
            parts.append(f'<g class="names {name}">{"".join(words)}</g>')
        return "".join(parts)


def _at_edge(x: float, y: float, edge: str, length: float, size: float) -> tuple[float, float]:
    if edge == "left":
        return x + 0.4 * size, y - 0.3 * size
    if edge == "right":
        return x - length - 0.4 * size, y - 0.3 * size
    if edge == "top":
        return x + 0.3 * size, y + 1.2 * size
    return x + 0.3 * size, y - 0.5 * size


def _hours(ra_deg: float, step_deg: float) -> str:
    """Right ascension with the parts that the grid's step needs: ``6ʰ``, ``6ʰ 32ᵐ``, ``6ʰ 32ᵐ 30ˢ``."""
    hours, minutes, seconds = parts(ra_deg % 360 / 15, 1, 24)
    text = f"{int(hours)}ʰ"
    if step_deg < 15 or float(minutes) or float(seconds):
        text += f"\u202f{minutes}ᵐ"
    if step_deg < 0.25 or float(seconds):
        text += f"\u202f{seconds.removesuffix('.0')}ˢ"
    return text


def _degrees(dec_deg: float, step_deg: float) -> str:
    """Declination with the parts that the grid's step needs: ``+5°``, ``+4° 30′``, ``+4° 30′ 10″``."""
    degrees, minutes, seconds = parts(abs(dec_deg), 0)
    sign = "" if not any(map(int, (degrees, minutes, seconds))) else "−" if dec_deg < 0 else "+"
    text = f"{sign}{int(degrees)}°"
    if step_deg < 1 or int(minutes) or int(seconds):
        text += f"\u202f{minutes}′"
    if step_deg < 1 / 60 or int(seconds):
        text += f"\u202f{seconds}″"
    return text


def _arc(arcmin: float, formatter: Formatter) -> str:
    """The bar's length in the unit that suits it."""
    if arcmin >= 60:
        return f"{formatter.number(arcmin / 60, 0 if arcmin % 60 == 0 else 1)}°"
    if arcmin >= 1:
        return f"{formatter.number(arcmin)}′"
    return f"{formatter.number(arcmin * 60)}″"

"""What can be laid over a picture: its objects with their names, a grid of coordinates, an arrow and a scale bar.

Drawn in the picture's own pixels, so that it scales with it. Names would shrink with the picture; so they
are set three times, for a narrow, a middling and a wide showing, each with as many as fit without touching,
and the style shows the one that suits.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from html import escape
from typing import TYPE_CHECKING, Any

from noctuary.charts.drawing import Formatter
from noctuary.charts.simplify import thinned
from noctuary.plain_record import plain_record

if TYPE_CHECKING:
    from noctuary.sky.placement import Placement

#: Shown width in CSS pixels that each set of names is made for, with the class it is shown by.
SHOWINGS = ((390, "narrow"), (900, "middling"), (1700, "wide"))
LETTER = 14.0  # px on the screen
MOST_OBJECTS = 120
#: An ellipse thinner than this on a wide showing is drawn as a ring of this radius, in px on the screen.
LEAST_RADIUS = 7.0


@plain_record
class Marked:
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
    marked: tuple[Marked, ...]

    def svg(self, voice: Formatter) -> str:
        from noctuary.sky.placement import from_plain

        return _Layer(from_plain(self.plain), self.marked, voice).svg()


@plain_record
class _Box:
    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: _Box) -> bool:
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )


class _Layer:
    def __init__(self, placement: Placement, marked: tuple[Marked, ...], voice: Formatter) -> None:
        self.placement, self.voice = placement, voice
        self.width, self.height = placement.width_px, placement.height_px
        self.marked = sorted(marked, key=lambda m: m.rank)[:MOST_OBJECTS]

    def svg(self) -> str:
        said = escape(self._story())
        return (
            f'<svg class="overlay" viewBox="-0.5 -0.5 {self.width} {self.height}" role="img" aria-label="{said}">'
            f'<g class="of-grid">{self._grid()}</g>'
            f'<g class="of-objects">{self._objects()}</g>'
            f'<g class="of-bearings">{self._bearings()}</g>'
            "</svg>"
        )

    def _story(self) -> str:
        names = [m.name for m in self.marked][:12]
        return self.voice.gettext("Over the picture: {names}").format(names=", ".join(names))

    # ------------------------------------------------------------------------------------ objects

    def _objects(self) -> str:
        least = LEAST_RADIUS * self.width / SHOWINGS[-1][0]
        parts = []
        for thing in self.marked:
            shape = "star" if thing.is_star else "thing"
            path = None if thing.is_star else self._ellipse(thing, least)
            if path is None:
                parts.append(f'<circle class="{shape}" cx="{thing.x:.1f}" cy="{thing.y:.1f}" r="{least:.1f}"/>')
            else:
                parts.append(f'<path class="{shape}" d="{path}"/>')
        for shown, name in SHOWINGS:
            parts.append(f'<g class="names {name}">{self._names(shown)}</g>')
        return "".join(parts)

    def _ellipse(self, thing: Marked, least: float) -> str | None:
        """The object's outline where it lies, ``None`` where it is too small to be seen as one."""
        from noctuary.sky.placement import outline

        if thing.size_arcmin is None or not thing.outline:
            return None
        scale = self.placement.image_scale_arcsec_px
        if thing.size_arcmin[0] * 30 / scale < least:
            return None
        x, y = self.placement.pixel(*outline(thing))
        points = [(float(a), float(b)) for a, b in zip(x, y, strict=True) if math.isfinite(a) and math.isfinite(b)]
        return "M" + "L".join(f"{a:.1f} {b:.1f}" for a, b in points) + "z" if len(points) > 2 else None

    def _names(self, shown: int) -> str:
        """Names for one showing: each beside its object where there is room in the frame, else left away."""
        unit = self.width / shown  # picture pixels in a pixel of the screen
        size = LETTER * unit
        taken: list[_Box] = []
        parts = []
        for thing in self.marked:
            length = 0.52 * size * len(thing.name) + 0.4 * size
            radius = max(LEAST_RADIUS * self.width / SHOWINGS[-1][0], self._radius(thing)) + 0.35 * size
            for x, y, anchor in self._beside(thing, radius, length, size):
                box = _Box(x, y - size, x + length, y + 0.3 * size)
                inside = box.left >= 0 and box.top >= 0 and box.right <= self.width and box.bottom <= self.height
                if inside and not any(box.meets(other) for other in taken):
                    taken.append(box)
                    # Held by the end that is nearest to the object, so that it stays there when set smaller.
                    at = x + {"start": 0.0, "middle": length / 2, "end": length}[anchor]
                    held = "" if anchor == "start" else f' text-anchor="{anchor}"'
                    parts.append(
                        f'<text x="{at:.0f}" y="{y:.0f}"{held} font-size="{size:.1f}">{escape(thing.name)}</text>'
                    )
                    break
        return "".join(parts)

    def _beside(self, thing: Marked, radius: float, length: float, size: float) -> list[tuple[float, float, str]]:
        """Places for a name, best first: right, left, over, under, and inside a large object; which end holds it."""
        x = min(max(thing.x, 0.0), float(self.width))
        y = min(max(thing.y, 0.0), float(self.height))
        return [
            (x + radius, y + 0.35 * size, "start"),
            (x - radius - length, y + 0.35 * size, "end"),
            (x - length / 2, y - radius, "middle"),
            (x - length / 2, y + radius + size, "middle"),
            (x - length / 2, y + 0.35 * size, "middle"),
            (min(max(x - length / 2, 0.3 * size), self.width - length - 0.3 * size), y + 2 * size, "middle"),
        ]

    def _radius(self, thing: Marked) -> float:
        """Half of an object's mean size in pixels, no more than keeps its name near."""
        if thing.size_arcmin is None or not thing.outline or thing.is_star:
            return 0.0
        mean = sum(thing.size_arcmin) / 2 * 30 / self.placement.image_scale_arcsec_px
        return min(mean, self.width / 8)

    # --------------------------------------------------------------------------------------- grid

    def _grid(self) -> str:
        from noctuary.sky.graticule import graticule

        net = graticule(self.placement)
        parts = []
        for line in net.lines:
            # A tenth of a pixel where a picture is shown a thousand wide: most of the points were half of the page.
            runs = [thinned(run, self.width / 10_000) for run in line.runs]
            path = "".join("M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in run) for run in runs)
            if path:
                parts.append(f'<path class="{line.kind}" d="{path}"/>')
        for shown, name in SHOWINGS:
            size = LETTER * 0.92 * self.width / shown
            taken: list[_Box] = []
            words = []
            for line in net.lines:
                step = net.ra_step_deg if line.kind == "ra" else net.dec_step_deg
                label = _hours(line.value_deg, step) if line.kind == "ra" else _degrees(line.value_deg, step)
                for mark in line.marks:
                    length = 0.55 * size * len(label)
                    x, y = _at_edge(mark.x, mark.y, mark.edge, length, size)
                    x = min(max(x, 0.3 * size), self.width - length - 0.3 * size)
                    y = min(max(y, 1.1 * size), self.height - 0.4 * size)
                    box = _Box(x - 0.3 * size, y - size, x + length + 0.3 * size, y + 0.3 * size)
                    if any(box.meets(other) for other in taken):
                        continue
                    taken.append(box)
                    words.append(f'<text x="{x:.0f}" y="{y:.0f}" font-size="{size:.1f}">{label}</text>')
            parts.append(f'<g class="names {name}">{"".join(words)}</g>')
        return "".join(parts)

    # ----------------------------------------------------------------------------------- bearings

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
            for (dx, dy), letter in ((north, self.voice.gettext("N")), (east, self.voice.gettext("E"))):
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
                f'text-anchor="middle">{_arc(arcmin, self.voice)}</text>'
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
    tenths = round(ra_deg % 360 * 2400) % 864_000
    hours, rest = divmod(tenths, 36_000)
    minutes, rest = divmod(rest, 600)
    text = f"{hours}ʰ"
    if step_deg < 15 or minutes or rest:
        text += f"\u202f{minutes:02d}ᵐ"
    if step_deg < 0.25 or rest:
        text += f"\u202f{rest // 10:02d}ˢ" if rest % 10 == 0 else f"\u202f{rest / 10:04.1f}ˢ"
    return text


def _degrees(dec_deg: float, step_deg: float) -> str:
    """Declination with the parts that the grid's step needs: ``+5°``, ``+4° 30′``, ``+4° 30′ 10″``."""
    seconds = round(abs(dec_deg) * 3600)
    degrees, rest = divmod(seconds, 3600)
    minutes, rest = divmod(rest, 60)
    text = f"{'−' if dec_deg < 0 and seconds else '+' if seconds else ''}{degrees}°"
    if step_deg < 1 or minutes or rest:
        text += f"\u202f{minutes:02d}′"
    if step_deg < 1 / 60 or rest:
        text += f"\u202f{rest:02d}″"
    return text


def _arc(arcmin: float, voice: Formatter) -> str:
    """The bar's length in the unit that suits it."""
    if arcmin >= 60:
        return f"{voice.number(arcmin / 60, 0 if arcmin % 60 == 0 else 1)}°"
    if arcmin >= 1:
        return f"{voice.number(arcmin)}′"
    return f"{voice.number(arcmin * 60)}″"

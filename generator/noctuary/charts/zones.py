"""Star shapes in a 3 × 3 grid: an ellipse a zone, longer than it was so that the eye sees it, its width beside it.

Widths are in pixels of the finished picture and never in arcseconds: processing changed them, and a width on the sky
belongs to a session.
"""

from __future__ import annotations

from collections.abc import Callable
from html import escape

from noctuary.archive.star_file import StarShapes, StarZone
from noctuary.charts.drawing import Formatter
from noctuary.plain_record import plain_record

WIDTH, PAD = 300, 1
#: Least and greatest height, so that the zones of a strip can hold an ellipse and a number.
HEIGHTS = (130.0, 450.0)
#: An ellipse is drawn with its elongation to this power: 1.1 is hardly seen, 1.1³ = 1.33 is.
EXAGGERATION = 3.0
#: Radius of a round ellipse of the usual width, in the chart's units; wider stars are drawn wider.
RADIUS = 13.0
#: No ellipse leaves its zone, and none vanishes.
GREATEST, LEAST = 30.0, 1.0
#: Elongation from which a direction is given; below, it is noise.
LEAST_TOLD = 1.05


@plain_record
class ZonesChart:
    """Nine zones row by row from the top left; ``ratio`` of the picture's sides, width over height."""

    shapes: StarShapes
    ratio: float

    def svg(self, formatter: Formatter) -> str:
        return _svg(self, formatter)


def zones_chart(shapes: StarShapes | None, ratio: float) -> ZonesChart | None:
    """A chart of nine zones, or ``None`` where fewer than six could be measured."""
    if shapes is None or sum(z.width_px is not None and z.elongation is not None for z in shapes.zones) < 6:
        return None
    return ZonesChart(shapes, ratio)


def _svg(chart: ZonesChart, formatter: Formatter) -> str:
    height = min(max(WIDTH / chart.ratio, HEIGHTS[0]), HEIGHTS[1])
    wide, tall = WIDTH / 3, height / 3
    axes = _axes(chart, min(GREATEST, tall / 2 - 9))
    parts = []
    for number, (zone, half) in enumerate(zip(chart.shapes.zones, axes, strict=True)):
        row, column = divmod(number, 3)
        x, y = PAD + column * wide, PAD + row * tall
        parts.append(f'<rect class="zone" x="{x:.1f}" y="{y:.1f}" width="{wide:.1f}" height="{tall:.1f}"/>')
        middle, low = x + wide / 2, y + tall / 2 - 8
        if half is not None:
            turned = -(zone.direction_deg or 0.0)  # the chart's y runs down
            parts.append(
                f'<ellipse class="star" cx="{middle:.1f}" cy="{low:.1f}" rx="{half[0]:.1f}" ry="{half[1]:.1f}" '
                f'transform="rotate({turned:.0f} {middle:.1f} {low:.1f})"/>'
            )
        parts.append(
            f'<text class="scale" x="{middle:.1f}" y="{y + tall - 6:.1f}" text-anchor="middle">'
            f"{escape(_width(zone, formatter))}</text>"
        )
    return (
        f'<svg class="chart zones" viewBox="0 0 {WIDTH + 2 * PAD} {height + 2 * PAD:.0f}" role="img" '
        f'aria-label="{escape(_description(chart, formatter))}">' + "".join(parts) + "</svg>"
    )


def _axes(chart: ZonesChart, most: float) -> list[tuple[float, float] | None]:
    """The half axes of each zone's ellipse, all made smaller together where the longest would leave its zone."""
    widths = sorted(z.width_px for z in chart.shapes.zones if z.width_px is not None)
    usual = widths[len(widths) // 2]
    full: list[tuple[float, float] | None] = []
    for zone in chart.shapes.zones:
        if zone.width_px is None or zone.elongation is None:
            full.append(None)
            continue
        radius, root = RADIUS * zone.width_px / usual, zone.elongation ** (EXAGGERATION / 2)
        full.append((radius * root, radius / root))
    fitting = min(1.0, most / max(axes[0] for axes in full if axes is not None))
    return [axes and (max(axes[0] * fitting, LEAST), max(axes[1] * fitting, LEAST)) for axes in full]


def _width(zone: StarZone, formatter: Formatter) -> str:
    if zone.width_px is None:
        return "—"
    return f"{formatter.number(zone.width_px, 1)}\u202fpx"


def _description(chart: ZonesChart, formatter: Formatter) -> str:
    say = formatter.gettext
    sentences = [_pattern(chart.shapes.pattern, say)]
    places = _places(say)
    for place, zone in zip(places, chart.shapes.zones, strict=True):
        width = _width(zone, formatter)
        if zone.elongation is not None and zone.direction_deg is not None and zone.elongation >= LEAST_TOLD:
            long = say("{elongation} times as long as wide, at {angle}°")
            width += ", " + long.format(
                elongation=formatter.number(zone.elongation, 2), angle=formatter.number(zone.direction_deg)
            )
        sentences.append(f"{place}: {width}")
    heading = say("Star shapes in nine zones, measured on the finished picture: FWHM in px.")
    return f"{heading} {'; '.join(sentences)}."


def _places(say: Callable[[str], str]) -> tuple[str, ...]:
    return (
        say("top left"), say("top"), say("top right"), say("left"), say("middle"), say("right"), say("bottom left"),
        say("bottom"), say("bottom right"),
    )  # fmt: skip


def _pattern(pattern: str, say: Callable[[str], str]) -> str:
    return {
        "round": say("Round from corner to corner"),
        "same direction everywhere": say("Long in one direction everywhere"),
        "radial in the corners": say("Long towards the corners"),
        "along arcs": say("Long along arcs round one point"),
        "one side": say("Worse on one side than on the other"),
        "wider to the corners": say("Round, and wider towards the corners"),
        "wider in the middle": say("Round, and wider in the middle"),
        "wide all round": say("Round, but wide everywhere"),
        "mixed": say("Not round, in no single pattern"),
    }[pattern]

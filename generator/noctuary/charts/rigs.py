"""Integration by rig: for each rig a bar for every year, the latest first."""

from __future__ import annotations

from html import escape

from noctuary.charts.drawing import NARROW, Formatter
from noctuary.plain_record import plain_record

WIDTH, HEAD, BAR, GAP = 560, 24, 18, 12
LEFT, RIGHT = 52, 84


@plain_record
class RigsChart:
    """For each rig its name and (year, seconds of integration), in the order in which it is drawn.

    Bars of ``year``, the one that the chart is about, are heavier.
    """

    year: int
    rigs: tuple[tuple[str, tuple[tuple[int, float], ...]], ...]

    def svg(self, formatter: Formatter) -> str:
        return _svg(self, formatter, WIDTH)

    def narrow_svg(self, formatter: Formatter) -> str:
        return _svg(self, formatter, NARROW)


def _svg(chart: RigsChart, formatter: Formatter, width: int) -> str:
    greatest = max((light for _, years in chart.rigs for _, light in years), default=0.0) or 1.0
    parts, y = [], 0
    for rig, years in chart.rigs:
        parts.append(f'<text class="label" x="0" y="{y + HEAD - 8}">{escape(rig)}</text>')
        y += HEAD
        for year, light in years:
            wide = max(1.5, (width - LEFT - RIGHT) * light / greatest)
            now = year == chart.year
            tall = 12 if now else 7
            label = escape(f"{formatter.hours(light, 1)}\u202fh")
            parts.append(
                f'<text class="scale" x="0" y="{y + 13}">{year}</text>'
                f'<rect class="bar{" now" if now else ""}" x="{LEFT}" y="{y + 9 - tall / 2:.1f}" width="{wide:.1f}" '
                f'height="{tall}"/><text class="scale" x="{LEFT + wide + 6:.1f}" y="{y + 13}">{label}</text>'
            )
            y += BAR
        y += GAP
    return (
        f'<svg class="chart rigs{" narrow" if width == NARROW else ""}" viewBox="0 0 {width} {max(y - GAP, 1)}" '
        f'role="img" aria-label="{escape(_description(chart, formatter))}">' + "".join(parts) + "</svg>"
    )


def _description(chart: RigsChart, formatter: Formatter) -> str:
    sentences = []
    for rig, years in chart.rigs:
        each = ", ".join(f"{formatter.duration(light)} ({year})" for year, light in years)
        sentences.append(f"{rig}: {each}")
    return formatter.gettext("Integration by rig.") + " " + "; ".join(sentences) + "."

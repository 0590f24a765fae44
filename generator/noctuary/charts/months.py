"""Integration by month, a row of bars a year, all to one scale, so that years can be compared."""

from __future__ import annotations

from html import escape

from noctuary.charts.drawing import NARROW, Formatter
from noctuary.plain_record import plain_record

WIDTH, ROW, TOP, BOTTOM = 720, 62, 16, 26
LEFT, RIGHT = 52, 76
#: On a narrow page year and total have a line of their own over the bars, as high as this.
HEAD = 20


@plain_record
class MonthsChart:
    """(year, seconds of integration in each of its twelve months), the year that it is about first."""

    years: tuple[tuple[int, tuple[float, ...]], ...]

    def svg(self, formatter: Formatter) -> str:
        return _svg(self, formatter, narrow=False)

    def narrow_svg(self, formatter: Formatter) -> str:
        return _svg(self, formatter, narrow=True)


def _svg(chart: MonthsChart, formatter: Formatter, *, narrow: bool) -> str:
    width, left, right, head = (NARROW, 0, 0, HEAD) if narrow else (WIDTH, LEFT, RIGHT, 0)
    row_height = ROW + head
    greatest = max((light for _, months in chart.years for light in months), default=0.0) or 1.0
    height = TOP + row_height * len(chart.years) + BOTTOM
    step = (width - left - right) / 12
    parts = []
    for row, (year, months) in enumerate(chart.years):
        base = TOP + row_height * (row + 1) - 4
        beside = base - ROW + 6 if narrow else base
        parts.append(f'<line class="grid" x1="{left}" x2="{width - right}" y1="{base}" y2="{base}"/>')
        parts.append(f'<text class="label{" all" if row == 0 else ""}" x="0" y="{beside}">{year}</text>')
        total = f"{formatter.hours(sum(months), 1)}\u202fh"
        parts.append(f'<text class="scale" x="{width}" y="{beside}" text-anchor="end">{escape(total)}</text>')
        for month, light in enumerate(months):
            if light <= 0:
                continue
            tall = max(1.5, (ROW - 24) * light / greatest)
            x = left + step * month
            # From a hundred hours on whole ones are as exact as the others, and have room above their bar.
            label = escape(f"{formatter.month(month + 1)} {year}: {formatter.duration(light)}")
            parts.append(
                f'<rect class="bar{" now" if row == 0 else ""}" x="{x + 4:.1f}" y="{base - tall:.1f}" '
                f'width="{step - 8:.1f}" height="{tall:.1f}"><title>{label}</title></rect>'
                f'<text class="scale" x="{x + step / 2:.1f}" y="{base - tall - 4:.1f}" text-anchor="middle">'
                f"{escape(formatter.hours(light, 1 if light < 360_000 else 0))}</text>"
            )
    for month in range(0, 12, 2 if narrow else 1):
        parts.append(
            f'<text class="scale" x="{left + step * (month + 0.5):.1f}" y="{height - 8}" text-anchor="middle">'
            f"{escape(formatter.month(month + 1))}</text>"
        )
    return (
        f'<svg class="chart months{" narrow" if narrow else ""}" viewBox="0 0 {width} {height}" role="img" '
        f'aria-label="{escape(_description(chart, formatter))}">' + "".join(parts) + "</svg>"
    )


def _description(chart: MonthsChart, formatter: Formatter) -> str:
    sentences = []
    for year, months in chart.years:
        best = max(range(12), key=lambda m: months[m])
        if months[best] <= 0:
            sentences.append(formatter.gettext("{year}: nothing").format(year=year))
        else:
            sentences.append(
                formatter.gettext("{year}: {total}, most in {month}, {hours}").format(
                    year=year,
                    total=formatter.duration(sum(months)),
                    month=formatter.month(best + 1),
                    hours=formatter.duration(months[best]),
                )
            )
    return formatter.gettext("Integration by month.") + " " + "; ".join(sentences) + "."

"""The nights of a year, a cell a night: a row a month, the hours of light as shade."""

from __future__ import annotations

from calendar import monthrange
from datetime import date
from html import escape

from noctuary.charts.drawing import NARROW, Formatter
from noctuary.plain_record import plain_record

CELL, LEFT, TOP = 24, 44, 22
#: Left edge, and width and height of a night on a narrow page: too small for a finger, so it leads nowhere there.
NARROW_LEFT, NARROW_CELL = 40, (10, 20)


@plain_record
class CalendarNight:
    """A night with its light in seconds (``None``: not recorded), what was shot, and the link to its page.

    ``sessions_not_recorded`` of the night's sessions have exposures that nobody knows.
    """

    night: date
    integration_s: float | None
    targets: tuple[str, ...]
    href: str | None
    sessions_not_recorded: int = 0


@plain_record
class NightsCalendar:
    """A calendar year; ``nights`` in any order. The darkest shade is that of its best night."""

    year: int
    nights: tuple[CalendarNight, ...]

    def svg(self, formatter: Formatter) -> str:
        return _svg(self, formatter, narrow=False)

    def narrow_svg(self, formatter: Formatter) -> str:
        return _svg(self, formatter, narrow=True)


def _svg(chart: NightsCalendar, formatter: Formatter, *, narrow: bool) -> str:
    left, (wide, high) = (NARROW_LEFT, NARROW_CELL) if narrow else (LEFT, (CELL, CELL))
    known = {n.night: n for n in chart.nights}
    greatest = max((n.integration_s or 0.0 for n in chart.nights), default=0.0) or 1.0
    width, height = NARROW if narrow else left + 31 * wide + 1, TOP + 12 * high + 1
    parts = [
        f'<text class="scale" x="{left + (day - 0.5) * wide:.0f}" y="{TOP - 7}" text-anchor="middle">{day}</text>'
        for day in (1, 5, 10, 15, 20, 25, 30)
    ]
    for month in range(1, 13):
        y = TOP + (month - 1) * high
        parts.append(f'<text class="scale" x="0" y="{y + high - 6}">{escape(formatter.month(month))}</text>')
        for day in range(1, monthrange(chart.year, month)[1] + 1):
            x = left + (day - 1) * wide
            box = f'x="{x + 1}" y="{y + 1}" width="{wide - 2}" height="{high - 2}"'
            night = known.get(date(chart.year, month, day))
            if night is None:
                parts.append(f'<rect class="cell" {box}/>')
                continue
            label = escape(_night_label(night, formatter))
            shade = 0.22 + 0.78 * (night.integration_s or 0.0) / greatest
            lit = (
                f'class="cell lit" style="fill-opacity:{shade:.2f}"' if night.integration_s else 'class="cell noted"'
            )
            cell = f"<rect {lit} {box}><title>{label}</title></rect>"
            leads = night.href if not narrow else None
            parts.append(f'<a href="{escape(leads)}" aria-label="{label}">{cell}</a>' if leads else cell)
    return (
        f'<svg class="chart calendar{" narrow" if narrow else ""}" viewBox="0 0 {width} {height}" '
        f'role="{"img" if narrow else "group"}" '
        f'aria-label="{escape(_description(chart, formatter))}">' + "".join(parts) + "</svg>"
    )


def _night_label(night: CalendarNight, formatter: Formatter) -> str:
    if night.integration_s:
        light = formatter.duration(night.integration_s)
        if night.sessions_not_recorded:
            light = formatter.gettext("at least %(total)s") % {"total": light}
    elif night.sessions_not_recorded:
        light = formatter.gettext("exposures not recorded")
    else:
        light = formatter.gettext("no exposures, a note")
    return f"{formatter.date(night.night)}: {light}" + (f", {', '.join(night.targets)}" if night.targets else "")


def _description(chart: NightsCalendar, formatter: Formatter) -> str:
    with_light = [n for n in chart.nights if n.integration_s]
    if not with_light:
        return formatter.gettext("Calendar of {year}: no night with exposures.").format(year=chart.year)
    best = max(with_light, key=lambda n: (n.integration_s or 0.0, n.night))
    return formatter.gettext("Calendar of {year}: {count} nights with exposures, most on {day}, {hours}.").format(
        year=chart.year,
        count=len(with_light),
        day=formatter.date(best.night),
        hours=formatter.duration(best.integration_s),
    )

"""A target's season at one place: hours of darkness with it above the limit, for each date of the year."""

from __future__ import annotations

from datetime import date
from functools import lru_cache
from html import escape
from typing import TYPE_CHECKING

from noctuary.charts.drawing import NARROW, Formatter
from noctuary.plain_record import plain_record

if TYPE_CHECKING:
    from noctuary.sky.season import SeasonCurve

WIDTH, HEIGHT = 640, 220
LEFT, RIGHT, TOP, BOTTOM = 34, 12, 18, 30


@plain_record
class SeasonChart:
    """A target (ICRS degrees) from a place as published (degrees) above a limit; ``year`` sets the calendar."""

    place: str
    latitude_deg: float
    longitude_deg: float
    ra_deg: float
    dec_deg: float
    limit_deg: float
    year: int

    @property
    def best_month(self) -> int | None:
        """See :func:`noctuary.sky.season.best_month`; worked out when a page asks for it."""
        from noctuary.sky.season import best_month

        return best_month(_curve(self))

    def svg(self, formatter: Formatter) -> str:
        return _svg(self, formatter, WIDTH)

    def narrow_svg(self, formatter: Formatter) -> str:
        return _svg(self, formatter, NARROW)


def _curve(chart: SeasonChart) -> SeasonCurve:
    return _worked_out(
        chart.latitude_deg, chart.longitude_deg, chart.ra_deg, chart.dec_deg, chart.year, chart.limit_deg
    )  # fmt: skip


@lru_cache(maxsize=4)  # a chart is drawn twice
def _worked_out(
    latitude_deg: float, longitude_deg: float, ra_deg: float, dec_deg: float, year: int, limit_deg: float
) -> SeasonCurve:
    # The engine is slow to load, and most builds draw no season anew.
    from noctuary.sky.season import season

    return season(latitude_deg, longitude_deg, ra_deg, dec_deg, year, limit_deg)


def _svg(chart: SeasonChart, formatter: Formatter, width: int) -> str:
    from noctuary.sky.season import best_month

    curve = _curve(chart)
    top = max(4, -int(-max(curve.dark_hours) // 4) * 4)
    days = len(curve.dates)
    inner_w, inner_h = width - LEFT - RIGHT, HEIGHT - TOP - BOTTOM

    def x(day: int) -> float:
        return LEFT + inner_w * day / (days - 1)

    def y(hours: float) -> float:
        return TOP + inner_h * (1 - hours / top)

    # Every third day draws the same line to a fifth of a pixel and a third of the bytes.
    shown = [*range(0, days - 1, 3), days - 1]
    dark = "".join(f"L{x(i):.1f} {y(curve.dark_hours[i]):.1f}" for i in shown)
    up = "".join(f"L{x(i):.1f} {y(curve.hours_up[i]):.1f}" for i in shown)
    base = f"{y(0):.1f}"
    parts = [
        f'<path class="darkness" d="M{LEFT} {base}{dark}L{width - RIGHT} {base}z"/>',
        f'<path class="up" d="M{LEFT} {base}{up}L{width - RIGHT} {base}z"/>',
        f'<path class="line" d="M{up[1:]}"/>',
    ]
    for tick in range(0, top + 1, 4):
        parts.append(f'<line class="grid" x1="{LEFT}" x2="{width - RIGHT}" y1="{y(tick):.1f}" y2="{y(tick):.1f}"/>')
        parts.append(f'<text class="scale" x="{LEFT - 6}" y="{y(tick) + 4:.1f}" text-anchor="end">{tick}</text>')
    parts.append(f'<text class="scale" x="{LEFT}" y="{TOP - 6}">{escape(formatter.gettext("hours"))}</text>')
    for month in range(1, 13):
        at = x((date(chart.year, month, 1) - curve.dates[0]).days)
        parts.append(f'<line class="grid" x1="{at:.1f}" x2="{at:.1f}" y1="{base}" y2="{HEIGHT - BOTTOM + 5}"/>')
        if width == NARROW and month % 2 == 0:
            continue  # every other name has room
        middle = at + inner_w / 24
        parts.append(
            f'<text class="scale" x="{middle:.1f}" y="{HEIGHT - BOTTOM + 19}" text-anchor="middle">'
            f"{escape(formatter.month(month))}</text>"
        )
    best = max(range(days), key=lambda i: curve.hours_up[i])
    if curve.hours_up[best] > 0:
        longest = formatter.gettext("above {limit}°").format(limit=formatter.number(chart.limit_deg))
        anchor = "start" if x(best) < width / 2 else "end"
        parts.append(
            f'<text class="label" x="{x(best):.1f}" y="{y(curve.hours_up[best]) - 6:.1f}" text-anchor="{anchor}">'
            f"{escape(longest)}</text>"
        )
    widest = max(range(days), key=lambda i: curve.dark_hours[i] - curve.hours_up[i])
    if curve.dark_hours[widest] - curve.hours_up[widest] > top / 5:
        middle_y = y((curve.dark_hours[widest] + curve.hours_up[widest]) / 2)
        at = min(max(x(widest), LEFT + 30), width - RIGHT - 30)
        parts.append(
            f'<text class="label soft" x="{at:.1f}" y="{middle_y:.1f}" text-anchor="middle">'
            f"{escape(formatter.gettext('dark'))}</text>"
        )
    label = escape(_description(chart, curve.hours_up, best_month(curve), formatter))
    return (
        f'<svg class="chart season{" narrow" if width == NARROW else ""}" viewBox="0 0 {width} {HEIGHT}" '
        f'role="img" aria-label="{label}">' + "".join(parts) + "</svg>"
    )


def _description(chart: SeasonChart, hours: list[float], month: int | None, formatter: Formatter) -> str:
    limit = formatter.number(chart.limit_deg)
    if month is None:
        return formatter.gettext("From {place} never above {limit}° in darkness.").format(
            place=chart.place, limit=limit
        )
    never = sum(h <= 0 for h in hours)
    description = formatter.gettext(
        "From {place} above {limit}° in darkness for up to {hours} a night; best month: {month}"
    ).format(
        place=chart.place, limit=limit, hours=formatter.duration(3600 * max(hours)), month=formatter.month(month)
    )
    if never:
        description += formatter.gettext("; nights of the year without it: {count}").format(count=never)
    return description + "."

"""A target's altitude around one session, as small as a line of text: the session heavier, the limit dashed."""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from html import escape

from noctuary.charts.drawing import Formatter
from noctuary.plain_record import plain_record

WIDTH, HEIGHT = 150, 62
LEFT, RIGHT, TOP, BOTTOM = 2, 2, 14, 2
#: How much of the night is drawn before and after the session, and the step of the line, in hours and minutes.
AROUND_H, STEP_MINUTES = 4, 20
#: Degrees that the sky turns in an hour (IAU 2000: 1.00273781191135448 turns a day).
TURN_DEG_H = 360 * 1.00273781191135448 / 24


@plain_record
class SessionAltitude:
    """A fixed target of a declination (degrees) from a latitude as published; ``transit_utc`` is its upper transit.

    ``low_deg`` and ``high_deg`` are the least and the greatest altitude of the session, ``limit_deg`` the archive's
    horizon limit.
    """

    latitude_deg: float
    dec_deg: float
    transit_utc: datetime
    start: datetime
    end: datetime
    low_deg: float
    high_deg: float
    limit_deg: float

    def svg(self, formatter: Formatter) -> str:
        return _svg(self, formatter)


def altitude_deg(latitude_deg: float, dec_deg: float, hours_from_transit: float) -> float:
    """The altitude in degrees, without refraction: sin a = sin φ sin δ + cos φ cos δ cos t (spherical astronomy)."""
    latitude, dec = math.radians(latitude_deg), math.radians(dec_deg)
    turn = math.radians(TURN_DEG_H * hours_from_transit)
    sine = math.sin(latitude) * math.sin(dec) + math.cos(latitude) * math.cos(dec) * math.cos(turn)
    return math.degrees(math.asin(min(1.0, max(-1.0, sine))))


def _svg(chart: SessionAltitude, formatter: Formatter) -> str:
    first, last = chart.start - timedelta(hours=AROUND_H), chart.end + timedelta(hours=AROUND_H)

    def x(at: datetime) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * ((at - first) / (last - first))

    def y(altitude: float) -> float:
        return TOP + (HEIGHT - TOP - BOTTOM) * (1 - max(altitude, 0.0) / 90)

    def path(begin: datetime, end: datetime) -> str:
        steps = max(1, math.ceil((end - begin) / timedelta(minutes=STEP_MINUTES)))
        moments = [begin + (end - begin) * i / steps for i in range(steps + 1)]
        points = [(x(at), y(altitude_at(at))) for at in moments]
        return "M" + "L".join(f"{px:.1f} {py:.1f}" for px, py in points)

    def altitude_at(at: datetime) -> float:
        hours = (at - chart.transit_utc) / timedelta(hours=1)
        return altitude_deg(chart.latitude_deg, chart.dec_deg, hours)

    labels = []
    start, end = altitude_at(chart.start), altitude_at(chart.end)
    for at, altitude, anchor in ((chart.start, start, "end"), (chart.end, end, "start")):
        label = f"{formatter.number(altitude)}°"
        labels.append(
            f'<text class="scale" x="{x(at) + (-4 if anchor == "end" else 4):.1f}" y="{y(altitude) - 4:.1f}" '
            f'text-anchor="{anchor}">{label}</text>'
        )
    foot, limit = f"{y(0):.1f}", f"{y(chart.limit_deg):.1f}"
    text = formatter.gettext("Altitude from {low}° to {high}°").format(
        low=formatter.number(chart.low_deg), high=formatter.number(chart.high_deg)
    )
    return (
        f'<svg class="chart altitude" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{escape(text)}">'
        f'<line class="grid" x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{foot}" y2="{foot}"/>'
        f'<line class="limit" x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{limit}" y2="{limit}"/>'
        f'<path class="height" d="{path(first, last)}"/>'
        f'<path class="session" d="{path(chart.start, chart.end)}"/>' + "".join(labels) + "</svg>"
    )

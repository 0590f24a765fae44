"""Heights of a night's targets from dusk to dawn, with the sessions as bars on their curves.

Shaded by twilight, with the Moon's curve, the horizon limit and a tick at each upper transit; the clock
along the axis is the place's own.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from functools import lru_cache
from html import escape
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from noctuary.charts.drawing import NARROW, Formatter
from noctuary.plain_record import plain_record

if TYPE_CHECKING:
    from noctuary.sky.ephemeris import NightCurves

WIDTH, HEIGHT = 960, 380
NARROW_HEIGHT = 300
LEFT, RIGHT, TOP, BOTTOM = 40, 16, 20, 40
STEP_MINUTES = 6.0
#: The Sun's height at which each kind of twilight ends, with the class of the shade below it.
TWILIGHTS = ((0.0, "civil"), (-6.0, "nautical"), (-12.0, "astronomical"), (-18.0, "dark"))
LABEL_GAP = 16


@plain_record
class Curve:
    """One target of a night: ICRS degrees or the name of a body that moves, and its sessions' start and end (UTC)."""

    name: str
    ra_deg: float | None
    dec_deg: float | None
    body: str | None
    sessions: tuple[tuple[datetime, datetime], ...]


@plain_record
class NightChart:
    """A night at one place as published (degrees, metres); ``limit_deg`` is the height worth shooting above."""

    place: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    time_zone: str
    limit_deg: float
    curves: tuple[Curve, ...]

    def svg(self, formatter: Formatter) -> str:
        return _Drawn(self, formatter, WIDTH, HEIGHT).svg()

    def narrow_svg(self, formatter: Formatter) -> str:
        return _Drawn(self, formatter, NARROW, NARROW_HEIGHT).svg()


def night_chart(
    place: str, position: tuple[float, float, float], time_zone: str, limit_deg: float, curves: tuple[Curve, ...]
) -> NightChart | None:
    """The chart of a night, or ``None`` where no session says when it was."""
    pointed = tuple(c for c in curves if c.sessions and (c.body is not None or c.ra_deg is not None))
    return NightChart(place, *position, time_zone, limit_deg, pointed) if pointed else None


@lru_cache(maxsize=2)  # a chart is drawn twice
def _curves(
    position: tuple[float, float, float],
    begin_utc: datetime,
    finish_utc: datetime,
    targets: tuple[str | tuple[float, float], ...],
) -> NightCurves:
    from noctuary.sky.ephemeris import night_curves

    return night_curves(*position, begin_utc, finish_utc, STEP_MINUTES, targets)


class _Drawn:
    """One chart with its curves computed; all heights in degrees, all times aware."""

    def __init__(self, chart: NightChart, formatter: Formatter, width: int, height: int) -> None:
        self.chart, self.formatter, self.width, self.height = chart, formatter, width, height
        self.zone = ZoneInfo(chart.time_zone)
        starts = [start for c in chart.curves for start, _ in c.sessions]
        ends = [end for c in chart.curves for _, end in c.sessions]
        middle = min(starts) + (max(ends) - min(starts)) / 2
        begin = min(middle - timedelta(hours=12), min(starts) - timedelta(hours=1))
        finish = max(middle + timedelta(hours=12), max(ends) + timedelta(hours=1))
        targets = tuple(c.body or (c.ra_deg or 0.0, c.dec_deg or 0.0) for c in chart.curves)
        position = chart.latitude_deg, chart.longitude_deg, chart.elevation_m
        followed = _curves(position, begin.astimezone(UTC), finish.astimezone(UTC), targets)
        first, last = self._span(followed.times_utc, followed.sun_deg, min(starts), max(ends))
        kept = range(first, last + 1)
        self.times = [followed.times_utc[i] for i in kept]
        self.sun = [followed.sun_deg[i] for i in kept]
        self.moon = [followed.moon_deg[i] for i in kept]
        self.targets = [[heights[i] for i in kept] for heights in followed.targets_deg]
        self.moon_fraction = followed.moon_illuminated_fraction

    @staticmethod
    def _span(times: list[datetime], sun: list[float], start: datetime, end: datetime) -> tuple[int, int]:
        """From sunset to sunrise around the sessions, and an hour beyond any session outside."""
        wanted = [i for i, at in enumerate(times) if start - timedelta(hours=1) <= at <= end + timedelta(hours=1)]
        first, last = wanted[0], wanted[-1]
        while first > 0 and sun[first - 1] < 1:
            first -= 1
        while last < len(times) - 1 and sun[last + 1] < 1:
            last += 1
        return first, last

    def x(self, at: datetime) -> float:
        whole = (self.times[-1] - self.times[0]).total_seconds()
        return LEFT + (self.width - LEFT - RIGHT) * (at - self.times[0]).total_seconds() / whole

    def y(self, height: float) -> float:
        return TOP + (self.height - TOP - BOTTOM) * (1 - height / 90)

    def height_at(self, heights: list[float], at: datetime) -> float:
        """A curve's height between two of its points."""
        step = (self.times[-1] - self.times[0]).total_seconds() / (len(self.times) - 1)
        place = min(max((at - self.times[0]).total_seconds() / step, 0.0), len(heights) - 1.0)
        low = min(int(place), len(heights) - 2)
        return heights[low] + (heights[low + 1] - heights[low]) * (place - low)

    def svg(self) -> str:
        parts = [*self._shades(), *self._scales(), *self._moon()]
        labels: list[tuple[float, float, str, str]] = []
        for number, (curve, heights) in enumerate(zip(self.chart.curves, self.targets, strict=True)):
            parts.append(f'<path class="height" d="{self._path(self.times, heights)}"/>')
            parts += self._transit(heights)
            for start, end in curve.sessions:
                inside = [t for t in self.times if start < t < end]
                bar = [start, *inside, end]
                parts.append(
                    f'<path class="session" d="{self._path(bar, [self.height_at(heights, t) for t in bar])}"/>'
                )
                self._cap(parts, heights, start)
                self._cap(parts, heights, end)
            longest = max(curve.sessions, key=lambda s: s[1] - s[0])
            middle = longest[0] + (longest[1] - longest[0]) / 2
            at = self.height_at(heights, middle)
            labels.append((self.x(middle), self.y(max(at, 0)) - 12, curve.name, f"of-{number}"))
        parts += self._labels(labels)
        label = escape(self._description())
        return (
            f'<svg class="chart night{" narrow" if self.width == NARROW else ""}" '
            f'viewBox="0 0 {self.width} {self.height}" role="img" aria-label="{label}">' + "".join(parts) + "</svg>"
        )

    def _path(self, times: list[datetime], heights: list[float]) -> str:
        """A line through the heights above the horizon; it is taken up again where they rise."""
        path, down = "", False
        for at, height in zip(times, heights, strict=True):
            if height < 0:
                down = False
                continue
            path += f"{'L' if down else 'M'}{self.x(at):.1f} {self.y(height):.1f}"
            down = True
        return path

    def _cap(self, parts: list[str], heights: list[float], at: datetime) -> None:
        x, y = self.x(at), self.y(max(self.height_at(heights, at), 0))
        parts.append(f'<line class="end" x1="{x:.1f}" x2="{x:.1f}" y1="{y - 6:.1f}" y2="{y + 6:.1f}"/>')

    def _shades(self) -> list[str]:
        parts = []
        for limit, name in TWILIGHTS:
            for start, end in self._below(limit):
                parts.append(
                    f'<rect class="shade {name}" x="{self.x(start):.1f}" y="{TOP}" '
                    f'width="{self.x(end) - self.x(start):.1f}" height="{self.height - TOP - BOTTOM}"/>'
                )
        return parts

    def _below(self, limit: float) -> list[tuple[datetime, datetime]]:
        """Spans in which the Sun is lower than a height, to the crossing."""
        spans: list[tuple[datetime, datetime]] = []
        since = self.times[0] if self.sun[0] < limit else None
        for i in range(1, len(self.times)):
            before, now = self.sun[i - 1] - limit, self.sun[i] - limit
            if (before < 0) != (now < 0):
                crossing = self.times[i - 1] + (self.times[i] - self.times[i - 1]) * (before / (before - now))
                if now < 0:
                    since = crossing
                elif since is not None:
                    spans.append((since, crossing))
                    since = None
        if since is not None:
            spans.append((since, self.times[-1]))
        return spans

    def _scales(self) -> list[str]:
        parts = []
        for height in (0, 30, 60, 90):
            y = self.y(height)
            parts.append(f'<line class="grid" x1="{LEFT}" x2="{self.width - RIGHT}" y1="{y:.1f}" y2="{y:.1f}"/>')
            parts.append(f'<text class="scale" x="{LEFT - 6}" y="{y + 4:.1f}" text-anchor="end">{height}°</text>')
        y = self.y(self.chart.limit_deg)
        parts.append(f'<line class="limit" x1="{LEFT}" x2="{self.width - RIGHT}" y1="{y:.1f}" y2="{y:.1f}"/>')
        # Whole hours of the place's clock; where the clock changes in the night its hours show it.
        hours = (self.times[-1] - self.times[0]).total_seconds() / 3600
        every = (1 if hours <= 15 else 2) * (2 if self.width == NARROW else 1)
        at = self.times[0].astimezone(UTC).replace(minute=0, second=0, microsecond=0)
        while at <= self.times[-1]:
            local = at.astimezone(self.zone)
            if at >= self.times[0] and local.minute == 0 and local.hour % every == 0:
                x, foot = f"{self.x(at):.1f}", self.height - BOTTOM
                parts.append(f'<line class="grid" x1="{x}" x2="{x}" y1="{foot}" y2="{foot + 6}"/>')
                parts.append(
                    f'<text class="scale" x="{x}" y="{foot + 22}" text-anchor="middle">{local.hour:02d}</text>'
                )
            at += timedelta(minutes=15)
        return parts

    def _moon(self) -> list[str]:
        path = self._path(self.times, self.moon)
        if not path:
            return []
        highest = max(range(len(self.moon)), key=lambda i: self.moon[i])
        x = min(max(self.x(self.times[highest]), LEFT + 60), self.width - RIGHT - 60)
        label = f"{self.formatter.gettext('Moon')} {self._percent()}"
        return [
            f'<path class="moon" d="{path}"/>',
            f'<text class="label moon" x="{x:.1f}" y="{self.y(self.moon[highest]) - 6:.1f}" text-anchor="middle">'
            f"{escape(label)}</text>",
        ]

    def _percent(self) -> str:
        return f"{self.formatter.number(100 * self.moon_fraction)}\u202f%"

    def _transit(self, heights: list[float]) -> list[str]:
        """A tick where a curve is highest between its ends, which is its upper transit."""
        highest = max(range(len(heights)), key=lambda i: heights[i])
        if highest in (0, len(heights) - 1) or heights[highest] <= 0:
            return []
        x, y = self.x(self.times[highest]), self.y(heights[highest])
        return [f'<line class="transit" x1="{x:.1f}" x2="{x:.1f}" y1="{y:.1f}" y2="{y + 9:.1f}"/>']

    def _labels(self, labels: list[tuple[float, float, str, str]]) -> list[str]:
        """Names over their bars, moved up or down so that none covers another."""
        placed: list[tuple[float, float, float]] = []
        parts = []
        for x, y, name, _ in sorted(labels, key=lambda label: label[1]):
            half = 4.2 * len(name)
            x = min(max(x, LEFT + half), self.width - RIGHT - half)
            y = max(y, TOP + 12)
            while any(abs(x - px) < half + ph and abs(y - py) < LABEL_GAP for px, py, ph in placed):
                y += LABEL_GAP / 2
            placed.append((x, y, half))
            parts.append(f'<text class="label" x="{x:.1f}" y="{y:.1f}" text-anchor="middle">{escape(name)}</text>')
        return parts

    def _clock(self, at: datetime) -> str:
        return f"{at.astimezone(self.zone):%H:%M}"

    def _description(self) -> str:
        """The chart in a sentence: when it was dark, what was shot how high, where the Moon was."""
        say = self.formatter.gettext
        parts = []
        dark = self._below(-18.0)
        if dark:
            begin, end = max(dark, key=lambda span: span[1] - span[0])
            parts.append(say("{place}, dark from {begin} to {end}").format(
                place=self.chart.place, begin=self._clock(begin), end=self._clock(end)
            ))  # fmt: skip
        else:
            parts.append(say("{place}, no astronomical darkness").format(place=self.chart.place))
        for curve, heights in zip(self.chart.curves, self.targets, strict=True):
            for start, end in curve.sessions:
                parts.append(say("{name} from {start} at {low}° to {end} at {high}°").format(
                    name=curve.name,
                    start=self._clock(start),
                    end=self._clock(end),
                    low=self.formatter.number(self.height_at(heights, start)),
                    high=self.formatter.number(self.height_at(heights, end)),
                ))  # fmt: skip
        up = [i for i, height in enumerate(self.moon) if height > 0]
        if not up:
            parts.append(say("the Moon below the horizon"))
        else:
            parts.append(say("the Moon, {share} lit, up to {height}°").format(
                share=self._percent(), height=self.formatter.number(max(self.moon))
            ))  # fmt: skip
        return "; ".join(parts) + "."

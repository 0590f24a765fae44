"""Hours of light on a target, growing night by night: one stepped line a filter, and one for all."""

from __future__ import annotations

from datetime import date, timedelta
from html import escape
from itertools import pairwise
from math import ceil

from noctuary.charts.drawing import NARROW, Formatter
from noctuary.facts.exposure import NOT_RECORDED, UNFILTERED
from noctuary.facts.target import Step
from noctuary.plain_record import plain_record

WIDTH, HEIGHT = 920, 330
LEFT, RIGHT, TOP, BOTTOM = 36, 196, 16, 34
#: On a narrow page a line's name and its hours are under each other at its right.
NARROW_RIGHT, NARROW_HEIGHT, NARROW_GAP = 104, 300, 34
#: Dashes that tell the lines apart without colour; the line for everything is whole and heavier.
DASHES = ("", "7 3", "2 3", "10 3 2 3", "5 5", "1 4", "12 4", "3 2 1 2")
LABEL_GAP = 17
#: Room that the figures of a year take under the axis.
YEAR_ROOM = 36
#: Height of a row of pictures' names over the chart, and the width of one of their letters at most.
NAME_ROW, LETTER = 17, 7.2
#: Names in more rows would be a list and not a chart; the earliest pictures then have their marks alone.
MOST_ROWS = 6


@plain_record
class HoursChart:
    """Steps oldest first (seconds), and the pictures that were made along the way: day and title."""

    steps: tuple[Step, ...]
    pictures: tuple[tuple[date, str], ...]

    def svg(self, formatter: Formatter) -> str:
        return _svg(self, formatter, _Sheet(WIDTH, HEIGHT, RIGHT, LABEL_GAP))

    def narrow_svg(self, formatter: Formatter) -> str:
        height = max(NARROW_HEIGHT, TOP + BOTTOM + NARROW_GAP * len(_lines(self.steps)))
        return _svg(self, formatter, _Sheet(NARROW, height, NARROW_RIGHT, NARROW_GAP))


@plain_record
class _Sheet:
    """The size of a drawing, the room at its right for the names of lines, and the distance of these."""

    width: int
    height: int
    right: int
    gap: int

    @property
    def narrow(self) -> bool:
        return self.width == NARROW


def hours_chart(steps: tuple[Step, ...], pictures: tuple[tuple[date, str], ...]) -> HoursChart | None:
    """A chart of how the light grew, or ``None`` where one night says all there is."""
    if len({s.night for s in steps}) < 2 or not steps[-1].total_s:
        return None
    return HoursChart(steps, tuple(sorted(pictures)))


def axis_steps(greatest: float) -> tuple[float, ...]:
    """Round values from zero to the first at or above ``greatest`` (above 0): four to seven of them."""
    size = 10.0 ** len(str(int(greatest)))
    while True:
        for part in (5, 2, 1):
            step = size * part / 10
            count = -int(-greatest // step)
            if count >= 3:
                return tuple(i * step for i in range(count + 1))
        size /= 10


def _svg(chart: HoursChart, formatter: Formatter, sheet: _Sheet) -> str:
    width, height, right = sheet.width, sheet.height, sheet.right
    lines = _lines(chart.steps)
    first = chart.steps[0].night
    last = max(chart.steps[-1].night, *(day for day, _ in chart.pictures), first + timedelta(days=1))
    span = (last - first).days
    ticks = axis_steps(chart.steps[-1].total_s / 3600)
    inner_w, inner_h = width - LEFT - right, height - TOP - BOTTOM

    def x(day: date) -> float:
        return LEFT + inner_w * (day - first).days / span

    def y(hours: float) -> float:
        return TOP + inner_h * (1 - hours / ticks[-1])

    names = _names([(max(LEFT, x(day)), title) for day, title in chart.pictures], sheet)
    above = NAME_ROW * min(MOST_ROWS, 1 + max((n.row for n in names), default=-1))

    parts = []
    for tick in ticks:
        label = formatter.number(tick, 0 if tick == int(tick) else 1)
        parts.append(f'<line class="grid" x1="{LEFT}" x2="{width - right}" y1="{y(tick):.1f}" y2="{y(tick):.1f}"/>')
        parts.append(f'<text class="scale" x="{LEFT - 8}" y="{y(tick) + 4:.1f}" text-anchor="end">{label}</text>')
    parts.append(f'<text class="scale" x="0" y="{TOP - 10}">{escape(formatter.gettext("hours"))}</text>')
    # Where there is no room for the figures of every year, every second or third has them, the last among them.
    every = max(1, ceil(YEAR_ROOM * span / (365.25 * inner_w)))
    for year in range(first.year + 1, last.year + 1):
        at = x(date(year, 1, 1))
        parts.append(f'<line class="grid" x1="{at:.1f}" x2="{at:.1f}" y1="{TOP}" y2="{height - BOTTOM + 6}"/>')
        if (last.year - year) % every == 0:
            parts.append(f'<text class="scale" x="{at + 4:.1f}" y="{height - BOTTOM + 18}">{year}</text>')
    if first.year == last.year or (every == 1 and x(date(first.year + 1, 1, 1)) - LEFT > 40):
        parts.append(f'<text class="scale" x="{LEFT}" y="{height - BOTTOM + 18}">{first.year}</text>')
    places = _apart([y(total / 3600) for _, _, total in lines], height - BOTTOM, sheet.gap)
    for number, ((name, points, total), place) in enumerate(zip(lines, places, strict=True)):
        path = f"M{x(points[0][0]):.1f} {y(0):.1f}"
        for day, hours in points:
            path += f"H{x(day):.1f}V{y(hours):.1f}"
        path += f"H{width - right}"
        whole = name is None
        dash = (
            "" if whole or not DASHES[number % len(DASHES)] else f' stroke-dasharray="{DASHES[number % len(DASHES)]}"'
        )
        kind = "all" if whole else _light(name)
        parts.append(f'<path class="line {kind}" d="{path}"{dash}/>')
        at, label = width - right + 8, escape(_short(_label(name, formatter), 15 if sheet.narrow else 18))
        length = escape(formatter.duration(total))
        length = f'<tspan x="{at}" dy="16">{length}</tspan>' if sheet.narrow else f" {length}"
        parts.append(f'<text class="label {kind}" x="{at}" y="{place + 4:.1f}">{label}{length}</text>')
    nights = "".join(f"M{x(night):.1f} {height - BOTTOM}v5" for night in dict.fromkeys(s.night for s in chart.steps))
    parts.append(f'<path class="end" d="{nights}"/>')
    for (day, title), over in zip(chart.pictures, names, strict=True):
        at, top = max(LEFT, x(day)), TOP - 14 - NAME_ROW * min(over.row, MOST_ROWS - 1)
        parts.append(
            f'<path class="mark" d="M{at:.1f} {height - BOTTOM - 5}l4 9h-8z"><title>{escape(title)}, '
            f"{escape(formatter.date(day))}</title></path>"
        )
        if over.row < MOST_ROWS:
            end = ' text-anchor="end"' if over.leftward else ""
            parts.append(
                f'<path class="limit" d="M{at:.1f} {top}V{height - BOTTOM}"/>'
                f'<text class="label" x="{at + (-5 if over.leftward else 5):.1f}" y="{top + 4}"{end}>'
                f"{escape(over.text)}</text>"
            )
    return (
        f'<svg class="chart hours{" narrow" if sheet.narrow else ""}" viewBox="0 {-above} {width} {height + above}" '
        f'role="img" aria-label="{escape(_description(chart, formatter))}">' + "".join(parts) + "</svg>"
    )


@plain_record
class _Name:
    """A picture's name over the chart as far as it fits, its row from the bottom, whether it is left of its line."""

    text: str
    row: int
    leftward: bool


def _names(places: list[tuple[float, str]], sheet: _Sheet) -> list[_Name]:
    """The pictures' names over the chart; ``places`` from left to right.

    A name is to the right of its line, over the lines of those that follow within its length; so none is crossed.
    On a wide page those that would be cut there may stand to the left. On a narrow page each has a row of its own,
    and those of the right half are to the left of their lines: the last of them is uppermost, and the first of the
    others over all of these.
    """
    if sheet.narrow:
        middle = (LEFT + sheet.width - sheet.right) / 2
        leftward = [at > middle for at, _ in places]
        last = range(max(0, len(places) - MOST_ROWS), len(places))
        order = [n for n in last if leftward[n]] + [n for n in reversed(last) if not leftward[n]]
        rows = {n: row for row, n in enumerate(order)}

        def room(n: int, at: float) -> float:
            # In the lowest row the unit of the axis is at the left end.
            return (at - (LEFT if rows.get(n) == 0 else 0) if leftward[n] else sheet.width - at) - 6

        return [
            _Name(_short(title, int(room(n, at) / LETTER)), rows.get(n, MOST_ROWS), leftward[n])
            for n, (at, title) in enumerate(places)
        ]
    return _wide_names(places, sheet.width)


def _wide_names(places: list[tuple[float, str]], width: int) -> list[_Name]:
    """The names on a wide page: whole to the left of their lines where they would be cut at the right.

    None goes to the left over the line of one that stays at the right, for the latter's name is higher than its own.
    """

    def start(n: int) -> float:
        return places[n][0] - 12 - LETTER * len(places[n][1])

    def cut(n: int) -> bool:
        return len(places[n][1]) > int((width - places[n][0] - 10) / LETTER)

    leftward = {n for n in range(max(0, len(places) - MOST_ROWS), len(places)) if cut(n) and start(n) >= LEFT}
    while over := {n for n in leftward if any(start(n) < places[m][0] and m not in leftward for m in range(n))}:
        leftward -= over
    names: dict[int, _Name] = {}
    for n in sorted(leftward):
        row = 1 + max((names[m].row for m in names if places[m][0] > start(n)), default=-1)
        names[n] = _Name(places[n][1], row, leftward=True)
    for n in reversed([n for n in range(len(places)) if n not in leftward]):
        at, title = places[n]
        name = _short(title, int((width - at - 10) / LETTER))
        end = at + 12 + LETTER * len(name)
        begin = {m: start(m) if m in leftward else places[m][0] for m in names if m > n}
        row = 1 + max((names[m].row for m in begin if begin[m] < end), default=-1)
        names[n] = _Name(name, row, leftward=False)
    return [names[n] for n in range(len(places))]


def _lines(steps: tuple[Step, ...]) -> list[tuple[str | None, list[tuple[date, float]], float]]:
    """Name (``None``: all together), corners (day, hours after it) and final seconds of each line, all first."""
    sums: dict[str, float] = {}
    corners: dict[str, list[tuple[date, float]]] = {}
    everything: dict[date, float] = {}
    for step in steps:
        sums[step.filter] = sums.get(step.filter, 0.0) + step.added_s
        corners.setdefault(step.filter, []).append((step.night, sums[step.filter] / 3600))
        everything[step.night] = step.total_s / 3600
    lines: list[tuple[str | None, list[tuple[date, float]], float]] = []
    nameless = sums.keys() <= {UNFILTERED, NOT_RECORDED}
    if len(sums) > 1 or nameless:
        lines.append((None, list(everything.items()), steps[-1].total_s))
    if len(sums) > 1 or not nameless:
        lines.extend((name, corners[name], sums[name]) for name in sorted(sums, key=lambda n: -sums[n]) if sums[name])
    return lines


def _apart(places: list[float], foot: float, gap: float) -> list[float]:
    """Heights of labels moved as little as needed so that none touches the next or the foot, in the order given."""
    order = sorted(range(len(places)), key=lambda i: places[i])
    moved = list(places)
    for before, after in pairwise(order):
        moved[after] = max(moved[after], moved[before] + gap)
    limit = foot
    over = moved[order[-1]] - limit if order else 0.0
    if over > 0:
        for i in reversed(order):
            moved[i] = min(moved[i], limit)
            limit = moved[i] - gap
    return moved


def _light(name: str | None) -> str:
    """The class of a line by the light that its filter passes, where the name says so."""
    plain = (name or "").casefold().replace("-", "").replace(" ", "").replace("α", "alpha")
    if plain in ("halpha", "ha") or plain.startswith(("halpha", "ha(", "sii", "red")) or plain == "r":
        return "deep-red"
    if plain.startswith(("oiii", "o3")):
        return "teal"
    if plain in ("b", "blue"):
        return "blue"
    if plain in ("g", "green"):
        return "green"
    return "plain"


def _label(name: str | None, formatter: Formatter) -> str:
    if name is None:
        return formatter.gettext("in all")
    special = {UNFILTERED: formatter.gettext("no filter"), NOT_RECORDED: formatter.gettext("not recorded")}
    return special.get(name, name)


def _short(label: str, letters: int) -> str:
    return label if len(label) <= letters else label[: letters - 1] + "…"


def _description(chart: HoursChart, formatter: Formatter) -> str:
    first, last = chart.steps[0].night, chart.steps[-1].night
    parts = [f"{formatter.date(first)} – {formatter.date(last)}: {formatter.duration(chart.steps[-1].total_s)}"]
    for name, _, total in _lines(chart.steps):
        if name is not None:
            parts.append(f"{_label(name, formatter)} {formatter.duration(total)}")
    parts.extend(f"{title}, {formatter.date(day)}" for day, title in chart.pictures)
    return "; ".join(parts)

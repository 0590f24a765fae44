"""Where the names over a picture are set: beside their objects, or aside with a thin line, never on one another."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence

from noctuary.plain_record import plain_record

Point = tuple[float, float]

#: Length of a letter and of the margin around a name, in heights of a letter.
LETTER_WIDTH, MARGIN = 0.52, 0.4
#: How far a name may be led aside, in heights of a letter, and how many may be in one showing. No name is led further
#: than a sixth of the frame.
LED_ASIDE = (2.0, 3.5, 5.5, 8.0)
MOST_LINES = 10
#: An outline no wider than this, in heights of a letter, is kept free like a mark; of a larger one only its line is.
SMALL = 8.0


@plain_record
class Box:
    """A rectangle in picture pixels, y down."""

    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: Box) -> bool:
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )

    def crossed_by(self, a: Point, b: Point) -> bool:
        """Whether the line from a to b passes through the rectangle."""
        first, last = 0.0, 1.0
        for start, end, low, high in ((a[0], b[0], self.left, self.right), (a[1], b[1], self.top, self.bottom)):
            step = end - start
            if step == 0:
                if not low <= start <= high:
                    return False
                continue
            near, far = sorted(((low - start) / step, (high - start) / step))
            first, last = max(first, near), min(last, far)
        return first < last

    def nearest(self, point: Point) -> Point:
        return min(max(point[0], self.left), self.right), min(max(point[1], self.top), self.bottom)


@plain_record
class Shape:
    """What a name belongs to: points around it, in picture pixels; one for a point."""

    name: str
    around: tuple[Point, ...]


@plain_record
class PlacedName:
    """A name: the foot of the end that holds it (``start``, ``middle`` or ``end``), its box, and its line if led."""

    name: str
    x: float
    y: float
    anchor: str
    box: Box
    line: tuple[Point, Point] | None


class NameSetter:
    """Sets names of one height in a frame, the most important first, clear of what is there already.

    ``figures`` are words that a name should not cover, but may before it is left out: they give way to it. Nor
    should it cover another object's mark or across another's outline. What is ``kept_free`` no name may touch.
    """

    def __init__(
        self, width: float, height: float, letter: float, figures: Iterable[Box] = (), kept_free: Iterable[Box] = ()
    ) -> None:
        self.frame = Box(0.0, 0.0, width, height)
        self.letter = letter
        self.figures = tuple(figures)
        self.kept_free = tuple(kept_free)
        self.marks: list[Box] = []
        self.edges: list[tuple[Shape, Box]] = []
        self.names: list[Box] = []
        self.lines: list[tuple[Point, Point]] = []

    def place(self, shapes: Iterable[Shape]) -> Iterator[PlacedName]:
        """The names that find room; one that finds none is left out."""
        shapes = tuple(shapes)
        for shape in shapes:
            box = box_around(shape.around)
            if box.right - box.left <= SMALL * self.letter:
                self.marks.append(box)
            else:
                self.edges.append((shape, box))
        for shape in shapes:
            placed = self._placed(shape)
            if placed is not None:
                self.names.append(placed.box)
                if placed.line:
                    self.lines.append(placed.line)
                yield placed

    def _placed(self, shape: Shape) -> PlacedName | None:
        beside = list(self._beside(shape))
        for name in beside:
            if self._is_free(name.box) and self._is_clear(name.box, shape):
                return name
        for name in beside:
            if self._is_free(name.box) and not any(name.box.meets(figure) for figure in self.figures):
                return name
        led = self._led_aside(shape) if len(self.lines) < MOST_LINES else None
        return led or next((name for name in beside if self._is_free(name.box)), None)

    def _is_free(self, box: Box) -> bool:
        frame = self.frame
        inside = box.left >= 0 and box.top >= 0 and box.right <= frame.right and box.bottom <= frame.bottom
        return (
            inside
            and not any(box.meets(other) for other in (*self.names, *self.kept_free))
            and not any(box.crossed_by(*line) for line in self.lines)
        )

    def _is_clear(self, box: Box, own: Shape) -> bool:
        """Whether a name keeps off figures, marks, and the outlines of other objects."""
        if any(box.meets(other) for other in (*self.figures, *self.marks)):
            return False
        near = (shape for shape, around in self.edges if shape is not own and box.meets(around))
        return not any(box.nearest(point) == point for shape in near for point in shape.around)

    def _name(self, shape: Shape, x: float, foot: float, anchor: str) -> PlacedName:
        """A name whose box begins at x and has its foot at a height."""
        length = self._length(shape)
        box = Box(x, foot - self.letter, x + length, foot + 0.3 * self.letter)
        held = x + {"start": 0.0, "middle": length / 2, "end": length}[anchor]
        return PlacedName(shape.name, held, foot, anchor, box, None)

    def _length(self, shape: Shape) -> float:
        return (LETTER_WIDTH * len(shape.name) + MARGIN) * self.letter

    def _beside(self, shape: Shape) -> Iterator[PlacedName]:
        """Places that need no line, best first: right, left, over, under, and inside a large object."""
        letter, length = self.letter, self._length(shape)
        x, y = self._middle(shape)
        gap, foot = 0.35 * letter, y + 0.35 * letter
        # An ellipse that leans is narrower at the height of its name than its whole width.
        across = _crossings(shape.around, foot - letter, foot + 0.3 * letter) or [x]
        yield self._name(shape, max(across) + gap, foot, "start")
        yield self._name(shape, min(across) - gap - length, foot, "end")
        turned = [(py, px) for px, py in shape.around]
        along = _crossings(turned, x - length / 2, x + length / 2) or [y]
        yield self._name(shape, x - length / 2, min(along) - gap, "middle")
        yield self._name(shape, x - length / 2, max(along) + gap + letter, "middle")
        # Within a large object, at its edge first: in its middle are the names of its parts.
        if max(across) - min(across) > 1.5 * length and max(along) - min(along) > 6 * letter:
            ends = [_crossings(turned, end, end) or [y] for end in (x - length / 2, x + length / 2)]
            yield self._name(shape, x - length / 2, min(map(max, ends)) - gap - 0.3 * letter, "middle")
            yield self._name(shape, x - length / 2, max(map(min, ends)) + gap + letter, "middle")
            yield self._name(shape, x - length / 2, foot, "middle")
            aside = min(max(x - length / 2, 0.3 * letter), self.frame.right - length - 0.3 * letter)
            yield self._name(shape, aside, y + 2 * letter, "middle")

    def _led_aside(self, shape: Shape) -> PlacedName | None:
        """The nearest free place further out, with a line that crosses no name and no other line."""
        length, letter = self._length(shape), self.letter
        anchors = [p for p in shape.around if self.frame.nearest(p) == p]
        if not anchors:
            return None
        x, y = self._middle(shape)
        for far in (far for far in LED_ASIDE if far * letter <= self.frame.right / 6):
            for turn in (0, 30, -30, 180, 150, -150, 60, -60, 120, -120, 90, -90):
                toward = math.cos(math.radians(turn)), math.sin(math.radians(turn))
                edge = max(anchors, key=lambda p: (p[0] - x) * toward[0] + (p[1] - y) * toward[1])
                at = edge[0] + toward[0] * far * letter, edge[1] + toward[1] * far * letter
                name = self._name(shape, at[0] if toward[0] >= 0 else at[0] - length, at[1] + 0.35 * letter,
                                  "start" if toward[0] >= 0 else "end")  # fmt: skip
                box = name.box
                if not self._is_free(box) or not self._is_clear(box, shape):
                    continue
                inner = Box(box.left + 0.1 * letter, box.top, box.right - 0.1 * letter, box.bottom)
                line = inner.nearest(edge), edge
                if not any(other.crossed_by(*line) for other in self.names) and not self._crosses(line):
                    return PlacedName(name.name, name.x, name.y, name.anchor, box, line)
        return None

    def _crosses(self, line: tuple[Point, Point]) -> bool:
        return any(_cross(*line, *other) for other in self.lines)

    def _middle(self, shape: Shape) -> Point:
        """Middle of what of an object lies in the frame, or of the frame's nearest edge."""
        inside = [p for p in shape.around if self.frame.nearest(p) == p] or shape.around
        x = (min(p[0] for p in inside) + max(p[0] for p in inside)) / 2
        y = (min(p[1] for p in inside) + max(p[1] for p in inside)) / 2
        return self.frame.nearest((x, y))


def _crossings(points: Sequence[Point], low: float, high: float) -> list[float]:
    """The x of a closed outline wherever it lies between two heights, at the heights themselves included."""
    found = [x for x, y in points if low <= y <= high]
    for (x, y), (to_x, to_y) in zip(points, (*points[1:], points[0]), strict=True):
        for level in (low, high):
            if (y < level) != (to_y < level):
                found.append(x + (to_x - x) * (level - y) / (to_y - y))
    return found


def _cross(a: Point, b: Point, c: Point, d: Point) -> bool:
    """Whether two lines cross, by the side of each on which the other's ends lie."""

    def side(p: Point, q: Point, r: Point) -> float:
        return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])

    return side(a, b, c) * side(a, b, d) < 0 and side(c, d, a) * side(c, d, b) < 0


def ring(x: float, y: float, radius: float, points: int = 12) -> tuple[Point, ...]:
    """Points around a circle."""
    turns = [2 * math.pi * i / points for i in range(points)]
    return tuple((x + radius * math.cos(t), y + radius * math.sin(t)) for t in turns)


def box_around(points: Sequence[Point]) -> Box:
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    return Box(min(xs), min(ys), max(xs), max(ys))

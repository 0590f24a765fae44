"""Names over a picture: beside their objects where there is room, led by a line where not, never on one another."""

import math

from hypothesis import given, settings
from hypothesis import strategies as st
from noctuary.charts.overlay_names import Box, NameSetter, PlacedName, Shape, ring

WIDTH, HEIGHT, LETTER = 1000.0, 700.0, 14.0


def placed(shapes: list[Shape], figures: tuple[Box, ...] = ()) -> list[PlacedName]:
    return list(NameSetter(WIDTH, HEIGHT, LETTER, figures).place(shapes))


def point(name: str, x: float, y: float) -> Shape:
    return Shape(name, ring(x, y, 4.0))


def test_a_lone_name_stands_right_beside_its_object() -> None:
    (name,) = placed([point("NGC 7000", 300.0, 300.0)])
    assert name.line is None
    assert name.anchor == "start"
    assert 304 < name.box.left < 315
    assert name.box.top < 300 < name.box.bottom


def test_at_the_right_edge_a_name_stands_to_the_left() -> None:
    (name,) = placed([point("NGC 7000", 990.0, 300.0)])
    assert name.line is None
    assert name.box.right < 986


def test_a_name_keeps_off_the_figures_of_the_grid() -> None:
    figure = Box(305.0, 280.0, 380.0, 310.0)
    (name,) = placed([point("NGC 7000", 300.0, 300.0)], (figure,))
    assert not name.box.meets(figure)
    assert name.line is None


def test_a_name_without_room_beside_its_object_is_led_to_it_by_a_line() -> None:
    crowd = [point(f"NGC {100 + i}", 480.0 + 9 * (i % 4), 340.0 + 9 * (i // 4)) for i in range(12)]
    names = placed(crowd)
    led = [name for name in names if name.line]
    assert led
    shape_of = {shape.name: shape for shape in crowd}
    for name in led:
        assert name.line
        start, end = name.line
        assert min(math.dist(end, p) for p in shape_of[name.name].around) < 1e-6
        assert name.box.nearest(start) == start
        for other in names:
            assert other is name or not other.box.crossed_by(start, end)


def test_a_leaning_ellipse_has_its_name_where_its_edge_is_and_not_beside_its_box() -> None:
    turns = [2 * math.pi * i / 72 for i in range(72)]
    long, slim, lean = 200.0, 20.0, math.radians(45)
    around = tuple(
        (
            500 + long * math.cos(t) * math.cos(lean) - slim * math.sin(t) * math.sin(lean),
            350 + long * math.cos(t) * math.sin(lean) + slim * math.sin(t) * math.cos(lean),
        )
        for t in turns
    )
    (name,) = placed([Shape("Needle", around)])
    assert name.box.left < 500 + 60
    assert not any(name.box.left < x < name.box.right and name.box.top < y < name.box.bottom for x, y in around)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(-50, WIDTH + 50), st.floats(-50, HEIGHT + 50), st.floats(2, 400), st.integers(1, 24)),
        max_size=40,
    )
)
def test_names_lie_in_the_frame_and_touch_neither_one_another_nor_a_line(
    things: list[tuple[float, float, float, int]],
) -> None:
    names = placed([Shape("N" * length, ring(x, y, radius)) for x, y, radius, length in things])
    for i, name in enumerate(names):
        assert name.box.left >= 0
        assert name.box.top >= 0
        assert name.box.right <= WIDTH
        assert name.box.bottom <= HEIGHT
        for other in names[:i]:
            assert not name.box.meets(other.box)
        for other in names:
            assert other is name or other.line is None or not name.box.crossed_by(*other.line)

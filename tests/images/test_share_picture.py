"""The share picture: its size, the picture in it, and type that can be read and never runs out of the frame."""

from __future__ import annotations

import io

import numpy as np
import pytest
from noctuary.images.share_image import EDGE, HEIGHT, STRIP, WIDTH, Look, halves, share_picture
from noctuary.pages.theme import themes_home
from noctuary.sky.placement import from_centre
from PIL import Image

FACE = themes_home() / "umbra" / "fonts" / "vollkorn-regular.woff2"
LOOK = Look(FACE)
LINES = ["The ring again", "NGC 2238 – Nights above the bay", "6 h 42 min over four nights, 480 mm at f/6"]


def source(size: tuple[int, int], colours: tuple[tuple[int, int, int], ...] = ((200, 60, 40),)) -> bytes:
    """A picture of upright bands of even width."""
    picture = Image.new("RGB", size)
    wide = size[0] // len(colours)
    for at, colour in enumerate(colours):
        picture.paste(colour, (at * wide, 0, size[0], size[1]))
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=95, subsampling=0)
    return out.getvalue()


def pixels(data: bytes) -> np.ndarray:
    with Image.open(io.BytesIO(data)) as opened:
        assert opened.format == "JPEG"
        assert opened.mode == "RGB"
        return np.asarray(opened).astype(int)


def rows_with_type(card: np.ndarray) -> np.ndarray:
    """Where in the strip type stands: bright pixels by row."""
    return (card[HEIGHT - STRIP + 4 :].max(axis=2) > 120).any(axis=1)


def bands(flags: np.ndarray) -> int:
    """Runs of rows with type."""
    return int((np.diff(np.concatenate([[0], flags.astype(int)])) == 1).sum())


@pytest.mark.parametrize("size", [(1920, 1280), (900, 1600), (1920, 300), (60, 40)])
def test_it_is_as_large_as_asked_for_and_the_picture_fills_it(size):
    """1200 × 630: the size that the trade's link previews are cut to (common practice)."""
    card = pixels(share_picture(source(size), LINES, LOOK))
    assert card.shape == (630, 1200, 3) == (HEIGHT, WIDTH, 3)
    upper = card[: HEIGHT - STRIP - 8]
    assert np.abs(upper - (200, 60, 40)).max() <= 12


def test_a_wide_picture_is_cut_evenly_at_both_sides():
    card = pixels(share_picture(source((3000, 400), ((250, 0, 0), (0, 250, 0), (0, 0, 250))), LINES, LOOK))
    row = card[200]
    red, green, blue = (int((row[:, i] > 180).sum()) for i in range(3))
    assert abs(red - blue) <= 6
    assert green > red


def test_three_lines_stand_below_the_picture_and_fewer_where_fewer_are_said():
    none = rows_with_type(pixels(share_picture(source((1920, 1280)), [], LOOK)))
    assert not none.any()
    one = bands(rows_with_type(pixels(share_picture(source((1920, 1280)), ["HHHH"], LOOK))))
    three = bands(rows_with_type(pixels(share_picture(source((1920, 1280)), ["HHHH", "HHHH", "HHHH"], LOOK))))
    assert (one, three) == (1, 3)


def test_type_can_be_read():
    """Contrast of the colours at least 4.5 : 1 (WCAG 2.2, success criterion 1.4.3)."""

    def luminance(colour: str) -> float:
        linear = [
            c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4
            for c in (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
        ]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    ground = luminance(LOOK.ground)
    for ink in (LOOK.ink, LOOK.faint):
        assert (luminance(ink) + 0.05) / (ground + 0.05) >= 4.5
    card = pixels(share_picture(source((1920, 1280)), ["HHHH"], LOOK))
    assert card[HEIGHT - STRIP + 4 :].max() > 190


def test_a_line_too_long_stays_inside_the_frame():
    card = pixels(share_picture(source((1920, 1280)), ["Wide words " * 40, "x" * 400, "ok"], LOOK))
    strip = card[HEIGHT - STRIP + 4 :].max(axis=2)
    assert (strip[:, WIDTH - EDGE + 2 :] < 60).all()
    assert (strip[:, : EDGE - 4] < 60).all()
    assert (strip[:, WIDTH - 3 * EDGE : WIDTH - EDGE] > 120).any()


def test_a_line_that_the_face_cannot_set_is_left_out():
    card = rows_with_type(pixels(share_picture(source((1920, 1280)), ["薔薇星雲", "HHHH"], LOOK)))
    assert bands(card) == 1


def test_the_same_words_give_the_same_bytes_and_others_do_not():
    data = source((1920, 1280))
    assert share_picture(data, LINES, LOOK) == share_picture(data, LINES, LOOK)
    assert share_picture(data, LINES, LOOK) != share_picture(data, [*LINES[:2], "7 h"], LOOK)


def test_the_oldest_and_the_newest_are_halves_of_the_newest_ones_frame() -> None:
    frame = from_centre(83.8, -5.4, 2.0, 0.0, False, 1200, 800)
    # A quarter of the frame's sky, in its middle, turned by half: its left third is the frame's right of the middle.
    older = from_centre(83.8, -5.4, 1.0, 180.0, False, 1200, 800)
    card = halves(
        source((1200, 800), ((250, 0, 0), (0, 250, 0), (0, 0, 250))), older, source((1200, 800), ((200,) * 3,)), frame
    )
    row = pixels(card)[400]
    assert row[100].max() < 20  # beyond the older one
    assert row[330].argmax() == 2  # its right third, turned
    assert row[560].argmax() == 1
    assert row[640] == pytest.approx([200, 200, 200], abs=6)

"""Tiles of large pictures, against the IIIF Image API 3.0 (https://iiif.io/api/image/3.0/).

Section numbers are the specification's: 4 image requests, 5 image information; "Level 0" is its compliance document
(https://iiif.io/api/image/3.0/compliance/). Both are quoted from memory.
"""

from __future__ import annotations

import io
import math
import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from noctuary.images import rendition_cache as keep
from noctuary.images.make_renditions import make_renditions
from noctuary.images.tiles import LEAST_PIXELS, SIDE, TilePack, info, is_tiled, pack, tiles
from PIL import Image

REQUEST = re.compile(r"(?:(full)|(\d+),(\d+),(\d+),(\d+))/(?:(max)|(\d+),(\d+))/0/default\.jpg")
sides = st.integers(1, 20_000)


def asked_by_a_client(told: dict[str, object]) -> Iterator[str]:
    """Every tile that a client may ask for, worked out from ``info.json`` alone (5.4, and the notes on tiles)."""
    width, height = told["width"], told["height"]
    assert isinstance(width, int)
    assert isinstance(height, int)
    for offer in told["tiles"]:  # type: ignore[attr-defined]
        for s in offer["scaleFactors"]:
            step = offer["width"] * s
            for y in range(0, height, step):
                for x in range(0, width, step):
                    w, h = min(step, width - x), min(step, height - y)
                    # 4.7, canonical: a region that is the whole picture is "full"; sizes are always "w,h".
                    region = "full" if (w, h) == (width, height) else f"{x},{y},{w},{h}"
                    yield f"{region}/{math.ceil(w / s)},{math.ceil(h / s)}/0/default.jpg"


@given(sides, sides)
@settings(max_examples=60, deadline=None)
def test_whatever_the_information_offers_is_there(width: int, height: int) -> None:
    there = [t.request for t in tiles(width, height)]
    told = info(width, height, "https://example.org/picture")
    assert len(there) == len(set(there))
    assert set(asked_by_a_client(told)) <= set(there)
    # 5.3: each of "sizes" is the whole picture at that size. Level 0: "full" and "max" have to be supported.
    assert all(f"full/{s['width']},{s['height']}/0/default.jpg" in there for s in told["sizes"])
    assert "full/max/0/default.jpg" in there


@given(sides, sides)
@settings(max_examples=60, deadline=None)
def test_requests_are_in_the_syntax_and_within_the_limits(width: int, height: int) -> None:
    told = info(width, height, "https://example.org/picture")
    for tile in tiles(width, height):
        match = REQUEST.fullmatch(tile.request)
        assert match
        left, top, right, low = tile.box
        assert 0 <= left < right
        assert 0 <= top < low
        assert (right - left) * (low - top) <= told["maxArea"]
        if match[2]:
            x, y, w, h = (int(match[i]) for i in range(2, 6))
            assert x + w <= width
            assert y + h <= height
            assert right - left <= SIDE
            assert low - top <= SIDE
            # 4.2: no request is larger than the region that it asks for.
            assert right - left <= w
            assert low - top <= h
        if match[7]:
            assert (int(match[7]), int(match[8])) == (right - left, low - top)


def test_information_has_what_the_specification_requires() -> None:
    told = info(6000, 4000, "https://example.org/images/rosette-tiles.abc")
    # 5.2 "Technical Properties": the required ones and their fixed values.
    assert told["@context"] == "http://iiif.io/api/image/3/context.json"
    assert told["type"] == "ImageService3"
    assert told["protocol"] == "http://iiif.io/api/image"
    assert told["profile"] == "level0"
    assert (told["width"], told["height"]) == (6000, 4000)
    # 5.1: the identifier is the base URI, without a slash at its end.
    assert told["id"] == "https://example.org/images/rosette-tiles.abc"
    assert told["tiles"] == [{"width": 1024, "height": 1024, "scaleFactors": [1, 2, 4, 8]}]
    # 5.3: sizes from small to large; 5.2: max gives the largest picture of no more than maxArea.
    assert told["sizes"] == [{"width": 750, "height": 500}, {"width": 1500, "height": 1000}]
    assert told["maxArea"] == 1500 * 1000


@pytest.fixture(scope="module")
def large(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A picture just large enough, in which every place has its own colour."""
    path = tmp_path_factory.mktemp("large") / "gradient.png"
    across = Image.linear_gradient("L").rotate(90).resize((6600, 4200))
    down = Image.linear_gradient("L").resize((6600, 4200))
    Image.merge("RGB", (across, down, Image.new("L", across.size, 90))).save(path, compress_level=1)
    return path


def test_tiles_hold_their_part_of_the_picture(large: Path, tmp_path: Path) -> None:
    made = make_renditions(large, tmp_path, keep.source_hash(large))
    assert made.tiles is not None
    kept = TilePack(made.tiles)
    source = Image.open(large)
    for tile in tiles(*source.size):
        image = Image.open(io.BytesIO(kept.read(tile.request)))
        left, top, right, low = tile.box
        assert image.size == (right - left, low - top)
        x, y = (left + right) // 2 * tile.factor, (top + low) // 2 * tile.factor
        wanted = np.asarray(source.getpixel((min(x, source.width - 1), min(y, source.height - 1))))
        found = np.asarray(image.getpixel((image.width // 2, image.height // 2)))
        assert np.abs(found - wanted).max() <= 4
        assert not image.getexif()


def test_only_large_pictures_are_cut(tmp_path: Path) -> None:
    assert is_tiled(4000, LEAST_PIXELS // 4000)
    assert not is_tiled(3999, LEAST_PIXELS // 4000)
    small = tmp_path / "small.png"
    Image.new("RGB", (300, 200), "#123456").save(small)
    made = make_renditions(small, tmp_path / "cache", keep.source_hash(small))
    assert made.tiles is None


def test_the_same_picture_gives_the_same_tiles(large: Path) -> None:
    image = Image.open(large).resize((1200, 800))
    assert b"".join(pack(image)) == b"".join(pack(image))


@pytest.mark.slow
def test_damaged_tiles_are_noticed_and_made_again(large: Path, tmp_path: Path) -> None:
    made = make_renditions(large, tmp_path, keep.source_hash(large))
    assert made.tiles is not None
    keep.check_tiles(made.tiles)
    whole = made.tiles.read_bytes()
    made.tiles.write_bytes(whole[:5000] + bytes([whole[5000] ^ 1]) + whole[5001:])
    with pytest.raises(keep.DamagedRendition):
        keep.check_tiles(made.tiles)
    entry = keep.key(keep.source_hash(large), large)
    assert keep.recall(tmp_path, entry) is None
    again = make_renditions(large, tmp_path, keep.source_hash(large))
    assert again.tiles.read_bytes() == whole
    again.tiles.unlink()
    assert keep.recall(tmp_path, entry) is None

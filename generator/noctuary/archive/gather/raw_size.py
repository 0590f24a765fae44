"""Columns and rows of the full picture in a raw that is built like a TIFF, whose first directory is a preview's.

TIFF 6.0 with the tags of TIFF/EP and DNG 1.4 (NewSubfileType, SubIFDs, DefaultCropSize); the borders of the sensor in
RW2 are common practice.
"""

from __future__ import annotations

import struct
from typing import BinaryIO

_KIND, _WIDE, _HIGH, _INSIDE, _CROP = 254, 256, 257, 330, 50720
_RW2_TOP, _RW2_LEFT, _RW2_BOTTOM, _RW2_RIGHT = 4, 5, 6, 7
_FORMS = {3: "H", 4: "I", 13: "I", 5: "II"}
_MOST_DIRECTORIES = 30

Directory = dict[int, list[int]]


def full_size(file: BinaryIO) -> tuple[int, int] | None:
    """The largest picture that is no preview, cropped as the file says; ``None`` for what is no TIFF, or damaged."""
    file.seek(0)
    begins = file.read(8)
    order = {b"II": "<", b"MM": ">"}.get(begins[:2])
    if order is None or len(begins) < 8:
        return None
    waiting = [struct.unpack_from(order + "I", begins, 4)[0]]
    visited: set[int] = set()
    sizes: list[tuple[int, int]] = []
    while waiting and len(visited) < _MOST_DIRECTORIES:
        at = waiting.pop()
        if at in visited or at == 0:
            continue
        visited.add(at)
        try:
            tags, following = _directory(file, at, order)
        except struct.error:
            continue
        waiting += [following, *tags.get(_INSIDE, [])]
        sizes += _size_of(tags, panasonic=begins[2:4] == b"U\0")
    return max(sizes, key=lambda size: size[0] * size[1], default=None)


def _size_of(tags: Directory, *, panasonic: bool) -> list[tuple[int, int]]:
    if panasonic:
        edges = [tags.get(tag) for tag in (_RW2_LEFT, _RW2_RIGHT, _RW2_TOP, _RW2_BOTTOM)]
        if not all(edges):
            return []
        left, right, top, bottom = (edge[0] for edge in edges if edge)
        size = right - left, bottom - top
    elif tags.get(_KIND, [0])[0] & 1 or not (tags.get(_WIDE) and tags.get(_HIGH)):
        return []
    else:
        size = tags[_WIDE][0], tags[_HIGH][0]
        crop = tags.get(_CROP, [])
        if len(crop) == 2:
            size = crop[0], crop[1]
    return [size] if all(1 < n < 100_000 for n in size) else []


def _directory(file: BinaryIO, at: int, order: str) -> tuple[Directory, int]:
    """The whole numbers of one directory by their tags, and where the next one is. Raises struct.error."""
    file.seek(at)
    (count,) = struct.unpack(order + "H", file.read(2))
    entries = file.read(12 * count)
    rest = file.read(4)
    following = struct.unpack(order + "I", rest)[0] if len(rest) == 4 else 0
    tags: Directory = {}
    for number in range(len(entries) // 12):
        tag, kind, many, value = struct.unpack_from(order + "HHI4s", entries, 12 * number)
        form = _FORMS.get(kind)
        if form is None or not 1 <= many <= 16 or tag not in (_KIND, _WIDE, _HIGH, _INSIDE, _CROP, 4, 5, 6, 7):
            continue
        layout = order + form * many
        size = struct.calcsize(layout)
        if size > 4:
            file.seek(struct.unpack(order + "I", value)[0])
            value = file.read(size)
        numbers = struct.unpack(layout, value[:size])
        if kind == 5:
            numbers = tuple(n // max(d, 1) for n, d in zip(numbers[::2], numbers[1::2], strict=True))
        tags[tag] = list(numbers)
    return tags, following

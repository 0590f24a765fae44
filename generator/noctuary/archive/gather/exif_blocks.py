"""Where the blocks of EXIF lie in files that are neither TIFF nor JPEG: each block is a TIFF of its own."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from typing import BinaryIO

_SEARCHED = 1 << 20  # bytes at the beginning in which an embedded header is looked for
_LONGEST = 4 << 20


def exif_blocks(file: BinaryIO) -> list[tuple[str, bytes]]:
    """(which part of the tags, block): ``Image`` and ``EXIF`` apart in some raws, else everything in one.

    Raises :class:`struct.error` and :class:`ValueError` for damage.
    """
    file.seek(0)
    begins = file.read(_SEARCHED)
    if begins[:4] == b"\0MRM":
        return [("Image", block) for block in _of_mrw(begins)]
    if begins[4:8] == b"ftyp" and (block := _of_heif(file, begins)):
        return [("Image", block)]
    # Raws in ISO base media files keep the main tags and the EXIF tags as two blocks, in boxes called CMT1 and CMT2.
    # From memory.
    found = []
    for box, part in ((b"CMT1", "Image"), (b"CMT2", "EXIF")):
        at = begins.find(box)
        if at >= 4:
            block = begins[at + 4 : at - 4 + int.from_bytes(begins[at - 4 : at], "big")]
            if block[:2] in (b"II", b"MM"):
                found.append((part, block))
    at = begins.find(b"\xff\xd8\xff")
    if not found and at > 0:
        found = [("Image", begins[at:])]
    return found


def _of_mrw(begins: bytes) -> Iterator[bytes]:
    """MRW: blocks of four letters and a length, of which TTW is a TIFF. Common practice."""
    at, end = 8, 8 + int.from_bytes(begins[4:8], "big")
    while at + 8 <= min(end, len(begins)):
        name, size = struct.unpack_from(">4sI", begins, at)
        if name == b"\0TTW":
            yield begins[at + 8 : at + 8 + size]
        at += 8 + size


def _of_heif(file: BinaryIO, begins: bytes) -> bytes | None:
    """The Exif item of a HEIF (ISO/IEC 23008-12, annex A): its place is in the boxes iinf and iloc of meta."""
    meta = dict(_boxes(begins, 0, len(begins))).get(b"meta")
    if meta is None:
        return None
    inside = dict(_boxes(begins, meta[0] + 4, meta[1]))
    if b"iinf" not in inside or b"iloc" not in inside:
        return None
    item = _exif_item(begins, *inside[b"iinf"])
    place = _extents(begins, *inside[b"iloc"]).get(item) if item is not None else None
    if place is None:
        return None
    at, size = place
    file.seek(at)
    block = file.read(min(size, _LONGEST))
    skip = int.from_bytes(block[:4], "big")  # to the TIFF header, over the letters “Exif”
    return block[4 + skip :] if block[4 + skip : 6 + skip] in (b"II", b"MM") else None


def _boxes(content: bytes, at: int, end: int) -> Iterator[tuple[bytes, tuple[int, int]]]:
    """(kind, (start, end) of what is inside) of the boxes between two places; ISO/IEC 14496-12, 4.2."""
    while at + 8 <= min(end, len(content)):
        size, kind = struct.unpack_from(">I4s", content, at)
        head = 8
        if size == 1 and at + 16 <= len(content):
            (size,) = struct.unpack_from(">Q", content, at + 8)
            head = 16
        elif size == 0:
            size = end - at
        if size < head:
            return
        yield kind, (at + head, min(at + size, end))
        at += size


def _exif_item(content: bytes, start: int, end: int) -> int | None:
    """The number of the item of the kind Exif; ISO/IEC 14496-12, 8.11.6."""
    wide = content[start] > 0
    for kind, (at, _) in _boxes(content, start + (8 if wide else 6), end):
        if kind == b"infe" and content[at] >= 2:
            form = ">H2x4s" if content[at] == 2 else ">I2x4s"
            item, what = struct.unpack_from(form, content, at + 4)
            if what == b"Exif":
                return int(item)
    return None


def _extents(content: bytes, start: int, end: int) -> dict[int, tuple[int, int]]:
    """Item → (offset in the file, length) of items in one piece; ISO/IEC 14496-12, 8.11.3."""
    version = content[start]
    sizes = content[start + 4 : start + 6]
    offset_size, length_size, base_size = sizes[0] >> 4, sizes[0] & 15, sizes[1] >> 4
    index_size = sizes[1] & 15 if version > 0 else 0
    at = start + 6

    def number(size: int) -> int:
        nonlocal at
        at += size
        return int.from_bytes(content[at - size : at], "big")

    places: dict[int, tuple[int, int]] = {}
    for _ in range(min(number(4 if version == 2 else 2), 10_000)):
        item = number(4 if version == 2 else 2)
        method = number(2) & 15 if version > 0 else 0
        number(2)
        base = number(base_size)
        extents = []
        for _ in range(min(number(2), 1000)):
            number(index_size)
            extents.append((base + number(offset_size), number(length_size)))
        if method == 0 and len(extents) == 1:
            places[item] = extents[0]
        if at > end:
            break
    return places

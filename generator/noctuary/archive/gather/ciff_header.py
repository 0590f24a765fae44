"""Headers of CRW raws: the Camera Image File Format (CIFF 1.0 revision 4, a published specification of 1997).

A file is a heap: a block whose last four bytes say where its directory is, with entries of ten bytes that hold a
value or say where one lies. What the entries mean is common practice of readers of these files.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime

from noctuary.archive.gather.frame_header import FrameHeader, NoHeader, finite, frame_of_camera, words

_MOST_BYTES = 64 << 20
_CAMERA, _CAPTURED, _EXPOSURE, _IMAGE = 0x080A, 0x180E, 0x1818, 0x1810
_FOCAL, _SHOT, _SETTINGS = 0x1029, 0x102A, 0x102D


def read(path: str) -> FrameHeader:
    """Raises :class:`NoHeader` where the heap has no entry that says when or how long, OSError."""
    with open(path, "rb") as file:  # noqa: PTH123
        content = file.read(_MOST_BYTES)
    order = "<" if content[:2] == b"II" else ">"
    try:
        (start,) = struct.unpack_from(order + "I", content, 2)
        entries = dict(_entries(content, order, start, len(content), 0))
    except (struct.error, ValueError) as trouble:
        raise NoHeader("its header is damaged, or of a kind that cannot be read") from trouble
    exposure, f_ratio = _exposure(entries, order)
    clock = _numbers(entries.get(_CAPTURED, b""), order + "I")
    size = _numbers(entries.get(_IMAGE, b""), order + "II")
    return replace(
        frame_of_camera(path, _start(clock), exposure),
        iso=_iso(entries.get(_SHOT, b""), order),
        pixels=(size[0], size[1]) if size and all(1 < n < 100_000 for n in size) else None,
        focal_length_mm=_focal_length(entries, order),
        f_ratio=f_ratio,
        camera=_camera(entries.get(_CAMERA, b"")),
    )


def _entries(content: bytes, order: str, start: int, end: int, depth: int) -> Iterator[tuple[int, bytes]]:
    """Tags and values of a heap and of those inside it."""
    if not 0 <= start < end - 4 <= len(content) - 4 or depth > 4:
        return
    (at,) = struct.unpack_from(order + "I", content, end - 4)
    at += start
    (count,) = struct.unpack_from(order + "H", content, at)
    for number in range(min(count, 500)):
        tag, size, offset = struct.unpack_from(order + "HII", content, at + 2 + 10 * number)
        if tag & 0xC000 == 0x4000:  # the value is in the entry itself
            yield tag & 0x3FFF, content[at + 4 + 10 * number : at + 12 + 10 * number]
        elif tag & 0x3800 in (0x2800, 0x3000):
            yield from _entries(content, order, start + offset, start + offset + size, depth + 1)
        elif size < 1 << 16:
            yield tag & 0x3FFF, content[start + offset : start + offset + size]


def _numbers(value: bytes, form: str) -> tuple[int, ...]:
    return struct.unpack_from(form, value) if len(value) >= struct.calcsize(form) else ()


def _exposure(entries: dict[int, bytes], order: str) -> tuple[float | None, float | None]:
    """Seconds and f-ratio: of the shot in steps of 1/32 of a doubling, else as APEX numbers."""
    shot = _numbers(entries.get(_SHOT, b""), order + "23h")
    apex = struct.unpack_from(order + "fff", entries.get(_EXPOSURE, b"").ljust(12, b"\0"))
    time = shot[22] / 32 if shot and shot[22] else apex[1]
    aperture = shot[21] / 32 if shot and shot[21] else apex[2]
    seconds = finite(2.0**-time, 1e-6, 1e6) if time and -20 < time < 20 else None
    return seconds, finite(2.0 ** (aperture / 2), 0.3, 100) if 0 < aperture < 14 else None


def _start(clock: tuple[int, ...]) -> datetime | None:
    """The camera's clock, counted in seconds from 1970 as though it were universal time."""
    moment = datetime.fromtimestamp(clock[0], UTC).replace(tzinfo=None) if clock and clock[0] else None
    return moment if moment is not None and moment.year > 1990 else None


def _iso(value: bytes, order: str) -> float | None:
    """From two numbers in steps of 1/32 of a doubling: the automatic part in per cent, and the base."""
    if len(value) < 6:
        return None
    _, automatic, base = struct.unpack_from(order + "3h", value)
    if not (0 <= automatic < 1000 and 0 < base < 1000):
        return None
    return finite(round(2 ** (automatic / 32) * 2 ** (base / 32) * 100 / 32), 1, 1e6)


def _focal_length(entries: dict[int, bytes], order: str) -> float | None:
    focal = _numbers(entries.get(_FOCAL, b""), order + "2H")
    settings = entries.get(_SETTINGS, b"")
    (units,) = _numbers(settings[50:52], order + "H") or (1,)
    return finite(focal[1] / max(units, 1), 1, 1e5) if focal else None


def _camera(value: bytes) -> str | None:
    maker, _, model = value.decode("latin-1").partition("\0")
    return words(model.partition("\0")[0]) or words(maker)

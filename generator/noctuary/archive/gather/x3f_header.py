"""Headers of X3F raws: columns and rows at the beginning, properties as pairs of texts in a section of their own.

Files of later cameras have a preview in JPEG whose EXIF is the raw's own; that is read as in other raws. The layout
is common practice of readers of these files.
"""

from __future__ import annotations

import struct
from dataclasses import replace
from datetime import UTC, datetime

from noctuary.archive.gather.frame_header import FrameHeader, NoHeader, finite, frame_of_camera, words
from noctuary.archive.gather.maker_notes import focal_range

_LONGEST_SECTION = 1 << 20


def read(path: str) -> FrameHeader:
    """Raises :class:`NoHeader` where there are no properties that say when or how long, OSError."""
    try:
        with open(path, "rb") as file:  # noqa: PTH123
            begins = file.read(40)
            end = file.seek(0, 2)
            file.seek(max(0, end - 4))
            (at,) = struct.unpack("<I", file.read(4))
            file.seek(at)
            directory = file.read(12 + 12 * 1000)
            section = b""
            for offset, size, section_kind in _sections(directory):
                if section_kind == b"PROP":
                    file.seek(offset)
                    section = file.read(min(size, _LONGEST_SECTION))
        properties = _properties(section)
    except (struct.error, ValueError) as trouble:
        raise NoHeader("its header is damaged, or of a kind that cannot be read") from trouble
    exposure, clock = finite(properties.get("SHUTTER"), 1e-6, 1e6), finite(properties.get("TIME"), 6e8, 8e9)
    start = datetime.fromtimestamp(clock, UTC).replace(tzinfo=None) if clock else None
    wide, high = struct.unpack_from("<II", begins, 28) if len(begins) >= 36 else (0, 0)
    maker, model = words(properties.get("CAMMANUF")), words(properties.get("CAMMODEL"))
    return replace(
        frame_of_camera(path, start, exposure),
        iso=finite(properties.get("ISO"), 1, 1e7),
        pixels=(wide, high) if 1 < wide < 100_000 and 1 < high < 100_000 else None,
        focal_length_mm=finite(properties.get("FLENGTH"), 1, 1e5),
        f_ratio=finite(properties.get("APERTURE"), 0.3, 100),
        optic=_lens(properties.get("LENSFRANGE")),
        camera=model if maker is None or (model and model.casefold().startswith(maker.casefold())) else (
            f"{maker} {model}" if model else maker
        ),
    )  # fmt: skip


def _lens(focal_lengths: str | None) -> str | None:
    """“15 to 30” as the range of a lens."""
    ends = [finite(part, 1, 1e4) for part in (focal_lengths or "").split(" to ")]
    return f"{focal_range(ends[0], ends[-1])} mm" if ends[0] and ends[-1] else None


def _sections(directory: bytes) -> list[tuple[int, int, bytes]]:
    if directory[:4] != b"SECd":
        return []
    (count,) = struct.unpack_from("<I", directory, 8)
    whole = min(count, (len(directory) - 12) // 12)
    return [struct.unpack_from("<II4s", directory, 12 + 12 * number) for number in range(whole)]


def _properties(section: bytes) -> dict[str, str]:
    """Pairs of texts in UTF-16, each ended by a zero; the entries say at which character a name and a value begin."""
    if section[:4] != b"SECp":
        return {}
    (count,) = struct.unpack_from("<I", section, 8)
    texts = section[24 + 8 * min(count, 10_000) :].decode("utf-16-le", "replace")
    pairs = (struct.unpack_from("<II", section, 24 + 8 * number) for number in range(min(count, 10_000)))
    return {
        texts[name:].partition("\0")[0][:80]: texts[value:].partition("\0")[0][:80]
        for name, value in pairs
        if name < len(texts) and value < len(texts)
    }

"""The blocks of metadata in a JPEG, PNG, TIFF or HEIF, before anything is made of them. No pixel is decoded."""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from noctuary.errors import NoctuaryError
from noctuary.quiet import quiet

if TYPE_CHECKING:
    from PIL import Image

_MOST_BYTES = 8 << 20
_EXIF_IFD, _GPS_IFD = 0x8769, 0x8825
_TIFF_XMP, _TIFF_IPTC = 700, 33723
_IPTC_RESOURCE = 0x0404


class NotReadable(NoctuaryError, ValueError):
    """A file that is no picture of a kind that is read here, or a damaged one; the text says so to the person."""


class DamagedHeader(NotReadable):
    """A picture all the same: what else is known of it may do."""


@dataclass(frozen=True, slots=True)
class Blocks:
    """EXIF tags by number (the main ones, those of the EXIF block, those of GPS), packets as bytes, texts by
    keyword."""

    main: Mapping[int, Any] = field(default_factory=dict)
    exif: Mapping[int, Any] = field(default_factory=dict)
    gps: Mapping[int, Any] = field(default_factory=dict)
    xmp: bytes = b""
    iptc: bytes = b""
    text: Mapping[str, str] = field(default_factory=dict)


def read_blocks(path: Path) -> Blocks:
    """Raises :class:`NotReadable`, or OSError where the file cannot be read."""
    with path.open("rb") as file, quiet("PIL"):
        head = file.read(16)
        file.seek(0)
        if head.startswith(b"\xff\xd8\xff"):
            return _of_pillow(file, "JPEG")
        if head.startswith(b"\x89PNG\r\n\x1a\n"):
            return _of_png(file)
        if head[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
            return _of_tiff(file)
        if head[4:8] == b"ftyp":
            return _of_heif(file)
    raise NotReadable("it is no JPEG, PNG, TIFF, FITS, XISF or HEIF")


def _of_pillow(file: BinaryIO, kind: str) -> Blocks:
    from PIL import Image

    # Nothing is decoded, so that no size is too large.
    most, Image.MAX_IMAGE_PIXELS = Image.MAX_IMAGE_PIXELS, None
    try:
        with Image.open(file, formats=(kind,)) as image:
            info = image.info
            resources = info.get("photoshop")
            iptc = resources.get(_IPTC_RESOURCE, b"") if isinstance(resources, dict) else b""
            main, exif, gps = _tags(image.getexif())
            return Blocks(main, exif, gps, _packet(info.get("xmp")), iptc if isinstance(iptc, bytes) else b"")
    except Exception as trouble:  # whatever damage does to a library's parser, it is damage
        raise DamagedHeader("its header is damaged") from trouble
    finally:
        Image.MAX_IMAGE_PIXELS = most


def _of_tiff(file: BinaryIO) -> Blocks:
    from PIL import Image

    tags = Image.Exif()
    try:
        tags.load_from_fp(file)
        main, exif, gps = _tags(tags)
    except Exception as trouble:
        raise DamagedHeader("its header is damaged") from trouble
    return Blocks(main, exif, gps, _packet(main.get(_TIFF_XMP)), _packet(main.get(_TIFF_IPTC)))


def _of_png(file: BinaryIO) -> Blocks:
    from PIL import Image

    texts: dict[str, str] = {}
    tags = Image.Exif()
    for name, data in _png_chunks(file):
        if name == b"eXIf":
            with suppress(Exception):
                tags.load(b"Exif\0\0" + data)
            continue
        keyword, _, rest = data.partition(b"\0")
        text = _png_text(name, rest)
        if text and 0 < len(keyword) < 80:
            texts.setdefault(keyword.decode("latin-1"), text)
    main, exif, gps = _tags(tags)
    return Blocks(main, exif, gps, texts.pop("XML:com.adobe.xmp", "").encode(), b"", texts)


def _png_chunks(file: BinaryIO) -> list[tuple[bytes, bytes]]:
    """The chunks that hold metadata (PNG, third edition, section 11.3.3), before and after the pixels."""
    end = file.seek(0, 2)
    at, found = 8, []
    while at + 12 <= end:
        file.seek(at)
        begins = file.read(8)
        size, name = int.from_bytes(begins[:4], "big"), begins[4:]
        if at + 12 + size > end:
            break
        if name in (b"tEXt", b"zTXt", b"iTXt", b"eXIf") and size <= _MOST_BYTES:
            found.append((name, file.read(size)))
        at += 12 + size
    return found


def _png_text(name: bytes, rest: bytes) -> str:
    if name == b"tEXt":
        return rest.decode("latin-1")
    if name == b"zTXt":
        return _inflated(rest[1:]).decode("latin-1")
    compressed = rest[:1] == b"\1"
    parts = rest[2:].split(b"\0", 2)
    if len(parts) < 3:
        return ""
    return (_inflated(parts[2]) if compressed else parts[2]).decode("utf-8", "replace")


def _inflated(data: bytes) -> bytes:
    try:
        return zlib.decompressobj().decompress(data, _MOST_BYTES)
    except zlib.error:
        return b""


def _of_heif(file: BinaryIO) -> Blocks:
    try:
        from pillow_heif import register_heif_opener
    except ImportError:
        raise NotReadable('HEIF needs a library of its own: pip install "noctuary[heif]"') from None
    register_heif_opener()
    return _of_pillow(file, "HEIF")


def _tags(exif: Image.Exif) -> tuple[dict[int, Any], dict[int, Any], dict[int, Any]]:
    tables: list[dict[int, Any]] = []
    for number in (None, _EXIF_IFD, _GPS_IFD):
        table: dict[int, Any] = {}
        with suppress(Exception):
            ifd = exif if number is None else exif.get_ifd(number)
            for tag in list(ifd):
                # One damaged tag must not lose the others.
                with suppress(Exception):
                    table[int(tag)] = ifd[tag]
        tables.append(table)
    return tables[0], tables[1], tables[2]


def _packet(value: object) -> bytes:
    if isinstance(value, tuple) and all(isinstance(n, int) and 0 <= n < 256 for n in value):
        return bytes(value)
    if isinstance(value, str):
        return value.encode("utf-8", "replace")
    return value if isinstance(value, bytes) else b""

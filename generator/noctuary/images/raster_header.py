"""What the header of a JPEG, PNG or TIFF says before its pixels are read: size, depth, orientation."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from noctuary.images.decoded import MIB
from noctuary.images.file_type import raw_frame
from noctuary.quiet import quiet

if TYPE_CHECKING:
    from PIL import Image


@contextmanager
def pillow_image(path: Path) -> Iterator[Image.Image]:
    # Imported by name: Pillow would otherwise import every format it knows to find these two.
    from PIL import Image, TiffImagePlugin, WebPImagePlugin  # noqa: F401

    # By an open file and not by name: Pillow maps named TIFF files into memory, and takes the rows of a picture
    # that is to be turned on its side for as long as its columns.
    with path.open("rb") as file, Image.open(file, formats=("JPEG", "PNG", "TIFF", "GIF", "WEBP", "BMP")) as image:
        yield image


@dataclass(frozen=True, slots=True)
class _TiffHeader:
    """The first page of a TIFF, as it says and not as Pillow opens it. ``width`` and ``height`` are as stored."""

    width: int
    height: int
    bits: int
    bytes_per_pixel: float
    orientation: int
    profile: bytes | None
    more_pages: bool


@contextmanager
def tiff_file(path: Path) -> Iterator[Any]:
    import tifffile

    # It logs what comes out as one fault here.
    with quiet("tifffile"), tifffile.TiffFile(path) as file:
        yield file


def tiff_header(path: Path) -> _TiffHeader:
    """Raises PictureFault where the TIFF is a raw frame."""
    with tiff_file(path) as file:
        page = file.pages[0]
        tags = page.tags
        if 50706 in tags or int(page.compression) in (34713, 32767, 34892):
            raise raw_frame()
        orientation = tags[274].value if 274 in tags else 1
        profile = tags[34675].value if 34675 in tags else None
        bits = page.bitspersample
        deepest = max(int(b) for b in (bits if isinstance(bits, tuple) else (bits,)))
        # A blank fax of one bit has no bound worth the name.
        each = 0.0 if deepest == 1 else deepest / 8 * int(page.samplesperpixel)
        more = any(not _is_preview(file.pages[n]) for n in range(1, min(len(file.pages), 50)))
        return _TiffHeader(
            int(page.imagewidth),
            int(page.imagelength),
            deepest,
            each,
            int(orientation) if isinstance(orientation, int) and 1 <= orientation <= 8 else 1,
            profile if isinstance(profile, bytes) and profile else None,
            more,
        )


def _is_preview(page: Any) -> bool:
    """Whether a further page of a TIFF is marked as a small copy or a mask of another."""
    return bool(int(getattr(page, "subfiletype", 0) or 0) & 5)


def exif_orientation(image: Image.Image, path: Path) -> int:
    """EXIF orientation 1…8. In a PNG it may come after the pixels, so its chunks are walked."""
    from PIL import Image as Pillow

    if image.format == "PNG":
        exif = Pillow.Exif()
        with path.open("rb") as file:
            for name, size, _ in png_chunks(file):
                if name == b"eXIf" and size < MIB:
                    exif.load(b"Exif\0\0" + file.read(size))
    else:
        try:
            exif = image.getexif()
        except Exception:  # EXIF too damaged to read says nothing; the picture itself may be whole
            return 1
    value = exif.get(0x0112, 1)
    return value if isinstance(value, int) and 1 <= value <= 8 else 1


def png_chunks(file: BinaryIO) -> Iterator[tuple[bytes, int, int]]:
    """(name, size, offset) of every whole chunk, the file left at the start of its data."""
    file.seek(0, 2)
    end = file.tell()
    at = 8
    while at + 12 <= end:
        file.seek(at)
        size, name = struct.unpack(">I4s", file.read(8))
        if at + 12 + size > end:
            return
        yield name, size, at + 8
        at += 12 + size


def jpeg_ends(path: Path) -> bool:
    """Whether the end of a JPEG is there (programs leave up to some kilobytes behind it)."""
    with path.open("rb") as file:
        size = file.seek(0, 2)
        file.seek(max(0, size - 65536))
        return b"\xff\xd9" in file.read()


def png_bits(path: Path) -> int:
    """Bits of a sample, as the file says and not as Pillow opens it."""
    with path.open("rb") as file:
        return file.read(25)[24]

"""Any finished picture → one working form, or one fault that says what to do.

JPEG, PNG, TIFF (8, 16 and 32 bits, floating point) and FITS. What a file is, is read from its content. The
working form is sRGB, upright, without alpha: an 8-bit Pillow picture (L or RGB), or, for what has more than
8 bits, a 16-bit array, so that smooth dark gradients stay smooth until they are dithered into 8 bits.
"""

from __future__ import annotations

import struct
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from noctuary.images.decoded import EXPORT, MIB, Doubt, Opened, PictureFault, cut_short, within_limit
from noctuary.images.file_type import kind_of, raw_frame
from noctuary.images.fits_picture import fits_image, open_fits

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray
    from PIL import Image


#: A progressive JPEG of a camera or a program has about ten scans; thousands of them are made to keep a reader busy.
_MAX_SCANS = 400
#: No picture of ordinary formats is packed tighter than this.
_MAX_RATIO = 4000


def open_picture(path: Path) -> Opened:
    """The whole picture, decoded. Raises PictureFault and nothing else."""
    with _one_fault(path):
        kind, doubts = kind_of(path)
        if kind == "fits":
            return open_fits(path, doubts)
        return _open_raster(path, kind, doubts)


def picture_size(path: Path) -> tuple[int, int]:
    """Width and height of the finished picture in pixels after its EXIF orientation, from its header alone.

    Raises PictureFault and nothing else.
    """
    with _one_fault(path):
        kind, _ = kind_of(path)
        if kind == "fits":
            with fits_image(path) as (_, planes, height, width):
                within_limit(width, height)
                del planes
                return width, height
        if kind == "tiff":
            header = _tiff_header(path)
            width, height, orientation = header.width, header.height, header.orientation
            within_limit(width, height)
            _plausible(path, width, height, header.bytes_per_pixel)
        else:
            with _pillow(path) as image:
                width, height = image.size
                within_limit(width, height)
                if kind in ("jpeg", "png") and image.mode != "1":
                    _plausible(path, width, height, 1)
                orientation = _orientation(image, path)
        return (height, width) if orientation > 4 else (width, height)


def quick_check(path: Path) -> tuple[int, int, tuple[Doubt, ...]]:
    """Width, height and doubts of a picture without decoding it; a file that was cut short is noticed.

    Raises PictureFault and nothing else. What only the decoder can see is found when the site is built.
    """
    width, height = picture_size(path)
    with _one_fault(path):
        kind, doubts = kind_of(path)
        if kind == "jpeg" and not _jpeg_ends(path):
            doubts = list(open_picture(path).doubts)
        elif kind == "png":
            with path.open("rb") as file:
                chunks = [name for name, _, _ in _png_chunks(file)]
            if b"IEND" not in chunks:
                raise cut_short()
            if b"acTL" in chunks:
                doubts.append(_many_frames())
        return width, height, tuple(doubts)


@contextmanager
def _one_fault(path: Path) -> Iterator[None]:
    """Whatever goes wrong inside comes out as one PictureFault."""
    from PIL import Image

    # The limit is ours and is checked before anything is decoded; Pillow's own would warn on the screen.
    Image.MAX_IMAGE_PIXELS = None
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    except PictureFault:
        raise
    except (FileNotFoundError, NotADirectoryError):
        raise PictureFault(
            "picture-missing", "the picture is not there", "put the picture beside its sidecar"
        ) from None
    except IsADirectoryError:
        raise PictureFault(
            "picture-missing", "this is a folder, not a picture", "put a picture here instead of the folder"
        ) from None
    except PermissionError:
        raise PictureFault(
            "picture-unreadable", "the picture may not be read", "allow yourself to read the file"
        ) from None
    except MemoryError:
        raise PictureFault(
            "picture-too-large",
            "there is not enough memory for the picture",
            "close other programs, or export the picture smaller",
        ) from None
    except Exception as error:
        raise _damaged(error) from None


def _damaged(error: Exception) -> PictureFault:
    said = " ".join(str(error).split())
    if isinstance(error, EOFError) or any(word in said.lower() for word in ("truncated", "not enough data")):
        return cut_short()
    if "too large" in said.lower() or "max_text" in said.lower():
        return PictureFault(
            "picture-metadata",
            "the picture carries more metadata than any picture needs",
            "export it again without comments, previews and editing history",
        )
    from PIL import UnidentifiedImageError

    reason = "" if isinstance(error, UnidentifiedImageError) or not said else f" ({said[:120]})"
    return PictureFault(
        "picture-unreadable", f"the picture is damaged and cannot be decoded{reason}", f"{EXPORT} instead"
    )


def _many_frames() -> Doubt:
    return (
        "picture-frames",
        "the picture has more than one frame or page; only the first is shown",
        "export the frame you mean as a picture of its own",
    )


def _plausible(path: Path, width: int, height: int, bytes_per_pixel: float) -> None:
    """Refuses a header that promises far more than the file can hold, before memory is taken for it.

    Deflate makes nothing more than 1,032 times smaller, LZW about as much, baseline JPEG 256 times.
    """
    promised = width * height * bytes_per_pixel
    if promised > 16 * MIB and promised > _MAX_RATIO * path.stat().st_size:
        raise PictureFault(
            "picture-truncated",
            f"the picture says it has {width} × {height} pixels, but the file is far too small for that",
            "copy or export the file again",
        )


# JPEG, PNG and TIFF


@contextmanager
def _pillow(path: Path) -> Iterator[Image.Image]:
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
def _tifffile(path: Path) -> Iterator[Any]:
    import logging

    import tifffile

    log = logging.getLogger("tifffile")
    before = log.level
    log.setLevel(logging.CRITICAL + 1)  # it tells on standard error what comes out as one fault here
    try:
        with tifffile.TiffFile(path) as file:
            yield file
    finally:
        log.setLevel(before)


def _tiff_header(path: Path) -> _TiffHeader:
    """Raises PictureFault where the TIFF is a raw frame."""
    with _tifffile(path) as file:
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


def _orientation(image: Image.Image, path: Path) -> int:
    """EXIF orientation 1…8. In a PNG it may come after the pixels, so its chunks are walked."""
    from PIL import Image as Pillow

    if image.format == "PNG":
        exif = Pillow.Exif()
        with path.open("rb") as file:
            for name, size, _ in _png_chunks(file):
                if name == b"eXIf" and size < MIB:
                    exif.load(b"Exif\0\0" + file.read(size))
    else:
        try:
            exif = image.getexif()
        except Exception:  # EXIF too damaged to read says nothing; the picture itself may be whole
            return 1
    value = exif.get(0x0112, 1)
    return value if isinstance(value, int) and 1 <= value <= 8 else 1


def _png_chunks(file: BinaryIO) -> Iterator[tuple[bytes, int, int]]:
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


def _jpeg_ends(path: Path) -> bool:
    """Whether the end of a JPEG is there (programs leave up to some kilobytes behind it)."""
    with path.open("rb") as file:
        size = file.seek(0, 2)
        file.seek(max(0, size - 65536))
        return b"\xff\xd9" in file.read()


def _open_raster(path: Path, kind: str, doubts: list[Doubt]) -> Opened:
    from PIL import Image

    if kind == "tiff":
        header = _tiff_header(path)
        within_limit(header.width, header.height)
        _plausible(path, header.width, header.height, header.bytes_per_pixel)
        if header.more_pages:
            doubts.append(_many_frames())
        if header.bits > 8:
            pixels, mode = _deep_tiff(path, doubts)
            return _opened_deep(pixels, mode, header.profile, doubts)
    with _pillow(path) as image:
        within_limit(*image.size)
        if kind in ("jpeg", "png") and image.mode != "1":
            _plausible(path, *image.size, 1)
        if kind != "tiff" and image.format != "MPO" and getattr(image, "n_frames", 1) > 1:
            doubts.append(_many_frames())
        if kind == "jpeg" and image.info.get("progressive") and path.read_bytes().count(b"\xff\xda") > _MAX_SCANS:
            raise PictureFault("picture-unreadable", "the JPEG has an absurd number of scans", EXPORT)
        profile = _profile(image)
        if kind == "png" and _png_bits(path) > 8:
            turn = _orientation(image, path)
            pixels, mode = _deep_png(path)
            return _opened_deep(_turned_array(pixels, turn), mode, profile, doubts)
        image.load()
        turn = 1 if kind == "tiff" else _orientation(image, path)  # Pillow turns a TIFF itself
        flat, alpha = _flattened(image)
        # The decoder's own picture is let go here, or two of them would be in memory.
    try:
        flat = _to_srgb(flat, profile, doubts)
        if alpha is not None:
            black = Image.new(flat.mode, flat.size)
            black.paste(flat, mask=alpha)
            flat = black
    finally:
        del alpha
    turned = {
        2: Image.Transpose.FLIP_LEFT_RIGHT,
        3: Image.Transpose.ROTATE_180,
        4: Image.Transpose.FLIP_TOP_BOTTOM,
        5: Image.Transpose.TRANSPOSE,
        6: Image.Transpose.ROTATE_270,
        7: Image.Transpose.TRANSVERSE,
        8: Image.Transpose.ROTATE_90,
    }
    if turn in turned:
        flat = flat.transpose(turned[turn])
    return Opened(flat, flat.width, flat.height, tuple(doubts))


def _profile(image: Image.Image) -> bytes | None:
    profile = image.info.get("icc_profile")
    return profile if isinstance(profile, bytes) and profile else None


def _png_bits(path: Path) -> int:
    """Bits of a sample, as the file says and not as Pillow opens it."""
    with path.open("rb") as file:
        return file.read(25)[24]


def _flattened(image: Image.Image) -> tuple[Image.Image, Image.Image | None]:
    """A decoded 8-bit picture as L, RGB, CMYK or LAB, and its alpha."""
    if image.mode in ("LA", "La", "PA", "RGBa") or "transparency" in image.info:
        image = image.convert("RGBA")
    if image.mode == "RGBA":
        alpha = image.getchannel("A")
        if alpha.getextrema() == (255, 255):
            return image.convert("RGB"), None
        return image.convert("RGB"), alpha
    if image.mode == "1":
        return image.convert("L"), None
    if image.mode in ("L", "RGB", "CMYK", "LAB"):
        return image, None
    return image.convert("RGB"), None


def _to_srgb(image: Image.Image, profile: bytes | None, doubts: list[Doubt]) -> Image.Image:
    from noctuary.images.colour import UnusableProfile, to_srgb

    try:
        return to_srgb(image, profile)
    except UnusableProfile:
        doubts.append(_bad_profile())
        return to_srgb(image, None)


def _bad_profile() -> Doubt:
    return (
        "picture-profile",
        "the embedded colour profile cannot be used; the colours are taken to be sRGB",
        "export the picture again with its colours converted to sRGB",
    )


# More than 8 bits


def _opened_deep(pixels: NDArray[Any], mode: str, profile: bytes | None, doubts: list[Doubt]) -> Opened:
    """uint16 pixels with 1 to 4 channels (``mode`` L, LA, RGB, RGBA or CMYK) → the working form."""
    import numpy as np

    from noctuary.images.colour import UnusableProfile, deep_to_srgb
    from noctuary.images.resize import as_8_bit

    height, width = pixels.shape[:2]
    if mode == "CMYK":
        from PIL import Image

        eight = Image.fromarray(np.ascontiguousarray(pixels >> 8).astype(np.uint8), "CMYK")
        return Opened(_to_srgb(eight, profile, doubts), width, height, tuple(doubts))
    alpha = pixels[..., -1].copy() if mode in ("LA", "RGBA") else None
    if mode in ("LA", "L") and pixels.ndim == 3:
        pixels = pixels[..., 0]
    elif mode == "RGBA":
        pixels = pixels[..., :3]
    pixels = np.ascontiguousarray(pixels)
    try:
        converted = deep_to_srgb(pixels, profile)
    except UnusableProfile:
        doubts.append(_bad_profile())
        converted = pixels
    if converted is None:
        # A profile of tables is computed in 8 bits by Pillow; the dither before it keeps most of the gradients.
        eight = _to_srgb(as_8_bit(pixels), profile, doubts)
        if alpha is not None:
            from PIL import Image

            black = Image.new(eight.mode, eight.size)
            black.paste(eight, mask=Image.fromarray((alpha >> 8).astype(np.uint8)))
            eight = black
        return Opened(eight, width, height, tuple(doubts))
    if alpha is not None:
        for row in range(0, height, 64):
            part = converted[row : row + 64].astype(np.uint32)
            cover = alpha[row : row + 64].astype(np.uint32)
            cover = cover if part.ndim == 2 else cover[..., None]
            converted[row : row + 64] = (part * cover + 32767) // 65535
    return Opened(converted, width, height, tuple(doubts))


def _turned_array(pixels: NDArray[Any], orientation: int) -> NDArray[Any]:
    """An array (h, w, …) upright, as EXIF 2.32 table 6 names the orientations."""
    import numpy as np

    turns: dict[int, Callable[[NDArray[Any]], NDArray[Any]]] = {
        2: lambda a: a[:, ::-1],
        3: lambda a: a[::-1, ::-1],
        4: lambda a: a[::-1],
        5: lambda a: a.swapaxes(0, 1),
        6: lambda a: a.swapaxes(0, 1)[:, ::-1],
        7: lambda a: a[::-1, ::-1].swapaxes(0, 1),
        8: lambda a: a.swapaxes(0, 1)[::-1],
    }
    return np.ascontiguousarray(turns[orientation](pixels)) if orientation in turns else pixels


def _deep_png(path: Path) -> tuple[NDArray[Any], str]:
    """A 16-bit PNG. Pillow keeps only the high byte of each sample, so it is decoded once for the high bytes and,
    told that the bytes are the other way round, once more for the low ones: at the speed of its C decoder."""
    import numpy as np

    with path.open("rb") as file:
        colour_type = file.read(26)[25]
    if colour_type == 0:
        with _pillow(path) as image:
            image.load()
            return np.asarray(image).astype(np.uint16), "L"
    if colour_type == 4:  # four bytes a pixel, the two of the grey first
        with _raw_png(path, "RGBA") as image:
            both = np.asarray(image)
            grey = (both[..., 0].astype(np.uint16) << 8) | both[..., 1]
            cover = (both[..., 2].astype(np.uint16) << 8) | both[..., 3]
            return np.stack([grey, cover], axis=-1), "LA"
    mode = {2: "RGB", 6: "RGBA"}[colour_type]
    with _raw_png(path, f"{mode};16B") as image:
        clear = image.info.get("transparency")
        pixels = np.empty((image.height, image.width, len(mode)), np.uint16)
        for rows, part in _strips(image):
            pixels[rows] = part
    pixels <<= 8
    with _raw_png(path, f"{mode};16L") as image:
        for rows, part in _strips(image):
            pixels[rows] |= part
    if mode == "RGB" and isinstance(clear, tuple) and len(clear) == 3:
        pixels[(pixels == np.array(clear, np.uint16)).all(axis=-1)] = 0
    return pixels, mode


@contextmanager
def _raw_png(path: Path, rawmode: str) -> Iterator[Image.Image]:
    with _pillow(path) as image:
        image.tile = [tile._replace(args=rawmode) for tile in getattr(image, "tile", [])]  # type: ignore[attr-defined]
        image.load()
        yield image


def _strips(image: Image.Image) -> Iterator[tuple[slice, NDArray[Any]]]:
    import numpy as np

    step = max(1, MIB // image.width)
    for top in range(0, image.height, step):
        bottom = min(image.height, top + step)
        yield slice(top, bottom), np.asarray(image.crop((0, top, image.width, bottom)))


def _deep_tiff(path: Path, doubts: list[Doubt]) -> tuple[NDArray[Any], str]:
    """A TIFF of 16, 32 or 64 bits, integers or floating point, upright, as uint16."""
    import numpy as np

    with _tifffile(path) as file:
        page: Any = file.pages[0]
        photometric = int(page.photometric)
        samples = int(page.samplesperpixel)
        planar = int(page.planarconfig) == 2 and samples > 1
        orientation = int(page.tags[274].value) if 274 in page.tags else 1
        within = [int(e) for e in (page.extrasamples or ())]
        try:
            array = page.asarray(maxworkers=1)
        except ValueError as error:
            if "imagecodecs" not in str(error) and "COMPRESSION" not in str(error).upper():
                raise
            array = _deep_tiff_by_halves(path, samples)
            planar, orientation = False, 1
    if planar:
        array = np.moveaxis(array, 0, -1)
    array = array.reshape(array.shape[:2] if samples == 1 else (*array.shape[:2], -1)) if array.ndim > 1 else array
    pixels = _as_uint16(np.asarray(array), doubts)
    if photometric == 0:
        pixels = np.uint16(65535) - pixels
    colours = {0: 1, 1: 1, 2: 3, 5: 4}.get(photometric)
    if colours is None or samples < colours:
        raise PictureFault("picture-format", "this TIFF holds its colours in a way that is not read", EXPORT)
    covered = samples > colours and bool(within) and within[0] in (1, 2)
    if samples > 1:
        pixels = pixels[..., : colours + covered]
    mode = {1: "L", 3: "RGB", 4: "CMYK"}[colours] + ("A" if covered and colours < 4 else "")
    if colours == 4:
        pixels = pixels[..., :4]
    return _turned_array(pixels, orientation), mode


def _deep_tiff_by_halves(path: Path, samples: int) -> NDArray[Any]:
    """A 16-bit TIFF in a compression that tifffile leaves to others (LZW): libtiff's decoder through Pillow, once for
    the high and once for the low bytes, upright."""
    import sys

    import numpy as np

    high, low = ("L", "B") if sys.byteorder == "little" else ("B", "L")
    with _pillow(path) as image:
        if image.mode.startswith("I;16"):
            image.load()
            return np.asarray(image).astype(np.uint16)
        if image.mode not in ("RGB", "RGBA") or len(image.mode) != samples or _tiff_header(path).bits != 16:
            raise PictureFault(
                "picture-format",
                "this TIFF is compressed in a way that is not read",
                "save it uncompressed or with ZIP compression",
            )
    halves = []
    for order in (high, low):
        with _pillow(path) as image:
            tiles: Any = getattr(image, "tile", [])
            image.tile = [  # type: ignore[attr-defined]
                t._replace(args=(t.args[0].split(";")[0] + ";16" + order, *t.args[1:])) for t in tiles
            ]
            image.load()
            halves.append(np.asarray(image))
    whole: NDArray[Any] = (halves[0].astype(np.uint16) << 8) | halves[1]
    return whole


def _as_uint16(array: NDArray[Any], doubts: list[Doubt]) -> NDArray[np.uint16]:
    """Integers by their full range, floating point from 0 to 1; NaN is black."""
    import numpy as np

    if array.dtype == np.uint16:
        return array.astype(np.uint16, copy=False)
    if array.dtype.kind == "u":
        bits = array.dtype.itemsize * 8
        widened: NDArray[np.uint16] = (
            array.astype(np.uint16) * np.uint16(257) if bits == 8 else (array >> (bits - 16)).astype(np.uint16)
        )
        return widened
    if array.dtype.kind == "i":
        top = float(np.iinfo(array.dtype).max)
        scaled: NDArray[np.uint16] = np.rint(np.clip(array, 0, None) * (65535.0 / top)).astype(np.uint16)
        return scaled
    if array.dtype.kind != "f":
        raise PictureFault("picture-format", f"pixels of type {array.dtype} are not read", EXPORT)
    out = np.empty(array.shape, np.uint16)
    outside = False
    for top_row in range(0, array.shape[0], 64):
        part = np.nan_to_num(array[top_row : top_row + 64].astype(np.float32), nan=0.0, posinf=2.0, neginf=-1.0)
        outside = outside or bool((part < -1e-4).any() or (part > 1.0001).any())
        out[top_row : top_row + 64] = np.rint(np.clip(part, 0.0, 1.0) * 65535.0)
    if outside:
        doubts.append(
            (
                "picture-range",
                "some values of this floating-point picture lie outside 0…1 and are cut off there",
                "export it scaled to 0…1",
            )
        )
    return out

"""Any finished picture → one working form, or one fault that says what to do.

JPEG, PNG, TIFF (8, 16 and 32 bits, floating point), FITS, XISF and HEIF. What a file is, is read from its content.
The working form is sRGB, upright, without alpha: an 8-bit Pillow picture (L or RGB), or, for what has more than
8 bits, a 16-bit array, so that smooth dark gradients stay smooth until they are dithered into 8 bits.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from noctuary.images.decoded import EXPORT, MIB, Doubt, Opened, PictureFault, cut_short, within_limit
from noctuary.images.deep_pixels import deep_png, deep_tiff, opened_deep, turned_array
from noctuary.images.file_type import kind_of
from noctuary.images.fits_picture import fits_image, open_fits
from noctuary.images.heif_picture import heif_size, open_heif
from noctuary.images.raster_colour import embedded_profile, flattened, over_black, to_srgb
from noctuary.images.raster_header import exif_orientation, jpeg_ends, pillow_image, png_bits, png_chunks, tiff_header
from noctuary.images.xisf_picture import open_xisf, xisf_size
from noctuary.quiet import quiet

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
        if kind == "xisf":
            return open_xisf(path, doubts)
        if kind == "heif":
            return open_heif(path, doubts)
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
        if kind in ("xisf", "heif"):
            width, height = xisf_size(path) if kind == "xisf" else heif_size(path)
            within_limit(width, height)
            return width, height
        if kind == "tiff":
            header = tiff_header(path)
            width, height, orientation = header.width, header.height, header.orientation
            within_limit(width, height)
            _plausible(path, width, height, header.bytes_per_pixel)
        else:
            with pillow_image(path) as image:
                width, height = image.size
                within_limit(width, height)
                if kind in ("jpeg", "png") and image.mode != "1":
                    _plausible(path, width, height, 1)
                orientation = exif_orientation(image, path)
        return (height, width) if orientation > 4 else (width, height)


def quick_check(path: Path) -> tuple[int, int, tuple[Doubt, ...]]:
    """Width, height and doubts of a picture without decoding it; a file that was cut short is noticed.

    Raises PictureFault and nothing else. What only the decoder can see is found when the site is built.
    """
    width, height = picture_size(path)
    with _one_fault(path):
        kind, doubts = kind_of(path)
        if kind == "jpeg" and not jpeg_ends(path):
            doubts = list(open_picture(path).doubts)
        elif kind == "png":
            with path.open("rb") as file:
                chunks = [name for name, _, _ in png_chunks(file)]
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
    most, Image.MAX_IMAGE_PIXELS = Image.MAX_IMAGE_PIXELS, None
    try:
        with quiet():
            yield
    except PictureFault:
        raise
    except (FileNotFoundError, NotADirectoryError):
        raise PictureFault(
            "the picture is not there", "put the picture beside its sidecar", "picture-missing"
        ) from None
    except IsADirectoryError:
        raise PictureFault(
            "this is a folder, not a picture", "put a picture here instead of the folder", "picture-missing"
        ) from None
    except PermissionError:
        raise PictureFault(
            "the picture may not be read", "allow yourself to read the file", "picture-unreadable"
        ) from None
    except MemoryError:
        raise PictureFault(
            "there is not enough memory for the picture",
            "close other programs, or export the picture smaller",
            "picture-too-large",
        ) from None
    except Exception as error:
        raise _damaged(error) from None
    finally:
        Image.MAX_IMAGE_PIXELS = most


def _damaged(error: Exception) -> PictureFault:
    reason = " ".join(str(error).split())
    if isinstance(error, EOFError) or any(word in reason.lower() for word in ("truncated", "not enough data")):
        return cut_short()
    if "too large" in reason.lower() or "max_text" in reason.lower():
        return PictureFault(
            "the picture carries more metadata than any picture needs",
            "export it again without comments, previews and editing history",
            "picture-metadata",
        )
    from PIL import UnidentifiedImageError

    reason = "" if isinstance(error, UnidentifiedImageError) or not reason else f" ({reason[:120]})"
    return PictureFault(
        f"the picture is damaged and cannot be decoded{reason}", f"{EXPORT} instead", "picture-unreadable"
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
            f"the picture says it has {width} × {height} pixels, but the file is far too small for that",
            "copy or export the file again",
            "picture-truncated",
        )


def _open_raster(path: Path, kind: str, doubts: list[Doubt]) -> Opened:
    from PIL import Image

    if kind == "tiff":
        header = tiff_header(path)
        within_limit(header.width, header.height)
        _plausible(path, header.width, header.height, header.bytes_per_pixel)
        if header.more_pages:
            doubts.append(_many_frames())
        if header.bits > 8:
            pixels, mode = deep_tiff(path, doubts)
            return opened_deep(pixels, mode, header.profile, doubts)
    with pillow_image(path) as image:
        within_limit(*image.size)
        if kind in ("jpeg", "png") and image.mode != "1":
            _plausible(path, *image.size, 1)
        if kind != "tiff" and image.format != "MPO" and getattr(image, "n_frames", 1) > 1:
            doubts.append(_many_frames())
        if kind == "jpeg" and image.info.get("progressive") and path.read_bytes().count(b"\xff\xda") > _MAX_SCANS:
            raise PictureFault("the JPEG has an absurd number of scans", EXPORT, "picture-unreadable")
        profile = embedded_profile(image)
        if kind == "png" and png_bits(path) > 8:
            turn = exif_orientation(image, path)
            pixels, mode = deep_png(path)
            return opened_deep(turned_array(pixels, turn), mode, profile, doubts)
        image.load()
        turn = 1 if kind == "tiff" else exif_orientation(image, path)  # Pillow turns a TIFF itself
        flat, alpha = flattened(image)
        # The decoder's own picture is let go here, or two of them would be in memory.
    try:
        flat = over_black(to_srgb(flat, profile, doubts), alpha)
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

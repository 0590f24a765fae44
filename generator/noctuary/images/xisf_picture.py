"""XISF pictures: the Extensible Image Serialization Format 1.0, whose specification is published.

The header and the block of samples are read by the library ``xisf``, an extra. What it leaves open is done here: that
a block holds no more than the header promises, the range of floating-point samples, and the embedded profile. Rows
run from the top.
"""

from __future__ import annotations

import base64
import math
import zlib
from pathlib import Path
from typing import TYPE_CHECKING, Any

from noctuary.images.decoded import EXPORT, MIB, Doubt, Opened, PictureFault, cut_short, within_limit
from noctuary.images.deep_pixels import as_uint16, opened_deep
from noctuary.images.raster_colour import bad_profile

if TYPE_CHECKING:
    from numpy.typing import NDArray

_NAMESPACE = "{http://www.pixinsight.com/xisf}"
_LONGEST_HEADER = 64 * MIB


def xisf_size(path: Path) -> tuple[int, int]:
    """Width and height of the first picture, from the header; a file that ends too early is noticed."""
    width, height, _ = _geometry(_first(_opened(path)))
    return width, height


def open_xisf(path: Path, doubts: list[Doubt]) -> Opened:
    """The first picture. Raises PictureFault, and what the library raises for damage."""
    file = _opened(path)
    image = _first(file)
    width, height, channels = _geometry(image)
    within_limit(width, height)
    if len(file.get_images_metadata()) > 1:
        doubts.append(
            (
                "picture-frames",
                "the file holds more than one picture; only the first is shown",
                "export the picture you mean as a file of its own",
            )
        )
    _check_block(path, image, width * height * channels * image["dtype"].itemsize)
    samples = file.read_image(0)
    if image.get("pixelStorage", "Planar") == "Normal":  # the library takes every block for planes
        samples = samples.transpose(2, 0, 1).reshape(height, width, channels)
    pixels = as_uint16(_within_bounds(samples, image), doubts)
    mode = {1: "L", 2: "LA", 3: "RGB", 4: "RGBA"}[channels]
    return opened_deep(pixels[..., 0] if channels == 1 else pixels, mode, _profile(path, file, doubts), doubts)


def _opened(path: Path) -> Any:
    try:
        from xisf import XISF
    except ImportError:
        raise PictureFault(
            "an XISF picture needs a library that is not installed",
            f"pip install 'noctuary[xisf]', or {EXPORT}",
            "picture-format",
        ) from None
    with path.open("rb") as file:
        begins = file.read(12)
    length = int.from_bytes(begins[8:12], "little")
    if length > path.stat().st_size:
        raise cut_short()
    if length > _LONGEST_HEADER:
        raise PictureFault(
            "the picture carries more metadata than any picture needs",
            "export it again without its processing history",
            "picture-metadata",
        )
    return XISF(str(path))


def _first(file: Any) -> dict[str, Any]:
    images: list[dict[str, Any]] = file.get_images_metadata()
    if not images:
        raise PictureFault("the XISF file holds no picture", EXPORT, "picture-empty")
    return images[0]


def _geometry(image: dict[str, Any]) -> tuple[int, int, int]:
    geometry = image["geometry"]
    if len(geometry) != 3 or not 1 <= geometry[2] <= 4 or image["dtype"].kind not in "uf":
        raise PictureFault(
            "this XISF picture is not one of one channel or three, of whole or floating-point samples",
            EXPORT,
            "picture-format",
        )
    width, height, channels = geometry
    return width, height, channels


def _check_block(path: Path, image: dict[str, Any], promised: int) -> None:
    """Raises PictureFault where the block of samples is not whole, or unpacks to other than what the header promises.

    The library unpacks zlib without a limit, so the block is counted first.
    """
    kind, *where = image["location"]
    if kind != "attachment":
        return
    at, size = where
    if at + size > path.stat().st_size:
        raise cut_short()
    codec, unpacked, _ = image.get("compression", ("", size, None))
    if unpacked != promised:
        raise cut_short()
    if codec.startswith("zlib"):
        with path.open("rb") as file:
            file.seek(at)
            unpacker, count, packed = zlib.decompressobj(), 0, file.read(size)
        while packed and count <= promised:
            count += len(unpacker.decompress(packed, MIB))
            packed = unpacker.unconsumed_tail
        if count != promised:
            raise cut_short()


def _within_bounds(samples: NDArray[Any], image: dict[str, Any]) -> NDArray[Any]:
    """Floating-point samples from 0 to 1, by the range that the header gives them."""
    import numpy as np

    if samples.dtype.kind != "f":
        return samples
    low, high = (float(part) for part in str(image.get("bounds", "0:1")).split(":"))
    if not (math.isfinite(low) and math.isfinite(high) and low < high):
        raise PictureFault("the range of the samples in this XISF picture cannot be", EXPORT, "picture-unreadable")
    if (low, high) == (0.0, 1.0):
        return samples
    return ((samples - np.float32(low)) / np.float32(high - low)).astype(np.float32)


def _profile(path: Path, file: Any, doubts: list[Doubt]) -> bytes | None:
    """The ICC profile of the first picture: attached, or inline as base64."""
    element = file.get_metadata_xml().find(f"{_NAMESPACE}Image/{_NAMESPACE}ICCProfile")
    if element is None:
        return None
    kind, *where = element.attrib.get("location", "").split(":")
    try:
        if kind == "attachment" and "compression" not in element.attrib:
            at, size = (int(part) for part in where)
            with path.open("rb") as opened:
                opened.seek(at)
                return opened.read(min(size, 16 * MIB))
        if where == ["base64"] and "compression" not in element.attrib:
            return base64.b64decode(element.text or "")
    except ValueError:
        pass
    doubts.append(bad_profile())
    return None

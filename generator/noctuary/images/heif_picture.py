"""HEIF pictures (HEIC, HIF): ISO/IEC 23008-12, read by libheif through pillow-heif, which is an extra.

The file's own turns and crops are applied as the standard says, so EXIF's orientation says nothing here. Nothing but
pixels and colour profile is taken: position, serial number and owner stay in the file.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from noctuary.images.decoded import Doubt, Opened, PictureFault, within_limit
from noctuary.images.deep_pixels import opened_deep
from noctuary.images.raster_colour import bad_profile, flattened, over_black, to_srgb

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

#: Transfer characteristics of ITU-T H.273 whose brightness has no sRGB equivalent, and primaries that are sRGB's.
_HIGH_DYNAMIC_RANGE = {16: "PQ", 18: "HLG"}
_SRGB_PRIMARIES = frozenset({1, 2})  # BT.709, and not said


def heif_size(path: Path) -> tuple[int, int]:
    """Width and height after the file's own turns, from its header."""
    width, height = _opened(path).size
    return int(width), int(height)


def open_heif(path: Path, doubts: list[Doubt]) -> Opened:
    """The primary picture. Raises PictureFault, and what the library raises for damage."""
    import numpy as np

    file = _opened(path)
    within_limit(*file.size)
    if len(file) > 1:
        doubts.append(
            (
                "picture-frames",
                f"the file holds {len(file)} pictures; only the one it calls its main one is shown",
                "export the picture you mean as a file of its own",
            )
        )
    profile = file.info.get("icc_profile") or None
    if profile is None:
        _judge_colour(file.info.get("nclx_profile") or {}, doubts)
    if ";16" not in file.mode:
        flat, alpha = flattened(file.to_pillow())
        flat = over_black(to_srgb(flat, profile, doubts), alpha)
        return Opened(flat, flat.width, flat.height, tuple(doubts))
    pixels: NDArray[np.uint16] = np.array(file)
    # Ten bits come as the upper ten of sixteen: white must be white.
    pixels |= pixels >> int(file.info.get("bit_depth", 16))
    return opened_deep(pixels, file.mode.partition(";")[0], profile, doubts)


def _opened(path: Path) -> Any:
    try:
        import pillow_heif
    except ImportError:
        raise PictureFault(
            "a HEIF picture needs a library that is not installed",
            "pip install 'noctuary[heif]', or export it as a JPEG, a PNG or a TIFF",
            "picture-format",
        ) from None
    return pillow_heif.open_heif(path, convert_hdr_to_8bit=False)


def _judge_colour(colour: dict[str, Any], doubts: list[Doubt]) -> None:
    """A doubt where the file says by numbers, not by a profile, that its colours are not sRGB."""
    curve = _HIGH_DYNAMIC_RANGE.get(colour.get("transfer_characteristics", 2))
    if curve is not None:
        doubts.append(
            (
                "picture-profile",
                f"the brightness of this picture is meant for high dynamic range ({curve}) and is taken to be sRGB",
                "export the picture again with its colours converted to sRGB",
            )
        )
    elif colour.get("color_primaries", 2) not in _SRGB_PRIMARIES:
        doubts.append(bad_profile())

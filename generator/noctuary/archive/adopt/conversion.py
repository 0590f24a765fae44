"""Finished pictures of kinds that a site is not built from, written anew without loss: XISF as TIFF, HEIF as PNG.

XISF is the Extensible Image Serialization Format 1.0 (its specification is published); a picture in it becomes a TIFF
of the same samples, rows from the top as they are. Both readers are extras.
"""

from __future__ import annotations

from collections.abc import Mapping
from io import BytesIO
from pathlib import Path
from typing import Any

from noctuary.archive.adopt.raster_blocks import NotReadable
from noctuary.quiet import quiet

CONVERTED: Mapping[str, str] = {".xisf": ".tif", ".heic": ".png", ".heif": ".png", ".hif": ".png"}
"""Endings of pictures that are written anew → the ending that they get."""

_DAMAGED = "it is damaged, or holds no picture"


def converted(path: Path) -> bytes:
    """The picture in its new form, the same bytes every time. Raises :class:`NotReadable` and OSError."""
    return _tiff_of_xisf(path) if path.suffix.lower() == ".xisf" else _png_of_heif(path)


def xisf_cards(path: Path) -> tuple[dict[str, str | float | bool], list[str]]:
    """The FITS keywords of an XISF picture, and the lines of its HISTORY and COMMENT."""
    try:
        image = _opened(path).get_images_metadata()[0]
        cards: dict[str, str | float | bool] = {"SIMPLE": True}
        history: list[str] = []
        for keyword, entries in image.get("FITSKeywords", {}).items():
            for entry in entries:
                if keyword in ("HISTORY", "COMMENT"):
                    history.append(str(entry.get("comment") or entry.get("value")))
                else:
                    cards.setdefault(str(keyword), _value(str(entry.get("value", ""))))
        return cards, history
    except (NotReadable, OSError):
        raise
    except Exception as trouble:  # the reader has no error of its own for what damage does to it
        raise NotReadable("its header is damaged") from trouble


def _opened(path: Path) -> Any:
    try:
        from xisf import XISF
    except ImportError:
        raise NotReadable('XISF needs a library of its own: pip install "noctuary[xisf]"') from None
    try:
        return XISF(str(path))
    except OSError:
        raise
    except Exception as trouble:
        raise NotReadable("its header is damaged") from trouble


def _value(text: str) -> str | float | bool:
    bare = text.strip()
    if bare.startswith("'"):
        return bare.strip("'").rstrip()
    if bare in ("T", "F"):
        return bare == "T"
    try:
        return float(bare)
    except ValueError:
        return bare


def _tiff_of_xisf(path: Path) -> bytes:
    import tifffile

    reader = _opened(path)
    try:
        samples = reader.read_image(0)
        colours = samples.shape[2]
        if colours not in (1, 3):
            raise NotReadable(f"it has {colours} channels; a picture has one or three")
        stream = BytesIO()
        tifffile.imwrite(
            stream,
            samples[:, :, 0] if colours == 1 else samples,
            photometric="minisblack" if colours == 1 else "rgb",
            metadata=None,
            software=False,
        )
        return stream.getvalue()
    except (NotReadable, OSError):
        raise
    except Exception as trouble:
        raise NotReadable(_DAMAGED) from trouble


def _png_of_heif(path: Path) -> bytes:
    from PIL import Image

    try:
        from pillow_heif import register_heif_opener
    except ImportError:
        raise NotReadable('HEIF needs a library of its own: pip install "noctuary[heif]"') from None
    register_heif_opener()
    stream = BytesIO()
    with path.open("rb") as file, quiet("PIL"):
        try:
            with Image.open(file, formats=("HEIF",)) as image:
                image.save(stream, "PNG", icc_profile=image.info.get("icc_profile"), exif=image.getexif())
        except Exception as trouble:
            raise NotReadable(_DAMAGED) from trouble
    return stream.getvalue()

"""Headers of camera raws, JPEGs and TIFFs: the EXIF standard (CIPA DC-008) read by exifread.

Pillow gives the size in pixels where the tags do not. Serial numbers and owners are never looked at.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from io import BytesIO
from typing import Any, BinaryIO

from noctuary.archive.gather.exif_blocks import exif_blocks
from noctuary.archive.gather.frame_header import (
    FrameHeader,
    NoHeader,
    finite,
    frame_of_camera,
    words,
)
from noctuary.archive.gather.maker_notes import MAKERS, focal_range, iso_in_notes, lens_in_notes
from noctuary.archive.gather.raw_size import full_size
from noctuary.quiet import quiet

_LENGTH_UNIT_UM = {2: 25400.0, 3: 10000.0, 4: 1000.0, 5: 1.0}


def read(path: str) -> FrameHeader:
    """The EXIF header of a picture straight from a camera.

    Raises :class:`NoHeader` when it has none or a damaged one, :class:`OSError` when it cannot be read.
    """
    with open(path, "rb") as file:  # noqa: PTH123
        try:
            tags = _tags(file)
            if not tags:
                tags = _embedded_tags(file)
            full = full_size(file)
            notes = _notes(file, tags)
        except OSError:
            raise
        except Exception as trouble:  # exifread has no error of its own for what damage does to it
            raise NoHeader("its header is damaged, or of a kind that cannot be read") from trouble
    if not tags:
        raise NoHeader("it has no camera header (EXIF)")
    exposure = _number(tags, "EXIF ExposureTime", 0, 1e6)
    start = _start(tags)
    pixels = _larger(_pixels(path, tags), full)
    return replace(
        frame_of_camera(path, start, exposure),
        iso=_number(tags, "EXIF ISOSpeedRatings", 1, 65534) or _number(tags, "EXIF RecommendedExposureIndex", 1, 1e7)
        or _number(tags, "Image Tag 0x0017", 1, 1e7)
        or iso_in_notes(notes),
        pixel_size_um=_pixel_size(tags),
        pixels=pixels,
        focal_length_mm=_number(tags, "EXIF FocalLength", 1, 1e5),
        f_ratio=_number(tags, "EXIF FNumber", 0.3, 100),
        optic=_lens(tags, notes),
        camera=_camera(tags),
        site=_site(tags),
    )


def _tags(file: BinaryIO, *, notes: bool = False) -> dict[str, Any]:
    import exifread

    # It logs every odd tag of a damaged file; the file is judged by what could be read.
    with quiet("exifread"):
        tags: dict[str, Any] = exifread.process_file(file, details=notes, extract_thumbnail=False)
        return tags


def _embedded_tags(file: BinaryIO) -> dict[str, Any]:
    """The tags of files that are neither TIFF nor JPEG but hold one."""
    found: dict[str, Any] = {}
    for part, block in exif_blocks(file):
        found |= {k.replace("Image ", part + " ", 1): v for k, v in _tags(BytesIO(block)).items()}
    return found


def _lens(tags: Mapping[str, Any], notes: Mapping[str, Any]) -> str | None:
    """The lens by its name; where EXIF has none, by that in the maker's notes, or by its range."""
    lens = words(_text(tags, "EXIF LensModel")) or lens_in_notes(notes)
    if lens is None:
        ends = [finite(value, 0.1, 1e5) for value in _values(tags, "EXIF LensSpecification")]
        if len(ends) == 4 and ends[0] and ends[1]:
            lens = f"{focal_range(ends[0], ends[1])} mm"
            if ends[2] and ends[3]:
                lens += f" f/{focal_range(ends[2], ends[3])}"
    return lens


def _notes(file: BinaryIO, tags: Mapping[str, Any]) -> dict[str, Any]:
    """The tags with the maker's notes, where they may know what EXIF does not say.

    Reading them takes ten times as long as EXIF alone.
    """
    complete = "EXIF LensModel" in tags and "EXIF ISOSpeedRatings" in tags
    if complete or not (_text(tags, "Image Make") or "").startswith(MAKERS):
        return {}
    file.seek(0)
    return _tags(file, notes=True)


def _larger(size: tuple[int, int] | None, full: tuple[int, int] | None) -> tuple[int, int] | None:
    """The full picture, where the other size is a preview's; what EXIF says of the whole picture is more exact."""
    if size is None or full is None:
        return size or full
    return full if max(full) > 1.1 * max(size) else size


def _values(tags: Mapping[str, Any], name: str) -> list[Any]:
    value = getattr(tags.get(name), "values", None)
    if isinstance(value, str):
        return [value]
    flat: list[Any] = []
    for item in value or []:
        flat.extend(item) if isinstance(item, tuple | list) else flat.append(item)
    return flat


def _number(tags: Mapping[str, Any], name: str, low: float, high: float) -> float | None:
    found = _values(tags, name)
    return finite(found[0], low, high) if found else None


def _text(tags: Mapping[str, Any], name: str) -> str | None:
    found = _values(tags, name)
    return found[0].rstrip("\0 ") if found and isinstance(found[0], str) else None


def _camera(tags: Mapping[str, Any]) -> str | None:
    maker, model = words(_text(tags, "Image Make")), words(_text(tags, "Image Model"))
    if maker and model and not model.casefold().startswith(maker.casefold().split()[0]):
        return f"{maker} {model}"
    return model or maker


def _pixels(path: str, tags: Mapping[str, Any]) -> tuple[int, int] | None:
    for columns, rows in (
        ("EXIF ExifImageWidth", "EXIF ExifImageLength"),
        ("Image ImageWidth", "Image ImageLength"),
    ):
        wide, high = _number(tags, columns, 2, 1e6), _number(tags, rows, 2, 1e6)
        if wide and high:
            return int(wide), int(high)
    from PIL import Image

    with contextlib.suppress(Exception), quiet(), Image.open(path) as picture:
        return picture.size
    return None


def _pixel_size(tags: Mapping[str, Any]) -> float | None:
    """µm from the focal plane's resolution, which counts pixels of the picture per unit of length."""
    density = _number(tags, "EXIF FocalPlaneXResolution", 1e-3, 1e7)
    unit = _LENGTH_UNIT_UM.get(int(_number(tags, "EXIF FocalPlaneResolutionUnit", 1, 5) or 2))
    return finite(round(unit / density, 2), 0.5, 50) if density and unit else None


_STAMP = re.compile(r"\s*(\d{4})[:\-/](\d{2})[:\-/](\d{2})[ T](\d{2}):(\d{2}):(\d{2})\s*")
_OFFSET = re.compile(r"\s*(?:([+-])(\d{2}):?(\d{2})|(Z))\s*")


def _start(tags: Mapping[str, Any]) -> datetime | None:
    for stamp, offset, fraction in (
        ("EXIF DateTimeOriginal", "EXIF OffsetTimeOriginal", "EXIF SubSecTimeOriginal"),
        ("EXIF DateTimeDigitized", "EXIF OffsetTimeDigitized", "EXIF SubSecTimeDigitized"),
        ("Image DateTime", "EXIF OffsetTime", "EXIF SubSecTime"),
    ):
        match = _STAMP.fullmatch(_text(tags, stamp) or "")
        if match is None:
            continue
        try:
            moment = datetime(*(int(part) for part in match.groups()))  # type: ignore[arg-type]
        except ValueError:
            continue
        part = _text(tags, fraction)
        if part and part.strip().isdigit():
            moment += timedelta(seconds=float("0." + part.strip()))
        zone = _OFFSET.fullmatch(_text(tags, offset) or "")
        if zone is None:
            return moment
        minutes = 0 if zone[4] else int(zone[2]) * 60 + int(zone[3])
        if minutes > 14 * 60:
            return moment
        return moment.replace(tzinfo=timezone(timedelta(minutes=-minutes if zone[1] == "-" else minutes)))
    return None


def _site(tags: Mapping[str, Any]) -> tuple[float, float] | None:
    latitude = _degrees(tags, "GPS GPSLatitude", "S", 90)
    longitude = _degrees(tags, "GPS GPSLongitude", "W", 180)
    if latitude is None or longitude is None or (latitude == 0 and longitude == 0):
        return None
    return latitude, longitude


def _degrees(tags: Mapping[str, Any], name: str, negative: str, most: float) -> float | None:
    parts = [finite(v, 0, 360) for v in _values(tags, name)[:3]]
    if not parts or any(p is None for p in parts):
        return None
    size = sum((p or 0.0) / 60**n for n, p in enumerate(parts))
    west = (_text(tags, name + "Ref") or "").strip().upper().startswith(negative)
    return finite(-size if west else size, -most, most)

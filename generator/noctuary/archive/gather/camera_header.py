"""Headers of camera raws, JPEGs and TIFFs: the EXIF standard (CIPA DC-008) read by exifread.

Pillow gives the size in pixels where the tags do not. Serial numbers and owners are never looked at.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Mapping
from datetime import datetime, timedelta, timezone
from io import BytesIO
from typing import Any, BinaryIO

from noctuary.archive.gather.frame_header import (
    FrameHeader,
    NoHeader,
    finite,
    kind_of_place,
    target_of_place,
    words,
)
from noctuary.quiet import quiet

_SEARCHED = 1 << 20  # bytes at the beginning in which an embedded header is looked for
_LENGTH_UNIT_UM = {2: 25400.0, 3: 10000.0, 4: 1000.0, 5: 1.0}


def read(path: str) -> FrameHeader:
    """The EXIF header of a picture straight from a camera.

    Raises :class:`NoHeader` when it has none or a damaged one, :class:`OSError` when it cannot be read.
    """
    with open(path, "rb") as file:  # noqa: PTH123
        try:
            tags = _tags(file)
            if not tags:
                file.seek(0)
                tags = _embedded_tags(file.read(_SEARCHED))
        except OSError:
            raise
        except Exception as trouble:  # exifread has no error of its own for what damage does to it
            raise NoHeader("its header is damaged, or of a kind that cannot be read") from trouble
    if not tags:
        raise NoHeader("it has no camera header (EXIF)")
    exposure = _number(tags, "EXIF ExposureTime", 0, 1e6)
    start = _start(tags)
    if exposure is None and start is None:
        raise NoHeader("its camera header tells neither the time nor the exposure")
    kind, evidence = kind_of_place(path)
    pixels = _pixels(path, tags)
    target = target_of_place(path)
    return FrameHeader(
        path=path,
        kind=kind,
        kind_from=evidence,
        target=target,
        target_from="folder" if target else None,
        start=start,
        exposure_s=exposure,
        iso=_number(tags, "EXIF ISOSpeedRatings", 1, 65534) or _number(tags, "EXIF RecommendedExposureIndex", 1, 1e7),
        pixel_size_um=_pixel_size(tags),
        pixels=pixels,
        focal_length_mm=_number(tags, "EXIF FocalLength", 1, 1e5),
        f_ratio=_number(tags, "EXIF FNumber", 0.3, 100),
        optic=words(_text(tags, "EXIF LensModel")),
        camera=_camera(tags),
        colour=True,
        site=_site(tags),
    )


def _tags(file: BinaryIO) -> dict[str, Any]:
    import exifread

    # It logs every odd tag of a damaged file; the file is judged by what could be read.
    with quiet("exifread"):
        tags: dict[str, Any] = exifread.process_file(file, details=False, extract_thumbnail=False)
        return tags


def _embedded_tags(begins: bytes) -> dict[str, Any]:
    """The tags of raws that are neither TIFF nor JPEG but hold one near their beginning.

    Raws in ISO base media files keep the main tags and the EXIF tags as two TIFF blocks, in boxes called CMT1
    and CMT2; others begin with a preview in JPEG, whose EXIF is the raw's own. From memory.
    """
    found: dict[str, Any] = {}
    for box, name in ((b"CMT1", "Image"), (b"CMT2", "EXIF")):
        at = begins.find(box)
        if at >= 4:
            block = begins[at + 4 : at - 4 + int.from_bytes(begins[at - 4 : at], "big")]
            if block[:2] in (b"II", b"MM"):
                found |= {k.replace("Image ", name + " ", 1): v for k, v in _tags(BytesIO(block)).items()}
    at = begins.find(b"\xff\xd8\xff")
    if not found and at > 0:
        found = _tags(BytesIO(begins[at:]))
    return found


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

"""A simulated night: small FITS files and JPEGs whose headers tell what three cameras would have written."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

from PIL import Image

ARCHIVE = {
    "archive.yaml": "title: Gathered skies\nauthor: Someone\n",
    "equipment.yaml": """\
cameras:
  cooled mono: {pixels: [4656, 3520], pixel_size: 3.8 um, colour: mono}
  cooled colour: {pixels: [6248, 4176], pixel_size: 3.76 um, colour: colour}
  mirrorless: {pixels: [6000, 4000], pixel_size: 3.91 um, colour: colour}
optics:
  short refractor: {focal_length: 480 mm, aperture: 80 mm}
  long refractor: {focal_length: 910 mm, aperture: 130 mm}
  portrait lens: {focal_length: 135 mm, f_ratio: 2.8}
rigs:
  fine: {optic: long refractor, camera: cooled mono}
  wide: {optic: short refractor, camera: cooled colour, focal_factor: 0.8}
  lens: {optic: portrait lens, camera: mirrorless}
""",
    "places.yaml": """\
meadow: {latitude: 51.2, longitude: 7.6, elevation: 210 m, time_zone: Europe/Berlin}
pass: {latitude: 46.5, longitude: 9.9, elevation: 1900 m, time_zone: Europe/Zurich}
""",
}


def card(keyword: str, value: object) -> bytes:
    if isinstance(value, bool):
        text = f"{'T' if value else 'F':>20}"
    elif isinstance(value, str):
        text = "'" + value.replace("'", "''").ljust(8) + "'"
    else:
        text = f"{value!s:>20}"
    return f"{keyword:<8}= {text}".ljust(80).encode("latin-1")


def fits_bytes(**cards: object) -> bytes:
    """A FITS file: a header, and pixels where the picture is small; ``__`` in a name stands for a hyphen."""
    needed: dict[str, object] = {"SIMPLE": True, "BITPIX": 16, "NAXIS": 2, "NAXIS1": 40, "NAXIS2": 30}
    for name, value in cards.items():
        needed[name.replace("__", "-")] = value
    header = b"".join(card(k, v) for k, v in needed.items()) + b"END".ljust(80)
    small = needed["NAXIS1"] == 40
    return header.ljust(-(-len(header) // 2880) * 2880) + bytes(2880 if small else 0)


def write_fits(path: Path, **cards: object) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(fits_bytes(**cards))
    return path


def write_jpeg(path: Path, shown: datetime, *, offset: str | None = None, **tags: object) -> Path:
    """A small JPEG with the EXIF of a camera; the clock shows ``shown``, the picture is ``pixels`` or black."""
    path.parent.mkdir(parents=True, exist_ok=True)
    pixels = tags.get("pixels")
    picture = Image.new("L", (8, 6)) if pixels is None else Image.fromarray(pixels)  # type: ignore[arg-type]
    exif = picture.getexif()
    exif[0x010F], exif[0x0110] = str(tags.get("maker", "Maker")), str(tags.get("camera", "mirrorless"))
    inner = exif.get_ifd(0x8769)
    inner[0x829A] = float(tags.get("exposure", 60.0))  # type: ignore[arg-type]
    inner[0x8827] = int(tags.get("iso", 800))  # type: ignore[call-overload]
    inner[0x9003] = f"{shown:%Y:%m:%d %H:%M:%S}"
    inner[0x920A] = float(tags.get("focal", 135.0))  # type: ignore[arg-type]
    inner[0x829D] = 2.8
    inner[0xA002], inner[0xA003] = tags.get("sensor", (6000, 4000))  # type: ignore[misc]
    inner[0xA431] = "SERIAL-4711"
    if offset is not None:
        inner[0x9011] = offset
    picture.save(path, "JPEG", exif=exif)
    return path


def run(begin: datetime, count: int, exposure_s: float, pause_s: float) -> list[datetime]:
    return [begin + timedelta(seconds=n * (exposure_s + pause_s)) for n in range(count)]

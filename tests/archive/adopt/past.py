"""Twenty years of finished pictures as tiny files, with the truth of how each was made."""

from __future__ import annotations

import csv
import random
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
from astropy.io import fits
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

#: Messier objects and a few others as people write them, with what the catalogue calls them.
TARGETS = {
    "M 31": "NGC 224", "M 42": "NGC 1976", "M 45": "Mel 22", "M 51": "NGC 5194", "M 13": "NGC 6205",
    "M 27": "NGC 6853",
    "NGC 7000": "NGC 7000", "NGC 6960": "NGC 6960", "IC 1396": "IC 1396", "NGC 2244": "NGC 2244", "IC 434": "IC 434",
    "M 101": "NGC 5457",
}  # fmt: skip
Lens = tuple[str, str, float, float]  # maker, model, focal length in mm, f-ratio
CAMERAS: tuple[Lens, ...] = (
    ("Reflex", "Reflex 5", 135.0, 2.8),
    ("Reflex", "Reflex 20", 50.0, 4.0),
    ("Reflex", "Reflex 5", 480.0, 6.0),
)
COOLED = (("Cooled 26C", 480.0, 3.76), ("Cooled 16M", 800.0, 3.8))


@dataclass
class Made:
    """How one picture was made."""

    path: Path
    target: str
    night: date
    finished: date
    exposure_s: float
    kept: int
    filter: str | None = None
    iso: int | None = None
    camera: str | None = None
    focal_length_mm: float | None = None
    title: str | None = None
    in_table: dict[str, str] = field(default_factory=dict)


def pixels(number: int) -> np.ndarray:
    return np.random.default_rng(number).integers(0, 255, (24, 36), dtype=np.uint8)


def jpeg(path: Path, number: int, made: Made | None = None, camera: Lens | None = None) -> None:
    image = Image.fromarray(pixels(number))
    exif = Image.Exif()
    if made is not None and camera is not None:
        maker, model, focal, ratio = camera
        start = datetime(made.night.year, made.night.month, made.night.day, 22, 15)
        exif[271], exif[272], exif[306] = maker, model, f"{made.finished:%Y:%m:%d} 20:00:00"
        exif.get_ifd(0x8769).update({
            33434: IFDRational(int(made.exposure_s), 1), 33437: IFDRational(int(ratio * 10), 10),
            34855: made.iso, 36867: f"{start:%Y:%m:%d %H:%M:%S}", 37386: IFDRational(int(focal), 1),
        })  # fmt: skip
    path.parent.mkdir(parents=True, exist_ok=True)
    image.save(path, exif=exif)


def stack(path: Path, number: int, made: Made, camera: tuple[str, float, float], *, total: bool) -> None:
    name, focal, size = camera
    unit = fits.PrimaryHDU(pixels(number).astype(np.float32) / 255)
    header = unit.header
    header["OBJECT"], header["INSTRUME"], header["FOCALLEN"], header["XPIXSZ"] = made.target, name, focal, size
    header["DATE-OBS"] = f"{made.night:%Y-%m-%d}T21:40:00"
    header["DATE"] = f"{made.finished:%Y-%m-%d}T10:00:00"
    header["EXPTIME"], header["STACKCNT"] = made.exposure_s, made.kept
    if total:
        header["LIVETIME"] = made.exposure_s * made.kept
    if made.filter:
        header["FILTER"] = made.filter
    header["GAIN"], header["CCD-TEMP"] = 100, -10.0
    path.parent.mkdir(parents=True, exist_ok=True)
    unit.writeto(path)


def past(folder: Path, count: int = 300) -> list[Made]:
    """``count`` pictures in folders by year: a third with EXIF, a third FITS, a third bare; and ``list.csv``."""
    chance = random.Random(7)
    found: list[Made] = []
    targets = list(TARGETS)
    for number in range(count):
        night = date(2006, 1, 1) + timedelta(days=chance.randrange(0, 19 * 365))
        finished = min(night + timedelta(days=chance.randrange(1, 25)), date(night.year, 12, 31))
        target = targets[number % len(targets)]
        plain = target.replace(" ", chance.choice(("", "_", "-", " ")))
        year = folder / str(night.year)
        exposure, kept = chance.choice((30.0, 60.0, 120.0, 180.0, 300.0)), chance.randrange(10, 200)
        kind = number % 3
        if kind == 0:
            camera = CAMERAS[number // 3 % len(CAMERAS)]
            made = Made(year / f"{plain}_{number:03}.jpg", target, night, finished, exposure, kept, None, 1600,
                        camera[1], camera[2])  # fmt: skip
            jpeg(made.path, number, made, camera)
        elif kind == 1:
            cooled = COOLED[number // 3 % len(COOLED)]
            made = Made(year / f"stack-{number:03}.fits", target, night, finished, exposure, kept,
                        chance.choice((None, "H-alpha", "OIII")), None, cooled[0], cooled[1])  # fmt: skip
            stack(made.path, number, made, cooled, total=bool(number % 2))
        else:
            telling = (
                f"{plain}_{kept}x{exposure:.0f}s_{number:03}.jpg",
                f"{plain} {night:%Y-%m-%d} final {number:03}.jpg",
                f"IMG_{number:04}.jpg",
                f"result{number:03}.jpg",
            )
            made = Made(year / telling[number // 3 % 4], target, night, finished, exposure, kept)
            jpeg(made.path, number)
        if number % 2:
            made.title = f"Night piece {number}"
            made.in_table = {
                "File": made.path.name, "Title": made.title, "Target": target, "Date taken": night.isoformat(),
                "Exposure (s)": f"{exposure:.0f}", "Frames": str(kept), "Site": "Garden",
            }  # fmt: skip
        found.append(made)
    with (folder / "list.csv").open("w", newline="", encoding="utf-8") as file:
        rows = [made.in_table for made in found if made.in_table]
        writer = csv.DictWriter(file, list(rows[0]), delimiter=";")
        writer.writeheader()
        writer.writerows(rows)
    return found

"""Compare sensors.csv with other tables of cameras, and write into it who agrees.

Run: python -m noctuary.archive.tables.compare_sensors FOLDER, where FOLDER holds, from these packages of Debian 12:

    lensfun/       the XML files of liblensfun-data-v1 0.3.3 (crop factors; CC BY-SA 3.0)
    camera_specs.cc    of the source of colmap 3.8 (widths in mm; BSD licence)
    cameras.xml    of darktable 4.2.1, the rawspeed table (pixels; LGPL 2.1)
    camconst.json  of rawtherapee-data 5.9 (pixels; GPL 3)
    files/         camera files of the sources of exiv2 0.27.6 and libimage-exiftool-perl 12.57 (pixels, by Pillow)

The table is written by hand: name and other names as headers write them, the sizes that the makers published, and
where each row comes from. Nothing of the other tables goes into it but the names of those that agree: on the size of
the sensor within 3 %, on the pixels within 1.5 %. Rows that one of them contradicts are printed; exit status 1
if a size is.
"""

from __future__ import annotations

import csv
import io
import math
import re
import sys
from collections import defaultdict
from collections.abc import Iterable
from pathlib import Path
from xml.etree import ElementTree

from noctuary.archive.sensors import model_key

TABLE = Path(__file__).with_name("sensors.csv")
_DIAGONAL_MM = math.hypot(36, 24)

Sizes = dict[str, dict[str, set[float]]]  # witness → key of a model → diagonals or widths in mm
Counts = dict[str, dict[str, set[tuple[int, int]]]]


def main(folder: Path) -> int:
    """Write the column ``agrees``; 1 where a witness contradicts a row and none of its kind agrees."""
    sizes: Sizes = {"lensfun": _lensfun(folder / "lensfun"), "COLMAP": _colmap(folder / "camera_specs.cc")}
    counts: Counts = {
        "rawspeed": _rawspeed(folder / "cameras.xml"),
        "RawTherapee": _camconst(folder / "camconst.json"),
        "EXIF of a test picture": _pictures(folder / "files"),
    }
    rows = list(csv.DictReader(TABLE.read_text(encoding="utf-8").splitlines()))
    contradicted = 0
    for row in rows:
        names = {model_key(name) for name in (row["name"], *row["also"].split("|")) if name}
        wide, high = float(row["width_mm"]), float(row["height_mm"])
        known_mm = {"lensfun": math.hypot(wide, high), "COLMAP": wide}
        size = [w for w in sizes if any(_near(known_mm[w], mm, 0.03) for n in names for mm in sizes[w].get(n, ()))]
        full = int(row["width_px"]), int(row["height_px"])
        pixels = [w for w in counts if any(_same(full, other) for n in names for other in counts[w].get(n, ()))]
        row["agrees"] = "; ".join(
            f"{what}: {', '.join(who)}" for what, who in (("size", size), ("pixels", pixels)) if who
        )
        for what, who, tables in (("size", size, sizes), ("pixels", pixels, counts)):
            others = {w: table[n] for w, table in tables.items() for n in names if n in table and w not in who}
            if others and not who:
                contradicted += what == "size"
                print(f"{row['name']}: another {what}: {others}", file=sys.stderr)
    stream = io.StringIO()
    writer = csv.DictWriter(stream, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    TABLE.write_text(stream.getvalue(), encoding="utf-8")
    print(f"{len(rows)} cameras; size agreed for {_agreed(rows, 'size')}, pixels for {_agreed(rows, 'pixels')}")
    return 1 if contradicted else 0


def _agreed(rows: Iterable[dict[str, str]], what: str) -> int:
    return sum(f"{what}:" in row["agrees"] for row in rows)


def _near(one: float, other: float, tolerance: float) -> bool:
    return math.isclose(one, other, rel_tol=tolerance)


def _same(one: tuple[int, int], other: tuple[int, int]) -> bool:
    return all(_near(a, b, 0.015) for a, b in zip(one, other, strict=True))


def _lensfun(folder: Path) -> dict[str, set[float]]:
    """Diagonals in mm."""
    diagonals: defaultdict[str, set[float]] = defaultdict(set)
    for path in sorted(folder.glob("*.xml")):
        for camera in ElementTree.parse(path).getroot().iter("camera"):
            for model in camera.findtext("model", "").split(","):
                diagonals[model_key(model)].add(_DIAGONAL_MM / float(camera.findtext("cropfactor", "nan")))
    return diagonals


def _colmap(path: Path) -> dict[str, set[float]]:
    """Widths in mm; names of one camera on several markets are joined by “/”."""
    widths: defaultdict[str, set[float]] = defaultdict(set)
    for models, width in re.findall(r'emplace_back\("([^"]+)", ([\d.]+)f', path.read_text(encoding="utf-8")):
        for model in models.split("/"):
            widths[model_key(model)].add(float(width))
    return widths


def _rawspeed(path: Path) -> dict[str, set[tuple[int, int]]]:
    pixels: defaultdict[str, set[tuple[int, int]]] = defaultdict(set)
    for camera in ElementTree.parse(path).getroot().iter("Camera"):
        crop = camera.find("Crop")
        size = (int(crop.get("width", 0)), int(crop.get("height", 0))) if crop is not None else (0, 0)
        if min(size) > 0:
            for model in [camera.get("model", ""), *(alias.text or "" for alias in camera.iter("Alias"))]:
                pixels[model_key(model)].add(size)
    return pixels


def _camconst(path: Path) -> dict[str, set[tuple[int, int]]]:
    """Crops of the raw picture, and sizes of the camera's JPEG in comments."""
    pixels: defaultdict[str, set[tuple[int, int]]] = defaultdict(set)
    models: list[str] = []
    for line in path.read_text(encoding="utf-8").splitlines():
        if '"make_model"' in line:
            models = re.findall(r'"([^"]+)"', line.partition(":")[2])
        for wide, high in re.findall(r'"raw_crop"\s*:\s*\[\s*\d+,\s*\d+,\s*(\d{4,}),\s*(\d{4,})', line) + re.findall(
            r"(?:official|jpe?g).*?(\d{4,5})\s*x\s*(\d{4,5})", line, re.IGNORECASE
        ):
            for model in models:
                pixels[model_key(model)].add((int(wide), int(high)))
    return pixels


def _pictures(folder: Path) -> dict[str, set[tuple[int, int]]]:
    """Pixels that the EXIF of camera files gives for the picture."""
    from PIL import Image

    from noctuary.quiet import quiet

    pixels: defaultdict[str, set[tuple[int, int]]] = defaultdict(set)
    for path in sorted(folder.rglob("*")):
        try:
            with quiet(), Image.open(path) as image:
                exif = image.getexif()
                inner = exif.get_ifd(0x8769)
        except Exception:  # many of them are damaged on purpose
            continue
        if isinstance(exif.get(272), str) and {40962, 40963} <= set(inner):
            wide, high = sorted((int(inner[40962]), int(inner[40963])), reverse=True)
            pixels[model_key(exif[272].strip("\0 "))].add((wide, high))
    return pixels


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))

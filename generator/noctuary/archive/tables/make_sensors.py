"""Write sensors.csv: pixels and pixel size of cameras of which both can be sourced.

Run: python -m noctuary.archive.tables.make_sensors /usr/share/lensfun/version_1 (of the Debian package
liblensfun-data-v1 0.3.3-1, the lensfun database, CC BY-SA 3.0).

The size of a sensor comes from the database's crop factor, the diagonal of 36 × 24 mm over the sensor's, and from
the proportions of its pixels. A factor of three decimals is exact enough; a rounder one counts where the width in
COLMAP 3.8's table of sensors (camera_specs.cc, BSD licence) agrees within half a percent. The number of pixels is
that
of a full picture, from the source that each row below names: a picture straight from the camera (its EXIF, among the
test pictures of an open library) or a comment on its JPEG in RawTherapee's table of cameras. A camera that lacks
either is not in the table: active areas of raw files are some pixels larger than the pictures, and a full picture
would be taken for a reduced one.
"""

from __future__ import annotations

import csv
import io
import math
import sys
from pathlib import Path
from xml.etree import ElementTree

HERE = Path(__file__).parent
_DIAGONAL_MM = math.hypot(36, 24)

_EXIV2 = "EXIF of a test picture of exiv2 0.27.6"
_EXIFTOOL = "EXIF of a test picture of Image-ExifTool 12.57"
_GOEXIF = "EXIF of a test picture of goexif 0.0~git20190401"
_CAMCONST = "comment on the camera's JPEG in camconst.json of rawtherapee-data 5.9"

#: Widths in mm by COLMAP, where the crop factor is rounded.
WIDTHS_MM = {"Canon EOS 5D Mark II": 36.0, "Canon EOS 5DS": 36.0, "Canon EOS 5DS R": 36.0, "Olympus E-1": 17.3}

#: Name in EXIF, other names, pixels of the full picture, where they come from.
COUNTS = (
    ("Canon EOS D30", "", 2160, 1440, _EXIV2),
    ("Canon EOS 300D DIGITAL", "Canon EOS 300D|Canon EOS DIGITAL REBEL", 3072, 2048, _EXIV2),
    ("Canon EOS 350D DIGITAL", "Canon EOS 350D", 3456, 2304, _EXIFTOOL),
    ("Canon EOS 20D", "", 3504, 2336, _EXIV2),
    ("Canon EOS-1D Mark III", "", 3888, 2592, _EXIFTOOL),
    ("Canon EOS 650D", "Canon EOS REBEL T4i", 5184, 3456, _GOEXIF),
    ("Canon EOS 5D Mark II", "", 5616, 3744, _GOEXIF),
    ("Canon EOS 6D", "", 5472, 3648, _EXIV2),
    ("Canon EOS 5DS", "", 8688, 5792, _CAMCONST),
    ("Canon EOS 5DS R", "", 8688, 5792, _CAMCONST),
    ("Canon EOS 6D Mark II", "", 6240, 4160, _CAMCONST),
    ("Canon EOS-1D X Mark II", "", 5472, 3648, _CAMCONST),
    ("Canon EOS M5", "", 6000, 4000, _CAMCONST),
    ("Canon EOS M6", "", 6000, 4000, _CAMCONST),
    ("NIKON D70", "", 3008, 2000, _EXIV2),
    ("NIKON D70s", "", 3008, 2000, _GOEXIF),
    ("NIKON D2Hs", "", 2464, 1632, _EXIFTOOL),
    ("NIKON D5300", "", 6000, 4000, _EXIV2),
    ("Olympus E-1", "E-1", 2560, 1920, _EXIFTOOL),
    ("Olympus E-M1MarkII", "E-M1MarkII", 5184, 3888, _CAMCONST),
    ("PENTAX K-1", "", 7360, 4912, _CAMCONST),
    ("PENTAX K-70", "", 6000, 4000, _CAMCONST),
    ("PENTAX 645Z", "", 8256, 6192, _CAMCONST),
    ("Sony ILCE-7M3", "ILCE-7M3", 6000, 4000, _CAMCONST),
    ("Sony ILCE-9", "ILCE-9", 6000, 4000, _CAMCONST),
    ("Fujifilm GFX 50S", "GFX 50S", 8256, 6192, _CAMCONST),
    ("Fujifilm GFX 50R", "GFX 50R", 8256, 6192, _CAMCONST),
)  # fmt: skip


def main(lensfun: Path, folder: Path = HERE) -> None:
    """Write the table; cameras without a crop factor of their own are named on standard error."""
    factors = _crop_factors(lensfun)
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(("name", "also", "width_px", "height_px", "pixel_size_um", "source"))
    for name, also, width, height, source in COUNTS:
        keys = [_key(text) for text in (name, *also.split("|")) if text]
        factor = next((factors[key] for key in keys if key in factors), None)
        if factor is None:
            print(f"{name}: no crop factor", file=sys.stderr)
            continue
        size = _DIAGONAL_MM / float(factor) / math.hypot(width, height) * 1000
        witness = WIDTHS_MM.get(name)
        agreed = witness is not None and math.isclose(size * width / 1000, witness, rel_tol=5e-3)
        if len(factor.partition(".")[2]) < 3 and not agreed:
            print(f"{name}: the crop factor {factor} is rounded", file=sys.stderr)
            continue
        said = f"{source}; crop factor {factor} of lensfun" + (f"; {witness} mm of COLMAP" if agreed else "")
        writer.writerow((name, also, width, height, f"{size:.3g}", said))
    (folder / "sensors.csv").write_text(stream.getvalue(), encoding="utf-8")


def _crop_factors(lensfun: Path) -> dict[str, str]:
    found: dict[str, str] = {}
    for path in sorted(lensfun.glob("*.xml")):
        for camera in ElementTree.parse(path).getroot().iter("camera"):
            model, maker = camera.findtext("model", ""), camera.findtext("maker", "")
            factor = camera.findtext("cropfactor", "").strip()
            if factor:
                found.setdefault(_key(model), factor)
                found.setdefault(_key(f"{maker} {model}"), factor)
    return found


def _key(name: str) -> str:
    return "".join(c for c in name.casefold() if c.isalnum())


if __name__ == "__main__":
    main(Path(sys.argv[1]))

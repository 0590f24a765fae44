"""Headers of raws that are neither TIFF nor JPEG, of HEIF, and what the maker's notes know: built by their layouts.

Real files of each kind are compared with a second reader in tests/benchmarks/bench_camera_files.py.
"""

from __future__ import annotations

import io
import random
import struct
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
import tifffile
from noctuary.archive.gather.frame_files import header_of
from noctuary.archive.gather.frame_header import FrameHeader
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

#: A camera's clock in seconds since 1970.
CLOCK = int(datetime(2004, 8, 3, 23, 10, tzinfo=UTC).timestamp())


def exif_of() -> Image.Exif:
    exif = Image.Exif()
    exif[271], exif[272] = "Maker", "Maker 7"
    exif.get_ifd(0x8769).update({
        33434: IFDRational(120, 1), 36867: "2019:08:03 23:10:00", 34855: 800, 37386: IFDRational(135, 1),
        40962: 3264, 40963: 2448,
    })  # fmt: skip
    return exif


def heap(order: str, entries: dict[int, bytes]) -> bytes:
    """A CIFF heap of values, its directory at the end."""
    data, directory = b"", struct.pack(order + "H", len(entries))
    for tag, value in entries.items():
        directory += struct.pack(order + "HII", tag, len(value), len(data))
        data += value
    return data + directory + struct.pack(order + "I", len(data))


def crw() -> bytes:
    shot = [0] * 23
    shot[1], shot[2], shot[21], shot[22] = 0, 160, 4 * 32, -5 * 32  # ISO 100, f/4, 2⁵ s
    inner = heap("<", {
        0x080A: b"Maker\0Maker EOS 9\0", 0x180E: struct.pack("<3I", CLOCK, 0, 0),
        0x1810: struct.pack("<7I", 3072, 2048, 0, 0, 0, 0, 0), 0x102A: struct.pack("<23h", *shot),
        0x1029: struct.pack("<4H", 0, 135, 0, 0),
    })  # fmt: skip
    return b"II\x1a\0\0\0HEAPCCDR".ljust(26, b"\0") + heap("<", {0x300A: inner})


def x3f() -> bytes:
    said = {
        "CAMMANUF": "MAKER", "CAMMODEL": "MAKER SD1", "TIME": str(CLOCK),
        "SHUTTER": "30", "ISO": "100", "FLENGTH": "135", "APERTURE": "4", "LENSFRANGE": "135 to 135",
    }  # fmt: skip
    texts, places = "", b""
    for name, value in said.items():
        places += struct.pack("<II", len(texts), len(texts) + len(name) + 1)
        texts += f"{name}\0{value}\0"
    section = b"SECp" + struct.pack("<5I", 0x20000, len(said), 0, 0, len(texts)) + places + texts.encode("utf-16-le")
    begins = b"FOVb".ljust(28, b"\0") + struct.pack("<3I", 2268, 1512, 0)
    directory = b"SECd" + struct.pack("<2I", 0x20000, 1) + struct.pack("<II4s", len(begins), len(section), b"PROP")
    return begins + section + directory + struct.pack("<I", len(begins) + len(section))


def mrw() -> bytes:
    block = exif_of().tobytes().removeprefix(b"Exif\0\0")
    blocks = b"\0PRD" + struct.pack(">I", 4) + bytes(4) + b"\0TTW" + struct.pack(">I", len(block)) + block
    return b"\0MRM" + struct.pack(">I", len(blocks)) + blocks + bytes(100)


def hif() -> bytes:
    heif = pytest.importorskip("pillow_heif")
    heif.register_heif_opener()
    stream = io.BytesIO()
    Image.fromarray(np.zeros((64, 64, 3), np.uint8)).save(stream, "HEIF", exif=exif_of())
    return stream.getvalue().replace(b"ftypheic", b"ftypheix", 1)


BUILT = {"a.crw": crw, "a.x3f": x3f, "a.mrw": mrw, "a.hif": hif}


@pytest.mark.parametrize(
    ("name", "wanted"),
    [
        ("a.crw", ("Maker EOS 9", datetime(2004, 8, 3, 23, 10), 32.0, 100, 135, (3072, 2048))),
        ("a.x3f", ("MAKER SD1", datetime(2004, 8, 3, 23, 10), 30.0, 100, 135, (2268, 1512))),
        ("a.mrw", ("Maker 7", datetime(2019, 8, 3, 23, 10), 120.0, 800, 135, (3264, 2448))),
        ("a.hif", ("Maker 7", datetime(2019, 8, 3, 23, 10), 120.0, 800, 135, (3264, 2448))),
    ],
)
def test_what_a_header_says(tmp_path, name, wanted):
    path = tmp_path / name
    path.write_bytes(BUILT[name]())
    read = header_of(str(path))
    assert isinstance(read, FrameHeader), read
    assert (read.camera, read.start, read.exposure_s, read.iso, read.focal_length_mm, read.pixels) == wanted


def test_a_raw_behind_a_preview_has_the_pixels_of_the_raw(tmp_path):
    path = tmp_path / "a.nef"
    stamp = ("DateTime", "s", 20, "2019:08:03 23:10:00", False)
    with tifffile.TiffWriter(path) as file:
        file.write(np.zeros((106, 160), np.uint8), subfiletype=1, subifds=1, extratags=[stamp], metadata=None)
        file.write(np.zeros((201, 304), np.uint8), subfiletype=0, metadata=None)
    read = header_of(str(path))
    assert isinstance(read, FrameHeader), read
    assert read.pixels == (304, 201)


def test_a_lens_without_a_name_is_called_by_its_range(tmp_path):
    path = tmp_path / "a.jpg"
    exif = exif_of()
    exif.get_ifd(0x8769)[42034] = (IFDRational(18), IFDRational(55), IFDRational(7, 2), IFDRational(28, 5))
    Image.fromarray(np.zeros((4, 6), np.uint8)).save(path, exif=exif)
    read = header_of(str(path))
    assert isinstance(read, FrameHeader), read
    assert read.optic == "18-55 mm f/3.5-5.6"


@pytest.mark.parametrize("name", BUILT)
def test_damage_is_a_header_or_a_reason(tmp_path: Path, name: str) -> None:
    whole = BUILT[name]()
    chance = random.Random(name)
    path = tmp_path / name
    read = 0
    for _ in range(150):
        changed = bytearray(whole[: chance.randrange(len(whole))] if chance.random() < 0.25 else whole)
        for _ in range(chance.choice((1, 2, 8, 30))):
            if changed:
                changed[chance.randrange(min(len(changed), 3000))] = chance.randrange(256)
        path.write_bytes(bytes(changed))
        header = header_of(str(path))
        if isinstance(header, FrameHeader):
            read += 1
        else:
            assert header[1]
    assert read

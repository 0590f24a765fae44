"""Pictures the tests of this folder are made of: real ones from packages, and small ones written byte by byte."""

from __future__ import annotations

import struct
import zlib
from pathlib import Path
from typing import Any

import numpy as np


def real(name: str) -> Path:
    """A real picture from scikit-image, pyavm or astropy (all of them free to use)."""
    import astropy
    import pyavm
    import skimage.data

    folders = {
        "hubble_deep_field.jpg": Path(skimage.data.__file__).parent,
        "retina.jpg": Path(skimage.data.__file__).parent,
        "rocket.jpg": Path(skimage.data.__file__).parent,
        "eso_eso1723a_320.jpg": Path(pyavm.__file__).parent / "tests/data",
        "eso_eso1723a_320.png": Path(pyavm.__file__).parent / "tests/data",
        "m13.fits": Path(astropy.__file__).parent / "io/fits/hdu/compressed/tests/data",
        "m13_rice.fits": Path(astropy.__file__).parent / "io/fits/hdu/compressed/tests/data",
    }
    return folders[name] / name


def png_chunk(name: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


def png16(pixels: Any, *chunks: bytes, after: tuple[bytes, ...] = ()) -> bytes:
    """A 16-bit PNG (ISO/IEC 15948) of an array (h, w) or (h, w, 2…4), every row filtered by Sub."""
    array = np.asarray(pixels, dtype=np.uint16)
    array = array[..., None] if array.ndim == 2 else array
    height, width, samples = array.shape
    colour_type = {1: 0, 2: 4, 3: 2, 4: 6}[samples]
    rows = []
    for row in array:
        data = np.frombuffer(row.astype(">u2").tobytes(), np.uint8).astype(np.int32)
        filtered = data.copy()
        filtered[2 * samples :] -= data[: -2 * samples]
        rows.append(b"\x01" + (filtered % 256).astype(np.uint8).tobytes())
    header = png_chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 16, colour_type, 0, 0, 0))
    body = png_chunk(b"IDAT", zlib.compress(b"".join(rows)))
    return b"\x89PNG\r\n\x1a\n" + header + b"".join(chunks) + body + b"".join(after) + png_chunk(b"IEND", b"")


def matrix_profile(primaries: Any, gamma: float) -> bytes:
    """An ICC version 2 display profile of three primaries (columns of XYZ, D50) and one gamma (ICC.1:2001-04)."""
    tags: list[tuple[bytes, bytes]] = []
    for index, name in enumerate((b"rXYZ", b"gXYZ", b"bXYZ")):
        tags.append((name, b"XYZ \0\0\0\0" + struct.pack(">3i", *(round(v * 65536) for v in primaries[index]))))
    curve = b"curv\0\0\0\0" + struct.pack(">IH", 1, round(gamma * 256)) + b"\0\0"
    tags += [(name, curve) for name in (b"rTRC", b"gTRC", b"bTRC")]
    tags.append((b"wtpt", b"XYZ \0\0\0\0" + struct.pack(">3i", 63190, 65536, 54061)))
    text = b"wide"
    tags.append((b"desc", b"desc\0\0\0\0" + struct.pack(">I", len(text) + 1) + text + b"\0" + b"\0" * 78 + b"\0"))
    tags.append((b"cprt", b"text\0\0\0\0none\0\0\0\0"))
    at = 128 + 4 + 12 * len(tags)
    table, bodies = struct.pack(">I", len(tags)), b""
    for name, body in tags:
        body += b"\0" * (-len(body) % 4)
        table += struct.pack(">4sII", name, at + len(bodies), len(body))
        bodies += body
    size = at + len(bodies)
    header = struct.pack(">I4sI4s4s4s", size, b"test", 0x02100000, b"mntr", b"RGB ", b"XYZ ")
    header += struct.pack(">6H", 2026, 1, 1, 0, 0, 0) + b"acsp" + b"\0" * 28
    header = header.ljust(68, b"\0") + struct.pack(">3i", 63190, 65536, 54061)
    return header.ljust(128, b"\0") + table + bodies


#: The colorants of the Adobe RGB (1998) colour image encoding adapted to D50, from its specification (May 2005,
#: annex B: the ICC profile), and its gamma, 563/256.
ADOBE_RGB = ((0.60974, 0.31111, 0.01947), (0.20528, 0.62567, 0.06087), (0.14919, 0.06322, 0.74457))
ADOBE_GAMMA = 563 / 256

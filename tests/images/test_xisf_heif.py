"""Pictures in XISF and HEIF: the right pixels, and one fault where there are none.

XISF: Extensible Image Serialization Format 1.0 (sections on sample formats, bounds, compression). HEIF: pixels that
the encoder of the same library wrote, and damage.
"""

from __future__ import annotations

import random
import sys
import zlib
from pathlib import Path

import numpy as np
import pytest
from noctuary.images.colour import deep_to_srgb
from noctuary.images.decode import open_picture, picture_size, quick_check
from noctuary.images.decoded import PictureFault
from PIL import Image

from tests.images.picture_material import ADOBE_GAMMA, ADOBE_RGB, matrix_profile

xisf = pytest.importorskip("xisf")
heif = pytest.importorskip("pillow_heif")

GRADIENT = np.linspace(0, 1, 24 * 36).reshape(24, 36, 1)
COLOURS = np.concatenate([GRADIENT, 1 - GRADIENT, GRADIENT * 0.5], axis=2)


def written(path: Path, samples: np.ndarray, codec: str | None = None, *, shuffle: bool = False) -> Path:
    xisf.XISF.write(str(path), samples, codec=codec, shuffle=shuffle)
    return path


@pytest.mark.parametrize("codec", [None, "zlib", "lz4", "lz4hc", "zstd"])
@pytest.mark.parametrize("kind", ["u1", "u2", "u4", "f4", "f8"])
def test_samples_of_every_kind_come_to_the_same_picture(tmp_path, kind, codec):
    top = 1 if kind[0] == "f" else 256 ** int(kind[1]) - 1
    samples = (COLOURS * top).astype(kind)
    path = written(tmp_path / "a.xisf", samples, codec, shuffle=codec is not None)
    opened = open_picture(path)
    assert (opened.width, opened.height) == picture_size(path) == quick_check(path)[:2] == (36, 24)
    assert not opened.doubts
    assert np.abs(np.asarray(opened.pixels) / 65535 - COLOURS).max() < (0.004 if kind == "u1" else 0.0001)


def test_one_channel_is_grey_with_its_first_row_at_the_top(tmp_path):
    opened = open_picture(written(tmp_path / "a.xisf", (GRADIENT * 65535).astype(np.uint16)))
    assert np.array_equal(np.asarray(opened.pixels), (GRADIENT[..., 0] * 65535).astype(np.uint16))


def edited(path: Path, old: bytes, new: bytes) -> None:
    """The header with one text for another of the same length."""
    content = path.read_bytes()
    assert content.count(old) == 1
    path.write_bytes(content.replace(old, new.ljust(len(old))))


def test_floating_point_samples_are_scaled_by_their_bounds(tmp_path):
    path = written(tmp_path / "a.xisf", (GRADIENT * 9).astype(np.float32))
    edited(path, b'bounds="0:1"', b'bounds="0:9"')
    assert np.abs(np.asarray(open_picture(path).pixels) / 65535 - GRADIENT[..., 0]).max() < 0.0001


def test_an_embedded_profile_is_applied(tmp_path):
    profile = matrix_profile(ADOBE_RGB, ADOBE_GAMMA)
    path = written(tmp_path / "a.xisf", (COLOURS * 65535).astype(np.uint16))
    plain = np.asarray(open_picture(path).pixels)
    content = path.read_bytes()
    length = int.from_bytes(content[8:12], "little")
    place = f'<ICCProfile location="attachment:{len(content)}:{len(profile)}"/></Image>'.encode()
    header = content[16 : 16 + length].rstrip(b"\0").replace(b" /><Metadata>", b">" + place + b"<Metadata>")
    assert len(header) < 4096 - 16
    start = content[:8] + len(header).to_bytes(4, "little") + bytes(4) + header
    path.write_bytes(start.ljust(4096, b"\0") + content[4096:] + profile)
    opened = open_picture(path)
    assert not opened.doubts
    pixels, samples = np.asarray(opened.pixels), [plain[row, 17] for row in (5, 12, 18)]
    for row, sample in zip((5, 12, 18), samples, strict=True):
        wanted = deep_to_srgb(np.array([[sample]], np.uint16), profile)
        assert np.array_equal(pixels[row, 17], wanted[0, 0])
        assert not np.array_equal(pixels[row, 17], sample)
    path.write_bytes(path.read_bytes()[: -len(profile)] + b"\1" * len(profile))
    assert [rule for rule, _, _ in open_picture(path).doubts] == ["picture-profile"]


def fault_of(path: Path) -> str:
    with pytest.raises(PictureFault) as trouble:
        open_picture(path)
    return str(trouble.value.args)


def test_a_block_that_is_cut_short_or_holds_more_than_it_says_is_a_fault(tmp_path):
    path = written(tmp_path / "a.xisf", np.zeros((400, 400, 1), np.uint16), "zlib")
    content = path.read_bytes()
    path.write_bytes(content[:-10])
    assert "picture-truncated" in fault_of(path)
    size = len(zlib.compress(bytes(320_000)))
    bomb = zlib.compress(bytes(30_000_000))
    header = content[:4096].replace(f":{size}".encode(), f":{len(bomb)}".encode())
    path.write_bytes(header[:4096].ljust(4096, b"\0") + bomb)
    assert "picture-" in fault_of(path)


@pytest.mark.parametrize(("ending", "module"), [("xisf", "xisf"), ("heic", "pillow_heif")])
def test_a_missing_library_is_a_fault_that_names_it(tmp_path, monkeypatch, ending, module):
    path = tmp_path / f"a.{ending}"
    if ending == "xisf":
        written(path, GRADIENT.astype(np.float32))
    else:
        heic(path, COLOURS)
    monkeypatch.setitem(sys.modules, module, None)
    said = fault_of(path)
    assert "pip install 'noctuary[" in said
    assert "picture-format" in said


def heic(path: Path, colours: np.ndarray, bits: int = 8) -> Path:
    if bits == 8:
        heif.register_heif_opener()
        image = Image.fromarray(np.rint(colours * 255).astype(np.uint8))
        image.save(path, quality=-1, chroma=444)
    else:
        samples = np.rint(colours * 65535).astype(np.uint16)
        height, width = samples.shape[:2]
        file = heif.from_bytes("RGB;16", (width, height), samples.tobytes())
        file.save(str(path), quality=-1, chroma=444)
    return path


@pytest.mark.parametrize("bits", [8, 10])
def test_heif_pixels_are_those_that_were_written(tmp_path, bits):
    path = heic(tmp_path / "a.heic", np.repeat(np.repeat(COLOURS, 4, axis=0), 4, axis=1), bits)
    opened = open_picture(path)
    assert opened.deep is (bits > 8)
    assert (opened.width, opened.height) == picture_size(path) == (144, 96)
    shown = np.asarray(opened.pixels) / (65535 if opened.deep else 255)
    wanted = np.repeat(np.repeat(COLOURS, 4, axis=0), 4, axis=1)
    assert np.abs(shown - wanted).max() < 0.03  # YCbCr in whole numbers and back
    assert np.abs(shown - wanted).mean() < 0.006


@pytest.mark.parametrize("kind", ["xisf", "xisf zlib", "heic"])
def test_damage_comes_out_as_one_fault(tmp_path, kind):
    path = tmp_path / f"a.{kind[:4]}"
    if kind == "heic":
        heic(path, COLOURS)
    else:
        written(path, COLOURS.astype(np.float32), "zlib" if "zlib" in kind else None)
    whole = path.read_bytes()
    chance = random.Random(kind)
    opened = 0
    for _ in range(250):
        changed = bytearray(whole[: chance.randrange(len(whole))] if chance.random() < 0.2 else whole)
        for _ in range(chance.choice((1, 2, 8))):
            if changed:
                changed[chance.randrange(min(len(changed), 2500))] ^= 1 << chance.randrange(8)
        path.write_bytes(bytes(changed))
        try:
            open_picture(path)
            opened += 1
        except PictureFault:
            continue
    assert opened

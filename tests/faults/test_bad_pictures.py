"""Damaged, odd and hostile pictures: the right result or one fault that says what to do, and nothing else."""

from __future__ import annotations

import io
import os
import struct
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import skimage.data
import tifffile
from astropy.io import fits
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from noctuary.images import rendition_cache as keep
from noctuary.images.decode import open_picture, picture_size, quick_check
from noctuary.images.decoded import Opened, PictureFault
from noctuary.images.make_renditions import Job, make_all, make_renditions
from noctuary.images.recipe import PictureFile
from PIL import Image, PngImagePlugin

PHOTO = Path(skimage.data.__file__).parent / "rocket.jpg"


def small(format: str, mode: str = "RGB", size: tuple[int, int] = (64, 48), **options: Any) -> bytes:
    rng = np.random.default_rng(7)
    shape = (size[1], size[0]) if mode in ("L", "1") else (size[1], size[0], len(mode))
    image = Image.fromarray(rng.integers(0, 256, shape).astype(np.uint8), None if mode == "1" else mode)
    out = io.BytesIO()
    image.convert(mode).save(out, format, **options)
    return out.getvalue()


def chunk(name: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


def png_of(width: int, height: int, *chunks: bytes, data: bytes = b"") -> bytes:
    header = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + header + b"".join(chunks) + chunk(b"IDAT", data) + chunk(b"IEND", b"")


def tiff(array: np.ndarray, **options: Any) -> bytes:
    out = io.BytesIO()
    tifffile.imwrite(out, array, **options)
    return out.getvalue()


def fits_of(array: np.ndarray | None, **header: object) -> bytes:
    out = io.BytesIO()
    hdu = fits.PrimaryHDU(array)
    hdu.header.update(header)
    hdu.writeto(out)
    return out.getvalue()


def frames(format: str) -> bytes:
    out = io.BytesIO()
    first, second = Image.new("RGB", (40, 30), (250, 0, 0)), Image.new("RGB", (40, 30), (0, 250, 0))
    first.save(out, format, save_all=True, append_images=[second])
    return out.getvalue()


def zip_text_bomb() -> bytes:
    text = PngImagePlugin.PngInfo()
    text.add_text("Comment", "x" * 5_000_000, zip=True)
    return small("PNG", pnginfo=text)


def profile_bomb() -> bytes:
    return png_of(8, 8, chunk(b"iCCP", b"p\0\0" + zlib.compress(b"\0" * 60_000_000)),
                  data=zlib.compress(b"\0" * (25 * 8)))  # fmt: skip


def many_scans() -> bytes:
    data = small("JPEG", progressive=True)
    at = data.rindex(b"\xff\xda")
    return data[:at] + data[at:-2] * 2000 + b"\xff\xd9"


RGB16 = np.random.default_rng(3).integers(0, 65536, (30, 40, 3)).astype(np.uint16)
FLOATS = np.linspace(0, 1, 1200, dtype=np.float32).reshape(30, 40)

#: The TIFF entry "samples per pixel: 3" (tag 277, one 16-bit number).
SAMPLES = struct.pack("<HHIH", 277, 3, 1, 3)

# name of the file, its bytes, the rule of the fault
FAULTS: list[tuple[str, str, Callable[[], bytes], str]] = [
    ("empty", "a.jpg", lambda: b"", "picture-empty"),
    ("zeros", "a.jpg", lambda: b"\0" * 4096, "picture-empty"),
    ("empty fits", "a.fits", lambda: b"", "picture-empty"),
    ("text", "a.jpg", lambda: b"this is no picture at all\n" * 40, "picture-format"),
    ("web page", "a.png", lambda: b"<!doctype html><title>Not found</title>", "picture-format"),
    ("jpeg cut in half", "a.jpg", lambda: PHOTO.read_bytes()[:60_000], "picture-truncated"),
    ("jpeg cut in its header", "a.jpg", lambda: PHOTO.read_bytes()[:300], "picture-"),
    ("jpeg of two bytes", "a.jpg", lambda: b"\xff\xd8\xff", "picture-"),
    ("png cut in half", "a.png", lambda: small("PNG")[:4000], "picture-truncated"),
    ("png cut in its header", "a.png", lambda: small("PNG")[:20], "picture-"),
    ("png with a damaged stream", "a.png", lambda: png_of(64, 64, data=b"\x78\x9cgarbage"), "picture-"),
    ("png without pixels", "a.png", lambda: png_of(64, 64), "picture-"),
    ("png of 0 × 0", "a.png", lambda: png_of(0, 0, data=zlib.compress(b"")), "picture-"),
    ("png bomb", "a.png", lambda: png_of(60_000, 60_000, data=zlib.compress(b"\0" * 1_000_000)), "picture-too-large"),
    ("png that promises too much", "a.png", lambda: png_of(18_000, 18_000, data=zlib.compress(b"x")),
     "picture-truncated"),
    ("tiff that promises too much", "a.tif", lambda: tiff_header(18_000, 18_000), "picture-truncated"),
    ("jpeg that promises too much", "a.jpg", lambda: resized_header(small("JPEG"), 18_000, 18_000),
     "picture-truncated"),
    ("jpeg bomb", "a.jpg", lambda: resized_header(small("JPEG"), 65_000, 65_000), "picture-too-large"),
    ("text bomb", "a.png", zip_text_bomb, "picture-metadata"),
    ("endless scans", "a.jpg", many_scans, "picture-unreadable"),
    ("tiff cut in half", "a.tif", lambda: tiff(RGB16, photometric="rgb")[:3000], "picture-"),
    ("tiff bomb", "a.tif", lambda: tiff_header(60_000, 60_000), "picture-too-large"),
    ("tiff of complex numbers", "a.tif", lambda: tiff(FLOATS.astype(np.complex64)), "picture-format"),
    ("tiff of two bands", "a.tif", lambda: tiff(RGB16, photometric="rgb").replace(SAMPLES, SAMPLES[:8] + b"\2\0"),
     "picture-"),
    ("tiff header only", "a.tif", lambda: b"II*\0\x08\0\0\0", "picture-"),
    ("tiff that points at itself", "a.tif", lambda: b"II*\0\x08\0\0\0\0\0\x08\0\0\0", "picture-"),
    ("fits cut in half", "a.fits", lambda: fits_of(np.zeros((200, 200), np.float32))[:9000], "picture-truncated"),
    ("fits without a picture", "a.fits", lambda: fits_of(None), "picture-empty"),
    ("fits of five planes", "a.fits", lambda: fits_of(np.zeros((5, 8, 8), np.float32)), "picture-format"),
    ("fits of one row of numbers", "a.fits", lambda: fits_of(np.zeros(50, np.float32)), "picture-empty"),
    ("fits bomb", "a.fits", lambda: fits_header(400_000, 400_000), "picture-"),
    ("fits of words", "a.fits", lambda: b"SIMPLE  = what" + b" " * 2866, "picture-"),
    ("heif", "a.heic", lambda: b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + b"\0" * 99, "picture-"),
    ("film called jpg", "a.jpg", lambda: b"\0\0\0\x18ftypisom\0\0\0\0isomavc1" + b"\0" * 99, "picture-format"),
    ("xisf header only", "a.xisf", lambda: b"XISF0100\x10\0\0\0\0\0\0\0<xisf>", "picture-"),
    ("xisf of anything", "a.xisf", lambda: b"XISF0100\x10\0\0\0\0\0\0\0" + b"<" * 99, "picture-unreadable"),
    ("raw frame by content", "a.cr2", lambda: b"II*\0\x10\0\0\0CR\x02\0" + b"\0" * 99, "picture-format"),
    ("raw frame by name", "a.nef", lambda: tiff(RGB16, photometric="rgb"), "picture-format"),
    ("raw frame called tif", "a.tif", lambda: tiff(RGB16[..., 0], extratags=[(50706, 1, 4, b"\1\4\0\0", True)]),
     "picture-format"),
    ("layered file", "a.psd", lambda: b"8BPS\0\1" + b"\0" * 99, "picture-format"),
    ("other layered file", "a.xcf", lambda: b"gimp xcf v011" + b"\0" * 99, "picture-format"),
    ("gzip", "a.fits", lambda: b"\x1f\x8b\x08" + b"\0" * 99, "picture-format"),
]  # fmt: skip


def resized_header(jpeg: bytes, width: int, height: int) -> bytes:
    at = jpeg.index(b"\xff\xc0")
    return jpeg[: at + 5] + struct.pack(">HH", height, width) + jpeg[at + 9 :]


def tiff_header(width: int, height: int) -> bytes:
    tags = [(256, 4, width), (257, 4, height), (258, 3, 8), (259, 3, 1), (262, 3, 1), (273, 4, 8), (277, 3, 1),
            (278, 4, height), (279, 4, 100)]  # fmt: skip
    entries = b"".join(struct.pack("<HHII", tag, kind, 1, value) for tag, kind, value in tags)
    return b"II*\0\x08\0\0\0" + struct.pack("<H", len(tags)) + entries + b"\0" * 200


def fits_header(width: int, height: int) -> bytes:
    cards = ["SIMPLE  =                    T", "BITPIX  =                   16", "NAXIS   =                    2",
             f"NAXIS1  = {width:>20}", f"NAXIS2  = {height:>20}", "END"]  # fmt: skip
    return "".join(card.ljust(80) for card in cards).ljust(2880).encode() + b"\0" * 2880


@pytest.mark.parametrize(("name", "data", "rule"), [f[1:] for f in FAULTS], ids=[f[0] for f in FAULTS])
def test_one_fault_that_says_what_to_do(
    tmp_path: Path, name: str, data: Callable[[], bytes], rule: str, capfd: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / name
    path.write_bytes(data())
    with pytest.raises(PictureFault) as caught:
        open_picture(path)
    fault = caught.value
    assert fault.rule.startswith(rule)
    assert fault.message
    assert fault.hint
    assert "Traceback" not in fault.message
    assert make_renditions(path, tmp_path / "cache", keep.source_hash(path)) == fault
    assert not list((tmp_path / "cache").glob("*"))
    for quick in (picture_size, quick_check):  # may see nothing wrong in the header, and says so only in this way
        try:
            quick(path)
        except PictureFault as quick_fault:
            complete(quick_fault)
    assert capfd.readouterr() == ("", "")


# name of the file, its bytes, rules of its doubts, the size it has, a test of its pixels
ODD: list[tuple[str, str, Callable[[], bytes], set[str], tuple[int, int]]] = [
    ("png called jpg", "a.jpg", lambda: small("PNG"), {"picture-extension"}, (64, 48)),
    ("jpeg called png", "a.png", lambda: small("JPEG"), {"picture-extension"}, (64, 48)),
    ("fits called tif", "a.tif", lambda: fits_of(FLOATS), {"picture-extension"}, (40, 30)),
    ("webp called jpg", "a.jpg", lambda: small("WEBP"), {"picture-extension"}, (64, 48)),
    ("cmyk jpeg", "a.jpg", lambda: small("JPEG", "CMYK"), set(), (64, 48)),
    ("progressive jpeg", "a.jpg", lambda: small("JPEG", progressive=True), set(), (64, 48)),
    ("grey jpeg", "a.jpg", lambda: small("JPEG", "L"), set(), (64, 48)),
    ("alpha png", "a.png", lambda: small("PNG", "RGBA"), set(), (64, 48)),
    ("bilevel png", "a.png", lambda: small("PNG", "1"), set(), (64, 48)),
    ("bilevel tiff", "a.tif", lambda: small("TIFF", "1", compression="group4"), set(), (64, 48)),
    ("jpeg in tiff", "a.tif", lambda: small("TIFF", compression="jpeg"), set(), (64, 48)),
    ("cmyk tiff", "a.tif", lambda: small("TIFF", "CMYK"), set(), (64, 48)),
    ("animated png", "a.png", lambda: frames("PNG"), {"picture-frames"}, (40, 30)),
    ("animated gif", "a.gif", lambda: frames("GIF"), {"picture-frames"}, (40, 30)),
    ("tiff of two pages", "a.tif", lambda: frames("TIFF"), {"picture-frames"}, (40, 30)),
    ("16-bit grey tiff", "a.tif", lambda: tiff(RGB16[..., 0]), set(), (40, 30)),
    ("white is zero", "a.tif", lambda: tiff(RGB16[..., 0], photometric="miniswhite"), set(), (40, 30)),
    ("32-bit integers", "a.tif", lambda: tiff(RGB16[..., 0].astype(np.uint32) << 16), set(), (40, 30)),
    ("signed integers", "a.tif", lambda: tiff(RGB16[..., 0].astype(np.int16)), set(), (40, 30)),
    ("half floats", "a.tif", lambda: tiff(FLOATS.astype(np.float16)), set(), (40, 30)),
    ("doubles", "a.tif", lambda: tiff(FLOATS.astype(np.float64)), set(), (40, 30)),
    ("float tiff of nothing but NaN", "a.tif", lambda: tiff(FLOATS * np.nan), set(), (40, 30)),
    ("fits of nothing but NaN", "a.fits", lambda: fits_of(FLOATS * np.nan), {"picture-range"}, (40, 30)),
    ("fits of one value", "a.fits", lambda: fits_of(FLOATS * 0 + 500), {"picture-range"}, (40, 30)),
    ("fits with infinities", "a.fits", lambda: fits_of(np.where(FLOATS > 0.5, np.inf, -np.inf)), {"picture-range"},
     (40, 30)),
    ("broken profile", "a.png", lambda: small("PNG", icc_profile=b"no profile"), {"picture-profile"}, (64, 48)),
    ("grey with a colour profile", "a.jpg", lambda: small("JPEG", "L", icc_profile=srgb()), {"picture-profile"},
     (64, 48)),
    ("large comments", "a.jpg", lambda: small("JPEG", comment=b"x" * 65000), set(), (64, 48)),
    ("one pixel", "a.png", lambda: small("PNG", size=(1, 1)), set(), (1, 1)),
    ("a line", "a.png", lambda: small("PNG", size=(3000, 1)), set(), (3000, 1)),
    ("broken exif", "a.jpg", lambda: small("JPEG", exif=b"Exif\0\0II*\0\xff\xff\xff\xff"), set(), (64, 48)),
]  # fmt: skip


def srgb() -> bytes:
    from PIL import ImageCms

    return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


@pytest.mark.parametrize(("name", "data", "rules", "size"), [o[1:] for o in ODD], ids=[o[0] for o in ODD])
def test_odd_pictures_are_read(
    tmp_path: Path,
    name: str,
    data: Callable[[], bytes],
    rules: set[str],
    size: tuple[int, int],
    capfd: pytest.CaptureFixture[str],
) -> None:
    path = tmp_path / name
    path.write_bytes(data())
    opened = open_picture(path)
    assert {rule for rule, _, _ in opened.doubts} == rules
    assert (opened.width, opened.height) == size == picture_size(path) == quick_check(path)[:2]
    assert opened.image.mode == "RGB"
    assert opened.image.size == size
    made = make_renditions(path, tmp_path / "cache", keep.source_hash(path))
    assert isinstance(made, PictureFile)
    assert capfd.readouterr() == ("", "")


def test_the_first_frame_is_shown(tmp_path: Path) -> None:
    for format in ("PNG", "GIF", "TIFF"):
        path = tmp_path / f"a.{format.lower()}"
        path.write_bytes(frames(format))
        assert open_picture(path).image.getpixel((5, 5)) == (250, 0, 0)


def test_white_is_zero_is_turned_round(tmp_path: Path) -> None:
    (tmp_path / "a.tif").write_bytes(tiff(RGB16[..., 0], photometric="miniswhite"))
    assert np.array_equal(np.asarray(open_picture(tmp_path / "a.tif").pixels), 65535 - RGB16[..., 0])


def test_an_enormous_profile_is_refused_or_ignored(tmp_path: Path) -> None:
    (tmp_path / "a.png").write_bytes(profile_bomb())
    try:
        opened = open_picture(tmp_path / "a.png")
    except PictureFault as fault:
        complete(fault)
    else:
        assert opened.doubts


def test_the_limit_can_be_raised(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "a.png"
    path.write_bytes(small("PNG", size=(1200, 1000)))
    monkeypatch.setenv("NOCTUARY_MAX_MEGAPIXELS", "1")
    with pytest.raises(PictureFault, match="NOCTUARY_MAX_MEGAPIXELS=2"):
        open_picture(path)
    with pytest.raises(PictureFault, match="1200 × 1000"):
        picture_size(path)
    monkeypatch.setenv("NOCTUARY_MAX_MEGAPIXELS", "2")
    assert open_picture(path).width == 1200
    monkeypatch.setenv("NOCTUARY_MAX_MEGAPIXELS", "many")
    assert open_picture(path).width == 1200


def test_what_is_no_file(tmp_path: Path) -> None:
    (tmp_path / "folder.jpg").mkdir()
    os.mkfifo(tmp_path / "pipe.jpg")
    for name in ("missing.jpg", "folder.jpg", "pipe.jpg"):
        for reader in (open_picture, picture_size, quick_check):
            with pytest.raises(PictureFault) as caught:
                reader(tmp_path / name)
            assert caught.value.hint


def test_the_good_ones_are_made_beside_the_bad(tmp_path: Path) -> None:
    jobs = [Job(PHOTO, keep.source_hash(PHOTO))]
    for number, (_, name, data, _) in enumerate(FAULTS[:12]):
        path = tmp_path / f"{number}{name}"
        path.write_bytes(data())
        jobs.append(Job(path, keep.source_hash(path)))
    outcomes = make_all(jobs, tmp_path / "cache", workers=2)
    assert isinstance(outcomes.pop(PHOTO), PictureFile)
    assert len(outcomes) == 12
    assert all(isinstance(o, PictureFault) for o in outcomes.values())


def complete(fault: PictureFault) -> None:
    assert fault.rule.startswith("picture-")
    assert fault.message
    assert fault.hint


WHOLE = {
    "a.jpg": small("JPEG", exif=Image.Exif().tobytes(), icc_profile=srgb()),
    "b.jpg": small("JPEG", progressive=True),
    "a.png": small("PNG", icc_profile=srgb()),
    "a.tif": tiff(RGB16, photometric="rgb", compression="zlib"),
    "b.tif": small("TIFF", compression="tiff_lzw"),
    "a.fits": fits_of(FLOATS),
}


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_damage_anywhere_is_a_picture_or_one_fault(tmp_path: Path, data: st.DataObject) -> None:
    name = data.draw(st.sampled_from(sorted(WHOLE)))
    raw = bytearray(WHOLE[name])
    # The beginning, where headers are, is hit more often than the pixels.
    place = st.one_of(st.integers(0, min(600, len(raw) - 1)), st.integers(0, len(raw) - 1))
    for _ in range(data.draw(st.integers(1, 6))):
        raw[data.draw(place)] = data.draw(st.integers(0, 255))
    if data.draw(st.booleans()):
        raw = raw[: data.draw(st.integers(0, len(raw)))]
    path = tmp_path / name
    path.write_bytes(bytes(raw))
    for reader in (quick_check, open_picture):
        try:
            got = reader(path)
        except PictureFault as fault:
            complete(fault)
        else:
            if isinstance(got, Opened):
                assert got.image.size == (got.width, got.height)

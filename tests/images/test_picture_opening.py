"""Every kind of picture → the right pixels."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from astropy.io import fits
from noctuary.images.decode import open_picture, picture_size, quick_check
from PIL import Image, ImageCms

from tests.images.picture_material import ADOBE_GAMMA, ADOBE_RGB, matrix_profile, png16, png_chunk, real

RANDOM = np.random.default_rng(1609)


def pixels_of(path: Path) -> np.ndarray:
    return np.asarray(open_picture(path).image)


@pytest.mark.parametrize(
    ("name", "size"),
    [
        # Sizes as the packages that ship them state (scikit-image's data page, FITS headers) or `file` prints.
        ("hubble_deep_field.jpg", (1000, 872)),
        ("retina.jpg", (1411, 1411)),
        ("rocket.jpg", (640, 427)),
        ("eso_eso1723a_320.jpg", (320, 248)),
        ("eso_eso1723a_320.png", (320, 248)),
        ("m13.fits", (300, 300)),
        ("m13_rice.fits", (300, 300)),
    ],
)
def test_real_pictures_open_in_their_size(name: str, size: tuple[int, int]) -> None:
    assert picture_size(real(name)) == size
    opened = open_picture(real(name))
    assert (opened.width, opened.height) == size
    assert opened.image.size == size
    assert opened.image.mode == "RGB"
    assert quick_check(real(name))[:2] == size


def test_a_jpeg_without_a_profile_is_what_pillow_decodes() -> None:
    with Image.open(real("retina.jpg")) as image:
        assert "icc_profile" not in image.info
        assert np.array_equal(pixels_of(real("retina.jpg")), np.asarray(image.convert("RGB")))


def test_m13_is_shown_from_its_minimum_to_its_maximum_first_row_at_the_bottom() -> None:
    data = fits.getdata(real("m13.fits")).astype(float)
    opened = open_picture(real("m13.fits"))
    expected = (data - data.min()) / (data.max() - data.min()) * 65535
    assert np.allclose(np.asarray(opened.pixels), expected[::-1], atol=1)
    assert [rule for rule, _, _ in opened.doubts] == ["picture-range"]
    rice = open_picture(real("m13_rice.fits"))
    assert np.array_equal(np.asarray(rice.pixels), np.asarray(opened.pixels))


ARRAYS = {
    "grey": RANDOM.integers(0, 65536, (31, 47)),
    "colour": RANDOM.integers(0, 65536, (31, 47, 3)),
}


@pytest.mark.parametrize("shape", ["grey", "colour"])
@pytest.mark.parametrize(
    "kind", ["png", "tiff", "tiff-big-endian", "tiff-zip", "tiff-lzw", "tiff-planar", "tiff-bigtiff"]
)
def test_sixteen_bits_are_all_kept(tmp_path: Path, shape: str, kind: str) -> None:
    wanted = ARRAYS[shape].astype(np.uint16)
    path = tmp_path / ("a.png" if kind == "png" else "a.tif")
    photometric = "rgb" if shape == "colour" else "minisblack"
    if kind == "png":
        path.write_bytes(png16(wanted))
    elif kind == "tiff-planar" and shape == "colour":
        tifffile.imwrite(path, np.moveaxis(wanted, -1, 0), photometric=photometric, planarconfig="separate")
    elif kind == "tiff-lzw":
        path.write_bytes(lzw_tiff(wanted))
    else:
        settings: dict[str, Any] = {
            "tiff-big-endian": {"byteorder": ">"},
            "tiff-zip": {"compression": "zlib", "predictor": True},
            "tiff-bigtiff": {"bigtiff": True},
        }
        tifffile.imwrite(path, wanted, photometric=photometric, **settings.get(kind, {}))
    opened = open_picture(path)
    assert opened.deep
    assert opened.doubts == ()
    assert np.array_equal(np.asarray(opened.pixels), wanted)
    assert picture_size(path) == (47, 31)


def lzw_tiff(pixels: np.ndarray) -> bytes:
    """A TIFF 6.0 file in one strip, LZW with nothing but 9-bit literals and a clear code before each 250 of them."""
    samples = 1 if pixels.ndim == 2 else pixels.shape[2]
    data = pixels.astype("<u2").tobytes()
    bits = []
    for at in range(0, len(data), 250):
        bits.append(format(256, "09b"))
        bits += [format(byte, "09b") for byte in data[at : at + 250]]
    bits.append(format(257, "09b"))
    stream = "".join(bits)
    stream += "0" * (-len(stream) % 8)
    packed = int(stream, 2).to_bytes(len(stream) // 8, "big")
    out = io.BytesIO()
    tifffile.imwrite(out, pixels, photometric="rgb" if samples == 3 else "minisblack", rowsperstrip=pixels.shape[0])
    raw = bytearray(out.getvalue())
    with tifffile.TiffFile(io.BytesIO(bytes(raw))) as file:
        tags = file.pages[0].tags
        compression, offset, count = (tags[n].valueoffset for n in (259, 273, 279))
        width = {n: {3: 2, 4: 4}[int(tags[n].dtype)] for n in (259, 273, 279)}
    raw[compression : compression + 2] = (5).to_bytes(2, "little")
    raw[offset : offset + width[273]] = len(raw).to_bytes(width[273], "little")
    raw[count : count + width[279]] = len(packed).to_bytes(width[279], "little")
    return bytes(raw) + packed


def test_sixteen_bit_alpha_is_laid_over_black(tmp_path: Path) -> None:
    colour = np.full((8, 8, 4), 40000, np.uint16)
    colour[:4, :, 3] = 0
    colour[4:, :, 3] = 65535
    (tmp_path / "a.png").write_bytes(png16(colour))
    grey = colour[..., [0, 3]]
    (tmp_path / "b.png").write_bytes(png16(grey))
    tifffile.imwrite(tmp_path / "c.tif", colour, photometric="rgb", extrasamples=["unassalpha"])
    for name in ("a.png", "b.png", "c.tif"):
        opened = np.asarray(open_picture(tmp_path / name).pixels)
        assert (opened[:4] == 0).all(), name
        assert (opened[4:] == 40000).all(), name


def test_float_tiff_is_0_to_1_with_nan_black(tmp_path: Path) -> None:
    values = np.linspace(0, 1, 64 * 48 * 3, dtype=np.float32).reshape(48, 64, 3)
    values[3, 4] = np.nan
    tifffile.imwrite(tmp_path / "a.tif", values, photometric="rgb")
    opened = open_picture(tmp_path / "a.tif")
    assert opened.doubts == ()
    assert np.array_equal(np.asarray(opened.pixels), np.rint(np.nan_to_num(values) * 65535).astype(np.uint16))
    tifffile.imwrite(tmp_path / "b.tif", values * 3, photometric="rgb")
    assert [d[0] for d in open_picture(tmp_path / "b.tif").doubts] == ["picture-range"]


def test_fits_within_0_to_1_is_shown_as_it_is(tmp_path: Path) -> None:
    values = np.full((3, 20, 30), 0.25, np.float32)
    values[0, 0, 0], values[1, 0, 1], values[2, 0, 2] = np.nan, np.inf, -np.inf
    fits.writeto(tmp_path / "a.fits", values)
    opened = open_picture(tmp_path / "a.fits")
    pixels = np.asarray(opened.pixels)
    assert opened.doubts == ()
    assert pixels.shape == (20, 30, 3)
    # the first row is at the bottom; NaN and -infinity black, infinity white
    assert pixels[-1, 0].tolist() == [0, 16384, 16384]
    assert pixels[-1, 1].tolist() == [16384, 65535, 16384]
    assert pixels[-1, 2].tolist() == [16384, 16384, 0]
    assert (pixels[:-1] == 16384).all()


def test_unsigned_fits_is_scaled_by_its_header(tmp_path: Path) -> None:
    values = RANDOM.integers(100, 60000, (20, 30)).astype(np.uint16)
    fits.writeto(tmp_path / "a.fits", values)  # BZERO = 32768, FITS standard 4.0, table 11
    pixels = np.asarray(open_picture(tmp_path / "a.fits").pixels).astype(float)
    low, high = float(values.min()), float(values.max())
    assert np.allclose(pixels, ((values - low) / (high - low) * 65535)[::-1], atol=1)


@pytest.mark.parametrize("dtype", ["u1", "i2", "i4", "i8", "f4", "f8"])
@pytest.mark.parametrize("scaled", [False, True])
def test_every_fits_type_is_read_as_astropy_reads_it(tmp_path: Path, dtype: str, scaled: bool) -> None:
    """The types of FITS standard 4.0, table 8, with and without BSCALE and BZERO, in the third of four axes."""
    stored = RANDOM.integers(0, 100, (1, 3, 20, 30)).astype(dtype)
    hdu = fits.PrimaryHDU(stored)
    if scaled:
        hdu.header["BSCALE"], hdu.header["BZERO"] = 0.5, 100.0
    hdu.writeto(tmp_path / "a.fits")
    values = fits.getdata(tmp_path / "a.fits").astype(float)[0]
    assert values.max() > 90
    wanted = np.moveaxis((values - values.min()) / (values.max() - values.min()) * 65535, 0, -1)[::-1]
    assert np.allclose(np.asarray(open_picture(tmp_path / "a.fits").pixels), wanted, atol=1)


def test_integers_that_stand_for_no_value_are_black(tmp_path: Path) -> None:
    hdu = fits.PrimaryHDU(np.array([[-7, 0], [500, 1000]], np.int16))
    hdu.header["BLANK"] = -7
    hdu.writeto(tmp_path / "a.fits")
    assert np.asarray(open_picture(tmp_path / "a.fits").pixels)[::-1].tolist() == [[0, 0], [32768, 65535]]


@pytest.mark.parametrize(
    "settings", [{}, {"byteorder": ">"}, {"compression": "zlib"}, {"planarconfig": "separate"}]
)
@pytest.mark.parametrize("dtype", ["f2", "f4", "f8"])
def test_floating_point_is_read_however_it_is_stored(tmp_path: Path, dtype: str, settings: dict[str, Any]) -> None:
    values = RANDOM.random((40, 30, 3)).astype(dtype)
    stored = np.moveaxis(values, -1, 0) if "planarconfig" in settings else values
    tifffile.imwrite(tmp_path / "a.tif", stored, photometric="rgb", **settings)
    wanted = np.rint(values.astype(np.float32) * np.float32(65535))
    assert np.array_equal(np.asarray(open_picture(tmp_path / "a.tif").pixels), wanted)


# EXIF 2.32, table 6: where row 0 and column 0 of the stored picture lie in the picture as seen.
SEEN = {
    1: [[1, 2, 3], [4, 5, 6]],
    2: [[3, 2, 1], [6, 5, 4]],
    3: [[6, 5, 4], [3, 2, 1]],
    4: [[4, 5, 6], [1, 2, 3]],
    5: [[1, 4], [2, 5], [3, 6]],
    6: [[4, 1], [5, 2], [6, 3]],
    7: [[6, 3], [5, 2], [4, 1]],
    8: [[3, 6], [2, 5], [1, 4]],
}


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["jpg", "png", "png-late", "png16", "tif", "tif16"])
def test_orientation_is_applied(tmp_path: Path, orientation: int, kind: str) -> None:
    stored = np.kron(np.array([[1, 2, 3], [4, 5, 6]]), np.ones((16, 16), int)).astype(np.uint8) * 40
    seen = np.kron(np.array(SEEN[orientation]), np.ones((16, 16), int)) * 40
    exif = Image.Exif()
    exif[0x0112] = orientation
    path = tmp_path / f"a.{kind[:3]}"
    if kind == "tif16":
        tifffile.imwrite(path, stored.astype(np.uint16) * 257, photometric="minisblack",
                         extratags=[(274, 3, 1, orientation, True)])  # fmt: skip
    elif kind == "tif":
        Image.fromarray(stored).save(path, tiffinfo={274: orientation})
    elif kind in ("png16", "png-late"):
        chunk = png_chunk(b"eXIf", exif.tobytes()[6:])
        wide = stored.astype(np.uint16) * 257
        path.write_bytes(png16(wide, chunk) if kind == "png16" else png16(wide, after=(chunk,)))
    else:
        Image.fromarray(stored).save(path, exif=exif, quality=100)
    opened = open_picture(path)
    assert (opened.width, opened.height) == seen.shape[::-1] == picture_size(path)
    assert np.abs(np.asarray(opened.image)[..., 1].astype(int) - seen).max() <= 2


def adobe_to_srgb(levels: np.ndarray) -> np.ndarray:
    """Adobe RGB (1998) 0…1 → sRGB 0…1, by the matrix between the two in linear light: XYZ (D65) from the Adobe RGB
    (1998) specification 4.3.5.3 and its inverse from IEC 61966-2-1."""
    to_xyz = np.array([[0.57667, 0.18556, 0.18823], [0.29734, 0.62736, 0.07529], [0.02703, 0.07069, 0.99134]])
    to_srgb = np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]])
    light = np.clip(levels**ADOBE_GAMMA @ (to_srgb @ to_xyz).T, 0, 1)
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


@pytest.mark.parametrize("kind", ["png", "jpg", "tif", "tif16", "png16"])
def test_a_wide_profile_is_converted_to_srgb(tmp_path: Path, kind: str) -> None:
    profile = matrix_profile(ADOBE_RGB, ADOBE_GAMMA)
    ImageCms.getOpenProfile(io.BytesIO(profile))
    colours = np.array(
        [[0.2, 0.6, 0.4], [0.7, 0.5, 0.5], [0.1, 0.1, 0.1], [0.9, 0.8, 0.3], [1, 1, 1], [0.5, 0.5, 0.8]]
    )
    levels = np.repeat(np.repeat(colours[None], 16, axis=0), 16, axis=1)
    path = tmp_path / f"a.{kind[:3]}"
    if kind == "tif16":
        tifffile.imwrite(path, np.rint(levels * 65535).astype(np.uint16), photometric="rgb", iccprofile=profile)
    elif kind == "png16":
        import zlib

        chunk = png_chunk(b"iCCP", b"wide\0\0" + zlib.compress(profile))
        path.write_bytes(png16(np.rint(levels * 65535), chunk))
    else:
        options: dict[str, Any] = {"quality": 100, "subsampling": 0} if kind == "jpg" else {}
        Image.fromarray(np.rint(levels * 255).astype(np.uint8)).save(path, icc_profile=profile, **options)
    opened = open_picture(path)
    assert opened.doubts == ()
    got = np.asarray(opened.image)[8, 8::16].astype(float)
    assert np.abs(got - adobe_to_srgb(colours) * 255).max() <= (3 if kind == "jpg" else 2)
    if kind.endswith("16"):
        exact = np.asarray(opened.pixels)[8, 8::16] / 65535
        assert np.abs(exact - adobe_to_srgb(colours)).max() < 0.002


def test_an_srgb_profile_changes_no_pixel(tmp_path: Path) -> None:
    pixels = RANDOM.integers(0, 256, (40, 40, 3)).astype(np.uint8)
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    Image.fromarray(pixels).save(tmp_path / "a.png", icc_profile=profile)
    assert np.array_equal(pixels_of(tmp_path / "a.png"), pixels)
    deep = RANDOM.integers(0, 65536, (40, 40, 3)).astype(np.uint16)
    tifffile.imwrite(tmp_path / "a.tif", deep, photometric="rgb", iccprofile=profile)
    assert np.array_equal(np.asarray(open_picture(tmp_path / "a.tif").pixels), deep)


def test_palette_alpha_bilevel_cmyk_and_grey(tmp_path: Path) -> None:
    half = Image.new("RGBA", (8, 8), (200, 100, 50, 128))
    half.save(tmp_path / "alpha.png")
    assert np.abs(pixels_of(tmp_path / "alpha.png")[0, 0].astype(int) - [100, 50, 25]).max() <= 1
    Image.new("RGB", (8, 8), (10, 200, 30)).quantize(4).save(tmp_path / "palette.png")
    assert pixels_of(tmp_path / "palette.png")[0, 0].tolist() == [10, 200, 30]
    Image.new("1", (8, 8), 1).save(tmp_path / "bilevel.png")
    Image.new("1", (8, 8), 1).save(tmp_path / "bilevel.tif")
    assert (pixels_of(tmp_path / "bilevel.png") == 255).all()
    assert (pixels_of(tmp_path / "bilevel.tif") == 255).all()
    Image.new("L", (8, 8), 77).save(tmp_path / "grey.jpg", quality=100)
    assert (pixels_of(tmp_path / "grey.jpg") == 77).all()
    for name in ("cmyk.jpg", "cmyk.tif"):
        Image.new("CMYK", (8, 8), (0, 255, 255, 0)).save(tmp_path / name)
        assert np.abs(pixels_of(tmp_path / name)[0, 0].astype(int) - [255, 0, 0]).max() <= 3


def test_a_dark_gradient_keeps_its_mean_and_does_not_band(tmp_path: Path) -> None:
    # 0 to 0.02 of full scale over 1,312 16-bit levels: in 8 bits only six.
    gradient = np.tile(np.linspace(0, 1311, 1312), (256, 1)).astype(np.uint16)
    tifffile.imwrite(tmp_path / "a.tif", np.stack([gradient] * 3, axis=-1), photometric="rgb")
    opened = open_picture(tmp_path / "a.tif")
    levels = np.asarray(opened.image).astype(float)[..., 1]
    blocks = levels.reshape(8, 32, 41, 32).mean(axis=(1, 3))
    wanted = (gradient / 257.0).reshape(8, 32, 41, 32).mean(axis=(1, 3))
    assert np.abs(blocks - wanted).mean() < 0.03  # plain rounding leaves 0.26
    assert np.array_equal(levels, np.asarray(open_picture(tmp_path / "a.tif").image)[..., 1])

"""A picture drawn again on another's sky: stars drawn by astropy's WCS come out where astropy's WCS says."""

from __future__ import annotations

import io
import math

import numpy as np
import pytest
from astropy.wcs import WCS, Sip
from noctuary.facts.alignment import alignment
from noctuary.facts.placement_summary import placement_numbers
from noctuary.images.embed_metadata import Description
from noctuary.images.warp import encoded, redrawn, warped
from noctuary.sky.header_placement import from_header
from noctuary.sky.placement import Placement, from_centre
from PIL import Image

Size = tuple[int, int]


def header(code: str, ra: float, dec: float, scale: float, angle: float, size: Size, mirrored: bool = False) -> WCS:
    """A header of any zenithal projection, rows from the top: pixel y grows down."""
    turn = math.radians(angle)
    up = np.array([math.sin(turn), math.cos(turn)])
    right = np.array([-math.cos(turn), math.sin(turn)]) * (-1 if mirrored else 1)
    wcs = WCS(naxis=2)
    wcs.wcs.ctype = [f"RA---{code}", f"DEC--{code}"]
    wcs.wcs.crval = [ra, dec]
    wcs.wcs.crpix = [(size[0] + 1) / 2, (size[1] + 1) / 2]
    wcs.wcs.cd = np.stack([right, -up], axis=1) * scale / 3600
    return wcs


def placement(wcs: WCS, size: Size) -> Placement:
    cards = wcs.to_header()
    cards["NAXIS"], cards["NAXIS1"], cards["NAXIS2"] = 2, *size
    return from_header(cards.tostring(sep="\n"), *size, rows="top")


def drawn(x: np.ndarray, y: np.ndarray, size: Size, width: float = 1.6) -> Image.Image:
    """Round stars (Gaussian, sigma in pixels) at pixels counted from the middle of the first."""
    light = np.zeros(size[::-1])
    gy, gx = np.mgrid[-8:9, -8:9]
    for sx, sy in zip(x, y, strict=True):
        i, j = round(sx), round(sy)
        if 9 <= i < size[0] - 9 and 9 <= j < size[1] - 9:
            spot = np.exp(-((gx - (sx - i)) ** 2 + (gy - (sy - j)) ** 2) / (2 * width**2))
            light[j - 8 : j + 9, i - 8 : i + 9] += 230 * spot
    return Image.fromarray(np.clip(light, 0, 255).astype(np.uint8)).convert("RGB")


def seen(picture: Image.Image, x: float, y: float, reach: int = 7) -> tuple[float, float]:
    light = np.asarray(picture.convert("L"), dtype=float)
    i, j = round(x), round(y)
    cut = light[j - reach : j + reach + 1, i - reach : i + reach + 1]
    at = np.arange(-reach, reach + 1)
    return float((cut.sum(0) * at).sum() / cut.sum() + i), float((cut.sum(1) * at).sum() / cut.sum() + j)


#: A wide fisheye-like picture (equal area) and a lens picture inside it, turned and mirrored: one matrix cannot.
WIDE = (900, 700)
LENS = (960, 640)


@pytest.mark.parametrize("mirrored", [False, True])
def test_stars_of_a_wide_picture_come_out_where_they_belong(mirrored):
    wide = header("ZEA", 80, 10, 400, 25, WIDE, mirrored)  # 100 degrees wide
    lens = header("TAN", 88, -2, 160, 0, LENS)  # 43 degrees wide
    of, onto = placement(wide, WIDE), placement(lens, LENS)
    lies = alignment(placement_numbers(onto), placement_numbers(of))
    assert lies is not None
    assert lies.base == "older"
    assert lies.misses_px(LENS[0]) > 2, "or a matrix would do"
    gx, gy = np.meshgrid(np.linspace(40, LENS[0] - 41, 9), np.linspace(40, LENS[1] - 41, 6))
    ra, dec = lens.wcs_pix2world(gx.ravel(), gy.ravel(), 0)
    x, y = wide.wcs_world2pix(ra, dec, 0)
    result = warped(drawn(x, y, WIDE), of, onto, *LENS)
    assert result.size == LENS
    off = [math.dist(seen(result, *spot), spot) for spot in zip(gx.ravel(), gy.ravel(), strict=True)]
    assert max(off) < 0.35, max(off)


def test_a_smaller_rendition_gives_the_same_sky():
    wide, lens = header("ARC", 80, 10, 300, 0, WIDE), header("TAN", 82, 8, 200, 30, LENS)
    of, onto = placement(wide, WIDE), placement(lens, LENS)
    small = (LENS[0] // 2, LENS[1] // 2)
    ra, dec = lens.wcs_pix2world([480.5], [320.5], 0)
    x, y = wide.wcs_world2pix(ra, dec, 0)
    result = warped(drawn(x, y, WIDE), of, onto, *small)
    # The middle of pixel 480.5 counted from the middle of the first is 481 from the edge; half of it less a half.
    assert seen(result, 240, 160) == (pytest.approx(240, abs=0.2), pytest.approx(160, abs=0.2))


def test_what_the_picture_does_not_reach_is_transparent():
    narrow = header("TAN", 80, 10, 60, 0, (300, 200))
    lens = header("TAN", 80, 10, 120, 0, LENS)
    white = Image.new("RGB", (300, 200), "white")
    result = warped(white, placement(narrow, (300, 200)), placement(lens, LENS), *LENS)
    alpha = np.asarray(result)[..., 3]
    # 300 x 200 pixels of 60" are 150 x 100 of 120".
    assert (alpha == 255).sum() == pytest.approx(150 * 100, rel=0.03)
    assert alpha[320, 480] == 255
    assert alpha[0].max() == 0
    with Image.open(io.BytesIO(encoded(result))) as read:
        assert read.mode == "RGBA"


def test_pictures_of_different_skies_share_nothing():
    one = from_centre(10.0, 20.0, 2.0, 0.0, False, 600, 400)
    other = from_centre(190.0, 20.0, 2.0, 0.0, False, 600, 400)
    assert alignment(placement_numbers(one), placement_numbers(other)) is None
    blank = warped(Image.new("RGB", (600, 400), "white"), one, other, 600, 400)
    assert np.asarray(blank)[..., 3].max() == 0


def bent(wcs: WCS, size: Size, part: float) -> WCS:
    """The header with a radial distortion of ``part`` at the corners (SIP: Shupe et al. 2005, ASP Conf. 347, 491)."""
    k = part / math.hypot(size[0] / 2, size[1] / 2) ** 2
    a, b = np.zeros((4, 4)), np.zeros((4, 4))
    a[3, 0] = a[1, 2] = b[0, 3] = b[2, 1] = k
    wcs.wcs.ctype = ["RA---TAN-SIP", "DEC--TAN-SIP"]
    wcs.sip = Sip(a, b, None, None, wcs.wcs.crpix)
    return wcs


@pytest.mark.parametrize(
    ("older", "within"),
    [
        (header("TAN", 88.2, -2.1, 9.0, 31, (900, 640)), 0.5),  # twice as coarse
        (header("TAN", 87.7, -1.9, 2.2, 200, (2400, 1600), mirrored=True), 0.5),  # twice as fine, turned, mirrored
        (header("TAN", 88.9, -2.0, 4.4, 3, (960, 640)), 0.5),  # shares a third of the frame
        (bent(header("TAN", 88.0, -2.0, 5.0, 12, (1100, 800)), (1100, 800), 0.03), 1.0),  # 3 % at its corners
    ],
)
def test_an_older_picture_is_registered_in_the_frame_of_the_newest(older: WCS, within: float) -> None:
    frame = header("TAN", 88.0, -2.0, 4.4, 0, LENS)
    size = int(older.wcs.crpix[0] * 2 - 1), int(older.wcs.crpix[1] * 2 - 1)
    gx, gy = (a.ravel() for a in np.meshgrid(np.linspace(30, LENS[0] - 31, 13), np.linspace(30, LENS[1] - 31, 9)))
    x, y = older.all_world2pix(*frame.wcs_pix2world(gx, gy, 0), 0)
    inside = (x > 20) & (x < size[0] - 21) & (y > 20) & (y < size[1] - 21)
    assert inside.sum() > 20
    finer = 4.4 / (math.hypot(*older.wcs.cd[:, 0]) * 3600)
    stars = drawn(x[inside], y[inside], size, width=max(1.6, 1.6 * finer))
    data = io.BytesIO()
    stars.save(data, "JPEG", quality=92, subsampling=0)
    cards = older.to_header(relax=True)
    cards["NAXIS"], cards["NAXIS1"], cards["NAXIS2"] = 2, *size
    of = from_header(cards.tostring(sep="\n"), *size, rows="top")
    result = redrawn(data.getvalue(), of, placement(frame, LENS), *LENS, Description(title="Stars"))
    with Image.open(io.BytesIO(result)) as opened:
        assert opened.size == LENS
        picture = opened.convert("RGB")
    off = [math.dist(seen(picture, i, j), (i, j)) for i, j in zip(gx[inside], gy[inside], strict=True)]
    assert max(off) < within, max(off)

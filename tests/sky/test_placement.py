"""Placements: pixels to sky and back, every source of one, and what follows from them."""

from __future__ import annotations

import json
import math
import pickle
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from noctuary.sky.avm import avm_fields, from_avm
from noctuary.sky.field_contents import in_field, outline, touching
from noctuary.sky.header_placement import from_header
from noctuary.sky.picture_transform import transform
from noctuary.sky.placement import Placement, focal_length_mm, from_centre, from_plain, scaled
from noctuary.sky.projection import Gnomonic, PlacementError

PLACEMENTS = st.builds(
    from_centre,
    st.floats(0, 359.999), st.floats(-90, 90), st.floats(0.2, 60), st.floats(0, 359.99), st.booleans(),
    st.integers(8, 3000), st.integers(8, 3000),
)  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(PLACEMENTS, st.floats(0, 1), st.floats(0, 1))
def test_pixels_go_to_the_sky_and_back(placement: Placement, u: float, v: float) -> None:
    x, y = u * placement.width_px - 0.5, v * placement.height_px - 0.5
    back = placement.pixel(*placement.sky(x, y))
    assert float(back[0]) == pytest.approx(x, abs=1e-4)
    assert float(back[1]) == pytest.approx(y, abs=1e-4)


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("angle", [0.0, 12.4, 90.0, 180.0, 271.0, 359.5])
@pytest.mark.parametrize(("ra", "dec"), [(98.0, 4.95), (0.01, -30.0), (359.99, 89.0), (120.0, -89.0), (10.0, 90.0)])
def test_what_was_written_is_what_is_found(ra: float, dec: float, angle: float, mirrored: bool) -> None:
    placement = from_centre(ra, dec, 2.1, angle, mirrored, 1501, 1000)
    assert placement.centre == pytest.approx((ra, dec), abs=1e-7)
    assert placement.image_scale_arcsec_px == pytest.approx(2.1, rel=1e-6)
    assert (placement.position_angle_deg - angle + 180) % 360 - 180 == pytest.approx(0, abs=1e-4)
    assert 0 <= placement.position_angle_deg < 360
    assert placement.mirrored is mirrored


def test_up_is_north_and_east_is_left_unless_mirrored() -> None:
    plain, mirror = (from_centre(100.0, 20.0, 10.0, 0.0, m, 201, 101) for m in (False, True))
    _, up = plain.sky(100, 40)
    assert float(up) == pytest.approx(20 + 100 / 3600, abs=1e-6)
    left, _ = plain.sky(90, 50)
    assert float(left) > 100
    left, _ = mirror.sky(90, 50)
    assert float(left) < 100
    turned = from_centre(100.0, 20.0, 10.0, 90.0, False, 201, 101)  # up is east
    up_ra, _ = turned.sky(100, 40)
    assert float(up_ra) > 100


def test_corners_start_top_left_and_run_clockwise() -> None:
    placement = from_centre(0.0, 0.0, 3600.0, 0.0, False, 4, 2)
    (tl, tr, br, bl) = placement.corners_deg
    # On the tangent plane the corners lie two degrees (of tangent) east and west, one north and south.
    east = math.degrees(math.atan(math.radians(2)))
    assert [c[0] for c in (tl, bl)] == pytest.approx([east, east])
    assert [c[0] for c in (tr, br)] == pytest.approx([360 - east, 360 - east])
    assert tl[1] > 0
    assert tr[1] > 0
    assert br[1] < 0
    assert bl[1] < 0


@pytest.mark.parametrize(
    ("focal", "wide", "high", "diagonal"),
    [(50, 39.6, 27.0, 46.8), (24, 73.7, 53.1, 84.1), (135, 15.2, 10.2, 18.2), (300, 6.87, 4.58, 8.25)],
)
def test_the_field_is_the_angle_of_view_of_lens_handbooks(
    focal: float, wide: float, high: float, diagonal: float
) -> None:
    # Angle of view on 36 × 24 mm as lens handbooks give it (from memory; by definition 2·atan(size / 2f)).
    pixel_um = 6.0
    scale = 206.2648 * pixel_um / focal
    placement = from_centre(50.0, 30.0, scale, 20.0, False, 6000, 4000)
    assert placement.field_deg == pytest.approx((wide, high, diagonal), abs=0.1)
    assert focal_length_mm(pixel_um, scale) == pytest.approx(focal, rel=1e-6)


@given(PLACEMENTS)
@settings(max_examples=30, deadline=None)
def test_a_placement_survives_the_cache_and_the_pickle(placement: Placement) -> None:
    assert from_plain(json.loads(json.dumps(placement.to_plain()))) == placement
    assert pickle.loads(pickle.dumps(placement)) == placement


@given(PLACEMENTS, st.integers(10, 500), st.integers(10, 500))
@settings(max_examples=50, deadline=None)
def test_a_rendition_covers_the_same_sky(placement: Placement, width: int, height: int) -> None:
    small = scaled(placement, width, height)
    for a, b in zip(placement.corners_deg, small.corners_deg, strict=True):
        assert a[1] == pytest.approx(b[1], abs=1e-7)
        assert math.cos(math.radians(a[1])) * ((a[0] - b[0] + 180) % 360 - 180) == pytest.approx(0, abs=1e-6)


def test_the_other_half_of_the_sky_has_no_pixel() -> None:
    placement = from_centre(10.0, 20.0, 60.0, 0.0, False, 1000, 1000)
    x, y = placement.pixel([190.0, 10.0, 10.0], [-20.0, -80.0, 20.0])
    assert np.isnan(x).tolist() == [True, True, False]
    assert np.isnan(y).tolist() == [True, True, False]


# ------------------------------------------------------------------------------------------- headers

CARDS = [
    "NAXIS   = 2", "NAXIS1  = 1000", "NAXIS2  = 800", "CTYPE1  = 'RA---TAN'", "CTYPE2  = 'DEC--TAN'",
    "CRVAL1  = 98.0", "CRVAL2  = 4.95", "CRPIX1  = 500.5", "CRPIX2  = 400.5", "CD1_1   = -0.00058",
    "CD1_2   = 0.0", "CD2_1   = 0.0", "CD2_2   = 0.00058",
]  # fmt: skip


def _text(**changes: str | None) -> str:
    lines = [c for c in CARDS if c[:8].strip() not in changes]
    return "\n".join(lines + [f"{k:8}= {v}" for k, v in changes.items() if v is not None])


def test_a_text_header_counts_its_rows_from_the_bottom() -> None:
    placement = from_header(_text(CRPIX1="1.0", CRPIX2="1.0"), 1000, 800)
    x, y = placement.pixel(98.0, 4.95)
    assert (float(x), float(y)) == pytest.approx((0, 799), abs=1e-6)
    assert placement.mirrored is False
    assert math.cos(math.radians(placement.position_angle_deg)) == pytest.approx(1, abs=1e-5)
    top = from_header(_text(CRPIX1="1.0", CRPIX2="1.0"), 1000, 800, rows="top")
    assert [float(v) for v in top.pixel(98.0, 4.95)] == pytest.approx([0, 0], abs=1e-6)
    assert top.mirrored is True


@pytest.mark.parametrize("join", ["\n", "\r\n", ""])
def test_cards_are_read_from_a_file_with_or_without_line_ends(tmp_path: Path, join: str) -> None:
    file = tmp_path / "wcs=1.hdr"
    file.write_bytes(join.join(c.ljust(80) if join == "" else c for c in [*CARDS, "END"]).encode())
    assert from_header(file, 1000, 800).centre == pytest.approx((98.0, 4.95), abs=1e-6)
    assert from_header(str(file), 1000, 800).centre == pytest.approx((98.0, 4.95), abs=1e-6)


def test_a_header_of_another_size_is_scaled_or_refused() -> None:
    full, half = from_header(_text(), 1000, 800), from_header(_text(), 500, 400)
    assert np.allclose(np.array(full.corners_deg), np.array(half.corners_deg), atol=1e-9)
    assert half.image_scale_arcsec_px == pytest.approx(2 * full.image_scale_arcsec_px, rel=1e-6)
    assert (full.made_for, half.made_for) == (None, (1000, 800))
    assert from_plain(json.loads(json.dumps(half.to_plain()))) == half
    assert from_header(_text(), 333, 267).centre == pytest.approx(full.centre, abs=1e-6)  # 0.2 % off square pixels
    with pytest.raises(PlacementError) as refused:
        from_header(_text(), 500, 420)
    assert "1000 × 800" in refused.value.message
    assert refused.value.hint
    with pytest.raises(PlacementError, match="800 × 600"):
        from_header(_text(NAXIS="0", NAXIS1=None, NAXIS2=None, IMAGEW="800", IMAGEH="600"), 1000, 800)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (_text(CTYPE1="'LINEAR'", CTYPE2="'LINEAR'"), "no celestial axes"),
        (_text(CTYPE1=None, CTYPE2=None), "no celestial axes"),
        (_text(CTYPE1="'RA---TAN'", CTYPE2="'FREQ'"), "celestial|cannot be read"),
        (_text(CD1_1="0.0", CD2_2="0.0"), "singular"),
        (_text(CD1_1="0.001", CD1_2="0.001", CD2_1="0.001", CD2_2="0.001"), "singular"),
        (_text(CTYPE1="'HPLN-TAN'", CTYPE2="'HPLT-TAN'"), "not fixed among the stars"),
        (_text(CTYPE1="'RA---XYZ'", CTYPE2="'DEC--XYZ'"), "no celestial axes"),
        (_text(CRVAL1="'abc'"), "CRVAL1 is not a number"),
        (_text(CD1_1="1e400"), "singular|cannot be read"),
        ("dear reader,\nthis is a letter\n", "no FITS cards"),
        ("\n", "no FITS cards"),
    ],
)
def test_a_bad_header_is_refused_with_a_hint(text: str, message: str) -> None:
    with pytest.raises(PlacementError, match=message) as refused:
        from_header(text, 1000, 800)
    assert refused.value.hint
    assert "cextern" not in refused.value.message


@settings(max_examples=80, deadline=None)
@given(st.binary(max_size=400), st.integers(0, 1000))
def test_damaged_headers_are_placed_or_refused(
    tmp_path_factory: pytest.TempPathFactory, junk: bytes, at: int
) -> None:
    whole = "".join(c.ljust(80) for c in CARDS).encode()
    file = tmp_path_factory.mktemp("damaged") / "header.fits"
    file.write_bytes(whole[:at] + junk + whole[at + len(junk) :])
    with suppress(PlacementError):
        from_header(file, 1000, 800).sky(0, 0)


def test_a_missing_or_empty_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "empty.fits").write_bytes(b"")
    (tmp_path / "cut.fits").write_bytes(b"SIMPLE  =                    T" + b" " * 50 + b"BITPIX  = ")
    (tmp_path / "long.hdr").write_bytes(b"CRVAL1  = 1.0\n" * 400_000)
    for name in ("none.fits", "empty.fits", "cut.fits", "long.hdr", "."):
        with pytest.raises(PlacementError):
            from_header(tmp_path / name, 100, 100)


def test_a_picture_of_the_galaxy_is_told_in_right_ascension() -> None:
    # The north galactic pole lies at 192.8595°, +27.1283° (J2000; Binney & Merrifield 1998, from memory).
    text = _text(CTYPE1="'GLON-TAN'", CTYPE2="'GLAT-TAN'", CRVAL1="0.0", CRVAL2="90.0")
    assert from_header(text, 1000, 800).centre == pytest.approx((192.8595, 27.1283), abs=5e-4)


# ------------------------------------------------------------------------- one picture over another


def test_one_gnomonic_picture_lies_over_another_exactly() -> None:
    a = from_centre(83.8, -5.4, 3.0, 10.0, False, 2000, 1500)
    b = from_centre(84.5, -5.0, 2.0, 200.0, True, 1800, 1800)
    over = transform(a, b)
    assert over is not None
    assert over.max_px < 0.1
    x, y = 900.0, 700.0
    there = a.pixel(*b.sky(x, y))
    assert [float(v) for v in over.apply(x, y)] == pytest.approx([float(v) for v in there], abs=0.2)
    wide = transform(
        from_centre(83.8, -5.4, 60.0, 0.0, False, 2000, 1500), from_centre(95, 10, 60, 30, False, 900, 900)
    )
    assert wide is not None
    assert wide.kind == "projective"
    assert wide.max_px < 1e-3


def test_pictures_that_share_no_sky_have_no_transform() -> None:
    a = from_centre(83.8, -5.4, 3.0, 0.0, False, 1000, 1000)
    assert transform(a, from_centre(90.0, -5.4, 3.0, 0.0, False, 1000, 1000)) is None
    assert transform(a, from_centre(263.8, 5.4, 3.0, 0.0, False, 1000, 1000)) is None
    itself = transform(a, a)
    assert itself is not None
    assert np.allclose(np.array(itself.matrix), np.eye(3), atol=1e-9)


def test_a_small_picture_within_a_large_one_is_found_both_ways() -> None:
    large = from_centre(10.7, 41.3, 10.0, 0.0, False, 3000, 2000)
    small = from_centre(10.72, 41.28, 0.5, 77.0, False, 100, 80)
    for a, b in ((large, small), (small, large)):
        over = transform(a, b)
        assert over is not None
        assert over.max_px < 0.2


# ------------------------------------------------------------------------------ what is in the picture


@dataclass(frozen=True)
class Thing:
    name: str
    ra_deg: float | None
    dec_deg: float | None
    size_arcmin: tuple[float, float] | None = None
    position_angle_deg: float | None = None
    outline: bool = True
    outline_centre_deg: tuple[float, float] | None = None


def test_objects_in_the_picture_and_those_that_reach_into_it() -> None:
    placement = from_centre(0.0, 0.0, 36.0, 0.0, False, 100, 100)  # one degree on a side, across 0h
    things = [
        Thing("middle", 0.0, 0.0),
        Thing("across", 359.8, 0.1, (5.0, 5.0)),
        Thing("outside", 2.0, 0.0, (30.0, 30.0)),
        Thing("reaches", 1.0, 0.0, (70.0, 10.0), 90.0),
        Thing("turned away", 1.0, 0.0, (70.0, 10.0), 0.0),
        Thing("around it all", 5.0, 5.0, (1200.0, 1200.0)),
        Thing("behind", 180.0, 0.0),
        Thing("moves", None, None),
    ]
    assert [t.name for t, _, _ in in_field(placement, things)] == ["middle", "across"]
    names = [t.name for t, _, _ in touching(placement, things)]
    assert names == ["middle", "across", "reaches", "around it all"]
    _, x, y = in_field(placement, things)[0]
    assert (x, y) == pytest.approx((49.5, 49.5))


def test_an_outline_has_the_size_and_the_angle_of_its_object() -> None:
    ra, dec = outline(Thing("long", 100.0, 80.0, (60.0, 20.0), 90.0), 4)
    # Along position angle 90° the major axis runs east and west: half a degree of sky is 2.88° of RA at +80°.
    assert float(ra[0]) == pytest.approx(100 + 0.5 / math.cos(math.radians(80)), abs=0.01)
    assert sorted((float(dec[1]) - 80, float(dec[3]) - 80)) == pytest.approx([-1 / 6, 1 / 6], abs=1e-6)
    assert (ra[0], dec[0]) == (pytest.approx(ra[-1]), pytest.approx(dec[-1]))


def test_everything_catalogued_in_a_wide_picture_is_found_with_a_distorted_header() -> None:
    sip = {
        "CTYPE1": "'RA---TAN-SIP'", "CTYPE2": "'DEC--TAN-SIP'", "A_ORDER": "2", "B_ORDER": "2", "A_2_0": "1.0E-5",
        "B_0_2": "-2.0E-5", "A_1_1": "3.0E-6",
    }  # fmt: skip
    placement = from_header(_text(**sip), 1000, 800)
    assert not isinstance(placement.projection, Gnomonic)
    x, y = np.meshgrid(np.linspace(0, 999, 15), np.linspace(0, 799, 15))
    ra, dec = placement.sky(x.ravel(), y.ravel())
    things = [Thing(str(i), float(a), float(d)) for i, (a, d) in enumerate(zip(ra, dec, strict=True))]
    found = in_field(placement, [*things, Thing("far", 278.0, -4.0), Thing("pole", 0.0, 90.0)])
    assert len(found) == len(things)
    assert max(abs(f[1] - a) + abs(f[2] - b) for f, a, b in zip(found, x.ravel(), y.ravel(), strict=True)) < 1e-3
    assert from_plain(json.loads(json.dumps(placement.to_plain()))) == placement
    assert pickle.loads(pickle.dumps(placement)).centre == placement.centre
    half = scaled(placement, 500, 400)
    assert np.allclose(np.array(half.corners_deg), np.array(placement.corners_deg), atol=1e-9)
    # AVM has no words for distortion: more than half a pixel off, and the record says so.
    fields = avm_fields(placement, 1000, 800)
    assert fields["Spatial.Quality"] == "Position"
    assert "distorted" in fields["Spatial.Notes"]


def test_a_picture_without_avm_has_no_placement_from_it(tmp_path: Path) -> None:
    from PIL import Image

    for name in ("plain.jpg", "plain.png", "plain.tif"):
        Image.new("RGB", (20, 10)).save(tmp_path / name)
        assert from_avm(tmp_path / name, 20, 10) is None
    (tmp_path / "cut.jpg").write_bytes((tmp_path / "plain.jpg").read_bytes()[:40])
    assert from_avm(tmp_path / "cut.jpg", 20, 10) is None

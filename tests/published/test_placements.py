"""Placements against the records and headers of observatories, through pyavm and astropy.

pyavm ships AVM records of real published pictures (Virtual Astronomy Multimedia Project, AVM 1.2); astropy
ships real FITS headers and the projections of Calabretta & Greisen 2002, A&A 395, 1077.
"""

from __future__ import annotations

import warnings
from pathlib import Path
from typing import Any

import astropy.wcs
import numpy as np
import pyavm
import pytest
import skimage.data
from astropy import log
from astropy.coordinates import SkyCoord
from astropy.io import fits
from astropy.wcs import WCS
from noctuary.sky.avm import avm_fields, from_avm, from_avm_record
from noctuary.sky.header_placement import from_header
from noctuary.sky.placement import from_centre, from_plain, scaled
from noctuary.sky.projection import PlacementError
from pyavm import AVM

RECORDS = Path(pyavm.__file__).parent / "tests" / "data"
HEADERS = Path(astropy.wcs.__file__).parent / "tests" / "data"


def _points(width: int, height: int) -> tuple[Any, Any]:
    """The outer corners and the middle."""
    right, bottom = width - 0.5, height - 0.5
    x = np.array([-0.5, right, right, -0.5, (width - 1) / 2])
    return x, np.array([-0.5, -0.5, bottom, bottom, (height - 1) / 2])


def _full_records() -> list[Path]:
    found = []
    for path in sorted(RECORDS.glob("*.xml")):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            spatial = AVM.from_xml_file(str(path)).Spatial
        if repr(spatial) and spatial.ReferenceDimension and (spatial.Scale or spatial.CDMatrix):
            found.append(path)
    return found


def test_there_are_records_to_check() -> None:
    assert len(_full_records()) >= 60


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("path", _full_records(), ids=lambda p: p.stem)
def test_avm_records_of_observatories(path: Path) -> None:
    avm = AVM.from_xml_file(str(path))
    width, height = (int(n) for n in avm.Spatial.ReferenceDimension)
    placement = from_avm_record(avm, width, height)
    assert placement is not None
    x, y = _points(width, height)
    sky = avm.to_wcs().pixel_to_world(x, height - 1 - y).icrs
    px, py = placement.pixel(sky.ra.deg, sky.dec.deg)
    assert np.hypot(px - x, py - y).max() < 0.01
    apart = SkyCoord(*placement.sky(x, y), unit="deg").separation(sky).arcsec
    assert apart.max() < 0.01 * placement.image_scale_arcsec_px
    published = width // 3, round(height * (width // 3) / width)
    assert _read_back(avm_fields(placement, *published), scaled(placement, *published)) < 0.5


@pytest.mark.parametrize("name", ["eso_eso1723a_320.jpg", "eso_eso1723a_320.png"])
def test_an_embedded_record_of_a_larger_picture_fits_its_small_one(name: str) -> None:
    # The press release gives the field as about 1.0° × 0.78° around the Orion Nebula, north up.
    placement = from_avm(RECORDS / name, 320, 248)
    assert placement is not None
    assert placement.made_for == (16877, 13107)
    assert placement.centre == pytest.approx((83.784, -5.4787), abs=1e-3)
    assert placement.field_deg[:2] == pytest.approx((16877 * 0.0000592064, 13107 * 0.0000592064), rel=1e-4)
    assert placement.position_angle_deg == pytest.approx(359.82, abs=0.01)
    assert placement.mirrored is False
    with pytest.raises(PlacementError, match="16877 × 13107"):
        from_avm(RECORDS / name, 300, 300)


def test_a_record_from_before_a_crop_is_refused() -> None:
    # The Hubble Deep Field as scikit-image ships it (NASA, STScI-PRC1996-01a) is a piece of 1000 × 872 of a picture
    # whose record speaks of 3380 × 3286.
    path = Path(skimage.data.__file__).parent / "hubble_deep_field.jpg"
    with pytest.raises(PlacementError, match="3380 × 3286"):
        from_avm(path, 1000, 872)


def test_avm_in_a_tiff_is_found_in_its_own_tag_and_embedded_in_others(tmp_path: Path) -> None:
    from PIL import Image, TiffImagePlugin

    placement = from_centre(83.8, -5.4, 30.0, 12.0, False, 64, 48)
    avm = AVM()
    for key, value in avm_fields(placement, 64, 48).items():
        setattr(avm.Spatial, key.removeprefix("Spatial."), value)
    packet = avm.to_xmp()
    tags = TiffImagePlugin.ImageFileDirectory_v2()
    tags[700] = packet.encode() if isinstance(packet, str) else packet
    tags.tagtype[700] = 1
    Image.new("RGB", (64, 48)).save(tmp_path / "a.tif", tiffinfo=tags)
    for name in ("b.jpg", "b.png"):
        Image.new("RGB", (64, 48)).save(tmp_path / name)
        avm.embed(str(tmp_path / name), str(tmp_path / f"with-{name}"))
    for name in ("a.tif", "with-b.jpg", "with-b.png"):
        found = from_avm(tmp_path / name, 64, 48)
        assert found is not None, name
        assert found.centre == pytest.approx(placement.centre, abs=1e-6)
        assert found.position_angle_deg == pytest.approx(12.0, abs=1e-3)


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("angle", [0.0, 12.4, 90.0, 180.0, 300.0])
@pytest.mark.parametrize("dec", [0.0, 41.3, 89.0, -89.0])
def test_what_is_published_is_read_back(dec: float, angle: float, mirrored: bool) -> None:
    placement = from_centre(359.9, dec, 2.0, angle, mirrored, 3001, 2000)
    small = scaled(placement, 1440, 960)
    fields = avm_fields(placement, 1440, 960)
    assert fields["Spatial.Quality"] == "Full"
    assert _read_back(fields, small) < 0.5
    again = from_avm_record(_record(fields), 1440, 960)
    assert again is not None
    assert again.mirrored is mirrored
    assert np.allclose(np.array(again.pixel(*np.array(small.corners_deg).T)).T,
                       [[-0.5, -0.5], [1439.5, -0.5], [1439.5, 959.5], [-0.5, 959.5]], atol=0.01)  # fmt: skip


@pytest.mark.parametrize("code", ["SIN", "ARC", "CAR", "CEA", "AIT"])
def test_other_projections_are_published_with_their_code(code: str) -> None:
    placement = from_header(HEADERS / "maps" / f"1904-66_{code}.hdr", 192, 192)
    fields = avm_fields(placement, 192, 192)
    if fields["Spatial.Quality"] == "Full":
        assert _read_back(fields, placement) < 0.5
    else:
        assert "distorted" in fields["Spatial.Notes"]
    assert code != "SIN" or fields["Spatial.CoordsystemProjection"] == "SIN"


def _record(fields: dict[str, Any]) -> Any:
    avm = AVM()
    for key, value in fields.items():
        setattr(avm.Spatial, key.removeprefix("Spatial."), value)
    return AVM.from_xml(avm.to_xml())


def _read_back(fields: dict[str, Any], placement: Any) -> float:
    """How far pyavm's corners and middle lie from the placement's, in pixels."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        wcs = _record(fields).to_wcs()
    x, y = _points(placement.width_px, placement.height_px)
    sky = wcs.pixel_to_world(x, placement.height_px - 1 - y).icrs
    mine = SkyCoord(*placement.sky(x, y), unit="deg")
    return float(mine.separation(sky).arcsec.max() / placement.image_scale_arcsec_px)


def _celestial_headers() -> list[tuple[Path, Any]]:
    """Every header in astropy's test data that astropy itself can bring to the sky, with its WCS."""
    level = log.level
    log.setLevel("ERROR")
    found = []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for path in sorted(p for p in HEADERS.rglob("*") if p.suffix in (".hdr", ".fits", ".gz")):
            try:
                if path.suffix == ".hdr":
                    wcs = WCS(path.read_bytes()).celestial
                else:
                    with fits.open(path) as file:
                        wcs = next(w.celestial for w in _each(file) if w.has_celestial)
                wcs.pixel_to_world(0, 0).icrs  # noqa: B018
            except Exception:  # headers that astropy keeps because they are broken
                continue
            found.append((path, wcs))
    log.setLevel(level)
    return found


def _each(file: Any) -> Any:
    for hdu in file:
        try:
            yield WCS(hdu.header, file)
        except Exception:
            continue


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("rows", ["bottom", "top"])
def test_every_celestial_header_that_astropy_ships(rows: Any) -> None:
    headers = _celestial_headers()
    assert len(headers) >= 40
    for path, wcs in headers:
        shape = wcs.pixel_shape
        width, height = (int(n) for n in (shape if shape is not None else (256, 256)))
        placement = from_header(path, width, height, rows)
        placement = from_plain(placement.to_plain())
        x, y = _points(width, height)
        sky = wcs.pixel_to_world(x, height - 1 - y if rows == "bottom" else y).icrs
        ra, dec = placement.sky(x, y)
        seen = np.isfinite(sky.ra.deg)
        assert np.isfinite(ra).tolist() == seen.tolist(), path
        if seen[4]:
            apart = SkyCoord(ra[seen], dec[seen], unit="deg").separation(sky[seen]).arcsec
            assert apart.max() < 0.01 * placement.image_scale_arcsec_px, path
            px, py = placement.pixel(ra[4], dec[4])
            ax, ay = wcs.world_to_pixel(sky[4])
            ay = height - 1 - ay if rows == "bottom" else ay
            assert np.hypot(px - ax, py - ay) < 0.01, path

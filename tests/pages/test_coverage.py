"""The coverage of an archive as a MOC: what the standard asks of its bytes, and the right piece of the sky.

IVOA Recommendation MOC 2.0 (2022): ranges of cells of order 29, the keywords of the FITS form, JSON. What lies in it
is worked out with astropy-healpix, which shares no code with what writes it.
"""

from __future__ import annotations

import io
import json
from dataclasses import replace

import numpy as np
import pytest
from astropy.io import fits
from astropy_healpix import HEALPix
from hypothesis import given, settings
from hypothesis import strategies as st
from noctuary.facts.placement_summary import PlacementSummary, placement_numbers
from noctuary.pages.exports import coverage_export
from noctuary.pages.exports.coverage_export import cell_order
from noctuary.pages.page_list import site_model
from noctuary.sky.header_placement import from_header
from noctuary.sky.placement import from_centre

from tests.builders.one_of_everything import facts, shown

CHANCE = np.random.default_rng(4)


def made_from(*placements: PlacementSummary | None) -> dict[str, bytes]:
    """The files of an archive whose listed pictures lie so; the others are not placed."""
    whole = facts()
    lies = [*placements, *[None] * len(whole.listed)]
    whole = replace(whole, listed=tuple(replace(p, placement=q) for p, q in zip(whole.listed, lies, strict=False)))
    return {e.path: e.make() for e in coverage_export.exports(site_model(whole, shown(whole)))}


def ranges(data: bytes) -> tuple[np.ndarray, int]:
    """The ranges of cells of order 29, from the first to beyond the last, and the order of the map."""
    with fits.open(io.BytesIO(data)) as file:
        file.verify("exception")
        header, rows = file[1].header, np.asarray(file[1].data.field(0), dtype=np.int64)
    assert (header["MOCVERS"], header["MOCDIM"], header["ORDERING"]) == ("2.0", "SPACE", "RANGE")
    assert (header["COORDSYS"], header["TFORM1"].strip(), header["TTYPE1"]) == ("C", "1K", "RANGE")
    pairs = rows.reshape(-1, 2)
    assert (pairs[:, 0] < pairs[:, 1]).all()
    assert (pairs[1:, 0] > pairs[:-1, 1]).all(), "sorted, and neighbours joined"
    return pairs, header["MOCORD_S"]


def inside(data: bytes, ra_deg: np.ndarray, dec_deg: np.ndarray) -> np.ndarray:
    import astropy.units as u

    pairs, _ = ranges(data)
    cells = HEALPix(nside=2**29, order="nested").lonlat_to_healpix(ra_deg * u.deg, dec_deg * u.deg)
    at = np.searchsorted(pairs.ravel(), cells, side="right")
    return np.asarray(at % 2 == 1)


def everywhere(count: int) -> tuple[np.ndarray, np.ndarray]:
    return CHANCE.uniform(0, 360, count), np.degrees(np.arcsin(CHANCE.uniform(-1, 1, count)))


def judge(data: bytes, summary: PlacementSummary) -> None:
    """Every point of the picture is covered, and none that is farther from it than two sides of a cell."""
    where = summary.placement()
    wide, high = where.width_px, where.height_px
    x, y = CHANCE.uniform(-0.49, wide - 0.51, 2000), CHANCE.uniform(-0.49, high - 0.51, 2000)
    assert inside(data, *where.sky(x, y)).all()
    step = 2.2 * coverage_export.EDGE * min(wide, high)
    around = np.linspace(-step, max(wide, high) + step, 60)
    side = np.full_like(around, -step)
    x = np.concatenate([around, around, side, side + wide + 2 * step])
    y = np.concatenate([side, side + high + 2 * step, around, around])
    ra, dec = where.sky(x, y)
    seen = np.isfinite(ra)
    beyond = ~where.contains(x, y) & seen
    assert beyond.any()
    assert not inside(data, ra[beyond], dec[beyond]).any()


@settings(max_examples=25, deadline=None)
@given(
    ra=st.floats(0, 359.99), dec=st.floats(-90, 90), scale=st.floats(0.3, 120), angle=st.floats(0, 360),
    mirrored=st.booleans(),
)  # fmt: skip
def test_what_a_picture_shows_is_covered_and_little_else(ra, dec, scale, angle, mirrored):
    where = placement_numbers(from_centre(ra, dec, scale, angle, mirrored, 900, 600))
    data = made_from(where)["data/coverage.fits"]
    judge(data, where)


def test_each_field_has_the_depth_that_its_edge_needs():
    wide = placement_numbers(from_centre(98, 5, 60, 20, False, 900, 600))
    narrow = placement_numbers(from_centre(10, 41, 1, 0, False, 900, 600))
    assert cell_order(10.0) == 8
    for field_deg in (0.05, 0.3, 2.0, 10.0, 60.0):
        side = coverage_export.FIRST_CELL_DEG / 2 ** cell_order(field_deg)
        assert field_deg / 64 < side <= field_deg / 32
    together = made_from(wide, narrow)["data/coverage.fits"]
    assert ranges(together)[1] == cell_order(min(narrow.field_deg[:2]))
    assert len(together) < 40_000, "a wide field is not cut as finely as the narrow one beside it"
    judge(made_from(wide)["data/coverage.fits"], wide)


@pytest.mark.parametrize(("projection", "across_deg"), [("ARC", 120), ("ARC", 230), ("ZEA", 150), ("STG", 100)])
def test_more_than_half_of_the_sky_and_bent_edges(projection, across_deg):
    """Agreement on the whole sky, but for a band of two cells: projections of Calabretta & Greisen 2002."""
    step = across_deg / 900
    header = fits.Header(
        {
            "CTYPE1": f"RA---{projection}", "CTYPE2": f"DEC--{projection}", "CRVAL1": 300.0, "CRVAL2": 35.0,
            "CRPIX1": 450.5, "CRPIX2": 300.5, "CD1_1": -step, "CD1_2": 0.0, "CD2_1": 0.0, "CD2_2": step,
            "IMAGEW": 900, "IMAGEH": 600,
        }
    )  # fmt: skip
    where = from_header(header.tostring(), 900, 600)
    data = made_from(placement_numbers(where))["data/coverage.fits"]
    ra, dec = everywhere(20_000)
    x, y = where.pixel(ra, dec)
    again = where.sky(x, y)
    there = np.isfinite(x) & (np.abs((again[0] - ra + 180) % 360 - 180) < 1e-3)
    band = 2.2 * coverage_export.EDGE * 600
    well_inside = there & (x > band) & (x < 899 - band) & (y > band) & (y < 599 - band)
    well_outside = ~(there & (x > -band) & (x < 899 + band) & (y > -band) & (y < 599 + band))
    assert inside(data, ra[well_inside], dec[well_inside]).all()
    assert not inside(data, ra[well_outside], dec[well_outside]).any()


def test_json_and_fits_say_the_same_and_each_build_the_same_bytes():
    first = placement_numbers(from_centre(98, 5, 6, 20, False, 900, 600))
    second = placement_numbers(from_centre(0, 90, 9, 0, True, 900, 600))
    made, again = made_from(first, second), made_from(second, first)
    assert made == again, "the order of the pictures is nothing to it"
    cells = json.loads(made["data/coverage.json"])
    widths = {order: 4 ** (29 - int(order)) for order in cells}
    found = sorted((n * widths[order], (n + 1) * widths[order]) for order, ns in cells.items() for n in ns)
    joined: list[list[int]] = []
    for start, end in found:
        if joined and joined[-1][1] == start:
            joined[-1][1] = end
        else:
            joined.append([start, end])
    pairs, order = ranges(made["data/coverage.fits"])
    assert joined == pairs.tolist()
    assert order == max(int(o) for o in cells)


def test_only_what_is_published_and_placed_counts():
    assert made_from() == {}
    where = placement_numbers(from_centre(200, -40, 6, 20, False, 900, 600))
    whole = facts()
    everything = {i: replace(p, placement=where) for i, p in whole.pictures.items()}
    none_listed = replace(whole, pictures=everything, listed=tuple(replace(p, placement=None) for p in whole.listed))
    assert everything.keys() - {p.picture.id for p in whole.listed}, "an unlisted picture, placed"
    assert list(coverage_export.exports(site_model(none_listed, shown(none_listed)))) == []

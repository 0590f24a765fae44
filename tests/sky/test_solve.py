"""Placements found from stars, against fields whose truth was drawn with astropy's WCS (FITS WCS standard)."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from noctuary.geometry import unit_vectors
from noctuary.sky import star_table
from noctuary.sky.solve import GREATEST_CHANCE, Refusal, Solution, solve
from noctuary.sky.star_table import NoCatalogue, StarTable
from numpy.random import default_rng

from tests.sky import simulated_sky
from tests.sky.simulated_sky import Field

YEAR = 2016.0


def _apart_deg(one: tuple[float, float], other: tuple[float, float]) -> float:
    return math.degrees(float(np.linalg.norm(unit_vectors(*one) - unit_vectors(*other))))


def _shifted(field: Field, rng: np.random.Generator, share: float) -> tuple[float, float]:
    """A rough centre as a target would give it: off by a share of half the diagonal."""
    off, way = math.radians(share * field.diagonal_deg / 2), rng.uniform(0, 2 * math.pi)
    centre = unit_vectors(field.ra, field.dec)
    east = np.cross([0, 0, 1], centre)
    east /= np.linalg.norm(east)
    v = centre + math.tan(off) * (math.sin(way) * east + math.cos(way) * np.cross(centre, east))
    v /= np.linalg.norm(v)
    return float(math.degrees(math.atan2(v[1], v[0])) % 360), float(math.degrees(math.asin(v[2])))


def _solved(field: Field, rng: np.random.Generator, **kwargs: float) -> Solution | Refusal:
    rough, radius = _shifted(field, rng, 0.5), 0.35 * field.diagonal_deg
    catalogue = star_table.shipped(*rough, radius + 0.55 * field.diagonal_deg, YEAR)
    seen = simulated_sky.observed(rng, field, **kwargs)
    guess = field.scale * rng.uniform(0.955, 1.045)
    return solve(seen, field.width, field.height, guess, rough, radius, catalogue)


def _random_field(rng: np.random.Generator, narrowest: float = 2.6, widest: float = 30.0) -> Field:
    scale = float(np.exp(rng.uniform(0, math.log(20))))
    most = 2 * math.tan(math.radians(widest / 2)) / math.radians(scale / 3600)
    least = 2 * math.tan(math.radians(narrowest / 2)) / math.radians(scale / 3600)
    diagonal = rng.uniform(max(least, 600), max(least, min(most, 9000)))
    width = int(diagonal * 3 / math.sqrt(13))
    field = simulated_sky.field(rng, scale, width, width * 2 // 3)
    return field if len(field.x) >= 12 else _random_field(rng, narrowest, widest)


@pytest.mark.parametrize("seed", range(20))
def test_random_fields_are_found(seed: int) -> None:
    rng = default_rng(seed)
    field = _random_field(rng)
    found = _solved(field, rng)
    assert isinstance(found, Solution), found
    # A tenth of the jitter put in is what several dozen stars average to; the fewest are a dozen.
    assert _apart_deg((found.ra_deg, found.dec_deg), (field.ra, field.dec)) * 3600 < 0.5 * field.scale
    assert found.image_scale_arcsec == pytest.approx(field.scale, rel=4e-4)
    assert abs((found.position_angle_deg - field.angle + 180) % 360 - 180) < 0.03
    assert 0 <= found.position_angle_deg < 360
    assert found.mirrored == field.mirrored
    assert found.rms_px < 0.7
    assert found.matched >= 0.75 * min(len(field.x), 12)
    assert found.log10_chance < GREATEST_CHANCE


@pytest.mark.parametrize("place", [(0.01, 3.0), (120.0, 89.0), (200.0, -89.0), (359.99, -40.0)])
def test_poles_and_zero_hours(place: tuple[float, float]) -> None:
    rng = default_rng(7)
    field = simulated_sky.field(rng, 6.0, 3000, 2000, place=place)
    found = _solved(field, rng)
    assert isinstance(found, Solution), found
    assert _apart_deg((found.ra_deg, found.dec_deg), place) * 3600 < 0.3 * field.scale
    assert found.mirrored == field.mirrored


@pytest.mark.parametrize("distortion", [-0.03, 0.03])
def test_the_distortion_of_a_short_lens(distortion: float) -> None:
    rng = default_rng(11)
    field = simulated_sky.field(rng, 20.0, 4200, 2800, distortion=distortion)
    found = _solved(field, rng)
    assert isinstance(found, Solution), found
    assert found.distortion == pytest.approx(distortion, abs=0.002)
    assert found.rms_px < 0.7
    assert _apart_deg((found.ra_deg, found.dec_deg), (field.ra, field.dec)) * 3600 < 0.5 * field.scale


@pytest.mark.slow
def test_wrong_skies_are_refused() -> None:
    for seed in range(50):
        rng = default_rng(1000 + seed)
        field = _random_field(rng, widest=5.0)
        here = (field.ra, field.dec)
        while _apart_deg(elsewhere := simulated_sky.random_place(rng), here) < 2 * field.diagonal_deg:
            pass
        radius = 0.3 * field.diagonal_deg
        catalogue = star_table.shipped(*elsewhere, radius + 0.55 * field.diagonal_deg, YEAR)
        # Few stars are likelier to agree by accident than many, and quicker to try.
        x, y, flux = simulated_sky.observed(rng, field)
        bright = np.argsort(catalogue.mag)[:150]
        catalogue = StarTable(catalogue.ra[bright], catalogue.dec[bright], catalogue.mag[bright])
        top = np.argsort(-flux)[:20]
        seen = (x[top], y[top], flux[top])
        found = solve(seen, field.width, field.height, field.scale, elsewhere, radius, catalogue)
        assert isinstance(found, Refusal), (seed, found)
        assert found.reason
        assert found.hint


def test_too_few_stars() -> None:
    found = solve(
        ([1.0] * 7, [2.0] * 7, [3.0] * 7),
        3000,
        2000,
        5.0,
        (80.0, 20.0),
        2.0,
        star_table.shipped(80.0, 20.0, 4.0, YEAR),
    )
    assert isinstance(found, Refusal)
    assert "7 stars" in found.reason


def test_an_empty_catalogue_asks_for_a_deeper_one() -> None:
    rng = default_rng(3)
    empty = StarTable(np.empty(0), np.empty(0), np.empty(0))
    found = solve(tuple(rng.uniform(0, 1000, (3, 50))), 1000, 1000, 1.0, (80.0, 20.0), 0.3, empty)
    assert isinstance(found, Refusal)
    assert "--stars" in found.hint


@pytest.mark.parametrize("numbers", [(0, 100, 1.0, 1.0), (100, 100, 0.0, 1.0), (100, 100, 1.0, 0.0)])
def test_impossible_numbers(numbers: tuple[int, int, float, float]) -> None:
    width, height, scale, radius = numbers
    empty = StarTable(np.empty(0), np.empty(0), np.empty(0))
    with pytest.raises(ValueError, match="above 0"):
        solve(([], [], []), width, height, scale, (0.0, 0.0), radius, empty)


class TestStarTable:
    def test_proper_motion_of_barnards_star(self) -> None:
        # Hipparcos, The New Reduction (van Leeuwen 2007), HIP 87937: −798.58 east, 10328.12 north, mas a year.
        then, later = (star_table.shipped(269.45, 4.72, 0.1, year) for year in (2016.0, 2026.0))
        moved = np.abs(later.dec - then.dec).max() * 3600
        assert moved == pytest.approx(103.28, abs=0.05)

    def test_positions_agree_with_hipparcos_at_its_own_epoch(self) -> None:
        # HIP 2 of the same catalogue, at 1991.25: 0.0000662767 rad, −0.3403189126 rad.
        ra, dec = math.degrees(0.0000662767), math.degrees(-0.3403189126)
        near = star_table.shipped(ra, dec, 0.01, 1991.25)
        assert min(_apart_deg((ra, dec), (a, d)) for a, d in zip(near.ra, near.dec, strict=True)) * 3600 < 0.2

    def test_radius_across_zero_hours(self) -> None:
        near = star_table.shipped(0.0, 10.0, 3.0, YEAR)
        assert (near.ra < 3.2).any()
        assert (near.ra > 356.8).any()
        assert all(_apart_deg((0.0, 10.0), (a, d)) <= 3.001 for a, d in zip(near.ra, near.dec, strict=True))

    @pytest.mark.parametrize(
        "text",
        [
            "ra,dec,mag\n10.5,-20.25,7.5\n,,\n11,-21,8\n",
            "# from a catalogue\nName;RA_ICRS;DE_ICRS;Gmag\na;10.5;-20.25;7.5\nb;11;-21;8\n",
            "#RAJ2000\tDEJ2000\tVmag\n10.5\t-20.25\t7.5\n11\t-21\t8\n",
            'source_id,"phot_g_mean_mag","ra","dec"\n1,7.5,10.5,-20.25\n2,8,11,-21\n',
            "RA Dec Mag\n10.5 -20.25 7.5\n11 -21 8\n",
        ],
    )
    def test_tables_as_people_export_them(self, text: str, tmp_path: Path) -> None:
        path = tmp_path / "stars.csv"
        path.write_text(text, encoding="utf-8")
        table = star_table.from_file(path)
        assert table.ra.tolist() == [10.5, 11.0]
        assert table.dec.tolist() == [-20.25, -21.0]
        assert table.mag.tolist() == [7.5, 8.0]

    def test_votable(self, tmp_path: Path) -> None:
        from astropy.table import Table

        path = tmp_path / "stars.vot"
        Table({"RA_ICRS": [10.5, 11.0], "DE_ICRS": [-20.25, -21.0], "Gmag": [7.5, 8.0]}).write(path, format="votable")
        table = star_table.from_file(path)
        assert table.dec.tolist() == [-20.25, -21.0]
        assert table.mag.tolist() == [7.5, 8.0]

    @pytest.mark.parametrize(
        "content",
        [b"", b"a,b\n1,2\n", b"ra,dec,mag\n", b"ra,dec,mag\nx,y,z\n", b"ra,dec,mag\n10,95,3\n",
         b"<?xml version='1.0'?><VOTABLE", b"\xff\xfe\x00\x01"],
    )  # fmt: skip
    def test_damaged_tables_name_the_file(self, content: bytes, tmp_path: Path) -> None:
        path = tmp_path / "stars.txt"
        path.write_bytes(content)
        with pytest.raises(NoCatalogue, match=r"stars\.txt"):
            star_table.from_file(path)

    def test_a_missing_file(self, tmp_path: Path) -> None:
        with pytest.raises(NoCatalogue, match=r"nothing\.csv"):
            star_table.from_file(tmp_path / "nothing.csv")


def test_a_deeper_table_places_a_small_field() -> None:
    rng = default_rng(21)
    ra, dec = 83.0, -5.0
    n = 400
    table = StarTable(ra + rng.uniform(-0.5, 0.5, n), dec + rng.uniform(-0.5, 0.5, n), rng.uniform(9, 15, n))
    field = simulated_sky.field(rng, 0.8, 1500, 1000, place=(ra, dec), table=table)
    found = solve(simulated_sky.observed(rng, field), 1500, 1000, 0.79, (ra + 0.05, dec - 0.05), 0.2, table)
    assert isinstance(found, Solution), found
    assert _apart_deg((found.ra_deg, found.dec_deg), (ra, dec)) * 3600 < 0.3

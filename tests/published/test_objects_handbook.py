"""Objects against handbook values and independent catalogues.

Messier: places, magnitudes and sizes as observers' handbooks print them (from memory; the places agree with the
object database to the rounding of the handbook). Galactic coordinates: the definition, and astropy.
Named stars: PyEphem's own table of bright stars (an independent copy of the Hipparcos catalogue).
"""

import ephem
import ephem.stars
import numpy as np
import pytest
from astropy import units as u
from astropy.coordinates import FK4, SkyCoord
from noctuary.sky.catalogue import Catalogue
from noctuary.sky.constellation import constellation_of, galactic

CATALOGUE = Catalogue()

# Messier number, right ascension (h m) and declination (° ′) of J2000, constellation, V magnitude, kind.
HANDBOOK = [
    (1, 5, 34.5, 22, 1, "Tau", 8.4, "supernova remnant"),
    (8, 18, 3.8, -24, 23, "Sgr", None, "emission nebula"),
    (13, 16, 41.7, 36, 28, "Her", 5.8, "globular cluster"),
    (27, 19, 59.6, 22, 43, "Vul", 7.4, "planetary nebula"),
    (31, 0, 42.7, 41, 16, "And", 3.4, "spiral galaxy"),
    (33, 1, 33.9, 30, 39, "Tri", 5.7, "spiral galaxy"),
    (42, 5, 35.3, -5, 23, "Ori", 4.0, "emission and reflection nebula"),
    (44, 8, 40.0, 19, 40, "Cnc", 3.1, "open cluster"),
    (51, 13, 29.9, 47, 12, "CVn", 8.4, "spiral galaxy"),
    (57, 18, 53.6, 33, 2, "Lyr", 8.8, "planetary nebula"),
    (78, 5, 46.7, 0, 4, "Ori", None, "reflection nebula"),
    (81, 9, 55.6, 69, 4, "UMa", 6.9, "spiral galaxy"),
    (83, 13, 37.0, -29, 52, "Hya", 7.5, "spiral galaxy"),
    (97, 11, 14.8, 55, 1, "UMa", 9.9, "planetary nebula"),
    (104, 12, 40.0, -11, 37, "Vir", 8.0, "spiral galaxy"),
]


@pytest.mark.parametrize(("number", "h", "m", "d", "arcmin", "constellation", "magnitude", "kind"), HANDBOOK)
def test_messier_objects(
    number: int, h: int, m: float, d: int, arcmin: int, constellation: str, magnitude: float | None, kind: str
) -> None:
    found = CATALOGUE.find(f"M {number}")
    assert found is not None
    assert found.ra_deg is not None
    assert found.dec_deg is not None
    dec = d + arcmin / 60 if d >= 0 else d - arcmin / 60
    # A minute of time and of arc is what the handbook rounds to; extended objects have no sharper centre.
    away = SkyCoord((h + m / 60) * 15, dec, unit="deg").separation(SkyCoord(found.ra_deg, found.dec_deg, unit="deg"))
    assert away.arcmin < 6 if number in (8, 44) else away.arcmin < 2.5
    assert found.constellation == constellation
    if magnitude is not None:
        assert found.magnitude == pytest.approx(magnitude, abs=0.6)
    # The database gives Hubble types; a handbook says spiral of barred ones too.
    assert found.kind.replace("barred ", "") == kind


def test_every_messier_and_caldwell_object_is_known() -> None:
    # 110 and 109 numbers (Messier 1781 with the later additions; Moore 1995). M 102 is read as NGC 5866.
    for number in range(1, 111):
        found = CATALOGUE.find(f"M {number}")
        assert found is not None
        assert found.name == f"M {number}" or f"M {number}" in found.also
    for number in range(1, 110):
        found = CATALOGUE.find(f"Caldwell {number}")
        assert found is not None
        assert found.name == f"C {number}" or f"C {number}" in found.also
    assert CATALOGUE.find("M 102").name == "NGC 5866"


def test_poles_and_centre_of_the_galaxy() -> None:
    # Definition (IAU 1958, carried to ICRS by ESA 1997, Hipparcos vol. 1, 1.5.3): pole 192.85948°, +27.12825°.
    assert galactic(192.85948, 27.12825)[1] == pytest.approx(90.0, abs=1e-5)
    # l = b = 0 lies at 17h 45m 37.2s, −28° 56′ 10″ (Reid & Brunthaler 2004, ApJ 616, 872; from memory).
    l_deg, b_deg = galactic((17 + 45 / 60 + 37.2 / 3600) * 15, -(28 + 56 / 60 + 10 / 3600))
    assert (l_deg + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=2e-4)
    assert b_deg == pytest.approx(0.0, abs=2e-4)


def test_galactic_coordinates_of_nova_serpentis_1978() -> None:
    # Meeus, Astronomical Algorithms, chapter 13, exercise: α = 17h 48m 59.74s, δ = −14° 43′ 08.2″ (B1950) gives
    # l = 12.9593°, b = +6.0463° (from memory; astropy from the definition gives the same).
    place = SkyCoord("17h48m59.74s", "-14d43m08.2s", frame=FK4(equinox="B1950")).icrs
    assert galactic(place.ra.deg, place.dec.deg) == pytest.approx((12.9593, 6.0463), abs=2e-4)


def test_galactic_coordinates_agree_with_astropy() -> None:
    rng = np.random.default_rng(58)
    ra, dec = rng.uniform(0, 360, 500), np.degrees(np.arcsin(rng.uniform(-1, 1, 500)))
    ours = np.array([galactic(float(r), float(d)) for r, d in zip(ra, dec, strict=True)])
    theirs = SkyCoord(ra, dec, unit="deg").galactic
    away = SkyCoord(ours[:, 0] * u.deg, ours[:, 1] * u.deg, frame="galactic").separation(theirs)
    assert away.arcsec.max() < 0.1


def test_named_stars_agree_with_pyephem() -> None:
    stars = {star.name: star for star in CATALOGUE.bright_stars()}
    shared = 0
    for name in ephem.stars.stars:
        # PyEphem calls γ Velorum, γ Persei and others by names that were never approved; they are not shared.
        if name not in stars or name == "Algenib":
            continue
        theirs = ephem.star(name)
        theirs.compute("2000/1/1 12:00", epoch="2000")
        ours = stars[name]
        away = SkyCoord(float(theirs.a_ra), float(theirs.a_dec), unit="rad").separation(
            SkyCoord(ours.ra_deg, ours.dec_deg, unit="deg")
        )
        assert away.arcsec < 30, name
        assert ours.magnitude == pytest.approx(float(theirs.mag), abs=0.6), name
        shared += 1
    assert shared > 60


def test_constellations_of_the_object_database() -> None:
    # The database carries its own column of constellations for 13,000 entries: an independent computation.
    import sqlite3
    from importlib import util
    from math import degrees
    from pathlib import Path

    spec = util.find_spec("pyongc")
    assert spec is not None
    assert spec.origin is not None
    database = sqlite3.connect(f"{Path(spec.origin).with_name('ongc.db').as_uri()}?mode=ro", uri=True)
    rows = database.execute("SELECT ra, dec, const FROM objects WHERE ra NOT NULL AND id % 5 = 0").fetchall()
    database.close()
    assert len(rows) > 2500
    for ra, dec, expected in rows:
        assert constellation_of(degrees(ra), degrees(dec)) == {"Se1": "Ser", "Se2": "Ser"}.get(expected, expected)

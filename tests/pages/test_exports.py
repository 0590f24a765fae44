"""Exports read back as what they were, validate, and hold nothing that the pages do not show."""

from __future__ import annotations

import csv
import io
import json
import re
import subprocess
import sys

import numpy as np
import pytest
from astropy.coordinates import SkyCoord
from astropy.io import fits
from astropy.io.votable import parse, validate
from astropy.table import Table
from astropy.wcs import WCS
from noctuary.facts.placement_summary import placement_numbers
from noctuary.pages.exports.acquisition import COLUMNS
from noctuary.pages.exports.export_list import site_exports
from noctuary.pages.exports.outline import outline_deg, stc_s
from noctuary.pages.exports.table import Column, ExportTable
from noctuary.pages.exports.table_formats import FORMATS
from noctuary.pages.page_list import site_model
from noctuary.sky.header_placement import from_header
from noctuary.sky.placement import from_centre
from noctuary.sky.written_header import header_text

from tests.builders.one_of_everything import HOME, HOSTILE, facts, shown

ODD = ExportTable(
    "odd",
    "Values that a careless writer loses",
    (
        Column("said", "text", None, "Text, “quoted”, with <marks> & commas"),
        Column("count", "integer", None, "A number that may be missing"),
        Column("value", "decimal", "mag.arcsec**-2", "A decimal that may be missing"),
    ),
    (
        ('a, "b"; c\u00e9 π ʰ', 3, 0.1),
        ("", None, None),
        ("=1+1", -7, 1e-9),
        ("trailing\\", 2**40, 12345.678901234567),
    ),
)


def files(hostile: str = "") -> dict[str, bytes]:
    whole = facts(hostile)
    return {o.path: o.make() for o in site_exports(site_model(whole, shown(whole)))}


def read(data: bytes, form: str) -> Table:
    if form == "ECSV":
        return Table.read(data.decode().splitlines(), format="ascii.ecsv")
    return parse(io.BytesIO(data), verify="exception").get_first_table().to_table(use_names_over_ids=True)


def written(name: str):
    return next(form.write for form in FORMATS if form.name == name)


@pytest.mark.parametrize("form", ["ECSV", "VOTable"])
def test_tables_read_back_equal(form):
    back = read(written(form)(ODD), form)
    assert back.colnames == [c.name for c in ODD.columns]
    for at, column in enumerate(ODD.columns):
        want = [row[at] for row in ODD.rows]
        # In ECSV a text of no length and one that is missing look alike.
        nothing = "" if column.kind == "text" else None
        got = [nothing if v is np.ma.masked or v != v else v for v in back[column.name]]
        assert [None if g is None else type(w)(g) for g, w in zip(got, want, strict=True)] == want, column.name
        assert back[column.name].description.split() == column.description.split()
    assert back["value"].unit == "mag / arcsec2"
    assert back["said"].unit is None


def test_csv_reads_back_as_text():
    rows = list(csv.reader(io.StringIO(written("CSV")(ODD).decode())))
    assert rows[0] == ["said", "count", "value"]
    assert rows[1:] == [["" if cell is None else str(cell) for cell in row] for row in ODD.rows]


def test_every_votable_of_a_site_validates():
    """Against astropy.io.votable, which implements the IVOA recommendation VOTable 1.4."""
    tables = {path: data for path, data in files().items() if path.endswith(".vot")}
    assert len(tables) >= 8
    for path, data in tables.items():
        said = io.StringIO()
        assert validate(io.BytesIO(data), output=said, filename=path), said.getvalue()


def test_a_table_without_rows_is_a_table_all_the_same():
    empty = ExportTable("none", "Nothing", COLUMNS, ())
    for form in FORMATS:
        data = form.write(empty)
        if form.name != "CSV":
            assert len(read(data, form.name)) == 0


def test_each_session_is_there_once_and_the_sums_are_those_of_the_pages():
    whole = facts()
    made = files()
    everything = list(csv.DictReader(io.StringIO(made["data/acquisition.csv"].decode())))
    total = sum(float(row["integration_s"]) for row in everything)
    assert total == pytest.approx(whole.integration.total_s, abs=1e-6)
    for target in whole.targets:
        stem = site_model(whole, shown(whole)).addresses.targets[target.name].replace(".html", ".csv")
        rows = csv.DictReader(io.StringIO(made[f"data/{stem}"].decode()))
        assert sum(float(r["integration_s"]) for r in rows) == pytest.approx(target.integration.total_s, abs=1e-6)
    first = next(row for row in everything if row["night"] == "2023-02-14")
    assert first["pictures"] == "ring-two ring-one"  # shared, so in one row
    assert (first["kept"], first["taken"], first["exposure_s"], first["iso"]) == ("70", "88", "120", "1600")


def test_nothing_of_what_is_kept_back_or_kept_secret_is_exported():
    made = files()
    assert not [path for path in made if "kept-back" in path or "unfinished" in path]
    for path, data in made.items():
        text = data.decode("latin-1")
        assert "kept-back" not in text, path
        assert "Kept back" not in text, path
        for secret in (*map(str, HOME), "51.61", "-3.58", "410"):
            assert not re.search(rf"(?<![\d.]){re.escape(secret)}(?!\d)", text), (path, secret)
    rows = list(csv.DictReader(io.StringIO(made["data/acquisition.csv"].decode())))
    where = {(row["place"], row["latitude_deg"], row["longitude_deg"]) for row in rows}
    assert where == {("the garden", "", ""), ("the hill", "52.0", "-4.0")}


def test_the_pictures_are_one_document_of_listed_pictures():
    plain = json.loads(files()["data/pictures.json"])
    assert [p["picture"] for p in plain["pictures"]] == [p.picture.id for p in facts().listed]
    assert {"integration", "optics", "objects", "sessions", "outline", "page"} <= plain["pictures"][0].keys()


def test_hostile_words_stay_words_in_every_form():
    made = files(HOSTILE)
    table = read(made["data/acquisition.vot"], "VOTable")
    assert any(HOSTILE in str(cell) for cell in table["filter"])
    assert any(HOSTILE in str(cell) for cell in read(made["data/acquisition.ecsv"], "ECSV")["filter"])


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("angle", [0.0, 12.4, 200.0])
@pytest.mark.parametrize("centre", [(98.0, 4.9), (359.9, -60.0), (10.0, 89.9)])
def test_an_outline_runs_anticlockwise_as_the_sky_is_seen(centre, angle, mirrored):
    """IVOA DALI 1.1, section 3.3.7: winding anticlockwise as seen from the origin, so the inside is on the left."""
    ra_deg, dec_deg = centre
    where = placement_numbers(from_centre(ra_deg, dec_deg, 4.0, angle, mirrored, 900, 600))
    corners = outline_deg(where)
    assert len(corners) == 4
    want = sorted((ra % 360, dec) for ra, dec in where.corners_deg)
    assert np.allclose(sorted(corners), want, atol=1e-6)
    points = np.array([_vector(*corner) for corner in corners])
    middle = _vector(*where.centre)
    turns = [np.dot(middle, np.cross(points[i], points[(i + 1) % 4])) for i in range(4)]
    # From north to east is a left-handed turn about the axis that points outwards.
    assert all(turn < 0 for turn in turns)
    words = stc_s(corners).split()
    assert words[:2] == ["Polygon", "ICRS"]
    assert np.allclose(np.array(words[2:], float).reshape(4, 2), corners, atol=1e-6)


def _vector(ra: float, dec: float) -> np.ndarray:
    ra, dec = np.radians([ra, dec])
    return np.array([np.cos(dec) * np.cos(ra), np.cos(dec) * np.sin(ra), np.sin(dec)])


def test_what_is_unchanged_brings_in_no_astropy():
    """Exports are told apart by the plain data that they are made from; only making one needs the library."""
    code = (
        "import sys; import noctuary.pages.exports.export_list, noctuary.pages.exports.table_formats; "
        "sys.exit('astropy' in sys.modules or 'numpy' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


@pytest.mark.filterwarnings("ignore:The WCS transformation has more axes")  # there are no data beside it
@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize(("centre", "angle"), [((98.0, 4.9), 0.0), ((359.9, -60.0), 137.0), ((10.0, 89.0), -45.0)])
def test_a_header_says_to_astropy_where_the_corners_are(centre, angle, mirrored):
    """FITS standard 4.0, section 8: rows count from the bottom, pixels from 1 at their centres."""
    where = from_centre(centre[0], centre[1], 4.0, angle, mirrored, 900, 600)
    data = header_text(where)
    assert len(data) % 2880 == 0
    with fits.open(io.BytesIO(data)) as file:
        assert file[0].data is None
        wcs = WCS(file[0].header)
    for (x, y), (ra, dec) in zip([(0, 600), (900, 600), (900, 0), (0, 0)], where.corners_deg, strict=True):
        got = SkyCoord(*wcs.all_pix2world([[x + 0.5, y + 0.5]], 1)[0], unit="deg")
        assert got.separation(SkyCoord(ra, dec, unit="deg")).arcsec < 1e-3
    back = from_header(data.decode("ascii"), 900, 600)
    assert np.allclose(back.corners_deg, where.corners_deg, atol=1e-7)


#: astropy's sample of TAN-SIP written small: a cubic bend of some pixels of 18″.
BENT = fits.Header(
    {
        "CTYPE1": "RA---TAN-SIP", "CTYPE2": "DEC--TAN-SIP", "CRVAL1": 83.8, "CRVAL2": -5.4,
        "CRPIX1": 600.5, "CRPIX2": 400.5, "CD1_1": -0.005, "CD1_2": 0.0, "CD2_1": 0.0, "CD2_2": 0.005,
        "IMAGEW": 1200, "IMAGEH": 800, "A_ORDER": 3, "B_ORDER": 3,
        "A_3_0": 2e-8, "A_1_2": 2e-8, "B_0_3": 2e-8, "B_2_1": 2e-8,
    }
)  # fmt: skip


@pytest.mark.parametrize(
    ("placement", "within_arcsec"),
    [
        (from_centre(98.0, 4.9, 4.0, 0.0, False, 900, 600), 1e-4),
        (from_centre(359.9, -60.0, 4.0, 137.0, True, 900, 600), 1e-4),
        (from_centre(10.0, 89.0, 4.0, -45.0, False, 900, 600), 1e-4),
        (from_header(BENT.tostring(), 1200, 800), 0.1 * 18),
    ],
)
def test_a_second_reader_agrees_about_every_pixel(placement, within_arcsec):
    """Starlink's AST reads FITS-WCS by code of its own, while astropy reads it by WCSLIB."""
    ast = pytest.importorskip("starlink.Ast")
    channel = ast.FitsChan()
    text = header_text(placement).decode("ascii")
    for card in (text[at : at + 80] for at in range(0, text.index(" " * 80), 80)):
        channel.putfits(card)
    channel.clear("Card")
    frames = channel.read()
    assert frames.System == "ICRS"
    wide, high = placement.width_px, placement.height_px
    x, y = np.meshgrid(np.linspace(-0.5, wide - 0.5, 25), np.linspace(-0.5, high - 0.5, 17))
    read = np.degrees(frames.tran(np.array([x.ravel() + 1, high - y.ravel()])))
    ra, dec = placement.sky(x.ravel(), y.ravel())
    apart = SkyCoord(*read, unit="deg").separation(SkyCoord(ra, dec, unit="deg")).arcsec
    assert float(apart.max()) < within_arcsec


def test_a_distortion_goes_into_the_header():
    placement = from_header(BENT.tostring(), 1200, 800)
    back = from_header(header_text(placement).decode("ascii"), 1200, 800)
    x, y = np.meshgrid(np.linspace(0, 1199, 30), np.linspace(0, 799, 20))
    ra, dec = placement.sky(x, y)
    also_ra, also_dec = back.sky(x, y)
    apart = SkyCoord(ra, dec, unit="deg").separation(SkyCoord(also_ra, also_dec, unit="deg")).arcsec
    assert float(apart.max()) < 0.1 * 18

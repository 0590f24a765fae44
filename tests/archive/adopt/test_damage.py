"""Headers and tables that were cut short or have bits turned: read as far as they go, and never a traceback.

Whatever a damaged source seems to say, the record drafted from it is one that the archive reads without a fault.
"""

from __future__ import annotations

import random
from datetime import date
from io import BytesIO

import numpy as np
import pytest
from astropy.io import fits
from hypothesis import given, settings
from hypothesis import strategies as st
from noctuary.archive.adopt.draft_record import Equipped, Sources, draft
from noctuary.archive.adopt.evidence import Evidence
from noctuary.archive.adopt.fits_evidence import of_fits
from noctuary.archive.adopt.iptc import fields
from noctuary.archive.adopt.name_evidence import of_folders, of_name
from noctuary.archive.adopt.questions import lines_of
from noctuary.archive.adopt.raster_blocks import NotReadable
from noctuary.archive.adopt.raster_evidence import of_raster
from noctuary.archive.adopt.table_columns import columns
from noctuary.archive.adopt.table_evidence import join
from noctuary.archive.adopt.table_rows import TableFault, read_table
from noctuary.archive.adopt.xisf_evidence import of_xisf
from noctuary.archive.adopt.xmp import properties
from noctuary.archive.parse_file import parse
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from tests.archive.adopt.catalogue import names
from tests.archive.adopt.test_sources import XMP

TODAY = date(2026, 1, 1)


def no_fault(header: Evidence, table: Evidence | None = None, path: str = "2019/M31_120x180s.jpg") -> None:
    guesses = of_name(path, names(), TODAY), of_folders(path, names(), TODAY)
    record = draft(Sources(path, header, *guesses, table), Equipped(), names(), TODAY)
    text = record.text()
    found = [f for f in parse(text.encode("utf-8"), "pictures/a.yaml").findings if f.level == "fault"]
    if "draft: yes" in text:  # without a date it waits, and nothing in it stops a build
        found = [f for f in found if f.rule != "missing-key"]
    assert not found, (found, text)
    lines_of(text)


def raster(kind: str) -> bytes:
    exif = Image.Exif()
    exif[271], exif[272], exif[306] = "Maker", "Maker 7", "2019:08:10 19:00:00"
    exif.get_ifd(0x8769).update({33434: 180.0, 34855: 800, 36867: "2019:08:04 01:12:00", 37386: 135.0})
    exif.get_ifd(0x8825).update({1: "N", 2: (50.0, 0.0, 0.0), 3: "E", 4: (10.0, 0.0, 0.0)})
    stream = BytesIO()
    image = Image.fromarray(np.zeros((4, 6), np.uint8))
    if kind == "HEIF":
        pytest.importorskip("pillow_heif").register_heif_opener()
        Image.fromarray(np.zeros((64, 64, 3), np.uint8)).save(stream, kind, exif=exif)
    elif kind == "PNG":
        text = PngInfo()
        text.add_text("Title", "Veil", zip=True)
        text.add_itxt("XML:com.adobe.xmp", XMP, zip=True)
        image.save(stream, kind, exif=exif, pnginfo=text)
    elif kind == "TIFF":
        image.save(stream, kind, exif=exif, tiffinfo={700: XMP.encode(), 33723: b"\x1c\x02\x05\x00\x04Veil"})
    else:
        image.save(stream, kind, exif=exif, xmp=XMP.encode())
    return stream.getvalue()


def stack() -> bytes:
    unit = fits.PrimaryHDU(np.zeros((4, 6), np.float32))
    unit.header.update({
        "OBJECT": "M 31", "EXPTIME": 120.0, "STACKCNT": 42, "LIVETIME": 5040.0, "DATE-OBS": "2021-09-04T22:10:00",
        "FILTER": "Ha", "INSTRUME": "Cooled 26C", "XPIXSZ": 3.76, "FOCALLEN": 480.0, "SITELAT": "+50 00 00",
    })  # fmt: skip
    unit.header["HISTORY"] = "average of 42 frames"
    stream = BytesIO()
    unit.writeto(stream)
    return stream.getvalue()


def damaged(content: bytes, chance: random.Random, header: int) -> bytes:
    """Cut somewhere, or with some bits turned, most of them where the header is."""
    if chance.random() < 0.3:
        return content[: chance.randrange(len(content))]
    changed = bytearray(content)
    for _ in range(chance.choice((1, 1, 2, 8, 40))):
        at = chance.randrange(min(header, len(changed)) if chance.random() < 0.9 else len(changed))
        changed[at] = chance.randrange(256)
    return bytes(changed)


@pytest.mark.parametrize(("kind", "runs"), [("JPEG", 700), ("PNG", 500), ("TIFF", 600), ("HEIF", 200)])
def test_damaged_pictures(tmp_path, kind, runs):
    chance = random.Random(kind)
    content = raster(kind)
    path = tmp_path / "a"
    read = 0
    for _ in range(runs):
        path.write_bytes(damaged(content, chance, 2000))
        try:
            said = of_raster(path, names())
        except NotReadable:
            continue
        no_fault(said)
        read += 1
    assert read > runs / 5  # much of a damaged header is still worth reading


def test_damaged_stacks(tmp_path):
    chance = random.Random(5)
    content = stack()
    path = tmp_path / "a.fits"
    for _ in range(400):
        path.write_bytes(damaged(content, chance, 1800))
        try:
            said = of_fits(path, names())
        except NotReadable:
            continue
        no_fault(said)


def test_damaged_xisf(tmp_path):
    xisf = pytest.importorskip("xisf")
    cards = {"OBJECT": "'M 31'", "EXPTIME": "120", "STACKCNT": "42", "DATE-OBS": "'2021-09-04T22:10:00'"}
    keywords = {"FITSKeywords": {key: [{"value": value, "comment": ""}] for key, value in cards.items()}}
    xisf.XISF.write(str(tmp_path / "whole.xisf"), np.zeros((4, 6, 1), np.float32), image_metadata=keywords)
    content = (tmp_path / "whole.xisf").read_bytes()
    chance = random.Random(8)
    path = tmp_path / "a.xisf"
    for _ in range(300):
        path.write_bytes(damaged(content, chance, 1500))
        try:
            said = of_xisf(path, names())
        except NotReadable:
            continue
        no_fault(said)


TABLE = (
    "File;Title;Target;Date taken;Exposure (s);Frames;Total;f-ratio;Notes\n"
    'a.jpg;"One; two";M 31, M 32;03.08.2019;180;60;3:00;f/2.8;"Two\nlines"\nb.jpg;Zwei;;2019;;;27 h;;\n'
)


def test_damaged_tables(tmp_path):
    chance = random.Random(6)
    path = tmp_path / "list.csv"
    for _ in range(600):
        path.write_bytes(damaged(TABLE.encode(), chance, 400))
        try:
            table = read_table(path)
            found = join(table, columns(table.headings, {}), {"a.jpg": "a.jpg"}, [], names(), "list.csv")
        except TableFault:
            continue
        for said in found.of_picture.values():
            no_fault(Evidence("its header"), said)


def test_damaged_spreadsheets(tmp_path):
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    book.active.append(["File", "Title"])
    book.active.append(["a.jpg", "One"])
    book.save(tmp_path / "whole.xlsx")
    content = (tmp_path / "whole.xlsx").read_bytes()
    chance = random.Random(7)
    path = tmp_path / "list.xlsx"
    for _ in range(200):
        path.write_bytes(damaged(content, chance, len(content)))
        try:
            table = read_table(path)
            columns(table.headings, {})
        except TableFault:
            continue


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=60), st.text(max_size=60))
def test_names_that_anybody_could_give(folder, stem):
    path = f"{folder}/{stem}.jpg".replace("\0", "")
    no_fault(Evidence("its header"), path=path)


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=300))
def test_blocks_of_anything(block):
    fields(block)
    properties(block)
    properties(XMP.encode().replace(b"Veil", block))

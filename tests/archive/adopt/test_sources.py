"""What each source of a finished picture says: headers as their standards have them, names as people do."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone

import numpy as np
import pytest
from astropy.io import fits
from noctuary.archive.adopt.clock_night import night_of_camera_clock, night_of_universal_time
from noctuary.archive.adopt.draft_record import Equipped, Sources, draft
from noctuary.archive.adopt.fits_evidence import of_cards, of_fits
from noctuary.archive.adopt.iptc import fields
from noctuary.archive.adopt.name_evidence import date_in, of_folders, of_name, title_of_name
from noctuary.archive.adopt.picture_ids import id_for
from noctuary.archive.adopt.questions import lines_of
from noctuary.archive.adopt.raster_evidence import of_raster
from noctuary.archive.partial_date import PartialDate
from noctuary.sky.catalogue import Catalogue
from noctuary.sky.names_in_text import objects_in
from PIL import Image
from PIL.PngImagePlugin import PngInfo
from PIL.TiffImagePlugin import IFDRational

from tests.archive.adopt.catalogue import names

TODAY = date(2026, 1, 1)

#: The namespaces are those of ISO 16684-1 (XMP) and of AVM 1.2 (Virtual Astronomy Multimedia Project).
XMP = """<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/" xmlns:xmp="http://ns.adobe.com/xap/1.0/"
  xmlns:avm="http://www.communicatingastronomy.org/avm/1.0/" xmp:ModifyDate="2019-08-10T20:00:00+02:00">
<dc:title><rdf:Alt><rdf:li xml:lang="de">Der Schleier</rdf:li>
<rdf:li xml:lang="x-default">The Veil</rdf:li></rdf:Alt></dc:title>
<dc:description><rdf:Alt><rdf:li xml:lang="x-default">Two nights of patience.</rdf:li></rdf:Alt></dc:description>
<dc:subject><rdf:Bag><rdf:li>summer</rdf:li><rdf:li>narrowband</rdf:li></rdf:Bag></dc:subject>
<avm:Subject.Name>NGC 6960;Veil Nebula</avm:Subject.Name>
</rdf:Description></rdf:RDF></x:xmpmeta><?xpacket end="w"?>"""


def picture(path, **options):
    Image.fromarray(np.zeros((4, 6), np.uint8)).save(path, **options)
    return path


def test_exif_gives_the_camera_one_sub_and_the_evening(tmp_path):
    exif = Image.Exif()
    exif[271], exif[272], exif[306] = "Maker", "Maker Model 7", "2019:08:10 19:00:00"
    exif.get_ifd(0x8769).update({
        33434: IFDRational(180, 1), 33437: IFDRational(28, 10), 34855: 800, 36867: "2019:08:04 01:12:00",
        37386: IFDRational(135, 1), 42036: "135 mm f/2",
    })  # fmt: skip
    exif.get_ifd(0x8825).update({1: "S", 2: (33.0, 30.0, 0.0), 3: "W", 4: (70.0, 45.0, 0.0)})
    said = of_raster(picture(tmp_path / "a.jpg", exif=exif), names())
    assert (said.camera, said.optic, said.focal_length_mm, said.f_ratio) == ("Maker Model 7", "135 mm f/2", 135, 2.8)
    assert said.night == date(2019, 8, 3)  # a time before noon belongs to the evening before
    assert said.finished == PartialDate(2019, 8, 10)
    assert (said.sub.exposure_s, said.sub.iso) == (180, 800)
    assert said.site == (-33.5, -70.75)


@pytest.mark.parametrize("ending", ["jpg", "png", "tif"])
def test_titles_captions_and_subjects_of_xmp(tmp_path, ending):
    path = tmp_path / f"a.{ending}"
    if ending == "png":
        text = PngInfo()
        text.add_itxt("XML:com.adobe.xmp", XMP)
        picture(path, pnginfo=text)
    elif ending == "tif":
        picture(path, tiffinfo={700: XMP.encode()})
    else:
        picture(path, xmp=XMP.encode())
    said = of_raster(path, names())
    assert said.title == "The Veil"
    assert said.description == "Two nights of patience."
    assert said.tags == ("summer", "narrowband")
    assert said.objects[0] == "NGC 6960"
    assert said.finished == PartialDate(2019, 8, 10)


def test_a_document_type_in_xmp_is_not_read():
    from noctuary.archive.adopt.xmp import properties

    bomb = '<!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]>' + XMP[XMP.index("<x:") :]
    assert properties(bomb.encode()) == {}


def test_iptc_object_name_keywords_and_caption():
    """Record 2, data sets 5, 25, 120 and the character set of record 1 (IPTC IIM 4.2)."""
    sets = [(1, 90, b"\x1b%G"), (2, 5, "Größe".encode()), (2, 25, b"one"), (2, 25, b"two"), (2, 120, b"A caption.")]
    block = b"".join(bytes([0x1C, r, n]) + len(v).to_bytes(2, "big") + v for r, n, v in sets)
    assert fields(block) == {"title": ("Größe",), "keywords": ("one", "two"), "caption": ("A caption.",)}


def test_png_texts(tmp_path):
    text = PngInfo()
    text.add_text("Title", "Veil at dawn", zip=True)
    text.add_text("Creation Time", "2018-09-02T10:00:00Z")
    said = of_raster(picture(tmp_path / "a.png", pnginfo=text), names())
    assert (said.title, said.finished, said.captured) == ("Veil at dawn", None, PartialDate(2018, 9, 2))


CARDS: dict[str, str | float | bool] = {
    "SIMPLE": True,
    "OBJECT": "m31",
    "EXPTIME": 120.0,
    "DATE-OBS": "2021-09-04T22:10:00",
    "FILTER": "Ha",
}


@pytest.mark.parametrize(
    ("more", "expected"),
    [
        ({"STACKCNT": 42.0}, [(120.0, 42)]),
        ({"STACKCNT": 42.0, "LIVETIME": 5040.0}, [(120.0, 42)]),
        ({"STACKCNT": 42.0, "LIVETIME": 9999.0}, []),
        ({"NCOMBINE": 42.0}, []),  # an average keeps the exposure, a sum adds it
        ({"NCOMBINE": 42.0, "EXPTIME": 5040.0, "TOTEXP": 5040.0}, [(120.0, 42)]),
        ({"NCOMBINE": 1.0}, [(120.0, 1)]),
        ({}, []),
    ],
)
def test_exposures_of_a_stack_are_stated_where_one_reading_is_left(more, expected):
    said = of_cards("a.fits", {**CARDS, **more}, [], names())
    assert [(g.exposure_s, g.kept) for g in said.frames] == expected
    assert (said.objects, said.night) == (("M 31",), date(2021, 9, 4))


def test_a_count_that_may_be_of_a_sum_is_a_guess():
    said = of_cards("a.fits", {**CARDS, "NCOMBINE": 42.0}, [], names())
    assert [(g.exposure_s, g.kept) for g in said.likely_frames] == [(120.0, 42)]
    guesses = of_name("x.fits", names(), TODAY), of_folders("x.fits", names(), TODAY)
    text = draft(Sources("2021/x.fits", said, *guesses), Equipped(), names(), TODAY).text()
    assert "    # frames: [{exposure: 120 s, kept: 42, filter: Ha}]   # from the count" in text
    assert [line.subject.key for line in lines_of(text) if line.subject.guess] == ["frames"]


def test_history_gives_the_count_where_its_lines_agree():
    lines = ["Stacked 42 frames with rejection of outliers off", "background subtracted"]
    said = of_cards("a.fits", {**CARDS, "LIVETIME": 5040.0}, lines, names())
    assert [(g.exposure_s, g.kept, g.filter) for g in said.frames] == [(120.0, 42, "Ha")]
    both = [*lines, "average of 40 images"]
    assert of_cards("a.fits", {**CARDS, "LIVETIME": 5040.0}, both, names()).frames == ()


def test_a_fits_file_on_disk(tmp_path):
    unit = fits.PrimaryHDU(np.zeros((4, 6), np.float32))
    unit.header.update({"OBJECT": "NGC 7000", "EXPTIME": 300.0, "STACKCNT": 20, "DATE": "2021-10-01T00:00:00"})
    unit.header["HISTORY"] = "nothing of note"
    unit.writeto(tmp_path / "a.fits")
    said = of_fits(tmp_path / "a.fits", names())
    assert (said.objects, said.frames[0].kept, said.finished) == (("NGC 7000",), 20, PartialDate(2021, 10, 1))


@pytest.mark.parametrize(
    ("zone", "clock"), [(13, "22:30"), (13, "04:00"), (-8, "22:30"), (-8, "04:00"), (1, "22:30"), (1, "04:00")]
)
def test_the_evening_of_universal_time_is_that_of_the_place(zone, clock):
    evening = date(2021, 6, 10)
    hour, minute = (int(part) for part in clock.split(":"))
    local = datetime(2021, 6, 10, hour, minute, tzinfo=timezone(timedelta(hours=zone)))
    moment = (local + timedelta(days=hour < 12)).astimezone(UTC)
    assert night_of_universal_time(moment, [zone * 15.0]) == evening
    assert night_of_universal_time(moment, ()) in (evening, None)


def test_a_clock_by_day_tells_no_night():
    assert night_of_camera_clock(datetime(2021, 6, 10, 12, 0)) is None


@pytest.mark.parametrize(
    ("name", "objects", "frames", "hours"),
    [
        ("M31_120x180s.jpg", ("M 31",), [(180.0, 120)], None),
        ("ngc7000-ha-20x5min.tif", ("NGC 7000",), [(300.0, 20)], None),
        ("Sh2-155 27h f2.8.png", ("Sh2-155",), [], 27.0),
        ("M81 M82 4h30.jpg", ("M 81", "M 82"), [], 4.5),
        ("rosette_2019-02-03.jpg", ("Rosette",), [], None),
        ("C11 first light.jpg", (), [], None),
        ("IMG_2034.jpg", (), [], None),
        ("M45-2019.jpg", ("M 45",), [], None),
    ],
)
def test_guesses_from_names(name, objects, frames, hours):
    said = of_name(name, names(), TODAY)
    assert said.objects == objects
    assert [(g.exposure_s, g.kept) for g in said.frames] == frames
    assert said.integration_s == (hours * 3600 if hours else None)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("m31 2019-08-03", "2019-08-03"),
        ("m31 20190803", "2019-08-03"),
        ("m31 3.8.2019", "2019-08-03"),
        ("m31 03 Aug 2019", "2019-08-03"),
        ("märz 2019", "2019-03"),
        ("2019-08 wide", "2019-08"),
        ("best of 2019", "2019"),
        ("2019 and 2020", "None"),
        ("ngc 2024", "None"),
        ("m31 8-3-2019", "2019"),  # the day or the month first: nobody knows
        ("2030 plans", "None"),
    ],
)
def test_dates_in_names(text, expected):
    assert str(date_in(text, TODAY)) == expected


def test_folders_above_a_picture():
    said = of_folders("photos/2017/M 42/final.jpg", names(), TODAY)
    assert (said.objects, said.captured) == (("M 42",), PartialDate(2017))


def test_objects_in_text_are_those_the_catalogue_knows():
    find = Catalogue().find
    assert [o.called for o in objects_in("NGC 99999 with M 31", find)] == ["M 31"]
    assert [o.identity for o in objects_in("andromeda_galaxy", find)] == ["NGC 224"]


def test_ids_are_readable_and_unique():
    taken: set[str] = set()
    for path in ("2018/M31 Final.jpg", "2019/M31 Final.jpg", "2019/M31_final.png", "x/con.jpg", "x/星.jpg"):
        found = id_for(path, taken)
        assert found not in taken
        taken.add(found)
    assert {"m31-final", "m31-final-2019", "m31-final-2", "x-con", "x"} == taken
    assert title_of_name("2018/M31_Final-crop.jpg") == "M31 Final crop"

"""Cameras whose name alone tells pixels and pixel size."""

from __future__ import annotations

import csv
import math
from collections import defaultdict
from pathlib import Path

import pytest
from noctuary.archive.gather.equipment import cameras_of
from noctuary.archive.gather.frame_header import FrameHeader
from noctuary.archive.read import read_archive
from noctuary.archive.sensors import sensor_of, sensor_rows

#: Pixel sizes in µm as the makers' brochures gave them, from memory, to the digits that they gave.
PUBLISHED = {
    "Canon EOS 5D Mark II": 6.4, "Canon EOS 20D": 6.4, "Canon EOS-1D Mark III": 7.2, "Canon EOS 650D": 4.3,
    "NIKON D70": 7.8, "NIKON D5300": 3.9, "Olympus E-1": 6.8, "Canon EOS 6D": 6.55, "Sony ILCE-7M3": 5.93,
}  # fmt: skip

#: Sizes in mm of sensors in dedicated cameras, from their data sheets, from memory.
CHIPS_MM = {
    "IMX571": (23.5, 15.7), "IMX455": (36.0, 24.0), "IMX410": (36.0, 24.0), "IMX461": (43.8, 32.9),
    "IMX411": (53.4, 40.0), "IMX294": (19.1, 13.0), "IMX492": (19.1, 13.0), "IMX183": (13.2, 8.8),
    "MN34230": (17.7, 13.4), "IMX533": (11.31, 11.31), "IMX585": (11.2, 6.3), "IMX174": (11.3, 7.1),
    "KAF-8300": (18.0, 13.5), "KAF-16803": (36.8, 36.8), "KAI-11002": (36.0, 24.0), "ICX694": (12.5, 10.0),
    "ICX814": (12.5, 10.0), "ICX285": (9.0, 6.7), "KAI-4022": (15.2, 15.2), "KAF-6303E": (27.6, 18.4),
}  # fmt: skip

CROP_FACTORS = Path(__file__).with_name("crop_factors.csv")


@pytest.mark.parametrize("name", PUBLISHED)
def test_pixel_sizes_are_those_that_the_makers_published(name):
    assert sensor_of(name).pixel_size_um == pytest.approx(PUBLISHED[name], rel=0.01)


def test_every_row_agrees_with_itself_and_names_its_source():
    rows = sensor_rows()
    assert len(rows) >= 400
    for row in rows:
        pixel_um = float(row["pixel_size_um"])
        for millimetres, pixels in (("width_mm", "width_px"), ("height_mm", "height_px")):
            assert int(row[pixels]) * pixel_um / 1000 == pytest.approx(float(row[millimetres]), rel=0.015), row
        assert row["source"]
        assert row["colour"] in ("colour", "mono")


def test_every_name_leads_to_its_row_and_no_two_rows_share_one():
    for row in sensor_rows():
        names = [row["name"], *(name for name in row["also"].split("|") if name)]
        written = int(row["width_px"]), int(row["height_px"])
        for name in names:
            whole = name.casefold().startswith(row["maker"].casefold())
            sensor = sensor_of(name if whole else f"{row['maker']} {name}")
            assert sensor is not None, name
            assert (sensor.pixels, sensor.pixel_size_um) == (written, float(row["pixel_size_um"])), name


def test_sizes_agree_with_the_crop_factors_of_another_table():
    """lensfun's: the diagonal of 36 × 24 mm over the sensor's; some are rounded to one digit."""
    with CROP_FACTORS.open(encoding="utf-8") as file:
        others = list(csv.DictReader(line for line in file if not line.startswith("#")))
    assert len(others) > 350
    for other in others:
        sensor = sensor_of(other["camera"])
        diagonal_mm = math.hypot(*sensor.pixels) * sensor.pixel_size_um / 1000
        factor = math.hypot(36, 24) / diagonal_mm
        assert factor == pytest.approx(float(other["crop_factor"]), rel=0.03), other["camera"]


def test_cameras_with_one_sensor_have_one_pixel_size_and_nearly_one_size():
    sizes = defaultdict(set)
    for row in sensor_rows():
        if row["sensor"]:
            sizes[row["sensor"]].add(float(row["pixel_size_um"]))
            if row["sensor"] in CHIPS_MM:
                mm = float(row["width_mm"]), float(row["height_mm"])
                assert mm == pytest.approx(CHIPS_MM[row["sensor"]], rel=0.03), row["name"]
    # One sensor can be read in halves of its pixels.
    assert {chip for chip, pixels in sizes.items() if len(pixels) > 1} == {"IMX492"}


@pytest.mark.parametrize(
    ("names", "pixels", "pixel_um"),
    [
        (("canon eos 6d", "EOS 6D", "Canon_EOS-6D", "Canon Canon EOS 6D", "EOS 6D (modified)"), (5472, 3648), 6.55),
        (("Canon EOS 6D Mark II", "EOS 6D MkII", "EOS 6D II"), (6240, 4160), 5.75),
        (("ILCE-7M3", "SONY ILCE-7M3", "Sony α7 III", "Sony A7 III", "Sony Alpha 7 III"), (6000, 4000), 5.93),
        (("NIKON D750", "NIKON CORPORATION NIKON D750", "D750"), (6016, 4016), 5.97),
        (("NIKON D810", "NIKON D810A"), (7360, 4912), 4.88),
        (("NIKON Z 6_2", "Nikon Z6 II"), (6048, 4024), 5.94),
        (("RICOH IMAGING COMPANY, LTD. PENTAX K-1", "Pentax K-1"), (7360, 4912), 4.88),
        (("OLYMPUS IMAGING CORP. E-M1MarkII", "Olympus E-M1 Mark II"), (5184, 3888), 3.36),
        (("Canon EOS 600D", "EOS 600Da", "Canon EOS REBEL T3i", "Canon EOS Kiss X5"), (5184, 3456), 4.3),
        (("ZWO ASI2600MC Pro", "ASI2600MC-Pro", "ZWO CCD ASI2600MC Pro", "asi2600mc"), (6248, 4176), 3.76),
        (("ZWO ASI294MC Pro",), (4144, 2822), 4.63),
        (("ZWO ASI294MM Pro",), (4144, 2822), 4.63),
        (("ZWO ASI294MM Pro unlocked",), (8288, 5644), 2.315),
        (("QHY268M", "QHYCCD QHY268M-0a1b2c3d4e5f6789"), (6280, 4210), 3.76),
    ],
)  # fmt: skip
def test_names_are_known_in_their_usual_spellings(names, pixels, pixel_um):
    for name in names:
        assert sensor_of(name)[:2] == (pixels, pixel_um), name


@pytest.mark.parametrize(
    "name",
    ["my camera", "6D", "", "D70 of a friend", "Canon EOS", "Canon", "NIKON ILCE-7M3", "EOS 6D Mark III", "ASI294"],
)
def test_other_names_are_not_known(name):
    assert sensor_of(name) is None


def read(tmp_path, equipment):
    (tmp_path / "archive.yaml").write_text("title: T\nauthor: A\n", encoding="utf-8")
    (tmp_path / "equipment.yaml").write_text(equipment, encoding="utf-8")
    reading = read_archive(tmp_path)
    assert not reading.findings
    return reading.archive


def test_a_name_alone_is_completed_and_what_was_written_stays(tmp_path):
    cameras = read(tmp_path, "cameras:\n  Canon EOS 6D:\n  EOS 6D: {pixel_size: 7 um}\n  other:\n").cameras
    alone, partly, other = (cameras[name] for name in ("Canon EOS 6D", "EOS 6D", "other"))
    assert (alone.pixels, alone.pixel_size_um, alone.sensor_from_table) == ((5472, 3648), 6.55, True)
    assert (partly.pixels, partly.pixel_size_um, partly.sensor_from_table) == ((5472, 3648), 7.0, True)
    assert (other.pixels, other.pixel_size_um, other.sensor_from_table) == (None, None, False)


def test_a_rig_may_name_a_camera_of_the_table_that_is_listed_nowhere(tmp_path):
    archive = read(tmp_path, "rigs:\n  wide: {camera: ZWO ASI2600MM Pro}\n  near: {camera: ZWO ASI2600MM Pro}\n")
    camera = archive.rigs["wide"].camera
    assert (camera.pixels, camera.pixel_size_um, camera.colour) == ((6248, 4176), 3.76, False)
    assert archive.rigs["near"].camera is camera


def test_a_person_decides_whether_a_camera_sees_colour(tmp_path):
    cameras = read(tmp_path, "cameras:\n  ASI2600MM Pro: {colour: colour}\n  EOS 6D: {colour: mono}\n  x:\n").cameras
    assert [camera.colour for camera in cameras.values()] == [True, False, True]


@pytest.mark.parametrize(
    ("written", "owned", "found"),
    [
        ("Canon EOS 6D", ("Canon EOS 6D", "Canon EOS 6D Mark II"), ["Canon EOS 6D"]),
        ("Canon EOS 6D Mark II", ("EOS 6D",), []),
        ("SONY ILCE-7M3", ("Sony α7 III", "Sony α7"), ["Sony α7 III"]),
        ("NIKON D810A", ("NIKON D810",), []),
        ("ZWO ASI294MC Pro", ("ASI294MM Pro",), []),
        ("ZWO CCD ASI2600MC Pro", ("ASI2600MC-Pro",), ["ASI2600MC-Pro"]),
        ("Maker Reflex 5", ("Reflex 5",), ["Reflex 5"]),
    ],
)
def test_a_header_means_the_camera_that_it_names(tmp_path, written, owned, found):
    cameras = read(tmp_path, "cameras:\n" + "".join(f"  {name}:\n" for name in owned)).cameras
    assert [camera.name for camera in cameras_of(FrameHeader("a", camera=written), cameras)] == found
    sized = FrameHeader("a", camera=written, pixels=(7360, 4912))
    assert [camera.name for camera in cameras_of(sized, cameras)] == found

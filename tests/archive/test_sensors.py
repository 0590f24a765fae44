"""Cameras whose name alone tells pixels and pixel size."""

from __future__ import annotations

import csv
from importlib import resources

import pytest
from noctuary.archive.read import read_archive
from noctuary.archive.sensors import sensor_of

#: Pixel sizes in µm as the makers' brochures gave them, from memory, to the digits that they gave.
PUBLISHED = {
    "Canon EOS 5D Mark II": 6.4, "Canon EOS 20D": 6.4, "Canon EOS-1D Mark III": 7.2, "Canon EOS 650D": 4.3,
    "NIKON D70": 7.8, "NIKON D5300": 3.9, "Olympus E-1": 6.8,
}  # fmt: skip


@pytest.mark.parametrize("name", PUBLISHED)
def test_pixel_sizes_are_those_that_the_makers_published(name):
    assert sensor_of(name).pixel_size_um == pytest.approx(PUBLISHED[name], rel=0.01)


def test_every_row_names_its_sources():
    text = resources.files("noctuary.archive.tables").joinpath("sensors.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    assert rows
    for row in rows:
        assert "crop factor" in row["source"]
        assert "EXIF of" in row["source"] or "comment on" in row["source"]


@pytest.mark.parametrize("name", ["canon eos 6d", "EOS 6D", "Canon_EOS-6D"])
def test_names_are_known_whatever_their_spelling(name):
    assert sensor_of(name).pixels == (5472, 3648)


@pytest.mark.parametrize("name", ["my camera", "6D", "", "D70 of a friend"])
def test_other_names_are_not_known(name):
    assert sensor_of(name) is None


def read(tmp_path, equipment):
    (tmp_path / "archive.yaml").write_text("title: T\nauthor: A\n", encoding="utf-8")
    (tmp_path / "equipment.yaml").write_text(equipment, encoding="utf-8")
    reading = read_archive(tmp_path)
    assert not reading.findings
    return reading.archive.cameras


def test_a_name_alone_is_completed_and_what_was_written_stays(tmp_path):
    cameras = read(tmp_path, "cameras:\n  Canon EOS 6D:\n  EOS 6D: {pixel_size: 7 um}\n  other:\n")
    alone, partly, other = (cameras[name] for name in ("Canon EOS 6D", "EOS 6D", "other"))
    assert (alone.pixels, alone.pixel_size_um, alone.sensor_from_table) == ((5472, 3648), 6.55, True)
    assert (partly.pixels, partly.pixel_size_um, partly.sensor_from_table) == ((5472, 3648), 7.0, True)
    assert (other.pixels, other.pixel_size_um, other.sensor_from_table) == (None, None, False)

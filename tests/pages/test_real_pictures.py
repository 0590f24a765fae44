"""The main job on pictures that nobody here made: the registries' packages carry some.

scikit-image ships a part of the Hubble Deep Field (NASA, public domain), pyavm pictures of the European
Southern Observatory with their places on the sky embedded, astropy the field of M 13 as FITS.
"""

import re
import shutil
from pathlib import Path

import astropy
import pyavm
import pytest
import skimage
from noctuary.build import build, examine
from PIL import Image

SOURCES = {
    "deep-field": Path(skimage.__file__).parent / "data" / "hubble_deep_field.jpg",
    "observatory-jpeg": Path(pyavm.__file__).parent / "tests" / "data" / "eso_eso1723a_320.jpg",
    "observatory-png": Path(pyavm.__file__).parent / "tests" / "data" / "eso_eso1723a_320.png",
    "m13": Path(astropy.__file__).parent / "io" / "fits" / "hdu" / "compressed" / "tests" / "data" / "m13.fits",
}
ARCHIVE = {
    "archive.yaml": "title: Real pictures\nauthor: Several observatories\n",
    "equipment.yaml": """
cameras:
  sensor: {pixels: [4096, 4096], pixel_size: 15 um}
optics:
  telescope: {focal_length: 2000 mm, aperture: 400 mm}
rigs:
  rig: {optic: telescope, camera: sensor}
""",
    "places.yaml": "hill: {latitude: 28, longitude: -16, time_zone: UTC}\n",
}
SIDECAR = """
title: {title}
objects: [{target}]
finished: 2020-01-01
rig: rig
place: hill
alt: A field of stars
sessions:
  - night: 2019-05-01
    frames: [{{exposure: 600 s, kept: 6}}]
"""
TARGETS = {"deep-field": "M 101", "observatory-jpeg": "M 42", "observatory-png": "M 42", "m13": "M 13"}


@pytest.fixture(scope="module")
def archive(tmp_path_factory):
    folder = tmp_path_factory.mktemp("real")
    for name, text in ARCHIVE.items():
        (folder / name).write_text(text, encoding="utf-8")
    (folder / "pictures").mkdir()
    for name, source in SOURCES.items():
        shutil.copy(source, folder / "pictures" / f"{name}{source.suffix}")
        text = SIDECAR.format(title=name, target=TARGETS[name])
        (folder / "pictures" / f"{name}.yaml").write_text(text, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def site(archive):
    outcome = build(archive, workers=1)
    assert outcome.built, [str(f) for f in outcome.findings]
    return outcome.out


@pytest.mark.parametrize("name", SOURCES)
def test_every_real_picture_gets_its_page_and_its_files(site, name):
    page = (site / "pictures" / f"{name}.html").read_text(encoding="utf-8")
    files = set(re.findall(rf"\.\./(images/{name}-\d+\.[0-9a-f]+\.(?:jpg|webp))", page))
    assert files
    for file in files:
        with Image.open(site / file) as image:
            image.load()
            assert image.mode in {"RGB", "L"}
    if SOURCES[name].suffix in {".jpg", ".png"}:
        with Image.open(SOURCES[name]) as source:
            assert f'width="{source.width}" height="{source.height}"' in page


def test_embedded_places_are_found(archive, site):
    facts = examine(archive).facts
    # The observatory's own record, as pyavm reads it: a field of 1 degree in Orion around its reference point.
    record = pyavm.AVM.from_image(str(SOURCES["observatory-jpeg"]))
    placed = facts.pictures["observatory-jpeg"].placement
    assert placed is not None
    assert placed.centre == pytest.approx(tuple(record.Spatial.ReferenceValue), abs=0.5)
    assert placed.centre == pytest.approx(facts.pictures["observatory-png"].placement.centre, abs=0.01)


def test_a_second_build_writes_nothing(archive, site):
    before = {p: p.stat().st_mtime_ns for p in site.rglob("*")}
    again = build(archive, workers=1)
    assert again.built
    assert again.written == 0
    assert {p: p.stat().st_mtime_ns for p in site.rglob("*")} == before

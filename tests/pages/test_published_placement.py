"""Published pictures say where they lie, to whoever reads Astronomy Visualization Metadata (AVM 1.2)."""

import io
import shutil
from pathlib import Path

import numpy as np
import pyavm
import pytest
from noctuary.build import build, examine
from PIL import Image

DEMO = Path(__file__).parent.parent.parent / "content_demo"
# A placed picture turned by some angle, with words of its own; the others are left away to be quick.
NAME = "pleiades-2023"
PLACEMENTS = {
    "turned": "{centre: '03h47m00s +24d07m00s', image_scale: 6.2 arcsec, position_angle: 77 deg}",
    "mirrored": "{centre: '03h47m00s +24d07m00s', image_scale: 6.2 arcsec, position_angle: 200 deg, mirrored: yes}",
    "pole": "{centre: '12h00m00s -89d10m00s', image_scale: 6.2 arcsec, position_angle: 10 deg}",
    "across": "{centre: '23h59m50s +01d00m00s', image_scale: 6.2 arcsec, position_angle: 300 deg}",
}


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    folder = tmp_path_factory.mktemp("placed")
    for name in ("archive.yaml", "equipment.yaml", "places.yaml", "objects.yaml"):
        shutil.copy(DEMO / name, folder / name)
    (folder / "pictures").mkdir()
    image = Image.new("RGB", (1230, 815), (20, 20, 26))
    for name, placement in PLACEMENTS.items():
        image.save(folder / "pictures" / f"{name}.png")
        (folder / "pictures" / f"{name}.yaml").write_text(
            f"title: {name}\nobjects: [M 45]\nfinished: 2024-01-01\nalt: x\nplacement: {placement}\n"
            "rig: short refractor\nplace: Hollerbeck garden\ncredit: somebody\n"
            "sessions: [{night: 2023-10-12, frames: [{exposure: 60 s, kept: 10}]}]\n",
            encoding="utf-8",
        )
    outcome = build(folder, workers=1)
    assert outcome.built, [str(f) for f in outcome.findings]
    return folder, outcome.out


@pytest.mark.parametrize("name", PLACEMENTS)
def test_the_corners_read_back_agree_to_half_a_pixel(built, name):
    folder, site = built
    placed = examine(folder).facts.pictures[name].placement.placement()
    files = sorted((site / "images").glob(f"{name}-*.jpg"))
    assert files
    for file in files:
        with Image.open(file) as image:
            width, height = image.size
        record = pyavm.AVM.from_image(str(file))
        wcs = record.to_wcs()
        # pyavm counts rows from the bottom, from the first pixel's centre = 1.
        x = np.array([0.5, width + 0.5, width + 0.5, 0.5, (width + 1) / 2])
        y = np.array([height + 0.5, height + 0.5, 0.5, 0.5, (height + 1) / 2])
        ra, dec = wcs.wcs_pix2world(x, y, 1)
        fx, fy = placed.pixel(ra, dec)
        scale = width / 1230
        edges = [(-0.5, -0.5), (1229.5, -0.5), (1229.5, 814.5), (-0.5, 814.5), (614.5, 407)]
        for px, py, (ex, ey) in zip(fx, fy, edges, strict=True):
            assert abs(px - ex) * scale < 0.5
            assert abs(py - ey) * scale < 0.5


def test_the_record_says_its_own_words_and_no_distance(built):
    _, site = built
    file = next((site / "images").glob("turned-*.jpg"))
    data = file.read_bytes()
    record = pyavm.AVM.from_image(str(file))
    assert record.Spatial.CoordinateFrame == "ICRS"
    assert list(record.Subject.Name) == ["M 45"]
    assert b"Distance" not in data
    with Image.open(io.BytesIO(data)) as image:
        assert "exif" not in image.info or not image.getexif().get_ifd(0x8825)

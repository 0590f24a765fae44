"""Scale and field of real files: what ``check`` asks of a finished picture, and what its facts say meanwhile."""

from __future__ import annotations

from pathlib import Path

import pytest
from noctuary.build import examine
from noctuary.facts.optics import Optics
from PIL import Image

TEXTS = {
    "archive.yaml": "title: Scale\nauthor: A. Person\n",
    "equipment.yaml": """\
cameras:
  camera: {pixels: [600, 400], pixel_size: 40 um, colour: mono}
  nameless: {colour: mono}
optics:
  refractor: {focal_length: 480 mm, aperture: 80 mm}
rigs:
  rig: {optic: refractor, camera: camera}
  old rig: {optic: refractor, camera: nameless}
""",
}
RECORD = "title: A cluster\nfinished: 2025-02-09\nobjects: [M 13]\nalt: Stars\n"
# 206.2648 × 40 / 480 = 17.19″ a pixel of the sensor, 0.0047746°.
HEADER = """\
SIMPLE  =                    T
BITPIX  =                    8
NAXIS   =                    2
NAXIS1  =                  600
NAXIS2  =                  400
CTYPE1  = 'RA---TAN'
CTYPE2  = 'DEC--TAN'
CRPIX1  =                300.5
CRPIX2  =                200.5
CRVAL1  =             250.4235
CRVAL2  =              36.4613
CD1_1   =           -0.0047746
CD1_2   =                  0.0
CD2_1   =                  0.0
CD2_2   =            0.0047746
END
"""


def check(folder: Path, size: tuple[int, int], *lines: str, rig: str = "rig") -> tuple[dict[str, str], Optics]:
    """The doubts about the picture, each rule with its hint, and its optics."""
    (folder / "pictures").mkdir(exist_ok=True)
    for name, text in TEXTS.items():
        (folder / name).write_text(text, encoding="utf-8")
    Image.new("RGB", size, (20, 20, 30)).save(folder / "pictures" / "cluster.png")
    (folder / "pictures" / "whole.hdr").write_text(HEADER, encoding="utf-8")
    record = RECORD + "".join(f"{line}\n" for line in (f"rig: {rig}", *lines))
    (folder / "pictures" / "cluster.yaml").write_text(record, encoding="utf-8")
    inspection = examine(folder)
    assert inspection.facts is not None, inspection.findings
    assert not inspection.faults
    optics = inspection.facts.pictures["cluster"].optics
    assert optics is not None
    return {f.rule: f.hint for f in inspection.findings if f.mark.file == "pictures/cluster.yaml"}, optics


def test_the_line_that_a_doubt_gives_settles_it(tmp_path: Path) -> None:
    doubts, asked = check(tmp_path, (300, 200))
    assert list(doubts) == ["resampling-inferred"]
    assert "write resampling: 0.5 " in doubts["resampling-inferred"]
    doubts, settled = check(tmp_path, (300, 200), "resampling: 0.5")
    assert doubts == {}
    assert settled.image_scale_arcsec_px == asked.image_scale_arcsec_px == pytest.approx(34.377, abs=1e-3)
    assert (asked.inferred, settled.inferred) == (True, False)


def test_a_crop_is_asked_about_and_a_full_size_is_not(tmp_path: Path) -> None:
    doubts, asked = check(tmp_path, (300, 300))
    assert list(doubts) == ["scale-unsure"]
    assert asked.image_scale_arcsec_px == pytest.approx(17.189, abs=1e-3)
    assert check(tmp_path, (300, 300), "resampling: 1")[0] == {}
    assert check(tmp_path, (600, 400))[0] == {}


def test_a_header_from_before_is_not_rescaled_in_silence(tmp_path: Path) -> None:
    doubts, _ = check(tmp_path, (300, 200), "placement: whole.hdr")
    assert list(doubts) == ["header-of-another-size"]
    assert "write resampling: 0.5" in doubts["header-of-another-size"]
    assert check(tmp_path, (300, 200), "placement: whole.hdr", "resampling: 0.5")[0] == {}
    # A crop at full size has half the scale that the header is stretched to.
    crop, _ = check(tmp_path, (300, 200), "placement: whole.hdr", "resampling: 1")
    assert set(crop) == {"header-of-another-size", "focal-length-disagrees"}
    assert check(tmp_path, (600, 400), "placement: whole.hdr")[0] == {}


def test_nothing_is_inferred_for_a_camera_that_is_a_name_alone(tmp_path: Path) -> None:
    doubts, optics = check(tmp_path, (300, 200), rig="old rig")
    assert doubts == {}
    assert (optics.image_scale_arcsec_px, optics.field_width_deg, optics.resampling.factor) == (None, None, None)
    assert optics.f_ratio == 6.0

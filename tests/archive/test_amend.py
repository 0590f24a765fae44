"""A placement is added to a sidecar, and not a byte of what the person wrote changes."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from noctuary.archive.append_placement import add_placement
from noctuary.archive.record_text import NotEditable
from noctuary.archive.records import WrittenPlacement
from noctuary.quantity import ANGLE, SMALL_ANGLE, read
from noctuary.sexagesimal import read_coordinates

NUMBERS = WrittenPlacement(98.0, 4.95, 2.10431, 12.4, False)

BLOCK = """placement:
  centre: "06h32m00.000s +04d57m00.00s"
  image_scale: 2.10431 arcsec
  position_angle: 12.400 deg
  mirrored: no
"""

SIDECAR = """# the second winter
title: 'The Rosette,   second winter'   # quotes and blanks stay
objects: [NGC 2238,  "NGC 2244"]
finished: 2025-02-09
sessions:
- night: 2025-01-18   # an indent that a program would not choose
  start: 19:40
  frames:
      - {filter: H-alpha, exposure: 180 s,   kept: 55}

# a last word
tags:   [winter]
description: |
  A long line that is longer than eighty characters, where a program that writes YAML would break it in two.

  # no comment, but text
"""


def test_everything_else_stays(tmp_path: Path) -> None:
    path = tmp_path / "rosette.yaml"
    path.write_text(SIDECAR, encoding="utf-8")
    add_placement(path, NUMBERS)
    assert path.read_text(encoding="utf-8") == SIDECAR + BLOCK
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize(
    "text",
    [
        "title: a",
        "title: a\r\nfinished: 2025-02-09\r\n",
        "\ufefftitle: a\n",
        "  title: a\n  tags:\n  - b\n",
        "---\ntitle: a\ndescription: |+\n  b\n\n\n",
        "{title: 'a', tags: [b]}  # braces\n",
        "title: a\n...\n",
        'title: "ü"\ncredit: >-\n  two\n  lines\n# end',
    ],
)
def test_every_way_to_write_a_record(text: str, tmp_path: Path) -> None:
    path = tmp_path / "a.yaml"
    path.write_bytes(text.encode())
    before = yaml.safe_load(text.removeprefix("\ufeff"))
    add_placement(path, NUMBERS)
    after = yaml.safe_load(path.read_bytes().decode("utf-8-sig"))
    written = after.pop("placement")
    assert after == before
    assert read_coordinates(written["centre"]) == pytest.approx((98.0, 4.95))
    assert written["mirrored"] is False
    content = path.read_bytes()
    assert content.count(b"\r\n") in (0, content.count(b"\n"))


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("title: a\nplacement: a.fits\n", "already"),
        ("- a\n", "wrong-shape"),
        ("", "empty"),
        ("title: [\n", "yaml"),
        ("title: a\ntitle: b\n", "duplicate-key"),
    ],
)
def test_what_cannot_be_added_to_stays_as_it_was(text: str, word: str, tmp_path: Path) -> None:
    path = tmp_path / "a.yaml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(NotEditable, match=word):
        add_placement(path, NUMBERS)
    assert path.read_text(encoding="utf-8") == text


def test_no_text_in_utf8(tmp_path: Path) -> None:
    path = tmp_path / "a.yaml"
    path.write_bytes(b"title: \xfc\n")
    with pytest.raises(NotEditable, match="UTF-8"):
        add_placement(path, NUMBERS)


def test_permissions_and_links_stay(tmp_path: Path) -> None:
    path, link = tmp_path / "a.yaml", tmp_path / "b.yaml"
    path.write_text("title: a\n", encoding="utf-8")
    path.chmod(0o640)
    link.symlink_to(path)
    add_placement(link, NUMBERS)
    assert link.is_symlink()
    assert path.stat().st_mode & 0o777 == 0o640
    assert "placement:" in path.read_text(encoding="utf-8")


@settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    ra=st.floats(0, 360, exclude_max=True),
    dec=st.floats(-90, 90),
    scale=st.floats(0.05, 100),
    angle=st.floats(0, 360, exclude_max=True),
    mirrored=st.booleans(),
)
def test_numbers_are_read_back(
    ra: float, dec: float, scale: float, angle: float, mirrored: bool, tmp_path: Path
) -> None:
    path = tmp_path / "a.yaml"
    path.write_text("title: a\n", encoding="utf-8")
    add_placement(path, WrittenPlacement(ra, dec, scale, angle, mirrored))
    written = yaml.safe_load(path.read_text(encoding="utf-8"))["placement"]
    ra_read, dec_read = read_coordinates(written["centre"])
    assert abs((ra_read - ra + 180) % 360 - 180) < 3e-6
    assert dec_read == pytest.approx(dec, abs=2e-6)
    assert read(written["image_scale"], SMALL_ANGLE) == pytest.approx(scale, rel=1e-5)
    turned = read(written["position_angle"], ANGLE)
    assert 0 <= turned < 360
    assert abs((turned - angle + 180) % 360 - 180) < 6e-4
    assert written["mirrored"] is mirrored

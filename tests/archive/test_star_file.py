"""Star shapes kept beside a sidecar: what is written is read, and what is damaged is a doubt."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from noctuary.archive.star_file import (
    PATTERNS,
    StarShapes,
    StarZone,
    read_star_file,
    star_file,
    write_star_file,
)
from noctuary.diagnostic import Diagnostic
from noctuary.images.star_patterns import MEANINGS

EMPTY = StarZone(0, None, None, None, None, None)
KEPT = StarShapes("ab" * 32, "one side", (StarZone(40, 2.5, 0.2, 1.25, 0.1, 45.5), EMPTY) + (EMPTY,) * 7)
SIDECAR = "pictures/winter/rosette.yaml"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "pictures" / "winter").mkdir(parents=True)
    return tmp_path


def test_what_is_kept_is_read_again(folder: Path) -> None:
    assert read_star_file(folder, SIDECAR) is None
    assert write_star_file(folder, SIDECAR, KEPT) == star_file(SIDECAR) == "pictures/winter/rosette.stars.json"
    assert read_star_file(folder, SIDECAR) == KEPT
    assert [p.name for p in (folder / "pictures" / "winter").iterdir()] == ["rosette.stars.json"]


def test_every_pattern_but_no_stars_can_be_kept() -> None:
    assert {*PATTERNS, "too few stars"} == set(MEANINGS)
    assert "too few stars" not in PATTERNS


@pytest.mark.parametrize(
    "change",
    [
        {"pattern": "<b>"}, {"zones": []}, {"zones": None}, {"picture_sha256": 3},
        {"zones": [{"count": True}] * 9}, {"zones": [{"count": -1}] * 9}, {"zones": ["zone"] * 9},
    ],
)  # fmt: skip
def test_a_damaged_file_is_a_doubt(folder: Path, change: dict[str, object]) -> None:
    write_star_file(folder, SIDECAR, KEPT)
    path = folder / star_file(SIDECAR)
    path.write_text(json.dumps(json.loads(path.read_text()) | change))
    found = read_star_file(folder, SIDECAR)
    assert isinstance(found, Diagnostic)
    assert (found.level, found.rule, found.mark.file) == ("doubt", "star-file", star_file(SIDECAR))


@pytest.mark.parametrize(
    ("key", "value"),
    [("width_px", -1), ("width_px", "2"), ("width_px", True), ("elongation", 0.5), ("direction_deg", 400),
     ("count", 1.5), ("width_scatter_px", float("nan")), ("elongation_scatter", float("inf"))],
)  # fmt: skip
def test_numbers_that_cannot_be_are_a_doubt(folder: Path, key: str, value: object) -> None:
    write_star_file(folder, SIDECAR, KEPT)
    path = folder / star_file(SIDECAR)
    plain = json.loads(path.read_text())
    plain["zones"][0][key] = value
    path.write_text(json.dumps(plain))
    assert isinstance(read_star_file(folder, SIDECAR), Diagnostic)


@given(data=st.binary(max_size=300) | st.text(alphabet='[]{}",:0123456789eE-.', max_size=80).map(str.encode))
def test_whatever_lies_there_is_shapes_or_a_finding(tmp_path_factory: pytest.TempPathFactory, data: bytes) -> None:
    folder = tmp_path_factory.getbasetemp() / "anything"
    (folder / "pictures").mkdir(parents=True, exist_ok=True)
    (folder / star_file("pictures/x.yaml")).write_bytes(data)
    assert isinstance(read_star_file(folder, "pictures/x.yaml"), Diagnostic)


def test_a_link_out_of_the_archive_is_not_followed(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> None:
    outside = tmp_path_factory.mktemp("outside") / "x.json"
    write_star_file(folder, SIDECAR, KEPT)
    (folder / star_file(SIDECAR)).rename(outside)
    (folder / star_file(SIDECAR)).symlink_to(outside)
    found = read_star_file(folder, SIDECAR)
    assert isinstance(found, Diagnostic)
    assert found.rule == "outside-archive"

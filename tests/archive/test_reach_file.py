"""Comparisons kept beside a sidecar: what is written is read, and what is damaged is a doubt."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from noctuary.archive.reach_file import KeptReach, reach_file, read_reach_file, write_reach_file
from noctuary.diagnostic import Diagnostic

KEPT = KeptReach("rosette-2024", 0.7, 0.2, 480, 200, 190, 3.1, 4.4, "ab" * 32, "cd" * 32)
SIDECAR = "pictures/rosette.yaml"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "pictures").mkdir()
    return tmp_path


def test_what_is_kept_is_read_again(folder: Path) -> None:
    assert read_reach_file(folder, SIDECAR) == ()
    assert write_reach_file(folder, SIDECAR, [KEPT]) == reach_file(SIDECAR) == "pictures/rosette.reach.json"
    assert read_reach_file(folder, SIDECAR) == (KEPT,)


@pytest.mark.parametrize(
    ("key", "value"),
    [("against", 3), ("deeper_mag", "1"), ("deeper_mag", float("nan")), ("deeper_mag", 99), ("uncertainty_mag", -1),
     ("stars", True), ("stars", -1), ("common", 1.5), ("fwhm_arcsec", 0), ("picture_sha256", None)],
)  # fmt: skip
def test_what_cannot_be_is_a_doubt(folder: Path, key: str, value: object) -> None:
    write_reach_file(folder, SIDECAR, [KEPT])
    path = folder / reach_file(SIDECAR)
    plain = json.loads(path.read_text())
    plain[0][key] = value
    path.write_text(json.dumps(plain))
    kept = read_reach_file(folder, SIDECAR)
    assert isinstance(kept, Diagnostic)
    assert (kept.level, kept.rule, kept.mark.file) == ("doubt", "reach-file", reach_file(SIDECAR))


@given(data=st.binary(max_size=200) | st.text(alphabet='[]{}",:0123456789eE-.', max_size=80).map(str.encode))
def test_any_bytes_are_comparisons_or_a_finding(tmp_path_factory: pytest.TempPathFactory, data: bytes) -> None:
    folder = tmp_path_factory.getbasetemp() / "any_reach"
    (folder / "pictures").mkdir(parents=True, exist_ok=True)
    (folder / reach_file(SIDECAR)).write_bytes(data)
    assert read_reach_file(folder, SIDECAR) == () or isinstance(read_reach_file(folder, SIDECAR), Diagnostic)


def test_a_link_out_of_the_archive_is_not_followed(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> None:
    outside = tmp_path_factory.mktemp("outside") / "x.json"
    write_reach_file(folder, SIDECAR, [KEPT])
    (folder / reach_file(SIDECAR)).rename(outside)
    (folder / reach_file(SIDECAR)).symlink_to(outside)
    kept = read_reach_file(folder, SIDECAR)
    assert isinstance(kept, Diagnostic)
    assert kept.rule == "outside-archive"

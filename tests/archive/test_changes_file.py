"""Changes kept beside a sidecar: what is written is read, and what is damaged is a doubt."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from noctuary.archive.changes_file import (
    KeptChange,
    KeptChanges,
    changes_file,
    read_changes_file,
    write_changes_file,
)
from noctuary.diagnostic import Diagnostic

CHANGE = KeptChange(98.123456, -4.654321, True, True, 7.25, 0.001, 2.125, 0.2, True, 0.25, "star", None, None, 11.3,
                    "NGC 2244")  # fmt: skip
KEPT = KeptChanges("rosette-2024", 480, 200, 1, (CHANGE,), "ab" * 32, "cd" * 32)
SIDECAR = "pictures/rosette.yaml"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "pictures").mkdir()
    return tmp_path


def test_what_is_kept_is_read_again(folder: Path) -> None:
    assert read_changes_file(folder, SIDECAR) == ()
    assert write_changes_file(folder, SIDECAR, [KEPT]) == changes_file(SIDECAR) == "pictures/rosette.changes.json"
    assert read_changes_file(folder, SIDECAR) == (KEPT,)


@pytest.mark.parametrize(
    ("key", "value"),
    [("against", 3), ("tried", -1), ("found", 1.5), ("candidates", {}), ("candidates", [3]), ("picture_sha256", 1)],
)
def test_what_cannot_be_is_a_doubt(folder: Path, key: str, value: object) -> None:
    _spoil(folder, lambda plain: plain.__setitem__(key, value))


@pytest.mark.parametrize(
    ("key", "value"),
    [("ra_deg", 361), ("dec_deg", float("nan")), ("brighter_here", 1), ("form", "dragon"), ("scatters", True),
     ("magnitude", "11"), ("known", 5), ("brighter_share", 2)],
)  # fmt: skip
def test_a_candidate_that_cannot_be_is_a_doubt(folder: Path, key: str, value: object) -> None:
    _spoil(folder, lambda plain: plain["candidates"][0].__setitem__(key, value))


def _spoil(folder: Path, spoil) -> None:
    write_changes_file(folder, SIDECAR, [KEPT])
    path = folder / changes_file(SIDECAR)
    plain = json.loads(path.read_text())
    spoil(plain[0])
    path.write_text(json.dumps(plain))
    kept = read_changes_file(folder, SIDECAR)
    assert isinstance(kept, Diagnostic)
    assert (kept.level, kept.rule, kept.mark.file) == ("doubt", "changes-file", changes_file(SIDECAR))


@given(data=st.binary(max_size=200) | st.text(alphabet='[]{}",:0123456789eE-.', max_size=80).map(str.encode))
def test_any_bytes_are_changes_or_a_finding(tmp_path_factory: pytest.TempPathFactory, data: bytes) -> None:
    folder = tmp_path_factory.getbasetemp() / "any_changes"
    (folder / "pictures").mkdir(parents=True, exist_ok=True)
    (folder / changes_file(SIDECAR)).write_bytes(data)
    assert read_changes_file(folder, SIDECAR) == () or isinstance(read_changes_file(folder, SIDECAR), Diagnostic)

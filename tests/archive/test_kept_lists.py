"""Comparisons and changes kept beside a sidecar: what is written is read, and what is damaged is a doubt."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from noctuary.archive.changes_file import KeptChange, KeptChanges, read_changes_file, write_changes_file
from noctuary.archive.reach_file import KeptReach, read_reach_file, write_reach_file
from noctuary.diagnostic import Diagnostic

SIDECAR = "pictures/rosette.yaml"
CHANGE = KeptChange(98.123456, -4.654321, True, True, 7.25, 0.001, 2.125, 0.2, True, 0.25, "star", None, None, 11.3,
                    "NGC 2244")  # fmt: skip


@dataclass(frozen=True)
class KeptFile:
    """One kind of file that is kept beside a sidecar, and an entry of it."""

    name: str
    entry: Any
    write: Callable[..., str]
    read: Callable[[Path, str], Any]

    def spoiled(self, folder: Path, spoil: Callable[[dict[str, Any]], None]) -> None:
        """Damage the first entry: what is read then is a doubt that names the file."""
        path = folder / self.write(folder, SIDECAR, [self.entry])
        plain = json.loads(path.read_text())
        spoil(plain[0])
        path.write_text(json.dumps(plain))
        kept = self.read(folder, SIDECAR)
        assert isinstance(kept, Diagnostic)
        assert (kept.level, kept.rule, kept.mark.file) == ("doubt", self.rule, self.name)

    @property
    def rule(self) -> str:
        """The rule that a damaged file breaks."""
        return self.name.split(".")[1] + "-file"


CHANGES = KeptFile("pictures/rosette.changes.json",
                   KeptChanges("rosette-2024", 480, 200, 1, (CHANGE,), "ab" * 32, "cd" * 32),
                   write_changes_file, read_changes_file)  # fmt: skip
REACH = KeptFile("pictures/rosette.reach.json",
                 KeptReach("rosette-2024", 0.7, 0.2, 480, 200, 190, 3.1, 4.4, "ab" * 32, "cd" * 32),
                 write_reach_file, read_reach_file)  # fmt: skip
BOTH = pytest.mark.parametrize("kind", [CHANGES, REACH], ids=["changes", "reach"])


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "pictures").mkdir()
    return tmp_path


@BOTH
def test_what_is_kept_is_read_again(kind: KeptFile, folder: Path) -> None:
    assert kind.read(folder, SIDECAR) == ()
    assert kind.write(folder, SIDECAR, [kind.entry]) == kind.name
    assert kind.read(folder, SIDECAR) == (kind.entry,)


@pytest.mark.parametrize(
    ("kind", "key", "value"),
    [(CHANGES, "against", 3), (CHANGES, "tried", -1), (CHANGES, "found", 1.5), (CHANGES, "candidates", {}),
     (CHANGES, "candidates", [3]), (CHANGES, "picture_sha256", 1),
     (REACH, "against", 3), (REACH, "deeper_mag", "1"), (REACH, "deeper_mag", float("nan")),
     (REACH, "deeper_mag", 99), (REACH, "uncertainty_mag", -1), (REACH, "stars", True), (REACH, "stars", -1),
     (REACH, "common", 1.5), (REACH, "fwhm_arcsec", 0), (REACH, "picture_sha256", None)],
)  # fmt: skip
def test_what_cannot_be_is_a_doubt(folder: Path, kind: KeptFile, key: str, value: object) -> None:
    kind.spoiled(folder, lambda plain: plain.__setitem__(key, value))


@pytest.mark.parametrize(
    ("key", "value"),
    [("ra_deg", 361), ("dec_deg", float("nan")), ("brighter_here", 1), ("form", "dragon"), ("scatters", True),
     ("magnitude", "11"), ("known", 5), ("brighter_share", 2)],
)  # fmt: skip
def test_a_candidate_that_cannot_be_is_a_doubt(folder: Path, key: str, value: object) -> None:
    CHANGES.spoiled(folder, lambda plain: plain["candidates"][0].__setitem__(key, value))


@BOTH
@given(data=st.binary(max_size=200) | st.text(alphabet='[]{}",:0123456789eE-.', max_size=80).map(str.encode))
def test_any_bytes_are_entries_or_a_finding(
    tmp_path_factory: pytest.TempPathFactory, kind: KeptFile, data: bytes
) -> None:
    folder = tmp_path_factory.getbasetemp() / f"any_{kind.rule}"
    (folder / "pictures").mkdir(parents=True, exist_ok=True)
    (folder / kind.name).write_bytes(data)
    assert kind.read(folder, SIDECAR) == () or isinstance(kind.read(folder, SIDECAR), Diagnostic)


@BOTH
def test_a_link_out_of_the_archive_is_not_followed(
    tmp_path_factory: pytest.TempPathFactory, kind: KeptFile, folder: Path
) -> None:
    outside = tmp_path_factory.mktemp("outside") / "x.json"
    kind.write(folder, SIDECAR, [kind.entry])
    (folder / kind.name).rename(outside)
    (folder / kind.name).symlink_to(outside)
    kept = kind.read(folder, SIDECAR)
    assert isinstance(kept, Diagnostic)
    assert kept.rule == "outside-archive"

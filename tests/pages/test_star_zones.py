"""The star shapes on a picture's page: measured once, kept, and shown until the picture changes."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from noctuary.build import build

from tests.builders.program import typed

ROOT = Path(__file__).parents[2]


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    """The demo with one picture, whose stars are simulated from catalogues."""
    folder = tmp_path / "nights"
    shutil.copytree(ROOT / "content_demo", folder, ignore=shutil.ignore_patterns("*.stars.json", "exhibits"))
    for file in (folder / "pictures").iterdir():
        if not file.name.startswith("whirlpool-2024."):
            file.unlink()
    return folder


@pytest.mark.slow
def test_a_page_shows_what_was_kept_until_the_picture_changes(archive: Path) -> None:
    def page() -> str:
        outcome = build(archive)
        assert outcome.built, outcome.findings
        told.append([f.rule for f in outcome.findings if f.rule.startswith("star-file")])
        return (archive / "site" / "pictures" / "whirlpool-2024.html").read_text(encoding="utf-8")

    told: list[list[str]] = []
    assert "chart zones" not in page()
    sidecar = (archive / "pictures" / "whirlpool-2024.yaml").read_bytes()
    done = typed("stars", archive, "whirlpool-2024", "--keep")
    assert (done.returncode, done.stderr) == (0, "")
    assert "kept in pictures/whirlpool-2024.stars.json" in done.stdout
    assert (archive / "pictures" / "whirlpool-2024.yaml").read_bytes() == sidecar
    with_chart = page()
    assert "chart zones" in with_chart
    assert "Star shapes in nine zones, measured on the finished picture: FWHM in px." in with_chart
    with (archive / "pictures" / "whirlpool-2024.jpg").open("ab") as picture:
        picture.write(b"\0")
    assert "chart zones" not in page()
    assert told == [[], [], ["star-file-outdated"]]


def test_only_a_picture_of_an_archive_can_be_kept(tmp_path: Path) -> None:
    done = typed("stars", tmp_path / "x.jpg", "--keep")
    assert done.returncode == 2
    assert "--keep and --against need an archive" in done.stderr

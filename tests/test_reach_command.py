"""``noctuary stars ARCHIVE ID --against ID2`` on the demo, whose pictures are drawn with noise by their records."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from noctuary.build import build

from tests.builders.program import typed

DEMO = Path(__file__).parents[1] / "content_demo"


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    folder = tmp_path / "nights"
    shutil.copytree(DEMO, folder, ignore=shutil.ignore_patterns("*.json", "exhibits"))
    for file in (folder / "pictures").iterdir():
        if not file.name.startswith(("whirlpool-", "rosette-")):
            file.unlink()
    return folder


@pytest.mark.slow
def test_the_gain_that_the_demo_was_drawn_with_is_measured_kept_and_shown(archive: Path) -> None:
    done = typed("stars", archive, "whirlpool-2025", "--against", "whirlpool-2024", "--keep")
    assert (done.returncode, done.stderr) == (0, "")
    # make_pictures.py draws the noise from the light and the sky in the records: 0.6 mag by them.
    assert "limiting magnitude  0.6 ± 0.2 mag deeper" in done.stdout
    assert "expected            +0.6 mag" in done.stdout
    assert "kept in pictures/whirlpool-2025.reach.json" in done.stdout
    outcome = build(archive)
    assert outcome.built, outcome.findings
    page = next(p for p in (archive / "site" / "targets").glob("*.html") if "whirlpool-2025" in p.read_text("utf-8"))
    assert "the pictures show 0.6 ± 0.2 mag deeper" in " ".join(page.read_text(encoding="utf-8").split())
    with (archive / "pictures" / "whirlpool-2024.jpg").open("ab") as picture:
        picture.write(b"\0")
    outcome = build(archive)
    assert [f.rule for f in outcome.findings if f.rule.startswith("reach")] == ["reach-file-outdated"]
    assert "the pictures show" not in page.read_text(encoding="utf-8")


def test_what_cannot_be_compared_says_why(archive: Path) -> None:
    narrow = typed("stars", archive, "rosette-2026", "--against", "rosette-2024")
    assert narrow.returncode == 1
    assert "mostly narrowband" in narrow.stderr
    unknown = typed("stars", archive, "rosette-2026", "--against", "rosete-2024")
    assert unknown.returncode == 2
    assert "rosette-2024" in unknown.stderr
    assert typed("stars", archive, "rosette-2026", "--against", "rosette-2026").returncode == 2
    assert "need an archive" in typed("stars", archive / "x.jpg", "--against", "rosette-2024").stderr

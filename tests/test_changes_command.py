"""``noctuary changes ARCHIVE TARGET`` on the demo, into one picture of which a star is drawn that is not there."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
from noctuary.archive.changes_file import KeptChanges, read_changes_file
from noctuary.build import build
from noctuary.diagnostic import Diagnostic
from PIL import Image

from tests.builders.program import typed

DEMO = Path(__file__).parents[1] / "content_demo"


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("changes") / "nights"
    shutil.copytree(DEMO, folder, ignore=shutil.ignore_patterns("*.json", "exhibits"))
    for file in (folder / "pictures").iterdir():
        if not file.name.startswith(("whirlpool-", "rosette-")):
            file.unlink()
    return folder


def with_a_new_star(path: Path, x: int, y: int, height: float) -> None:
    """Draw a star as wide as the stretched ones, 6 px, into a JPEG."""
    with Image.open(path) as image:
        kept = {key: image.info[key] for key in ("exif", "icc_profile", "xmp") if key in image.info}
        pixels = np.asarray(image).astype(float)
    down, right = np.mgrid[0 : pixels.shape[0], 0 : pixels.shape[1]]
    star = height * np.exp(-((right - x) ** 2 + (down - y) ** 2) / (2 * (6.0 / 2.3548) ** 2))
    pixels += star[..., None] if pixels.ndim == 3 else star
    Image.fromarray(np.clip(pixels, 0, 255).astype(np.uint8)).save(path, quality=92, subsampling=0, **kept)


def kept_of(archive: Path, sidecar: str) -> KeptChanges:
    kept = read_changes_file(archive, sidecar)
    assert not isinstance(kept, Diagnostic)
    return kept[0]


@pytest.mark.slow
def test_a_star_that_one_picture_has_is_told_cut_out_and_kept(archive: Path, tmp_path: Path) -> None:
    nothing = typed("changes", archive, "M 51")
    assert (nothing.returncode, nothing.stderr) == (0, "")
    assert "No candidate" in nothing.stdout
    assert not list(archive.glob("pictures/*.changes.json"))
    with_a_new_star(archive / "pictures" / "whirlpool-2025.jpg", 300, 250, 150.0)
    done = typed("changes", archive, "whirlpool-2025", "--keep", "--cut-outs", tmp_path / "cuts")
    assert (done.returncode, done.stderr) == (0, "")
    assert "only in whirlpool-2025 (2024-04-07 to 2025-03-30)" in done.stdout
    assert "nothing there, at least" in done.stdout
    for word in ("variable star", "asteroid or comet", "nova", "satellite or plane", "artefact of processing"):
        assert word in done.stdout
    assert "kept in pictures/whirlpool-2025.changes.json" in done.stdout
    kept = kept_of(archive, "pictures/whirlpool-2025.yaml")
    found = kept.candidates[0]
    assert (kept.found, found.brighter_here, found.missing, found.form) == (1, True, True, "star")
    with Image.open(tmp_path / "cuts" / "whirlpool-2025-whirlpool-2024-01.png") as both:
        older, newer = np.array_split(np.asarray(both.convert("L")).astype(float), 2, axis=1)
    middle = slice(76, 84)
    assert newer[middle, 76:88].max() > older[middle, 76:88].max() + 80
    shown_and_outdated(archive)


def shown_and_outdated(archive: Path) -> None:
    """What was kept has a page with its cut-outs, until one of the pictures is another."""
    outcome = build(archive)
    assert outcome.built, outcome.findings
    site = archive / "site"
    pages = list((site / "changes").glob("*.html"))
    assert len(pages) == 1
    words = " ".join(pages[0].read_text(encoding="utf-8").split())
    assert "Only in the newer picture, at least" in words
    strip = next((site / "images").glob("whirlpool-2025-since-whirlpool-2024.*.webp"))
    assert f"../images/{strip.name}" in words
    with Image.open(strip) as image:
        assert image.size == (324, 160)
    target = next(p for p in (site / "targets").glob("*.html") if "whirlpool-2025" in p.read_text("utf-8"))
    assert f'href="../changes/{pages[0].name}"' in target.read_text(encoding="utf-8")
    with (archive / "pictures" / "whirlpool-2024.jpg").open("ab") as picture:
        picture.write(b"\0")
    outcome = build(archive)
    assert [f.rule for f in outcome.findings if f.rule.startswith("changes")] == ["changes-file-outdated"]
    assert not pages[0].exists()
    assert "What changed on the sky" not in target.read_text(encoding="utf-8")


def test_what_cannot_be_compared_says_why(archive: Path) -> None:
    narrow = typed("changes", archive, "Rosette", "--between", "rosette-2024", "rosette-2026")
    assert narrow.returncode == 1
    assert "mostly narrowband" in narrow.stderr
    unknown = typed("changes", archive, "M 57")
    assert unknown.returncode == 2
    assert "did you mean M 51?" in unknown.stderr
    alone = typed("changes", archive, "M 51", "--between", "whirlpool-2024", "rosette-2024")
    assert alone.returncode == 2
    assert "placed are whirlpool-2024, whirlpool-2025" in alone.stderr

"""A cache that has lost or damaged what it kept costs time, never a build, and never other bytes."""

from __future__ import annotations

import shutil
from pathlib import Path

from noctuary.build import build

from tests.builders.folders import bytes_below, set_plainly, write
from tests.builders.many_pictures import sidecar, write_archive


def test_words_go_into_pictures_that_the_cache_has_lost_or_holds_damaged(tmp_path: Path) -> None:
    archive = write_archive(tmp_path / "archive", 3)
    set_plainly(archive)
    assert build(archive, workers=1).built
    clean = tmp_path / "clean"
    shutil.copytree(archive, clean, ignore=shutil.ignore_patterns(".noctuary", "site"))
    for folder in (archive, clean):
        for number in range(3):
            write(folder / f"pictures/field-{number:05d}.yaml", sidecar(number, 3) + "credit: Somebody else\n")
    gone, damaged, *_ = sorted((archive / ".noctuary" / "renditions").glob("*.jpg"))
    gone.unlink()
    damaged.write_bytes(damaged.read_bytes()[:-1] + b"x")
    assert build(archive, workers=1).built
    assert build(clean, workers=1).built
    assert bytes_below(archive / "site") == bytes_below(clean / "site")
    shutil.rmtree(archive / ".noctuary" / "renditions")
    for folder in (archive, clean):
        write(folder / "pictures/field-00001.yaml", sidecar(1, 3) + "credit: Nobody\n")
        assert build(folder, workers=1).built
    assert bytes_below(archive / "site") == bytes_below(clean / "site")

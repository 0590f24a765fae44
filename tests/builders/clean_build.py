"""A built archive to edit, and the site that a build makes of it that remembers nothing of the one before."""

from __future__ import annotations

import shutil
from pathlib import Path

from noctuary.build import build
from noctuary.build_manifest import DATABASE, FOLDER
from noctuary.edited_rows import EDITS
from noctuary.outcome import Outcome
from noctuary.worked_out import ANSWERS

from tests.builders.folders import bytes_below


def copy_of_built(built: Path, copy: Path) -> Path:
    """The archive ``built`` once more as ``copy``, built there."""
    shutil.copytree(built, copy, symlinks=True)
    assert build(copy, workers=1).built  # its site lies elsewhere now
    return copy


def clean_build(archive: Path) -> tuple[Outcome, list[str]]:
    """A build that remembers nothing but pixels, and the files of the archive's site that it makes otherwise."""
    for file in (DATABASE, ANSWERS, EDITS):
        (archive / FOLDER / file).unlink(missing_ok=True)
    site = bytes_below(archive / "site")
    clean = build(archive, archive.parent / "clean", workers=1)
    assert clean.built
    anew = bytes_below(clean.out)
    shutil.rmtree(clean.out)
    return clean, sorted(name for name in site.keys() | anew.keys() if site.get(name) != anew.get(name))

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


def as_built(archive: Path) -> Path:
    """An archive as it was when it was built, whatever was done to it since this was first asked.

    It lies where it was built, so that nothing of its site has to be set anew.
    """
    kept = archive.parent / "as-built"
    if not kept.is_dir():
        shutil.copytree(archive, kept, symlinks=True)
        return archive
    shutil.rmtree(archive)
    shutil.copytree(kept, archive, symlinks=True)
    assert build(archive, workers=1).built  # every file is another one now
    return archive


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

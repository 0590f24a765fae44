"""A build with nothing to do: looks at the files, says so, and imports next to nothing."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from noctuary.build_manifest import DATABASE, FOLDER, BuildManifest, Stamp, inventory, read_manifest, stamp_of


@dataclass(frozen=True)
class Look:
    """What the last build left of an archive (``left``: the stamp of its file), and the files that are there now.

    ``now`` is empty where that build was not of this program, this folder and this site.
    """

    folder: Path
    out: Path
    left: Stamp | None
    book: BuildManifest
    now: Mapping[str, Stamp]

    @property
    def shows_nothing_new(self) -> bool:
        return bool(self.now) and not self.book.changed_inputs(self.now) and self.book.site_is_as_made(self.out)


def look_at(arguments: list[str]) -> Look | None:
    """A look at what ``build`` with these arguments would build.

    Understands ``[ARCHIVE] [--out FOLDER]`` alone; anything else is left to the full command line.
    """
    out: Path | None = None
    folders: list[str] = []
    waiting = list(arguments)
    while waiting:
        word = waiting.pop(0)
        if word == "--out" and waiting:
            out = Path(waiting.pop(0))
        elif word.startswith("--out="):
            out = Path(word.removeprefix("--out="))
        elif word.startswith("-"):
            return None
        else:
            folders.append(word)
    if len(folders) > 1:
        return None
    folder = Path(folders[0] if folders else ".").resolve()
    out = (out or folder / "site").resolve()
    left = left_by_the_last_build(folder)
    book = read_manifest(folder)
    return Look(folder, out, left, book, inventory(folder, out) if book.is_of(out) else {})


def nothing_to_do(look: Look) -> bool:
    """Whether a build would change nothing; if so, it has said so."""
    if not look.shows_nothing_new:
        return False
    for doubt in look.book.doubts:
        print(doubt, file=sys.stderr)
    print(unchanged(look.book, look.out))
    return True


def left_by_the_last_build(folder: Path, file: str = DATABASE) -> Stamp | None:
    """The stamp of a file that the last build left, if it is there."""
    try:
        return stamp_of((folder / FOLDER / file).stat())
    except OSError:
        return None


def unchanged(book: BuildManifest, out: Path) -> str:
    """The summary of a build that found the site as it should be."""
    pictures, pages = book.counts.get("pictures", 0), book.counts.get("pages", 0)
    return f"Nothing has changed: {pictures} pictures, {pages} pages in {out}. To see it, open {out / 'index.html'}"

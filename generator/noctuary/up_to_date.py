"""A build with nothing to do: looks at the files, says so, and imports next to nothing."""

from __future__ import annotations

import sys
from pathlib import Path

from noctuary.build_manifest import BuildManifest, read_manifest


def nothing_to_do(arguments: list[str]) -> bool:
    """Whether ``build`` with these arguments would change nothing; if so, it has said so.

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
            return False
        else:
            folders.append(word)
    if len(folders) > 1:
        return False
    folder = Path(folders[0] if folders else ".").resolve()
    out = (out or folder / "site").resolve()
    book = read_manifest(folder)
    if not book.saw_the_same(folder, out):
        return False
    for doubt in book.doubts:
        print(doubt, file=sys.stderr)
    print(unchanged(book, out))
    return True


def unchanged(book: BuildManifest, out: Path) -> str:
    """The summary of a build that found the site as it should be."""
    pictures, pages = book.counts.get("pictures", 0), book.counts.get("pages", 0)
    return f"Nothing has changed: {pictures} pictures, {pages} pages in {out}. To see it, open {out / 'index.html'}"

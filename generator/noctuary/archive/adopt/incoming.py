"""Finished pictures that come into the archive from elsewhere: which they are, and how each gets its place.

A picture is copied under its id; with ``link`` it stays where it is and gets a second name in the archive. That is a
hard link: a symbolic one would lead out of the archive, and what leads out is never published.
"""

from __future__ import annotations

import hashlib
import os
import shutil
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from noctuary.archive.adopt.picture_ids import id_for
from noctuary.archive.picture_files import PICTURE_ENDINGS
from noctuary.files import replacing
from noctuary.text import hyphenated

_CHUNK = 1 << 20


@dataclass(frozen=True)
class Incoming:
    """A picture of the archive-to-be: where it is read from, the name and folders it came with, its name in the
    archive. ``fresh``: it is not there yet."""

    source: Path
    came_as: str
    name: str
    fresh: bool


def found_pictures(given: Sequence[Path], archive: Path) -> tuple[list[tuple[Path, str]], list[str]]:
    """The pictures under files and folders as (path, name with the folders it came in), and what led nowhere."""
    pictures: dict[Path, str] = {}
    messages: list[str] = []
    for path in given:
        if path.is_dir():
            root = path.resolve()
            files = list(_under(root, archive))
            if not files:
                messages.append(f"{path}: there is no picture in this folder")
            for file in files:
                pictures.setdefault(file, f"{root.name}/{file.relative_to(root).as_posix()}")
        elif path.is_file():
            file = path.resolve()
            if file.suffix.lower() in PICTURE_ENDINGS:
                pictures.setdefault(file, f"{file.parent.name}/{file.name}")
            else:
                messages.append(f"{path}: this is no picture that a site can show")
        else:
            messages.append(f"{path}: there is no such file or folder")
    return list(pictures.items()), messages


def _under(root: Path, archive: Path) -> Iterable[Path]:
    for here, folders, names in os.walk(root):
        folders[:] = sorted(f for f in folders if not f.startswith(".") and Path(here, f).resolve() != archive)
        for name in sorted(names):
            path = Path(here, name)
            if not name.startswith(".") and path.suffix.lower() in PICTURE_ENDINGS and path.is_file():
                yield path


class Places:
    """Where pictures go in an archive; knows by content what is there already."""

    def __init__(self, archive: Path, pictures: Collection[str], taken: Iterable[str]) -> None:
        self.archive = archive
        self.taken = set(taken)
        self.by_size: dict[int, list[Path]] = {}
        self.digests: dict[Path, str] = {}
        for name in pictures:
            path = archive / name
            try:
                self.by_size.setdefault(path.stat().st_size, []).append(path)
            except OSError:
                continue

    def same(self, file: Path) -> Path | None:
        """The picture with the same bytes that is there, or on its way. Raises OSError."""
        others = self.by_size.get(file.stat().st_size, [])
        digest = self._digest(file) if others else ""
        return next((other for other in others if self._digest(other) == digest), None)

    def take(self, file: Path, came_as: str) -> Incoming:
        """A name in the archive for a new picture: the folders it came in, its id, its own ending in lower case."""
        identity = id_for(came_as, self.taken)
        self.taken.add(identity)
        self.by_size.setdefault(file.stat().st_size, []).append(file)
        # The folder that was named itself holds everything, so it says nothing unless it holds the picture.
        folders = [hyphenated(part, 40) or "folder" for part in came_as.split("/")[1:-1]]
        name = "/".join(["pictures", *folders, identity + file.suffix.lower()])
        return Incoming(file, came_as, name, True)

    def _digest(self, path: Path) -> str:
        if path not in self.digests:
            with path.open("rb") as file:
                self.digests[path] = hashlib.file_digest(file, "sha256").hexdigest()
        return self.digests[path]


def bring(picture: Incoming, archive: Path, *, link: bool) -> str | None:
    """Puts one picture in its place; what to tell where it could not be linked. Raises OSError, FileExistsError
    too."""
    target = archive / picture.name
    target.parent.mkdir(parents=True, exist_ok=True)
    if os.path.lexists(target):
        raise FileExistsError(f"{target} is there already")
    if link:
        try:
            target.hardlink_to(picture.source)
            return None
        except OSError as trouble:
            reason = trouble.strerror or "not supported"
    with picture.source.open("rb") as source, replacing(target, flush=True) as copy:
        shutil.copyfileobj(source, copy, _CHUNK)
    shutil.copystat(picture.source, target)
    return f"{picture.source} was copied, for it cannot be linked here: {reason}" if link else None

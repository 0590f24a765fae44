"""What a build leaves for the next one: which files it saw, what it made from what, what the sky answered.

Everything here lives in ``ARCHIVE/.noctuary`` and may be deleted at any time: the next build then does
all the work again and comes to the same site. Importing this module is cheap, for it decides whether
anything else has to be imported at all.
"""

from __future__ import annotations

import json
import os
import stat
import sys
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import orjson

from noctuary.files import write_whole

FOLDER = ".noctuary"
_MANIFEST = "manifest.json"
_FORMAT = 2

# Files that operating systems drop into any folder they show; nobody made them.
LITTER = frozenset({".DS_Store", "Thumbs.db", "desktop.ini"})

# size, modification time, change time and inode: the last two catch a file that was replaced by one
# of the same size and carried its old modification time along.
Stamp = tuple[int, int, int, int]


def stamp_of(status: os.stat_result) -> Stamp:
    return status.st_size, status.st_mtime_ns, status.st_ctime_ns, status.st_ino


def files_below(folder: str, leave_out: Iterable[str] = ()) -> Iterator[tuple[str, os.stat_result]]:
    """Every file below a folder as (relative path with ``/``, stat), links followed to files only.

    Hidden files and folders are passed over, and so are the absolute folders in ``leave_out``.
    """
    skipped = frozenset(leave_out)
    waiting = [(folder, "")]
    while waiting:
        where, prefix = waiting.pop()
        try:
            entries = list(os.scandir(where))
        except OSError:
            continue
        for entry in entries:
            if entry.name.startswith(".") or entry.name in LITTER:
                continue
            try:
                if entry.is_dir(follow_symlinks=False):
                    if entry.path not in skipped:
                        waiting.append((entry.path, f"{prefix}{entry.name}/"))
                    continue
                status = entry.stat()
            except OSError:
                # A broken link, or a file that vanished: the reader says so where it matters.
                continue
            if stat.S_ISREG(status.st_mode):
                yield f"{prefix}{entry.name}", status


def preparing(out: Path) -> Path:
    """The hidden folder in which the next site for ``out`` is prepared."""
    return out.parent / f".{out.name}.noctuary-new"


def set_aside(out: Path) -> Path:
    """Where the old site waits for a moment on systems that cannot exchange two folders in one step."""
    return out.parent / f".{out.name}.noctuary-old"


def inventory(folder: Path, out: Path) -> dict[str, Stamp]:
    """The stamp of every file of an archive, the output folder left out."""
    return {name: stamp_of(status) for name, status in files_below(str(folder), [str(out)])}


def program_stamp() -> list[Any]:
    """What the program and its libraries look like from outside, without importing any of them.

    A library that is installed, upgraded or removed changes the time of the folder that holds it.
    """
    here = Path(__file__).resolve().parent
    stamps: list[Any] = [sys.version]
    for folder in (here, here.parent / "themes"):
        stamps.extend(
            [name, status.st_size, status.st_mtime_ns]
            for name, status in files_below(str(folder))
            if "__pycache__" not in name
        )
    for libraries in sorted({p for p in sys.path if p.endswith(("site-packages", "dist-packages"))}):
        try:
            stamps.append([libraries, Path(libraries).stat().st_mtime_ns])
        except OSError:
            continue
    return sorted(stamps, key=str)


@dataclass
class BuildManifest:
    """What the last build saw and made.

    ``inputs``: path → [stamp, hash of the content]. ``outputs``: path in the site → [size, modification
    time, content hash, [hashes of what it was made from]]. ``doubts``: findings as plain data, told
    again by a build that finds nothing to do. ``published``: ids of every picture that this or an earlier
    build gave a page → hash of the picture.
    """

    out: str = ""
    program: list[Any] = field(default_factory=list)
    inputs: dict[str, Any] = field(default_factory=dict)
    outputs: dict[str, Any] = field(default_factory=dict)
    doubts: list[dict[str, Any]] = field(default_factory=list)
    counts: dict[str, int] = field(default_factory=dict)
    published: dict[str, str] = field(default_factory=dict)

    def saw_the_same(self, folder: Path, out: Path) -> bool:
        """Whether nothing has changed: not the archive, not the program, not the published site."""
        if self.out != str(out) or not self.outputs or self.program != _plain(program_stamp()):
            return False
        if any(os.path.lexists(remains) for remains in (preparing(out), set_aside(out))):
            return False
        now = inventory(folder, out)
        if len(now) != len(self.inputs):
            return False
        for name, stamp in now.items():
            known = self.inputs.get(name)
            if known is None or tuple(known[0]) != stamp:
                return False
        return self.site_is_as_made(out)

    def site_is_as_made(self, out: Path) -> bool:
        """Whether the published site still has the sizes and times that the last build gave it."""
        found = 0
        for name, status in _all_files(str(out)):
            known = self.outputs.get(name)
            if known is None or known[0] != status.st_size or known[1] != status.st_mtime_ns:
                return False
            found += 1
        return found == len(self.outputs)


def read_logbook(folder: Path) -> BuildManifest:
    """The logbook of an archive; an empty one where there is none or it cannot be read."""
    try:
        data = unsealed((folder / FOLDER / _MANIFEST).read_bytes())
        try:
            plain = orjson.loads(data)
        except ValueError:
            plain = json.loads(data)
        if plain.pop("format") != _FORMAT:
            return BuildManifest()
        return BuildManifest(**plain)
    except (OSError, ValueError, TypeError, KeyError, AttributeError):
        return BuildManifest()


def write_logbook(folder: Path, logbook: BuildManifest) -> None:
    """Writes the logbook whole or not at all; raises OSError."""
    plain = {"format": _FORMAT, **vars(logbook)}
    try:
        told = orjson.dumps(plain)
    except TypeError:  # the name of a file that is no UTF-8, which only the slower writer can tell
        told = json.dumps(plain, separators=(",", ":")).encode()
    write_whole(folder / FOLDER / _MANIFEST, sealed(told))


def sealed(data: bytes) -> bytes:
    """Data with a checksum before it, so that a disk that turns a bit is found out."""
    return b"%08x\n" % zlib.crc32(data) + data


def unsealed(data: bytes) -> bytes:
    """What was :func:`sealed`; raises ValueError where it is not what it was."""
    if len(data) < 9 or int(data[:8], 16) != zlib.crc32(data := data[9:]):
        raise ValueError("damaged")
    return data


def _all_files(folder: str, *, strict: bool = False) -> Iterator[tuple[str, os.stat_result]]:
    """Every file of a published site, hidden ones too (a link is never followed).

    A folder that cannot be read is passed over, or raises OSError where it is asked for strictly.
    """
    waiting = [(folder, "")]
    while waiting:
        where, prefix = waiting.pop()
        try:
            with os.scandir(where) as entries:
                for entry in entries:
                    if entry.is_dir(follow_symlinks=False):
                        waiting.append((entry.path, f"{prefix}{entry.name}/"))
                    elif entry.name not in LITTER:
                        yield f"{prefix}{entry.name}", entry.stat(follow_symlinks=False)
        except OSError:
            if strict:
                raise


def site_files(out: Path, *, strict: bool = False) -> dict[str, os.stat_result]:
    """Every file of a published site by its path; with ``strict``, raises OSError where it cannot be told."""
    return dict(_all_files(str(out), strict=strict))


def _plain(value: list[Any]) -> Any:
    """A value as it comes back from JSON, so that it can be compared with one that did."""
    return json.loads(json.dumps(value))

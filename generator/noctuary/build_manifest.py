"""What a build leaves for the next one: which files it saw and made, and what it said of them.

Everything here lives in ``ARCHIVE/.noctuary`` and may be deleted at any time: the next build then does
all the work again and comes to the same site. Importing this module is cheap, for it decides whether
anything else has to be imported at all.
"""

from __future__ import annotations

import os
import stat
import sys
import zlib

# Of hashlib, which loads OpenSSL besides: a fifth of the time of a build with nothing to do.
from _blake2 import blake2b
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from noctuary.diagnostic import Diagnostic, Mark, in_order, one_line

if TYPE_CHECKING:
    from noctuary.edited_rows import EditedRows

FOLDER = ".noctuary"
DATABASE = "builds.sqlite"
_FORMAT = "2"
_COUNTS = ("pictures", "pages")

# Files that operating systems drop into any folder they show; nobody made them.
LITTER = frozenset({".DS_Store", "Thumbs.db", "desktop.ini"})

# size, modification time, change time and inode: the last two catch a file that was replaced by one
# of the same size and carried its old modification time along.
Stamp = tuple[int, int, int, int]

# Size and modification time of a file of the published site, which has some ten files for each picture: an
# os.stat_result of each would take half a kilobyte. What is no regular file has the size -1.
SiteStamp = tuple[int, int]


def stamp_of(status: os.stat_result) -> Stamp:
    # 63 bits of the inode: what a database holds as an integer.
    return status.st_size, status.st_mtime_ns, status.st_ctime_ns, status.st_ino & 0x7FFFFFFFFFFFFFFF


def site_stamp(status: os.stat_result) -> SiteStamp:
    return status.st_size if stat.S_ISREG(status.st_mode) else -1, status.st_mtime_ns


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


def inventory(folder: Path, out: Path) -> dict[str, Stamp]:
    """The stamp of every file of an archive, the output folder left out."""
    return {name: stamp_of(status) for name, status in files_below(str(folder), [str(out)])}


def program_stamp() -> str:
    """What the program and its libraries look like from outside, without importing any of them: a digest.

    A library that is installed, upgraded or removed changes the time of the folder that holds it.
    """
    package = Path(__file__).resolve().parent
    stamps = [sys.version]
    # Themes lie inside the package when it is installed, beside the package's folder in a checkout.
    for folder in (package, package.parent.parent / "themes"):
        stamps += [
            f"{name}\0{status.st_size}\0{status.st_mtime_ns}"
            for name, status in files_below(str(folder))
            if "__pycache__" not in name
        ]
    for libraries in {p for p in sys.path if p.endswith(("site-packages", "dist-packages"))}:
        try:
            stamps.append(f"{libraries}\0{Path(libraries).stat().st_mtime_ns}")
        except OSError:
            continue
    return blake2b("\n".join(sorted(stamps)).encode("utf-8", "surrogateescape"), digest_size=20).hexdigest()


@dataclass
class BuildManifest:
    """What the last build saw and made.

    ``build`` tells this build from every other. ``stamp`` is the :func:`program_stamp` of the program that built,
    ``day`` the date of that day in ISO 8601.
    ``inputs``: path → its stamp and the SHA-256 of its content, empty where nobody needed it. ``outputs``: path in
    the site → size and modification time (ns) of the file there. ``doubts``: what was reported, and is again by a
    build with nothing to do. ``published``: ids of every picture that this or an earlier build gave a page → hash of
    the picture. ``address``: where the site was to be published, empty where that was not said.
    """

    out: str = ""
    build: str = ""
    stamp: str = ""
    day: str = ""
    inputs: dict[str, tuple[Stamp, str]] = field(default_factory=dict)
    outputs: dict[str, SiteStamp] = field(default_factory=dict)
    doubts: list[Diagnostic] = field(default_factory=list)
    counts: dict[str, int] = field(default_factory=dict)
    published: dict[str, str] = field(default_factory=dict)
    address: str = ""

    def saw_the_same(self, folder: Path, out: Path) -> bool:
        """Whether nothing has changed: not the archive, not the program, not the published site."""
        return self.is_of(out) and not self.changed_inputs(inventory(folder, out)) and self.site_is_as_made(out)

    def is_of(self, out: Path) -> bool:
        """Whether this very program left it, and its site is in ``out`` with no change of it under way."""
        if self.out != str(out) or not self.outputs or self.stamp != program_stamp():
            return False
        return not os.path.lexists(preparing(out))

    def changed_inputs(self, now: Mapping[str, Stamp]) -> set[str]:
        """The files of the archive that have come, gone or changed since."""
        changed = {name for name, stamp in now.items() if name not in self.inputs or self.inputs[name][0] != stamp}
        return changed | (self.inputs.keys() - now.keys())

    def site_is_as_made(self, out: Path) -> bool:
        """Whether the published site still has the sizes and times that the last build gave it."""
        found = 0
        for name, stamp in _all_files(str(out)):
            if self.outputs.get(name) != stamp:
                return False
            found += 1
        return found == len(self.outputs)


def read_manifest(folder: Path) -> BuildManifest:
    """The manifest of an archive; an empty one where there is none or it is not sound."""
    from noctuary.build_database import SEEN, BuildDatabase
    from noctuary.edited_rows import read_edits

    try:
        database = BuildDatabase(folder / FOLDER / DATABASE, SEEN)
    except ValueError:
        return BuildManifest()
    try:
        about: dict[Any, Any] = dict(database.rows("about"))
        if about.get("format") != _FORMAT:
            return BuildManifest()
        base = about["build"]
        edits = read_edits(folder / FOLDER, base)
        about |= edits.about
        inputs = [*database.rows("inputs"), *edits.of("inputs")]
        outputs = [*database.rows("outputs"), *edits.of("outputs")]
        edited = {os.fsdecode(row[0]) for row in edits.of("inputs")}
        doubts = [row for row in database.rows("doubts") if row[0] not in edited] + edits.doubts
        return BuildManifest(
            out=about["out"],
            build=about["build"],
            stamp=about["stamp"],
            day=about["day"],
            inputs={os.fsdecode(path): (tuple(stamp), sha) for path, *stamp, sha in inputs},
            outputs={os.fsdecode(path): (size, modified) for path, size, modified in outputs},
            doubts=in_order(_diagnostic(*row) for row in doubts),
            counts={name: int(about[name]) for name in _COUNTS},
            published=dict(database.rows("published")),
            address=about.get("address", ""),
        )
    except (ValueError, KeyError, TypeError):
        return BuildManifest()
    finally:
        database.close()


def _diagnostic(file: str, line: int, column: int, level: str, rule: str, message: str, hint: str) -> Diagnostic:
    """A doubt as it is printed: on a line of its own, whatever the database holds."""
    return Diagnostic(Mark(one_line(file), line, column), "doubt", one_line(rule), one_line(message), one_line(hint))


def write_manifest(folder: Path, book: BuildManifest) -> None:
    """Keeps what a build saw and made, whole or not at all, and lets go what edits had changed; raises OSError."""
    from noctuary.build_database import SEEN, write_tables
    from noctuary.edited_rows import EDITS

    about = {"format": _FORMAT, "out": book.out, "build": book.build, "stamp": book.stamp, "day": book.day}
    about["address"] = book.address
    about |= {name: str(book.counts.get(name, 0)) for name in _COUNTS}
    write_tables(
        folder / FOLDER / DATABASE,
        SEEN,
        {
            "about": about.items(),
            "inputs": _input_rows(book, book.inputs),
            "outputs": _output_rows(book, book.outputs),
            "doubts": map(_doubt_row, book.doubts),
            "published": book.published.items(),
        },
    )
    (folder / FOLDER / EDITS).unlink(missing_ok=True)


def edit_manifest(
    edits: EditedRows, book: BuildManifest, inputs: Collection[str], outputs: Collection[str]
) -> None:
    """Puts into ``edits`` in what a manifest differs from the last one: these inputs, all that is reported of them,
    these outputs."""
    edits.about["build"] = book.build
    edits.put("inputs", _input_rows(book, inputs))
    edits.put("outputs", _output_rows(book, outputs))
    edits.doubt(inputs, (_doubt_row(d) for d in book.doubts if d.mark.file in inputs))


def _input_rows(book: BuildManifest, names: Iterable[str]) -> Iterator[tuple[bytes | int | str, ...]]:
    for name in names:
        stamp, sha256 = book.inputs[name]
        yield os.fsencode(name), *stamp, sha256


def _output_rows(book: BuildManifest, names: Iterable[str]) -> Iterator[tuple[bytes | int, ...]]:
    return ((os.fsencode(name), *book.outputs[name]) for name in names)


def _doubt_row(d: Diagnostic) -> tuple[str | int, ...]:
    return *d.mark, d.level, d.rule, d.message, d.hint


def sealed(data: bytes) -> bytes:
    """Data with a checksum before it, so that a disk that turns a bit is found out."""
    return b"%08x\n" % zlib.crc32(data) + data


def unsealed(data: bytes) -> bytes:
    """What was :func:`sealed`; raises ValueError where it is not what it was."""
    if len(data) < 9 or int(data[:8], 16) != zlib.crc32(data := data[9:]):
        raise ValueError("damaged")
    return data


def _all_files(folder: str, *, strict: bool = False) -> Iterator[tuple[str, SiteStamp]]:
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
                        yield f"{prefix}{entry.name}", site_stamp(entry.stat(follow_symlinks=False))
        except OSError:
            if strict:
                raise


def site_files(out: Path, *, strict: bool = False) -> dict[str, SiteStamp]:
    """Every file of a published site by its path; with ``strict``, raises OSError where it cannot be read."""
    return dict(_all_files(str(out), strict=strict))

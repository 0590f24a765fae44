"""The renditions that were made, kept so that they are not made again.

One folder holds them: the encoded files, and for each picture one entry that says what belongs to it. The entry is
written last, in one step, so that a build that stops half-way leaves nothing that looks whole. An entry is believed
only while every file has the size it had; the bytes are checked against their hash when they are read for the site.
The folder may be deleted at any time.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
from collections.abc import Collection, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO, Any

from noctuary.files import replacing
from noctuary.images import recipe, tiles
from noctuary.images.recipe import PictureFile, Rendition

#: The cache is cut back to this size after a build, the longest unused first.
MAX_BYTES = 20_000_000_000
_DIGITS = 12


class DamagedRendition(Exception):
    """A kept file that is gone or is not what was written. Make the picture again."""


def source_hash(path: Path) -> str:
    """The hash of a source file's bytes, in hexadecimal."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def key(source: str, path: Path, largest: int | None = None) -> str:
    """The name of a picture's entry, from the hash of its bytes and everything else that decides its renditions
    (``largest`` as for :func:`recipe.sizes`) and its doubts (one of which is about the ending of its name)."""
    made_of = (
        source, path.suffix.lower(), largest, recipe.RECIPE_VERSION,
        recipe.WIDTHS, recipe.WEBP_WIDTHS, recipe.NEAR_FULL, recipe.BINNED_WITHIN, recipe.FULL_MAX_PIXELS,
        recipe.JPEG_QUALITY, recipe.FULL_JPEG_QUALITY, recipe.WEBP_QUALITY, recipe.WEBP_METHOD,
        tiles.SIDE, tiles.QUALITY, tiles.LEAST_PIXELS,
    )  # fmt: skip
    return hashlib.sha256(repr(made_of).encode()).hexdigest()[:32]


def file_name(entry: str, width: int, ending: str) -> str:
    return f"{entry}-{width}{ending}"


def tiles_name(entry: str) -> str:
    return f"{entry}-tiles.pack"


class Sink(io.RawIOBase):
    """Where a file's bytes go as they are made; nothing is held in memory, and at the end their hash is known."""

    def __init__(self, file: IO[bytes]) -> None:
        self._file = file
        self._whole = hashlib.sha256()
        self.bytes = 0

    def writable(self) -> bool:
        return True

    def write(self, data: Any) -> int:
        self._whole.update(data)
        self._file.write(data)
        self.bytes += len(data)
        return len(data)

    @property
    def sha256(self) -> str:
        return self._whole.hexdigest()


@contextmanager
def written(path: Path) -> Iterator[Sink]:
    """A file that is there wholly once the context is left without an error, or not at all; raises OSError.

    It is not flushed to the disk. After a power failure it may hold anything, which is noticed by its hash when it is
    read (:func:`read_rendition`); to wait for the disk after every file would cost more than making one again.
    """
    with replacing(path) as file:
        yield Sink(file)


def remember(folder: Path, entry: str, picture: PictureFile, tiles_sha256: str) -> None:
    """Writes the entry of a picture whose files are all in ``folder``; ``tiles_sha256`` is the hash of its tiles."""
    plain = {
        "width": picture.width,
        "height": picture.height,
        "colour": picture.colour,
        "doubts": [list(d) for d in picture.doubts],
        "renditions": [
            {
                "width": r.width,
                "height": r.height,
                "format": r.format,
                "file": r.file.name,
                "bytes": r.bytes,
                "sha256": r.sha256,
            }
            for r in picture.renditions
        ],
        "tiles": None
        if picture.tiles is None
        else {
            "file": picture.tiles.name,
            "bytes": picture.tiles.stat().st_size,
            "sha256": tiles_sha256,
        },
    }
    plain["seal"] = _seal(plain)
    with written(folder / f"{entry}.json") as sink:
        sink.write(_as_json(plain))


def recall(folder: Path, entry: str) -> PictureFile | None:
    """A picture's renditions where all of them are still there in their right size, else None."""
    plain = _entry(folder, entry)
    if plain is None:
        return None
    try:
        renditions = []
        for r in plain["renditions"]:
            file = folder / _inside(r["file"], entry)
            if file.stat().st_size != r["bytes"]:
                return None
            width, height = int(r["width"]), int(r["height"])
            renditions.append(Rendition(width, height, r["format"], file, int(r["bytes"]), str(r["sha256"])))
        if not renditions:
            return None
        tiled = None
        if plain["tiles"] is not None:
            tiled = folder / _inside(plain["tiles"]["file"], entry)
            if tiled.stat().st_size != plain["tiles"]["bytes"]:
                return None
        doubts = tuple((str(a), str(b), str(c)) for a, b, c in plain["doubts"])
        width, height, colour = int(plain["width"]), int(plain["height"]), str(plain["colour"])
        return PictureFile(width, height, colour, tuple(renditions), doubts, tiled)
    except (OSError, KeyError, TypeError, ValueError):
        return None


def read_rendition(file: Path, sha256: str) -> bytes:
    """The bytes of a kept rendition, as they were written; ``sha256`` is their hash, or its first digits.

    Raises DamagedRendition where they are not, after forgetting the entry, so that it is made again.
    """
    try:
        data = file.read_bytes()
    except OSError:
        data = b""
    if not data or not sha256 or not hashlib.sha256(data).hexdigest().startswith(sha256):
        with suppress(OSError):
            (file.parent / f"{file.name.rpartition('-')[0]}.json").unlink()
        raise DamagedRendition(file.name)
    return data


def check_tiles(path: Path) -> None:
    """Raises DamagedRendition where kept tiles are not what was written, after forgetting their entry."""
    entry = path.name.rpartition("-")[0]
    plain = (_entry(path.parent, entry) or {}).get("tiles")
    try:
        with path.open("rb") as file:
            found = hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        found = ""
    if not isinstance(plain, dict) or found != plain.get("sha256"):
        with suppress(OSError):
            (path.parent / f"{entry}.json").unlink()
        raise DamagedRendition(path.name)


def _entry(folder: Path, entry: str) -> dict[str, Any] | None:
    try:
        plain = json.loads((folder / f"{entry}.json").read_bytes())
    except (OSError, ValueError, RecursionError):
        return None
    # A disk that turns one bit of a width or a colour would otherwise be believed.
    return plain if isinstance(plain, dict) and plain.pop("seal", None) == _seal(plain) else None


def _as_json(plain: dict[str, Any]) -> bytes:
    return json.dumps(plain, ensure_ascii=False, sort_keys=True).encode("utf-8", "surrogatepass")


def _seal(plain: dict[str, Any]) -> str:
    return hashlib.sha256(_as_json(plain)).hexdigest()


def _inside(name: object, entry: str) -> str:
    if not isinstance(name, str) or not name.startswith(f"{entry}-") or "/" in name or "\\" in name:
        raise ValueError("a name that leaves the folder")
    return name


def published_name(name: str, width: int, sha256: str, format: str) -> str:
    """``NAME-WIDTH.HASH.jpg``: the name changes with the pixels, so a browser may keep the file for ever.

    ``sha256`` is that of the encoded picture without any words in it: an edited title moves no picture.
    """
    return f"{name}-{width}.{sha256[:_DIGITS]}{recipe.ENDINGS[format]}"


def hash_in(published: str) -> str:
    """The first digits of the hash that a published name holds."""
    return published.rsplit(".", 2)[1]


def prune(folder: Path, keep: Collection[str], max_bytes: int = MAX_BYTES) -> int:
    """Cuts the folder back: remains of broken builds go, then entries not in ``keep``, oldest first, until at most
    ``max_bytes`` are left. Touches nothing but files of its own naming. Returns the number of files deleted."""
    if not folder.is_dir():
        return 0
    wanted = set(keep)
    belonging: dict[str, list[tuple[Path, int, float]]] = {}
    deleted = 0
    with os.scandir(folder) as found:
        files_there = sorted((f for f in found if f.is_file(follow_symlinks=False)), key=lambda f: f.name)
    for file in files_there:
        if file.name.startswith(".") and file.name.endswith(".part"):
            deleted += _gone(Path(file.path))
            continue
        entry = file.name.partition("-")[0].partition(".")[0]
        if len(entry) != 32 or set(entry) - set("0123456789abcdef"):
            continue
        with suppress(OSError):
            stat = file.stat()
            belonging.setdefault(entry, []).append((Path(file.path), stat.st_size, stat.st_mtime))
    total = sum(size for files in belonging.values() for _, size, _ in files)
    by_age = sorted(belonging, key=lambda e: (max(t for _, _, t in belonging[e]), e))
    for entry in by_age:
        files = belonging[entry]
        whole = any(p.name == f"{entry}.json" for p, _, _ in files)
        if entry in wanted or (whole and total <= max_bytes):
            continue
        # The entry goes first: a rendition without one is only a remainder.
        for path, size, _ in sorted(files, key=lambda f: f[0].suffix != ".json"):
            deleted += _gone(path)
            total -= size
    return deleted


def _gone(path: Path) -> int:
    with suppress(OSError):
        path.unlink()
        return 1
    return 0

"""Which files are frames, and what their headers say: folders and globs in, headers out."""

# Paths stay text here: thousands of them cross between processes and are compared by their endings.
# ruff: noqa: PTH100, PTH111, PTH112, PTH113, PTH118, PTH122, PTH207

from __future__ import annotations

import glob
import os
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from pathlib import Path

from noctuary.archive.gather import camera_header, ciff_header, fits_header, x3f_header
from noctuary.archive.gather.frame_header import FrameHeader, NoHeader
from noctuary.machine import cores

Progress = Callable[[int, int], None]
Unreadable = tuple[str, str]

FITS_ENDINGS = (".fits", ".fit", ".fts", ".fits.gz", ".fit.gz", ".fts.gz", ".fits.fz", ".fit.fz", ".fz")
RAW_ENDINGS = (
    ".dng", ".cr2", ".cr3", ".crw", ".nef", ".nrw", ".arw", ".sr2", ".srf", ".orf", ".rw2", ".raf", ".pef", ".srw",
    ".3fr", ".iiq", ".raw", ".x3f", ".kdc", ".dcr", ".mrw", ".erf",
)  # fmt: skip
PICTURE_ENDINGS = (".jpg", ".jpeg", ".tif", ".tiff", ".heic", ".heif", ".hif")
_ENDINGS = FITS_ENDINGS + RAW_ENDINGS + PICTURE_ENDINGS

_POOL_FROM = 300  # below this, starting processes takes longer than reading
_CHUNK = 50


def found(paths: Iterable[str | os.PathLike[str]]) -> tuple[list[str], list[Unreadable]]:
    """Every frame under the given folders, globs and files, each once, in order; and names that led nowhere.

    In a folder only files whose ending is that of a frame are taken, at any depth but not through hidden
    folders; a file named outright is taken whatever its ending. Where a camera wrote a raw and a JPEG of the
    same exposure, the raw alone counts.
    """
    files: dict[str, str] = {}
    nowhere: list[Unreadable] = []
    for given in paths:
        text = os.fspath(given)
        outright = [text] if os.path.lexists(text) else sorted(glob.glob(os.path.expanduser(text), recursive=True))
        if not outright:
            nowhere.append((text, "there is no such file or folder"))
        for name in outright:
            for file in _under(name) if os.path.isdir(name) else [name]:
                files.setdefault(os.path.realpath(file), os.path.abspath(file))
    raws = {os.path.splitext(f)[0].casefold() for f in files.values() if f.casefold().endswith(RAW_ENDINGS)}
    kept = [
        f
        for f in files.values()
        if not (f.casefold().endswith((".jpg", ".jpeg", ".heic", ".heif", ".hif"))
                and os.path.splitext(f)[0].casefold() in raws)
    ]  # fmt: skip
    return sorted(kept), nowhere


def _under(folder: str) -> list[str]:
    frames = []
    for here, folders, names in os.walk(folder):
        folders[:] = sorted(f for f in folders if not f.startswith("."))
        frames += [os.path.join(here, n) for n in sorted(names) if n.casefold().endswith(_ENDINGS) and n[0] != "."]
    return frames


def headers(files: Sequence[str], progress: Progress | None = None) -> tuple[list[FrameHeader], list[Unreadable]]:
    """The headers of many frames, read by several processes when there are many, in the order of the files."""
    chunks = [files[at : at + _CHUNK] for at in range(0, len(files), _CHUNK)]
    done: list[FrameHeader | Unreadable] = []

    def take(chunk: list[FrameHeader | Unreadable]) -> None:
        done.extend(chunk)
        if progress:
            progress(len(done), len(files))

    workers = min(cores(), len(chunks), 8)
    if len(files) >= _POOL_FROM and workers > 1:
        try:
            with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
                for chunk in pool.map(_headers_of, chunks):
                    take(chunk)
        except (BrokenProcessPool, OSError):
            # No processes to be had (a restricted machine, a script that cannot be imported again).
            done.clear()
    if len(done) < len(files):
        done.clear()
        for files_of_chunk in chunks:
            take(_headers_of(files_of_chunk))
    return [d for d in done if isinstance(d, FrameHeader)], [d for d in done if not isinstance(d, FrameHeader)]


def _headers_of(files: Sequence[str]) -> list[FrameHeader | Unreadable]:
    return [header_of(file) for file in files]


def header_of(file: str) -> FrameHeader | Unreadable:
    """The header of one frame by what the file begins with, or its path and why it cannot be read."""
    try:
        if not os.path.isfile(file):
            return file, "it is not a file"
        with Path(file).open("rb") as opened:
            begins = opened.read(16)
        if not begins:
            return file, "it is empty"
        fits = begins.startswith((b"SIMPLE", b"XTENSION")) or file.casefold().endswith(FITS_ENDINGS)
        if fits:
            return fits_header.read(file)
        if begins[6:14] == b"HEAPCCDR":
            return ciff_header.read(file)
        return _x3f(file) if begins[:4] == b"FOVb" else camera_header.read(file)
    except NoHeader as trouble:
        return file, str(trouble)
    except OSError as trouble:
        return file, trouble.strerror or "it cannot be read"
    except Exception:  # a header damaged in a way nobody thought of must not lose the night's other frames
        return file, "its header is damaged"


def _x3f(file: str) -> FrameHeader:
    """By its properties, or by the EXIF of its preview where a later camera left them out. Raises NoHeader."""
    try:
        return x3f_header.read(file)
    except NoHeader:
        return camera_header.read(file)


def survivors(kept: str | os.PathLike[str]) -> list[str]:
    """The names of the subs that survived: the files of a folder, or the lines of a list.

    Raises :class:`OSError` when the folder or list cannot be read, :class:`UnicodeDecodeError` for no text.
    """
    place = Path(kept)
    if place.is_dir():
        return sorted(
            str(Path(here, name)) for here, _, names in os.walk(place) for name in names if not name.startswith(".")
        )
    lines = (line.strip().strip("\"'") for line in place.read_text(encoding="utf-8-sig").splitlines())
    return [line for line in lines if line and not line.startswith("#")]


def surviving(frames: Sequence[str], names: Iterable[str]) -> tuple[set[str], list[str], list[str]]:
    """Which frames the surviving names mean, the names that mean none, and those that could mean several.

    A name means the frame with the same path or the longest common tail of it; else the frame of the same
    stem, whatever the ending; else the frame whose stem it contains as a word (``c_light_0012_r.tif``).
    """
    by_stem: dict[str, list[str]] = {}
    for frame in frames:
        by_stem.setdefault(_stem(frame), []).append(frame)
    alive: set[str] = set()
    unknown: list[str] = []
    unclear: list[str] = []
    lengths = sorted({len(stem) for stem in by_stem if len(stem) >= 3}, reverse=True)
    for name in names:
        candidates = by_stem.get(_stem(name)) or _containing(_stem(name), by_stem, lengths)
        if not candidates:
            unknown.append(name)
        else:
            parts = _parts(name)
            best = max(_common_tail(parts, _parts(c)) for c in candidates)
            meant = [c for c in candidates if _common_tail(parts, _parts(c)) == best]
            if len(meant) == 1:
                alive.add(meant[0])
            else:
                unclear.append(name)
    return alive, unknown, unclear


def _stem(path: str) -> str:
    name = path.replace("\\", "/").rsplit("/", 1)[-1].casefold()
    for ending in sorted(_ENDINGS, key=len, reverse=True):
        if name.endswith(ending):
            return name[: -len(ending)]
    return name.rsplit(".", 1)[0] if "." in name else name


def _containing(stem: str, by_stem: dict[str, list[str]], lengths: list[int]) -> list[str]:
    for length in lengths:
        for at in range(len(stem) - length + 1):
            part = stem[at : at + length]
            before = stem[at - 1] if at else " "
            after = stem[at + length] if at + length < len(stem) else " "
            if part in by_stem and not before.isalnum() and not after.isalnum():
                return by_stem[part]
    return []


def _parts(path: str) -> list[str]:
    folders = path.replace("\\", "/").casefold().split("/")[:-1]
    return [p for p in folders if p not in ("", ".")]


def _common_tail(one: list[str], other: list[str]) -> int:
    length = 0
    for a, b in zip(reversed(one), reversed(other), strict=False):
        if a != b:
            break
        length += 1
    return length

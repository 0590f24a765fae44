"""What a site weighs, by kind of file."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

#: Kinds in the order in which they are listed.
KINDS = ("pages", "pictures as pages show them", "full pictures", "tiles of large pictures", "share pictures", "data",
         "theme")  # fmt: skip
_OF_PICTURE = re.compile(r"images/(?:(.+)-tiles\.[0-9a-f]+/|(.+)-\d+\.[0-9a-f]+\.\w+$)")
_PICTURE = re.compile(r"images/(.+)-(\d+)\.[0-9a-f]+\.jpg")


def weights(sizes: Mapping[str, int]) -> dict[str, tuple[int, int]]:
    """Kind of file → how many there are and their bytes, kinds without a file left out. ``sizes``: name → bytes."""
    full = _full_pictures(sizes)
    found: dict[str, tuple[int, int]] = {}
    for kind in KINDS:
        each = [size for name, size in sizes.items() if _kind(name, full) == kind]
        if each:
            found[kind] = len(each), sum(each)
    return found


def of_pictures(sizes: Mapping[str, int]) -> dict[str, int]:
    """Picture → the bytes of its renditions and tiles; the heaviest first."""
    found: dict[str, int] = {}
    for name, size in sizes.items():
        if (match := _OF_PICTURE.match(name)) is not None:
            picture = match[1] or match[2]
            found[picture] = found.get(picture, 0) + size
    return dict(sorted(found.items(), key=lambda each: (-each[1], each[0])))


def amount(count: int) -> str:
    """Bytes for the eye, in powers of a thousand: ``512 B``, ``4.2 kB``, ``31 MB``."""
    size = float(count)
    for unit in ("B", "kB", "MB"):
        if size < 999.5:
            return f"{size:.0f} {unit}" if unit == "B" or size >= 9.95 else f"{size:.1f} {unit}"
        size /= 1000
    return f"{size:.1f} GB" if size < 99.95 else f"{size:.0f} GB"


def _kind(name: str, full: frozenset[str]) -> str:
    if name.endswith(".html"):
        return "pages"
    if name.startswith("images/"):
        return KINDS[2] if name in full else KINDS[3] if "-tiles." in name else KINDS[1]
    return {"share": "share pictures", "theme": "theme"}.get(name.partition("/")[0], "data")


def _full_pictures(names: Iterable[str]) -> frozenset[str]:
    """The widest JPEG of each picture."""
    widest: dict[str, tuple[int, str]] = {}
    for name in names:
        if (found := _PICTURE.fullmatch(name)) is not None:
            widest[found[1]] = max(widest.get(found[1], (0, "")), (int(found[2]), name))
    return frozenset(name for _, name in widest.values())

"""Names of files that every system can hold: Windows, macOS, Linux, a memory stick, a web space."""

from __future__ import annotations

import hashlib
import re
from functools import lru_cache

#: Characters of a path within a site: with the 80 that a folder of the person's own may take it stays below the 260
#: that Windows allows, and any one name of it below the 255 bytes of every other system.
LONGEST = 180

# Devices of Windows, whatever the ending of the name.
_RESERVED = re.compile(r"(?:con|prn|aux|nul|com[0-9¹²³]|lpt[0-9¹²³]|conin\$|conout\$)(?:\..*)?", re.IGNORECASE)
_FORBIDDEN = re.compile(r'[<>:"\\|?*\x00-\x1f\x7f]')


def is_reserved(name: str) -> bool:
    """Whether Windows keeps a name, with or without an ending, for a device.

    >>> is_reserved("con"), is_reserved("AUX.html"), is_reserved("console")
    (True, True, False)
    """
    return _RESERVED.fullmatch(name) is not None


def mark(name: str, size: int = 4) -> str:
    """Letters and digits that replace a name, twice ``size`` of them."""
    return hashlib.blake2b(name.encode("utf-8", "surrogatepass"), digest_size=size).hexdigest()


@lru_cache(1 << 16)  # a page is named wherever something leads to it
def portable(path: str) -> str:
    """A path of ASCII parts as every system can hold it: itself, or with a mark in place of what cannot be.

    >>> portable("pictures/rosette-2025.html")
    'pictures/rosette-2025.html'
    >>> portable("pictures/con.html")
    'pictures/con-d1d8ab24.html'
    >>> len(portable(f"compare/{'a' * 100}--{'b' * 100}.html"))
    180
    """
    folder, slash, name = "/".join(_no_device(part) for part in path.split("/")).rpartition("/")
    if len(folder) + len(slash) + len(name) > LONGEST:
        stem, dot, ending = name.partition(".")
        room = LONGEST - len(folder) - len(slash) - len(dot) - len(ending) - 17
        name = f"{stem[:room].rstrip('-')}-{mark(stem, 8)}{dot}{ending}"
    return f"{folder}{slash}{name}"


def _no_device(name: str) -> str:
    if not is_reserved(name):
        return name
    stem, dot, ending = name.partition(".")
    return f"{stem}-{mark(stem)}{dot}{ending}"


def why_not_portable(path: str) -> str | None:
    """What keeps some system from holding a path; ``None`` where nothing does."""
    if len(path) > LONGEST:
        return f"its path has {len(path)} characters, and {LONGEST} are safe"
    for part in path.split("/"):
        if is_reserved(part):
            return f"Windows keeps the name {part.partition('.')[0]} for a device"
        if found := _FORBIDDEN.search(part):
            return f"Windows allows no {found[0]!r} in a name"
        if part.endswith((".", " ")):
            return "Windows drops the dot or space at the end of a name"
    return None

"""Ids for pictures: readable, from the picture's own name, and no two alike in an archive."""

from __future__ import annotations

import re
from collections.abc import Collection
from pathlib import PurePosixPath

from noctuary.text import hyphenated

_LONGEST = 60
_RESERVED = re.compile(r"con|prn|aux|nul|com\d|lpt\d")  # names that one system keeps for devices


def id_for(path: str, taken: Collection[str]) -> str:
    """An id from a file's name; where it is taken or says nothing, with the folder's name, then with a number.

    >>> id_for("2019/M31_final.tif", ()), id_for("2019/M31_final.tif", {"m31-final"})
    ('m31-final', 'm31-final-2019')
    """
    pure = PurePosixPath(path)
    own = hyphenated(pure.stem, _LONGEST)
    folder = hyphenated(pure.parent.name, 30)
    plain = own if own and not _RESERVED.fullmatch(own) else "-".join(p for p in (folder or "picture", own) if p)
    for candidate in (plain, f"{plain}-{folder}" if folder and folder not in plain.split("-") else plain):
        if candidate not in taken:
            return candidate
    number = 2
    while f"{plain}-{number}" in taken:
        number += 1
    return f"{plain}-{number}"

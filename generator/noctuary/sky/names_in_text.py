"""Names of objects in free text: in what people call their files and folders, and in titles.

A file's name is written for its owner: catalogues are joined to numbers (``ngc7000``), names of objects stand beside
filters and counts (``rosette_ha_20x300s``), and some designations look like something else (C 8 and C 11 are also
sizes of telescopes). So only catalogues that are hardly ever meant otherwise count here, and only what the catalogue
finds.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import NamedTuple

from noctuary.sky.designation import DESIGNATION, designation_of, plain_text, write_designation
from noctuary.sky.sky_object import SkyObject

_CLEAR = {
    "M", "NGC", "IC", "B", "Mel", "Cr", "Tr", "Sh2-", "vdB", "LDN", "LBN", "Gum", "RCW", "Ced", "Abell", "Arp", "HCG",
    "UGC", "PGC", "ESO", "Pal", "Simeis", "CTB", "Stock", "King", "PK", "PN G", "SNR G",
}  # fmt: skip
_SPELT_OUT = re.compile(r"caldwell|barnard|berkeley|jones|kohoutek|minkowski")
_NO_OBJECT = {
    "final", "finished", "star", "stars", "north", "south", "east", "west", "light", "lights", "dark", "wide",
    "field",
    "home", "garden", "night", "winter", "summer", "spring", "autumn", "colour", "color", "mono", "best", "dust",
    "small", "large", "great", "little", "double", "image", "picture", "mosaic", "camera", "lens", "stack", "stacked",
}  # fmt: skip
_LONGEST_NAME = 4  # words
_MOST = 6


class NamedObject(NamedTuple):
    """An object that a text names: as the text writes it, made even, and what the catalogue calls it."""

    called: str
    identity: str


Find = Callable[[str], SkyObject | None]


def object_called(written: str, find: Find) -> NamedObject | None:
    """The object that a whole text names ("m31" is called "M 31"), or ``None``."""
    item = find(written)
    if item is None:
        return None
    designation = designation_of(plain_text(written))
    called = write_designation(*designation) if designation else " ".join(written.replace("_", " ").split())
    return NamedObject(called, item.name)


def objects_in(text: str, find: Find) -> list[NamedObject]:
    """Every object that a text names, each once, in the order of the text: designations first, then names of
    words."""
    plain = plain_text(text)[:200]
    found: dict[str, NamedObject] = {}
    for part in (plain, plain.replace("-", " ")):
        for match in re.finditer(rf"(?<![0-9a-z])(?:{DESIGNATION.pattern})", part, re.ASCII):
            if named := _designated(match[0].strip(), find):
                found.setdefault(named.identity, named)
    words = [w for w in re.split(r"[^a-z]+", plain) if w]
    at = 0
    while at < len(words):
        for length in range(min(_LONGEST_NAME, len(words) - at), 0, -1):
            name = " ".join(words[at : at + length])
            if length == 1 and (len(name) < 4 or name in _NO_OBJECT):
                continue
            if designation_of(name) is None and (item := find(name)) is not None:
                called = " ".join(w.capitalize() if len(w) > 2 else w for w in name.split())
                found.setdefault(item.name, NamedObject(called, item.name))
                at += length - 1
                break
        at += 1
    return list(found.values())[:_MOST]


def _designated(written: str, find: Find) -> NamedObject | None:
    while written:
        designation = designation_of(written)
        clear = designation is not None and (designation[0] in _CLEAR or _SPELT_OUT.match(written))
        if designation is not None and clear and (item := find(written)) is not None:
            return NamedObject(write_designation(*designation), item.name)
        # "m31-2019" is M 31 and a year.
        written, hyphen, _ = written.rpartition("-")
        if not hyphen:
            return None
    return None

"""The known names that lie nearest to a misspelt one."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches


def nearest(written: str, known: Iterable[str], *, most: int = 2, cutoff: float = 0.55) -> str:
    """Up to ``most`` of the known names most like what was written, as words (``a or b``); else ``""``."""
    folded: dict[str, str] = {}
    for name in known:
        folded.setdefault(_fold(name), name)
    found = get_close_matches(_fold(written)[:100], list(folded), n=most, cutoff=cutoff)
    return " or ".join(folded[name] for name in found)


def meant(written: str, known: Iterable[str], none: str) -> str:
    """A hint: the nearest known names, else all of a few, else ``none``."""
    names = [name for name in known if name]
    if near := nearest(written, names):
        return f"did you mean {near}?"
    if 0 < len(names) <= 8:
        return f"known are {', '.join(names)}"
    return none


def _fold(name: str) -> str:
    return " ".join(name.casefold().replace("_", " ").replace("-", " ").split())

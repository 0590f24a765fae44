"""What a filter lets through, as far as its name says."""

from __future__ import annotations

_NARROW = ("alpha", "α", "beta", "β", "oiii", "sii", "nii", "narrow", "duo", "dual", "tri", "quad", "nm")
_NARROW_WORDS = {"ha", "hb", "o3", "s2", "n2", "nb"}


def narrowband(filter_name: str | None) -> bool:
    """Whether a filter's name speaks of emission lines: moonlight disturbs it little, and it passes little sky."""
    if filter_name is None:
        return False
    folded = filter_name.casefold()
    words = set("".join(c if c.isalnum() else " " for c in folded).split())
    joined = "".join(c for c in folded if c.isalnum())
    return any(part in joined for part in _NARROW) or bool(words & _NARROW_WORDS)

"""What a filter lets through, as far as its name says."""

from __future__ import annotations

import itertools
import re

_NARROW = ("alpha", "α", "beta", "β", "oiii", "sii", "nii", "narrow", "duo", "dual", "tri", "quad", "nm")
_NARROW_WORDS = {"ha", "hb", "o3", "s2", "n2", "nb"}


#: The glowing gas that lets a narrow filter show anything, by how the filter's name begins.
EMISSIONS = {
    "halpha": "hydrogen", "ha": "hydrogen", "hα": "hydrogen", "hbeta": "hydrogen", "hb": "hydrogen", "hβ": "hydrogen",
    "oiii": "oxygen", "o3": "oxygen", "sii": "sulphur", "s2": "sulphur", "nii": "nitrogen", "n2": "nitrogen",
}  # fmt: skip


def emission(filter_name: str | None) -> str | None:
    """The element whose line a filter is named for: ``OIII 3 nm`` → ``oxygen``; of any other filter ``None``.

    Common practice: names of narrow filters begin with the line that they pass.
    """
    words = re.findall(r"[^\W\d_]+\d?", (filter_name or "").casefold().replace("-", ""))
    joined = words[0] if words else ""
    if joined in ("h", "o", "s", "n") and len(words) > 1:
        joined += words[1]
    return EMISSIONS.get(joined)


def narrowband(filter_name: str | None) -> bool:
    """Whether a filter's name speaks of emission lines: moonlight disturbs it little, and it passes little sky."""
    if filter_name is None:
        return False
    folded = filter_name.casefold()
    words = set("".join(c if c.isalnum() else " " for c in folded).split())
    joined = "".join(c for c in folded if c.isalnum())
    return any(part in joined for part in _NARROW) or bool(words & _NARROW_WORDS)


#: How people write the emission lines that filters are made for, the first as this program does. Common practice.
_LINES = (
    ("H-alpha", "Ha", "Hα"),
    ("H-beta", "Hb", "Hβ"),
    ("OIII", "O3", "O III"),
    ("SII", "S2", "S II"),
    ("NII", "N2", "N II"),
)


def line_spellings(filter_name: str) -> tuple[str, ...]:
    """Every spelling of the emission lines that a filter's name speaks of; none for other filters.

    >>> line_spellings("[O III] 6 nm")
    ('OIII', 'O3', 'O III')
    >>> line_spellings("luminance")
    ()
    """
    words = "".join(c if c.isalnum() else " " for c in filter_name.casefold()).split()
    pairs = [a + b for a, b in itertools.pairwise(words)]
    found: list[str] = []
    for spellings in _LINES:
        plain = {"".join(c for c in s.casefold() if c.isalnum()) for s in spellings}
        if plain & {*words, *pairs}:
            found += spellings
    return tuple(found)

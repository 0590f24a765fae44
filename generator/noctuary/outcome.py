"""How a build ended, and what is said of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from noctuary.build_manifest import BuildManifest
from noctuary.diagnostic import Diagnostic
from noctuary.up_to_date import unchanged


@dataclass
class Outcome:
    """How a build ended. ``reasons``: for each file made, why. ``summary``: a line for the person.

    ``half_way``: not built, and the published site is between the old one and the new one; all its links hold.
    """

    findings: list[Diagnostic]
    built: bool
    out: Path
    summary: str = ""
    reasons: list[tuple[str, str]] = field(default_factory=list)
    written: int = 0
    half_way: bool = False


def summary(book: BuildManifest, out: Path, written: int, seconds: float) -> str:
    """The last line of a build that made so many files in so many seconds."""
    if not written:
        return unchanged(book, out)
    pictures, pages = book.counts.get("pictures", 0), book.counts.get("pages", 0)
    return (
        f"{pictures} pictures, {pages} pages; {written} files made in {seconds:.1f} s. The site is in {out}. "
        f"To see it, open {out / 'index.html'}"
    )

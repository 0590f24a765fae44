"""What a build is asked for, how it ended, and what is said of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from noctuary.build_manifest import FOLDER, BuildManifest
from noctuary.diagnostic import Diagnostic, Mark, doubt
from noctuary.up_to_date import unchanged

#: What is being made, how many of it are done, of how many.
Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Order:
    """What was asked for: from which archive to which folder, with how many processes.

    ``progress`` is told how far the work is.
    """

    archive: Path
    out: Path
    workers: int | None
    executor: str | None
    progress: Progress


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


def cannot_be_kept(error: OSError) -> Diagnostic:
    """The site is complete; what is lost is the memory of how it was made."""
    message = f"the cache in {FOLDER} cannot be written: {error.strerror or error}"
    return doubt(Mark("archive.yaml"), "cache", message, "mend that, or the next build does all the work again")

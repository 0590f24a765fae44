"""noctuary: a lasting archive of deep-sky pictures, published as a site that needs no server.

This is the face of the package: read an archive, check it, ask for its facts, build its site. None of these functions
prints, ends the process or changes settings of the interpreter or of other libraries. The command line is
:mod:`noctuary.cli`.
"""

from __future__ import annotations

from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING

from noctuary.errors import NoctuaryError

if TYPE_CHECKING:
    from noctuary.archive.read import Reading
    from noctuary.diagnostic import Diagnostic
    from noctuary.facts.archive_facts import ArchiveFacts
    from noctuary.outcome import Outcome

__version__ = "0.1.0"
__all__ = ["ArchiveHasFaults", "__version__", "build_site", "check_archive", "derive_facts", "read_archive"]


class ArchiveHasFaults(NoctuaryError, ValueError):
    """Facts were asked of an archive whose records have faults; ``diagnostics`` lists them all."""

    def __init__(self, diagnostics: list[Diagnostic]) -> None:
        super().__init__("\n".join(str(d) for d in diagnostics if d.level == "fault"))
        self.diagnostics = diagnostics


def read_archive(folder: str | PathLike[str]) -> Reading:
    """The records of an archive as a person wrote them, and what is wrong with their form; nothing is derived.

    ``Reading.archive`` is ``None`` where the archive itself cannot be read. Raises nothing for faults of records.

    >>> reading = read_archive("content_demo")
    >>> reading.archive.pictures["rosette-2026"].title
    'The Rosette, in its own light'
    >>> [str(found) for found in reading.findings]
    []
    """
    from noctuary.archive.read import read_archive as read

    return read(Path(folder).resolve())


def check_archive(folder: str | PathLike[str]) -> list[Diagnostic]:
    """Every fault and doubt of an archive, by file and line, as ``noctuary check`` prints them; writes nothing.

    >>> check_archive("content_demo")
    []
    """
    from noctuary.build import examine

    return examine(Path(folder)).findings


def derive_facts(folder: str | PathLike[str]) -> ArchiveFacts:
    """The facts of every picture, target, night, rig and year of an archive; writes nothing.

    Units are in the names of the fields; what cannot be known is ``None``. Raises :class:`ArchiveHasFaults`.

    >>> facts = derive_facts("content_demo")
    >>> rosette = facts.pictures["rosette-2026"]
    >>> rosette.integration.nights, rosette.optics.rig
    (6, 'short refractor')
    >>> len(facts.targets), facts.integration.nights
    (8, 24)
    """
    from noctuary.build import examine

    inspection = examine(Path(folder))
    if inspection.facts is None or inspection.faults:
        raise ArchiveHasFaults(inspection.findings)
    return inspection.facts


def build_site(
    folder: str | PathLike[str], out: str | PathLike[str] | None = None, *, workers: int | None = None
) -> Outcome:
    """Checks an archive and builds its site, whole or not at all (default: into ``folder/site``).

    ``workers`` is the number of processes for pictures (default: as many as cores and memory allow). Faults are in
    ``Outcome.findings``; then ``Outcome.built`` is false and the published site is as it was.

    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     outcome = build_site("content_demo", f"{folder}/site")
    ...     outcome.built, (Path(folder) / "site" / "index.html").exists()
    (True, True)
    """
    from noctuary.build import build

    return build(Path(folder), None if out is None else Path(out), workers=workers)

"""What one build of a site works with, from the facts to the number of processes."""

from __future__ import annotations

from collections.abc import Callable, Container
from dataclasses import dataclass, field
from pathlib import Path

from noctuary.archive.records import Archive
from noctuary.build_manifest import FOLDER
from noctuary.facts.archive_facts import ArchiveFacts
from noctuary.memo import Memo
from noctuary.outcome import Progress
from noctuary.pages.kept_fragments import KeptFragments


@dataclass(frozen=True)
class BuildContext:
    """What one build works with.

    ``folder`` is the archive's; ``theme`` holds the folders in which a file of the theme is looked for, first to
    last; ``hash_of`` gives the SHA-256 of an archive's file, ``program`` a digest of the program and its libraries.
    ``published``: files of the published site that are as the last build left them; a build may keep them.
    ``workers`` processes make pictures (``None``: as many as cores and memory allow). ``fragments`` are
    the parts of pages that have been set before.
    """

    folder: Path
    facts: ArchiveFacts
    theme: tuple[Path, ...]
    hash_of: Callable[[str], str]
    memory: Memo
    program: str
    published: Container[str]
    workers: int | None
    progress: Progress
    fragments: KeptFragments = field(default_factory=KeptFragments)

    @property
    def archive(self) -> Archive:
        return self.facts.archive

    @property
    def renditions(self) -> Path:
        """The folder in which renditions are cached."""
        return self.folder / FOLDER / "renditions"

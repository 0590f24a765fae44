"""The folders that a theme's files come from, and the files that go into the site as they are."""

from __future__ import annotations

import difflib
from pathlib import Path

from generator.finding import Finding, Mark, fault

DEFAULT_THEME = "umbra"

#: Folders of a theme whose files are published under ``theme/``.
PUBLISHED = ("styles", "scripts", "fonts", "images")

#: Files in those folders that are no part of a page: what made a font, notes to oneself.
_UNPUBLISHED = frozenset({".py", ".md", ".map"})


def shipped_themes() -> Path:
    """The folder with the themes that come with the program."""
    here = Path(__file__).resolve().parent.parent
    installed = here / "themes"
    return installed if installed.is_dir() else here.parent / "themes"


def theme_folders(archive: Path, name: str | None, mark: Mark) -> list[Path] | Finding:
    """The folders to look for each file of the theme, first to last: the archive's own ``theme/``, then the theme.

    ``name`` is a shipped theme's name or a folder relative to the archive; a fault where there is neither.
    """
    own = archive / "theme"
    overrides = [own] if own.is_dir() else []
    shipped = shipped_themes()
    wanted = name or DEFAULT_THEME
    known = sorted(p.name for p in shipped.iterdir() if (p / "theme.yaml").is_file())
    if wanted in known:
        return [*overrides, shipped / wanted]
    folder = (archive / wanted).resolve()
    if not folder.is_relative_to(archive):
        return fault(
            mark,
            "outside-archive",
            f"the theme “{wanted}” lies outside the archive",
            "copy its folder into the archive",
        )
    if folder.is_dir() and (folder / "templates").is_dir():
        return [*overrides, folder]
    near = difflib.get_close_matches(wanted, known, n=1, cutoff=0.0)
    return fault(
        mark, "unknown-theme", f"there is no theme and no folder with templates called “{wanted}”", f"write {near[0]}"
    )


def published_files(folders: list[Path]) -> dict[str, Path]:
    """Files of the theme that go into the site: path in the site → the file that provides it."""
    found: dict[str, Path] = {}
    for folder in reversed(folders):
        for part in PUBLISHED:
            for path in sorted((folder / part).rglob("*")):
                hidden = any(p.startswith(".") for p in path.relative_to(folder).parts)
                if path.is_file() and not hidden and path.suffix not in _UNPUBLISHED:
                    found[f"theme/{path.relative_to(folder).as_posix()}"] = path
    return dict(sorted(found.items()))

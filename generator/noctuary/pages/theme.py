"""The files of a theme: templates that set pages, and styles, scripts and fonts that are published as they are."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from noctuary.archive.marked_yaml import decode, read_yaml
from noctuary.diagnostic import Diagnostic
from noctuary.errors import NoctuaryError

#: The theme of an archive that names none; it helps every other theme out with what that lacks.
DEFAULT = "umbra"
#: The folder of the site that holds a theme's published files.
SITE_FOLDER = "theme"
#: The folders of a theme that are published, and what is published of them: a theme may keep its sources there.
PUBLISHED = {
    "styles": {".css"},
    "scripts": {".js", ".txt"},
    "fonts": {".woff2", ".txt"},
    "images": {".svg", ".png", ".jpg", ".webp"},
}


#: Styles of the person's own, which come after those of the theme.
EXTRA = "extra.css"


class NoSuchTheme(NoctuaryError, ValueError):
    """A theme that is neither one of ours nor a folder of the archive."""

    rule = "unknown-theme"


def themes_home() -> Path:
    """Where the themes of this program are: beside the package in a checkout, inside it when installed."""
    package = Path(__file__).resolve().parent.parent
    inside = package / "themes"
    return inside if inside.is_dir() else package.parent.parent / "themes"


def theme_folders(theme: str | None, archive: Path) -> tuple[Path, ...]:
    """The folders in which a theme's files are looked for, the archive's own ``theme/`` first.

    ``theme`` is a name (``None``: :data:`DEFAULT`) or a folder, relative to the archive; a folder
    that lacks a file is helped out by the default theme.
    """
    home = themes_home()
    chosen = theme or DEFAULT
    folders = [archive / "theme"]
    if _is_plain(chosen) and (home / chosen / "templates").is_dir():
        folders.append(home / chosen)
    elif (archive / chosen).is_dir():
        if not (archive / chosen).resolve().is_relative_to(archive.resolve()):
            raise NoSuchTheme(f"the folder “{chosen}” lies outside the archive", "put the theme into the archive")
        folders.append(archive / chosen)
    else:
        known = ", ".join(sorted(p.name for p in home.iterdir() if (p / "templates").is_dir()))
        raise NoSuchTheme(f"there is no theme “{chosen}”", f"write one of {known}, or a folder")
    if home / DEFAULT not in folders:
        folders.append(home / DEFAULT)
    return tuple(dict.fromkeys(f for f in folders if f.is_dir()))


def _is_plain(name: str) -> bool:
    return "/" not in name and "\\" not in name and name not in (".", "..")


#: Where the styles that every page asks for are published, in one file: each file more is a way there and back.
TOGETHER = "styles/together.css"


def own_folders(folders: Sequence[Path], archive: Path) -> list[Path]:
    """Those folders of a theme that lie in the archive, and whose templates are not ours."""
    return [folder for folder in folders if folder.is_relative_to(archive)]


def stylesheets(folders: Sequence[Path]) -> tuple[str, ...]:
    """The styles that every page asks for, in their order, as the theme's ``theme.yaml`` names them."""
    sheets = theme_yaml(folders).get("stylesheets")
    return tuple(str(sheet) for sheet in sheets) if isinstance(sheets, list) else ()


def as_published(folders: Sequence[Path]) -> tuple[str, ...]:
    """The styles that every page asks for as they are published: one where they are several in the folder of styles,
    so that a link in them leads where it led; and after them those of the person's own."""
    sheets = (TOGETHER,) if _together(folders) else stylesheets(folders)
    return sheets if find(folders, EXTRA) is None else (*sheets, EXTRA)


def _together(folders: Sequence[Path]) -> bool:
    sheets = stylesheets(folders)
    return len(sheets) > 1 and all(sheet.rpartition("/")[0] == "styles" for sheet in sheets)


def find(folders: Sequence[Path], file: str) -> Path | None:
    """The first folder's file of that name; never one outside that folder."""
    for folder in folders:
        path = folder / file
        if path.is_file() and path.resolve().is_relative_to(folder.resolve()):
            return path
    return None


def find_template(folders: Sequence[Path], name: str) -> Path | None:
    """The file of a template: the first folder's of that name, or of ``umbra/NAME`` the one that umbra itself has.

    So a theme's ``base.html`` can say ``{% extends "umbra/base.html" %}`` and fill only the blocks that it sets
    otherwise.
    """
    if ".." in name.split("/"):
        return None
    of_umbra = name.removeprefix(f"{DEFAULT}/")
    file = find(folders, f"templates/{name}")
    return file if file or of_umbra == name else find([themes_home() / DEFAULT], f"templates/{of_umbra}")


def published_files(folders: Sequence[Path]) -> dict[str, bytes]:
    """Address in the site → content, for everything of a theme that is published, sorted.

    A theme that says in its ``theme.yaml`` what it ``borrows`` takes only those kinds of file, and single files, from
    the folders after its own, and besides them the style sheets that it names.
    """
    files: dict[str, Path] = {}
    borrowed: list[set[str]] = []
    for folder in folders:
        for kind in PUBLISHED:
            for path in sorted((folder / kind).rglob("*")):
                name = path.relative_to(folder).as_posix()
                wanted = all(kind in some or name in some for some in borrowed)
                if wanted and path.is_file() and path.suffix.lower() in PUBLISHED[kind]:
                    files.setdefault(f"{SITE_FOLDER}/{name}", path)
        borrowed.append(_borrowed(folder))
    contents = {address: path.read_bytes() for address, path in files.items()}
    if (extra := find(folders, EXTRA)) is not None:
        contents[f"{SITE_FOLDER}/{EXTRA}"] = extra.read_bytes()
    if _together(folders):
        sheets = stylesheets(folders)
        styles = [file.read_bytes() for sheet in sheets if (file := find(folders, sheet)) is not None]
        for sheet in sheets:
            contents.pop(f"{SITE_FOLDER}/{sheet}", None)
        contents[f"{SITE_FOLDER}/{TOGETHER}"] = b"\n".join(style.removeprefix(b"\xef\xbb\xbf") for style in styles)
    return dict(sorted(contents.items()))


def _borrowed(folder: Path) -> set[str]:
    """The kinds of file, and single files, that a theme takes from the folders after its own: all, unless it says."""
    file = folder / "theme.yaml"
    borrows = _read(file if file.is_file() else None).get("borrows")
    return {str(kind) for kind in borrows} if isinstance(borrows, list) else set(PUBLISHED)


def theme_yaml(folders: Sequence[Path]) -> Mapping[str, Any]:
    """The keys of a theme's ``theme.yaml``; empty where it cannot be read."""
    return _read(find(folders, "theme.yaml"))


def _read(file: Path | None) -> Mapping[str, Any]:
    # What is wrong in it, with line and column, is a fault that :mod:`noctuary.pages.theme_check` finds.
    if file is None:
        return {}
    text = decode(file.read_bytes(), file.name)
    written = None if isinstance(text, Diagnostic) else read_yaml(text, file.name)
    return written.value if written and written.sound and isinstance(written.value, dict) else {}

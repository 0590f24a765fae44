"""What is wrong with the theme files of an archive.

Links that lead out of it, a theme.yaml of another shape, mistakes in templates, and files that nothing asks for.

An archive may come from somebody else. Its templates run in a sandbox (:mod:`noctuary.pages.render`), and its theme
reaches no file but its own.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from noctuary.archive.marked_yaml import Path as Keys
from noctuary.archive.marked_yaml import decode, read_yaml
from noctuary.archive.records import Marks
from noctuary.diagnostic import Diagnostic, Mark, doubt, fault
from noctuary.pages.theme import EXTRA, PUBLISHED, SITE_FOLDER, find, find_template, own_folders
from noctuary.portable_name import why_not_portable

_TEXTS = {"name", "about", "icon"}
_LISTS = {"early_scripts", "stylesheets", "scripts", "borrows"}
_FILES = {"icon", "early_scripts", "stylesheets", "scripts"}
_CARD = {"face", "ground", "ink", "faint"}
_COLOUR = re.compile(r"#(?:[0-9a-fA-F]{3}|[0-9a-fA-F]{6})")
_ASKING = {".html", ".css", ".js", ".yaml", ".svg"}
_NOTES = {".txt", ".md", ".pot"}
#: A style sheet this much smaller than the one it replaces was hardly meant to replace all of it.
_FRACTION = 4


def theme_findings(folders: Sequence[Path], archive: Path, language: str) -> list[Diagnostic]:
    """Faults and doubts of the theme files that lie in the archive, whose pages are in a BCP 47 ``language``."""
    findings: list[Diagnostic] = []
    for folder in own_folders(folders, archive):
        if links := list(_links_out(folder, archive)):
            findings += links
            continue
        findings += _theme_yaml(folder, folders, archive)
        findings += _templates(folder, folders, archive, language)
        findings += _unused(folder, folders, archive)
        findings += _awkward_names(folder, archive)
    return findings


def _links_out(folder: Path, archive: Path) -> Iterator[Diagnostic]:
    root = archive.resolve()
    for path in (folder, *sorted(folder.rglob("*"))):
        if path.is_symlink() and not path.resolve().is_relative_to(root):
            message, hint = "the link leads out of the archive", "put the file itself into the theme"
            yield fault(Mark(path.relative_to(archive).as_posix()), "outside-archive", message, hint)


def _awkward_names(folder: Path, archive: Path) -> Iterator[Diagnostic]:
    """Files that are published under names which some system cannot hold."""
    for kind, endings in PUBLISHED.items():
        for path in sorted((folder / kind).rglob("*")):
            why = why_not_portable(f"{SITE_FOLDER}/{path.relative_to(folder).as_posix()}")
            if why is not None and path.is_file() and path.suffix.lower() in endings:
                mark = Mark(path.relative_to(archive).as_posix())
                yield doubt(mark, "theme-name", f"not every system can hold the site: {why}", "give it another name")


def _theme_yaml(folder: Path, folders: Sequence[Path], archive: Path) -> Iterator[Diagnostic]:
    file = folder / "theme.yaml"
    if not file.is_file():
        return
    name = file.relative_to(archive).as_posix()
    text = decode(file.read_bytes(), name)
    if isinstance(text, Diagnostic):
        yield text
        return
    written = read_yaml(text, name)
    yield from written.findings
    if not written.sound or written.value is None:
        return
    marks = Marks(name, written.places)
    if not isinstance(written.value, dict):
        yield _shape(marks, (), "a mapping", "name: my theme")
        return
    for key, value in written.value.items():
        yield from _theme_key(key, value, marks, folders)


def _theme_key(key: str, value: Any, marks: Marks, folders: Sequence[Path]) -> Iterator[Diagnostic]:
    if value is None:
        return
    if key == "card":
        if not isinstance(value, dict):
            yield _shape(marks, (key,), "a mapping", "card: {ink: '#000000'}")
            return
        for part, written in value.items():
            if part not in _CARD:
                yield _unknown(marks, (key, part), _CARD)
            elif not isinstance(written, str):
                yield _shape(marks, (key, part), "a text", "'#000000'")
            elif part == "face":
                yield from _file(written, marks, (key, part), folders)
            elif not _COLOUR.fullmatch(written):
                yield fault(
                    marks.at(key, part), "wrong-word", f"“{written[:40]}” is no colour", "write one as '#rrggbb'"
                )
    elif key in _TEXTS:
        if not isinstance(value, str):
            yield _shape(marks, (key,), "a text", f"{key}: some words")
        elif key in _FILES:
            yield from _file(value, marks, (key,), folders)
    elif key in _LISTS:
        if not isinstance(value, list):
            yield _shape(marks, (key,), "a list", f"{key}: [one, two]")
            return
        for number, written in enumerate(value):
            if not isinstance(written, str):
                yield _shape(marks, (key, number), "a text", "the name of a file")
            elif key in _FILES:
                yield from _file(written, marks, (key, number), folders)
            elif written not in PUBLISHED and find(folders, written) is None:
                message = f"“{written[:40]}” is no kind of published file, nor such a file"
                kinds = f"write some of {', '.join(PUBLISHED)}, or files as scripts/search.js"
                yield fault(marks.at(key, number), "wrong-word", message, kinds)
    else:
        yield _unknown(marks, (key,), _TEXTS | _LISTS | {"card"})


def _shape(marks: Marks, at: Keys, wanted: str, example: str) -> Diagnostic:
    return fault(marks.at(*at), "wrong-shape", f"{wanted} belongs here", f"write it as {example}")


def _unknown(marks: Marks, at: Keys, known: set[str]) -> Diagnostic:
    message = f"“{str(at[-1])[:60]}” means nothing here"
    return fault(marks.at(*at), "unknown-key", message, f"known are {', '.join(sorted(known))}")


def _file(name: str, marks: Marks, at: Keys, folders: Sequence[Path]) -> Iterator[Diagnostic]:
    if find(folders, name) is None:
        message, hint = f"the theme has no file {name[:80]}", "put it there, or take the name out"
        yield fault(marks.at(*at), "theme-file", message, hint)


def _templates(folder: Path, folders: Sequence[Path], archive: Path, language: str) -> Iterator[Diagnostic]:
    """Mistakes of form in the archive's own words and templates; what only setting a page shows, the build finds."""
    files = [path for path in sorted((folder / "templates").rglob("*.html")) if path.is_file()]
    if not files and not (folder / "languages").is_dir():
        return
    from jinja2 import TemplateSyntaxError, meta

    from noctuary.pages.render import Renderer

    try:
        environment = Renderer(folders, language).environment
    except TemplateSyntaxError as error:
        file = Path(error.filename or "")
        name = file.relative_to(archive).as_posix() if file.is_relative_to(archive) else file.name
        yield fault(Mark(name, error.lineno), "template", f"{error.message}", "mend that line of the catalogue")
        return
    # Nothing is run here: the templates are compiled, and looked through for the names of others.
    for path in files:
        name = path.relative_to(archive).as_posix()
        text = decode(path.read_bytes(), name)
        if isinstance(text, Diagnostic):
            yield text
            continue
        hint = "mend that line of the template"
        try:
            tree = environment.parse(text)
            environment.compile(text)
        except TemplateSyntaxError as error:
            yield fault(Mark(name, error.lineno), "template", f"the template has a mistake: {error.message}", hint)
            continue
        except RecursionError:
            yield fault(Mark(name), "template", "the template is nested too deeply", hint)
            continue
        for other in meta.find_referenced_templates(tree):
            if other is not None and find_template(folders, other) is None:
                line = next((n for n, file in enumerate(text.split("\n"), 1) if other in file), 1)
                message = f"the template draws on {other[:80]}, which the theme does not have"
                yield fault(Mark(name, line), "template", message, hint)


def _unused(folder: Path, folders: Sequence[Path], archive: Path) -> Iterator[Diagnostic]:
    """Files that stand in for nothing and that nothing names, and style sheets that replace much by little."""
    files = [
        p for p in sorted(folder.rglob("*")) if p.is_file() and not p.relative_to(folder).as_posix().startswith(".")
    ]
    words = {p: p.read_text(encoding="utf-8", errors="replace") for p in files if p.suffix.lower() in _ASKING}
    after = folders[folders.index(folder) + 1 :]
    for path in files:
        inside, name = path.relative_to(folder).as_posix(), path.relative_to(archive).as_posix()
        replaced = find(after, inside)
        if replaced is not None:
            if path.suffix == ".css" and path.stat().st_size * _FRACTION < replaced.stat().st_size:
                message = f"this stands in for all of {inside}, which is much larger: the rest of it is lost"
                yield doubt(Mark(name), "theme-replaces", message, f"rules that only add to it go into theme/{EXTRA}")
            continue
        known = inside in (EXTRA, "theme.yaml") or inside.startswith("languages/") or path.suffix.lower() in _NOTES
        if known or any(path.name in text for other, text in words.items() if other != path):
            continue
        message = "this stands in for no file of the theme, and nothing asks for it"
        hint = f"styles of your own go into theme/{EXTRA}" if path.suffix == ".css" else "delete it, or see its name"
        yield doubt(Mark(name), "theme-unused", message, hint)

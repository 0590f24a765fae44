"""Gathers the words of the themes and of the program, and brings every catalogue up to date with them.

    python themes/umbra/languages/gather_words.py            # every catalogue that is there
    python themes/umbra/languages/gather_words.py fr         # and a new one

Words come from the templates (``{% trans %}``, ``_()``) and from the program, where ``gettext`` is called and where
words are kept in tables: sections, kinds of object, numbers, columns. What is no longer said is dropped; what
is new waits, empty, at its place.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import DEFAULT_KEYWORDS, extract_from_file
from babel.messages.pofile import write_po
from noctuary.pages.languages import read_catalogue
from noctuary.pages.theme import themes_home

ROOT = Path(__file__).resolve().parents[3]
#: The theme that helps every other one out, and whose catalogue has the program's words.
COMMON = "umbra"
#: How templates are read: as the renderer reads them.
OPTIONS = {"trimmed": "true", "trim_blocks": "true", "lstrip_blocks": "true", "silent": "false"}

Message = tuple[str | None, str | tuple[str, ...]]


def gathered(theme: str) -> dict[Message, list[str]]:
    """Context and message → the files that say it; for a theme of its own only what the common one does not say."""
    found: dict[Message, list[str]] = {}
    if theme == COMMON:
        for said in (_in_program, _in_tables):
            for message, file in said():
                found.setdefault(message, []).append(file)
    for file in sorted((themes_home() / theme / "templates").rglob("*.html")):
        for _, message, _, context in extract_from_file(
            "jinja2.ext:babel_extract", file, keywords=DEFAULT_KEYWORDS, options=OPTIONS
        ):
            found.setdefault((context, message), []).append(file.name)
    if theme != COMMON:
        common = gathered(COMMON)
        found = {message: files for message, files in found.items() if message not in common}
    return found


def _in_program() -> Iterator[tuple[Message, str]]:
    """What the program asks ``gettext`` for by name, and what it calls the sections of a site."""
    package = ROOT / "generator" / "noctuary"
    for file in sorted(f for room in ("charts", "pages", "publish") for f in (package / room).rglob("*.py")):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call) or not node.args:
                continue
            name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            if name in ("gettext", "say", "Link"):
                first = node.args[0]
                for part in (first.body, first.orelse) if isinstance(first, ast.IfExp) else (first,):
                    if isinstance(part, ast.Constant) and isinstance(part.value, str):
                        yield (None, part.value), file.name


def _in_tables() -> Iterator[tuple[Message, str]]:
    """What is looked up by its own words: kinds of object, numbers, directions, elements, columns of exports."""
    from noctuary.facts.filters import EMISSIONS
    from noctuary.pages.exports.acquisition import COLUMNS
    from noctuary.pages.typography import COMPASS_POINTS, NUMBER_WORDS
    from noctuary.sky.catalogue import kinds

    yield from (((None, kind), "catalogue.py") for kind in sorted(kinds()))
    yield from (((None, word), "typography.py") for word in (*NUMBER_WORDS, *COMPASS_POINTS))
    yield from (((None, element), "filters.py") for element in sorted(set(EMISSIONS.values())))
    yield from (((None, column.description), "acquisition.py") for column in COLUMNS)


def updated(theme: str, language: str) -> Catalog:
    """A theme's catalogue with what is said now: translations kept, what is new empty, what is gone dropped."""
    file = themes_home() / theme / "languages" / f"{language}.po"
    old = read_catalogue(file) if file.is_file() else Catalog(locale=language.replace("-", "_"))
    new = Catalog(
        locale=old.locale,
        header_comment=f"# The words of the theme {theme}: {language}.",
        project=theme,
        version="1",
        msgid_bugs_address="the project",
        last_translator="the project",
        language_team=language,
        creation_date=old.creation_date,
        revision_date=old.creation_date,
        fuzzy=False,
    )
    for (context, message), files in gathered(theme).items():
        known = old.get(message, context)
        string = known.string if known is not None and not known.fuzzy else None
        new.add(message, string, locations=[(f, None) for f in dict.fromkeys(files)], context=context)
    return new


def main(languages: list[str]) -> None:
    for folder in sorted(themes_home().iterdir()):
        if not (folder / "templates").is_dir():
            continue
        there = {file.stem for file in (folder / "languages").glob("*.po")}
        for language in sorted(there | set(languages)):
            catalogue = updated(folder.name, language)
            if not len(catalogue):
                continue
            (folder / "languages").mkdir(exist_ok=True)
            with (folder / "languages" / f"{language}.po").open("wb") as out:
                write_po(out, catalogue, width=118, omit_header=False, include_lineno=False)
            waiting = [m for m in catalogue if m.id and not any(m.string if m.pluralizable else (m.string,))]
            print(f"{folder.name} {language}: {len(catalogue)} messages, {len(waiting)} without a translation")


if __name__ == "__main__":
    main(sys.argv[1:])

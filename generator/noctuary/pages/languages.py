"""The words of a theme in other languages: ``languages/LANG.po`` in its folder, read as it is, with no step before.

A message without its translation stays as the templates have it, in English; a theme or an archive may correct
single words by a catalogue that holds only those.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Sequence
from gettext import GNUTranslations, NullTranslations
from pathlib import Path

from babel import Locale, UnknownLocaleError
from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from babel.messages.pofile import PoFileError, read_po

from noctuary.errors import NoctuaryError


class BadCatalogue(NoctuaryError, ValueError):
    """A catalogue that cannot be read: which file, which line, and why."""

    def __init__(self, file: Path, line: int, message: str) -> None:
        super().__init__(message)
        self.file, self.line = file, line

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.message}"


def translations(theme_folders: Sequence[Path], language: str) -> NullTranslations:
    """The words for a BCP 47 tag: the first folder's before the next one's, ``de-AT`` before ``de``, then English.

    Raises :class:`BadCatalogue` and OSError.
    """
    chain: NullTranslations = NullTranslations()
    for file in reversed(list(_catalogues(theme_folders, language))):
        words = _compiled(file)
        words.add_fallback(chain)
        chain = words
    return chain


def _catalogues(theme_folders: Sequence[Path], language: str) -> Iterator[Path]:
    """Every catalogue that speaks the language, the one that is asked first coming first."""
    parts = language.strip().replace("_", "-").split("-")
    tags = ["-".join(parts[:n]) for n in range(len(parts), 0, -1)]
    for folder in theme_folders:
        files = {file.stem.replace("_", "-").casefold(): file for file in sorted((folder / "languages").glob("*.po"))}
        yield from (files[tag.casefold()] for tag in tags if tag.casefold() in files)


def _compiled(file: Path) -> GNUTranslations:
    packed = io.BytesIO()
    write_mo(packed, read_catalogue(file))
    packed.seek(0)
    return GNUTranslations(packed)


def read_catalogue(file: Path) -> Catalog:
    """A catalogue as messages. Raises :class:`BadCatalogue` and OSError."""
    try:
        with file.open("rb") as source:
            catalogue = read_po(source, locale=_locale(file.stem), abort_invalid=True)
    except (PoFileError, UnicodeError, ValueError) as error:
        line = int(getattr(error, "lineno", 0) or 0) + 1
        raise BadCatalogue(file, line, str(error)) from None
    for message in catalogue:
        # A place that the message does not leave open would only be found out when a page is set.
        for mistake in message.check(catalogue) if message.id and message.string else ():
            raise BadCatalogue(file, message.lineno or 1, f"{mistake} in the translation of {message.id!r}")
        for text in message.string if isinstance(message.string, tuple | list) else (message.string,):
            if wrong := _misplaced(str(message.id), str(text)):
                raise BadCatalogue(file, message.lineno or 1, f"{wrong} in the translation of {message.id!r}")
    return catalogue


def _misplaced(message: str, text: str) -> str | None:
    """What is wrong with the places (``%(name)s``) of a translation that its message does not foresee."""
    percent = "%(" in message or ("%" not in message and "{" not in message)
    if not message or not percent or "%" not in text:
        return None
    try:
        text % dict.fromkeys(re.findall(r"%\((\w+)\)", message), 1)
    except KeyError as unknown:
        return f"unknown place {unknown}"
    except (ValueError, TypeError) as error:
        return str(error)
    return None


def _locale(tag: str) -> Locale | None:
    """What Babel calls the language, for its plurals; ``None`` for one that it does not know."""
    try:
        return Locale.parse(tag.replace("-", "_"))
    except (UnknownLocaleError, ValueError):
        return None

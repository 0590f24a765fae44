"""What the last build worked out, and what it made each file of the site from; read where it is needed.

It is beside the manifest (:mod:`noctuary.build_manifest`) and may be deleted like it.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from functools import cached_property
from pathlib import Path

import orjson

from noctuary.build_database import WORKED_OUT, Row, SealedRows, write_sealed_rows
from noctuary.build_manifest import FOLDER
from noctuary.edited_rows import EditedRows, read_edits

ANSWERS = "answers.sqlite"
_FORMAT = "2"


class WorkedOut(Mapping[bytes, bytes]):
    """Answers by the digest of their question; ingredients and pieces of the site's files by name.

    As a mapping it gives answers one by one. ``program`` is a digest of the program that worked them out, ``build``
    tells the build that left them from every other; both are empty where nothing sound is left. Rows are read from
    the file when they are asked for; ``close`` lets go of it for who writes it anew, and the next question opens it
    again.
    """

    def __init__(self, folder: Path) -> None:
        self._cache = folder / FOLDER
        self._open: SealedRows | None = None
        self.program = self._base = ""
        with suppress(ValueError):
            self._open = SealedRows(self._cache / ANSWERS, WORKED_OUT)
            about = self._open.about
            if about.get("format") == _FORMAT:
                self.program, self._base = about.get("program", ""), about["build"]

    @property
    def build(self) -> str:
        return self.edits.about.get("build", self._base)

    @cached_property
    def edits(self) -> EditedRows:
        """What edits have changed since; who puts rows into it is read with them."""
        return read_edits(self._cache, self._base)

    def answers(self) -> dict[bytes, bytes]:
        """All of them."""
        return dict(self._rows("answers"))

    def __getitem__(self, question: bytes) -> bytes:
        if (row := self._row("answers", question)) is None:
            raise KeyError(question)
        return bytes(row[1])

    def __iter__(self) -> Iterator[bytes]:
        return iter(self.answers())

    def __len__(self) -> int:
        return len(self.answers())

    def ingredients(self) -> dict[str, str]:
        """Path in the site → what the file there is made of, as :func:`made_of` reads it."""
        return {os.fsdecode(path): digests for path, digests in self._rows("ingredients")}

    def ingredients_of(self, path: str) -> dict[str, str]:
        """What a file of the site was made of: name → digest."""
        row = self._row("ingredients", os.fsencode(path))
        return {} if row is None else made_of(row[1])

    def pieces(self) -> dict[bytes, bytes]:
        """What files of the site were put together from, by name."""
        return dict(self._rows("pieces"))

    def piece(self, name: bytes) -> bytes | None:
        row = self._row("pieces", name)
        return None if row is None else bytes(row[1])

    def edit(
        self,
        without: Iterable[bytes],
        answers: Mapping[bytes, bytes],
        ingredients: Mapping[str, Mapping[str, str]],
        pieces: Mapping[bytes, bytes],
    ) -> None:
        """Puts into ``edits`` these answers in place of those ``without``, and what some files are made of now."""
        for question in without:
            self.edits.rows["answers"].pop(question, None)
        self.edits.put("answers", answers.items())
        self.edits.put("ingredients", ((os.fsencode(path), written(of)) for path, of in ingredients.items()))
        self.edits.put("pieces", pieces.items())

    def close(self) -> None:
        if self._open is not None:
            self._open.close()
            self._open = None

    def _rows(self, table: str) -> list[Row]:
        if (database := self._opened()) is None:
            return []
        try:
            return [*database.rows(table), *self.edits.of(table)]
        except ValueError:  # rows were promised that are not there
            return []

    def _row(self, table: str, key: bytes) -> Row | None:
        if (found := self.edits.row(table, key)) is not None:
            return found
        try:
            return database.row(table, key) if (database := self._opened()) is not None else None
        except ValueError:
            return None

    def _opened(self) -> SealedRows | None:
        if self._open is None and self._base:
            with suppress(ValueError):
                found = SealedRows(self._cache / ANSWERS, WORKED_OUT)
                if found.about["build"] == self._base:
                    self._open = found
                else:
                    found.close()
        return self._open


def write_worked_out(
    folder: Path,
    program: str,
    build: str,
    answers: Iterable[tuple[bytes, bytes]],
    ingredients: Iterable[tuple[str, str]],
    pieces: Iterable[tuple[bytes, bytes]],
) -> None:
    """Keeps what a build worked out, whole or not at all; ``ingredients`` as :func:`written`. Raises OSError."""
    write_sealed_rows(
        folder / FOLDER / ANSWERS,
        WORKED_OUT,
        build,
        {
            "about": {"format": _FORMAT, "program": program, "build": build}.items(),
            "ingredients": ((os.fsencode(path), digests) for path, digests in ingredients),
            "answers": answers,
            "pieces": pieces,
        },
    )


def made_of(digests: str) -> dict[str, str]:
    """The ingredients of a file; none where they are not in order, so that the file is made again."""
    try:
        plain = orjson.loads(digests)
    except ValueError:
        return {}
    sound = isinstance(plain, dict) and all(isinstance(digest, str) for digest in plain.values())
    return plain if sound else {}


def written(ingredients: Mapping[str, str]) -> str:
    """The ingredients of a file as :func:`made_of` reads them."""
    return orjson.dumps(dict(ingredients)).decode()

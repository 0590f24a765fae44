"""What the last build worked out, and what it made each file of the site from; read where it is needed.

It is beside the manifest (:mod:`noctuary.build_manifest`) and may be deleted like it.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

import orjson

from noctuary.build_database import WORKED_OUT, BuildDatabase, Row, write_tables
from noctuary.build_manifest import FOLDER

ANSWERS = "answers.sqlite"
_FORMAT = "1"


class WorkedOut(Mapping[bytes, bytes]):
    """Answers by the digest of their question, and ingredients by the path of the file that was made from them.

    As a mapping it gives answers one by one. ``program`` is a digest of the program that worked them out, ``build``
    tells the build that left them from every other; both are empty where nothing sound is left.
    """

    def __init__(self, folder: Path) -> None:
        self.program = self.build = ""
        try:
            self._database: BuildDatabase | None = BuildDatabase(folder / FOLDER / ANSWERS, WORKED_OUT)
            about: dict[str, str] = dict(self._database.rows("about"))
        except ValueError:
            self._database = None
            return
        if about.get("format") == _FORMAT:
            self.program, self.build = about.get("program", ""), about.get("build", "")

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

    def amend(
        self,
        build: str,
        without: Iterable[bytes],
        answers: Mapping[bytes, bytes],
        ingredients: Mapping[str, Mapping[str, str]],
    ) -> None:
        """Leaves these answers for the next build in place of those ``without``, the others as they are.

        Raises OSError.
        """
        if self._database is None:
            raise OSError("there is nothing that could be amended")
        made = _ingredient_rows(ingredients)
        self._database.amend(
            {"about": ["build"], "answers": [*without, *answers], "ingredients": [path for path, _ in made]},
            {"about": [("build", build)], "answers": answers.items(), "ingredients": made},
        )
        self.build = build

    def _rows(self, table: str) -> list[Row]:
        try:
            return self._database.rows(table) if self._database is not None else []
        except ValueError:  # rows were promised that are not there
            return []

    def _row(self, table: str, key: bytes) -> Row | None:
        try:
            return self._database.row(table, key) if self._database is not None else None
        except ValueError:
            return None


def write_worked_out(
    folder: Path,
    program: str,
    build: str,
    answers: Mapping[bytes, bytes],
    ingredients: Mapping[str, Mapping[str, str]],
) -> None:
    """Keeps what a build worked out, whole or not at all; raises OSError."""
    write_tables(
        folder / FOLDER / ANSWERS,
        WORKED_OUT,
        {
            "about": {"format": _FORMAT, "program": program, "build": build}.items(),
            "ingredients": _ingredient_rows(ingredients),
            "answers": answers.items(),
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


def _ingredient_rows(ingredients: Mapping[str, Mapping[str, str]]) -> list[tuple[bytes, str]]:
    return [(os.fsencode(path), orjson.dumps(dict(digests)).decode()) for path, digests in ingredients.items()]

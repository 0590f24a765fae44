"""Questions in drafts: each once, for a draft or for a whole run, and never again in other words.

A question is a line ``# ? key: suggestion   # what is asked``. To answer it one corrects the suggestion and
deletes the ``# ? ``. Where one answer has several lines, the second and later end in ``# likewise``.
"""

from __future__ import annotations

import re

LIKEWISE = "   # likewise"
_QUESTION = re.compile(r"(?m)(?:^|[ \t])# \? .*$")


class Asking:
    """What has been asked in this run, and in this draft."""

    def __init__(self, of_run: set[tuple[object, ...]] | None = None) -> None:
        self._of_run = set() if of_run is None else of_run
        self._of_draft: set[tuple[object, ...]] = set()

    def for_draft(self) -> Asking:
        """The same run, another draft."""
        return Asking(self._of_run)

    def first_of_run(self, *what: object) -> bool:
        """Whether this was not asked before in any draft; from now on it was."""
        new = what not in self._of_run
        self._of_run.add(what)
        return new

    def first_of_draft(self, *what: object) -> bool:
        new = what not in self._of_draft
        self._of_draft.add(what)
        return new


def questions_in(text: str) -> int:
    """How many answers a draft waits for."""
    return sum(not line.endswith(LIKEWISE.strip()) for line in _QUESTION.findall(text))

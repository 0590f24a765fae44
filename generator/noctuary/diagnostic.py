"""A fault or a doubt: where it was found, which rule found it, what is wrong and what to do.

A fault means that the record cannot be right or cannot be read; a doubt that it is physically or
practically unlikely. Findings are values: they are collected, sorted and printed all at once.
"""

from __future__ import annotations

import posixpath
from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple

Level = Literal["fault", "doubt"]


class Mark(NamedTuple):
    """Where something was written: file relative to the archive with ``/``, line and column from 1."""

    file: str
    line: int = 1
    column: int = 1


@dataclass(frozen=True, slots=True)
class Diagnostic:
    """One thing that is wrong or unlikely, and what the person can type instead."""

    mark: Mark
    level: Level
    rule: str
    message: str
    hint: str

    def __str__(self) -> str:
        where = f"{self.mark.file}:{self.mark.line}:{self.mark.column}"
        return f"{where}: {self.level} [{self.rule}]: {one_line(self.message)}; {one_line(self.hint)}"

    def as_plain(self) -> dict[str, str | int]:
        """The finding as the JSON of ``noctuary check --format json`` has it."""
        return {
            "file": self.mark.file,
            "line": self.mark.line,
            "column": self.mark.column,
            "level": self.level,
            "rule": self.rule,
            "message": one_line(self.message),
            "hint": one_line(self.hint),
        }


def fault(mark: Mark, rule: str, message: str, hint: str) -> Diagnostic:
    return Diagnostic(mark, "fault", rule, message, hint)


def doubt(mark: Mark, rule: str, message: str, hint: str) -> Diagnostic:
    return Diagnostic(mark, "doubt", rule, message, hint)


def as_doubts(findings: Iterable[Diagnostic], records: Collection[str]) -> list[Diagnostic]:
    """Findings in which a fault of one of these records, or of the picture beside it, is no more than a doubt."""
    return [
        replace(found, level="doubt") if posixpath.splitext(found.mark.file)[0] + ".yaml" in records else found
        for found in findings
    ]


def in_order(findings: Iterable[Diagnostic]) -> list[Diagnostic]:
    """Findings without repeats, by file, line and column, a fault before a doubt on the same spot."""
    return sorted(set(findings), key=lambda f: (f.mark, f.level != "fault", f.rule, f.message))


def one_line(text: str) -> str:
    """Text that stays on one line and holds no control characters a terminal would act on."""
    return "".join(c if c.isprintable() else " " for c in " ".join(text.split()))

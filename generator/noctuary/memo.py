"""Answers that were worked out before, by their question.

A question is a tuple that holds everything its answer depends on, its first member saying what kind it is:
``("look", content hash, ending)``. So a recollection never has to be told that something has changed; a
changed thing is another question, and answers that nobody asked for again are left behind when it is kept.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

Question = tuple[Any, ...]


class Memo:
    """Answers by question; ``answers`` is plain data from an earlier run."""

    def __init__(self, answers: dict[Question, Any] | None = None) -> None:
        self._answers: dict[Question, Any] = dict(answers or {})
        self._asked: set[Question] = set()
        self._new = 0

    def ask(self, question: Question, work: Callable[[], Any]) -> Any:
        """The answer to a question, worked out where it is not known yet."""
        if question not in self._answers:
            self.learn(question, work())
        self._asked.add(question)
        return self._answers[question]

    def missing(self, questions: Iterable[Question]) -> list[Question]:
        """Those questions, each once and in order, that have no answer yet."""
        return [q for q in dict.fromkeys(questions) if q not in self._answers]

    def learn(self, question: Question, answer: Any) -> None:
        self._answers[question] = answer
        self._asked.add(question)
        self._new += 1

    def known(self, question: Question) -> Any:
        """The answer to a question, ``None`` where there is none."""
        self._asked.add(question)
        return self._answers.get(question)

    @property
    def changed(self) -> bool:
        """Whether what is worth keeping differs from what was handed in."""
        return self._new > 0 or any(q not in self._asked for q in self._answers)

    def kept(self) -> dict[Question, Any]:
        """The answers that were asked for, in a stable order of their first being learnt."""
        return {q: a for q, a in self._answers.items() if q in self._asked}

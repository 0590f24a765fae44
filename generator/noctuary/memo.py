"""Answers that were worked out before, by their question.

A question is a tuple that holds everything its answer depends on, its first member saying what kind it is:
``("look", content hash, ending)``. So entries never need invalidating: a changed thing is another question, and
answers that nobody asked for again are left behind when the memo is kept. Every asker says of which type the answer
is, and an answer of an earlier run that is of another is worked out again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from hashlib import blake2b
from typing import Any

Question = tuple[Any, ...]

_ABSENT = object()


class Memo:
    """Answers by question; ``kept`` is what an earlier run kept: the digest of a question → its answer in bytes."""

    def __init__(self, kept: Mapping[bytes, bytes] | None = None) -> None:
        self._kept: Mapping[bytes, bytes] = kept if kept is not None else {}
        self._answers: dict[Question, Any] = {}
        self._digests: dict[Question, bytes] = {}
        self._asked: dict[Question, None] = {}
        self._new: set[Question] = set()

    def ask(self, question: Question, work: Callable[[], Any], kind: Any) -> Any:
        """The answer to a question, of the type ``kind``, worked out where it is not known yet."""
        answer = self._find(question, kind)
        if answer is _ABSENT:
            answer = work()
            self.learn(question, answer)
        self._asked[question] = None
        return answer

    def missing(self, questions: Iterable[Question], kind: Any) -> list[Question]:
        """Those questions, each once and in order, that have no answer of this type yet."""
        return [q for q in dict.fromkeys(questions) if self._find(q, kind) is _ABSENT]

    def keep(self, question: Question, work: Callable[[], Any]) -> None:
        """Leaves an answer for a later run, worked out where an earlier one has not left it; raises ValueError."""
        if self._digest(question) in self._kept:
            self._asked[question] = None
        else:
            self.learn(question, work())

    def learn(self, question: Question, answer: Any) -> None:
        self._answers[question] = answer
        self._asked[question] = None
        self._new.add(question)

    def known(self, question: Question, kind: Any) -> Any:
        """The answer to a question, ``None`` where there is none of this type."""
        answer = self._find(question, kind)
        self._asked[question] = None
        return None if answer is _ABSENT else answer

    @property
    def changed(self) -> bool:
        """Whether what is worth keeping differs from what was handed in."""
        return bool(self._new) or len(self._kept) > sum(self._digest(q) in self._kept for q in self._asked)

    def kept(self) -> dict[bytes, bytes]:
        """The answers that were asked for, in a stable order; one that cannot be kept is left out."""
        asked = (self._digest(question) for question in self._asked if question not in self._new)
        return {digest: self._kept[digest] for digest in asked if digest in self._kept} | self.learned()

    def learned(self) -> dict[bytes, bytes]:
        """Of these the answers that an earlier run had not kept."""
        from noctuary.typed_values import to_bytes

        found: dict[bytes, bytes] = {}
        for question in self._asked:
            if question in self._new:
                with suppress(ValueError):  # worked out again by the next run
                    found[self._digest(question)] = to_bytes(self._answers[question])
        return found

    def _find(self, question: Question, kind: Any) -> Any:
        answer = self._answers.get(question, _ABSENT)
        if answer is _ABSENT and (data := self._kept.get(self._digest(question))) is not None:
            from noctuary.typed_values import from_bytes

            try:
                answer = self._answers[question] = from_bytes(data, kind)
            except ValueError:
                return _ABSENT
        return answer

    def _digest(self, question: Question) -> bytes:
        digest = self._digests.get(question)
        if digest is None:
            digest = self._digests[question] = digest_of(question)
        return digest


def digest_of(question: Question) -> bytes:
    """By what an answer is found: what a question is made of (text, numbers, moments) is written in one way."""
    return blake2b(repr(question).encode("utf-8", "replace"), digest_size=20).digest()

"""Answers that were worked out before, by their question.

A question is a tuple that holds everything its answer depends on, its first member saying what kind it is:
``("look", content hash, ending)``. So entries never need invalidating: a changed thing is another question, and
answers that nobody asked for again are left behind when the memo is kept. Every asker says of which type the answer
is, and an answer of an earlier run that is of another is worked out again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
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
        self._to_work_out: dict[Question, Callable[[], Any]] = {}

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
        """Leaves an answer for a later run; where an earlier one has not left it, it is worked out when it is kept.

        One whose work raises ValueError is left out.
        """
        self._asked[question] = None
        if self._digest(question) not in self._kept:
            self._to_work_out[question] = work

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
        if self._new or self._to_work_out:
            return True
        return len(self._kept) > sum(self._digest(q) in self._kept for q in self._asked)

    def asked(self) -> set[bytes]:
        """The digests of all questions that were asked."""
        return set(map(self._digest, self._asked))

    def kept(self) -> Iterator[tuple[bytes, bytes]]:
        """The answers that were asked for, by digest, in a stable order; one that cannot be kept is left out."""
        known = (question for question in self._asked if not self._is_new(question))
        for digest in dict.fromkeys(map(self._digest, known)):
            if digest in self._kept:
                yield digest, self._kept[digest]
        yield from self.learned()

    def learned(self) -> Iterator[tuple[bytes, bytes]]:
        """Of these the answers that an earlier run had not kept."""
        from noctuary.typed_values import to_bytes

        # By digest: two questions may be unlike and be written alike.
        for digest, question in {self._digest(q): q for q in self._asked if self._is_new(q)}.items():
            with suppress(ValueError):  # worked out again by the next run
                work = self._to_work_out.get(question)
                yield digest, to_bytes(work() if work is not None else self._answers[question])

    def _is_new(self, question: Question) -> bool:
        return question in self._new or question in self._to_work_out

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

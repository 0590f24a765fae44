"""What the drafts leave open, as one list: the answer that settles most pictures comes first.

The drafts themselves hold every question, as a line of comment:

    # ? rig: Old Reflex 5, 135 mm   # f/2.8
    # objects: M 31   # from the file's name

The first kind is open: all lines of one key about the same subject are one question. The second is a guess with its
value: all guesses of one key from the same kind of source are one question, whether to take them. A person who
writes the
answer into a draft by hand has settled it there.
"""

from __future__ import annotations

import json
import re
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

NOTHING_SAYS = "nothing says"
QUESTIONS_FILE = "questions.yaml"

#: Keys of which a guess can be taken for all pictures at once. That one picture replaces another is never among them.
_TAKEN = ("objects", "sessions", "frames", "integration")
_OPEN = re.compile(r"(?P<indent> *)# \? (?P<key>rig|place|finished): (?P<subject>.+?)(?:   # (?P<known>.*))?")
_GUESS = re.compile(rf"(?P<indent> *)# (?P<key>{'|'.join(_TAKEN)}): (?P<value>.+?)   # from (?P<source>[^;]+)")


@dataclass(frozen=True, order=True)
class Subject:
    """What a question is about: a key, and what its pictures have in common; ``guess`` where they hold values."""

    key: str
    about: str
    guess: bool


@dataclass(frozen=True)
class Line:
    """A line of a draft that asks something."""

    number: int
    subject: Subject
    indent: str
    value: str
    known: str


@dataclass(frozen=True)
class Question:
    """One question with the sidecars it would settle; ``known`` is what the drafts know besides."""

    subject: Subject
    sidecars: tuple[str, ...]
    known: tuple[str, ...]
    examples: tuple[str, ...]

    @property
    def text(self) -> str:
        number = len(self.sidecars)
        pictures = f"{number} pictures" if number > 1 else "one picture"
        were, the = ("were", f"the {pictures}") if number > 1 else ("was", "the picture")
        key, about = self.subject.key, self.subject.about
        if self.subject.guess:
            return f"{_GUESSED[key]} of {pictures} come from {about}. Take them all?"
        if key == "finished":
            return f"When {were} {the} in {about} finished?"
        noun, verb = ("rig", "took") if key == "rig" else ("place", "did")
        where = f"Which rig took {the}" if verb == "took" else f"At which place {were} {the} taken"
        if about == NOTHING_SAYS:
            return f"{where} of which no source names the {noun}?"
        return f"{where} that {'says' if number == 1 else 'say'} “{about}”?"

    @property
    def hint(self) -> str:
        if self.subject.guess:
            return "yes: take them; no: leave them as comments. Such as " + ", ".join(self.examples)
        proposed = (
            "; yes: the name proposed" if self.subject.key == "rig" and self.subject.about != NOTHING_SAYS else ""
        )
        return _HINTS[self.subject.key] + proposed


_GUESSED = {
    "objects": "The objects",
    "sessions": "The nights",
    "frames": "The exposures",
    "integration": "The hours",
}
_HINTS = {
    "rig": "a name of equipment.yaml, or a new name: then the rig is added there",
    "place": "a name of places.yaml",
    "finished": "a year, a month such as 2009-09 or a day such as 2009-09-14",
}


def lines_of(text: str) -> list[Line]:
    """Every line of a sidecar that asks something."""
    found = []
    for number, line in enumerate(text.splitlines()):
        if match := _OPEN.fullmatch(line):
            subject = Subject(match["key"], match["subject"], False)
            found.append(Line(number, subject, match["indent"], "", match["known"] or ""))
        elif match := _GUESS.fullmatch(line):
            subject = Subject(match["key"], match["source"], True)
            found.append(Line(number, subject, match["indent"], match["value"], match["source"]))
    return found


def questions_of(texts: Mapping[str, str]) -> list[Question]:
    """The questions of all sidecars (name → text), the one that settles most first."""
    asked: dict[Subject, dict[str, Line]] = defaultdict(dict)
    for name in sorted(texts):
        for line in lines_of(texts[name]):
            asked[line.subject].setdefault(name, line)
    found = [
        Question(
            subject,
            tuple(lines),
            tuple(line.known for line in lines.values()),
            tuple(dict.fromkeys(line.value for line in lines.values() if line.value))[:3],
        )
        for subject, lines in asked.items()
    ]
    return sorted(found, key=lambda q: (-len(q.sidecars), q.subject))


def settled(text: str, answers: Mapping[Subject, str]) -> str:
    """A sidecar with its questions answered as far as the answers go; every other line stays as it is."""
    newline = "\r\n" if "\r\n" in text else "\n"
    lines = text.split(newline)
    gone: set[int] = set()
    for line in lines_of(text.replace("\r\n", "\n")):
        answer = answers.get(line.subject)
        if answer is None:
            continue
        if line.subject.guess:
            lines[line.number] = lines[line.number].replace("# ", "", 1)
        else:
            lines[line.number] = f"{line.indent}{line.subject.key}: {answer}"
            if line.subject.key == "finished":
                gone.update(n for n, other in enumerate(lines) if other == DRAFT_LINE)
    return newline.join(line for number, line in enumerate(lines) if number not in gone)


DRAFT_LINE = "draft: yes   # until its date is known; the picture is not on the site before"


def file_text(asked: Iterable[Question], proposals: Mapping[Subject, str], answers: Mapping[Subject, str]) -> str:
    """The text of questions.yaml: open questions in order, then what has been answered, which serves new pictures."""
    lines = [
        "# What no source says of your pictures; the answer that settles most comes first. Write after “answer:”,",
        "# save, and run `noctuary adopt` again. What you leave empty stays open for good. This list is written",
        "# anew each time, with your answers in it.",
    ]
    printed: set[Subject] = set()
    for question in asked:
        subject = question.subject
        printed.add(subject)
        lines += [
            "",
            f"- question: {_quoted(question.text)}",
            f"  key: {subject.key}",
            f"  about: {_quoted(subject.about)}",
        ]
        lines += [f"  guess: {'yes' if subject.guess else 'no'}"] if subject.guess else []
        lines.append(f"  settles: {len(question.sidecars)}")
        if subject in proposals:
            lines.append(f"  proposed: {_quoted(proposals[subject])}")
        lines += [f"  # {question.hint}", f"  answer: {_answer(answers.get(subject))}".rstrip()]
    for subject in sorted(set(answers) - printed):
        lines += ["", f"- key: {subject.key}", f"  about: {_quoted(subject.about)}"]
        lines += ["  guess: yes"] if subject.guess else []
        lines += ["  settles: 0", f"  answer: {_answer(answers[subject])}"]
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def _answer(text: str | None) -> str:
    return "" if text is None else _quoted(text)

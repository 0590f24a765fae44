"""The answers that a person wrote into questions.yaml, and what each of them means for the archive."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from noctuary.archive.adopt.matching import proposed_rig
from noctuary.archive.adopt.questions import QUESTIONS_FILE, Question, Subject
from noctuary.archive.adopt.table_columns import folded
from noctuary.archive.clock import NotAClock, read_partial_date
from noctuary.archive.did_you_mean import meant, nearest
from noctuary.archive.equipment_text import RigProposal
from noctuary.archive.marked_yaml import decode, read_yaml
from noctuary.archive.records import Archive
from noctuary.archive.values import text_as_yaml
from noctuary.diagnostic import Diagnostic
from noctuary.errors import NoctuaryError
from noctuary.quantity import NotAQuantity

_YES = {"yes", "y", "true", "on", "ja", "oui", "si", "sí"}
_NO = {"no", "n", "false", "off", "nein", "non"}
#: More than a record may have: an archive of ten thousand pictures has as many questions.
_MOST_BYTES = 16 << 20


class AnswersFault(NoctuaryError, ValueError):
    """questions.yaml cannot be read; the text says where and what to do."""


@dataclass
class Settlement:
    """What the answers come to: per question the text that takes its line's place (for a guess: anything), the rigs
    to add, the questions that are closed without a change, and what could not be taken."""

    values: dict[Subject, str] = field(default_factory=dict)
    rigs: dict[str, RigProposal] = field(default_factory=dict)
    closed: set[Subject] = field(default_factory=set)
    messages: list[str] = field(default_factory=list)


def read_answers(folder: Path) -> dict[Subject, str]:
    """Every answer of the file, empty ones left out; nothing where there is no file. Raises :class:`AnswersFault`."""
    try:
        data = (folder / QUESTIONS_FILE).read_bytes()
    except FileNotFoundError:
        return {}
    except OSError as trouble:
        raise AnswersFault(f"{QUESTIONS_FILE} cannot be read: {trouble.strerror}", "see who may read it") from None
    text = decode(data, QUESTIONS_FILE, _MOST_BYTES)
    if isinstance(text, Diagnostic):
        raise _fault(text)
    written = read_yaml(text, QUESTIONS_FILE)
    if faults := [finding for finding in written.findings if finding.level == "fault"]:
        raise _fault(faults[0])
    if written.value in (None, ""):
        return {}
    if not isinstance(written.value, list):
        raise AnswersFault(f"{QUESTIONS_FILE} is no list of questions", "delete it to have it written anew")
    return dict(pair for entry in written.value if (pair := _answered(entry)) is not None)


def _fault(finding: Diagnostic) -> AnswersFault:
    return AnswersFault("{}:{}:{}".format(*finding.mark) + f": {finding.message}", finding.hint)


def _answered(entry: Any) -> tuple[Subject, str] | None:
    if not isinstance(entry, dict):
        return None
    key, about, answer = (entry.get(name) for name in ("key", "about", "answer"))
    if not all(isinstance(text, str) and text.strip() for text in (key, about, answer)):
        return None
    return Subject(str(key), str(about), str(entry.get("guess", "no")).casefold() in _YES), " ".join(
        str(answer).split()
    )


def settle(asked: Iterable[Question], answers: Mapping[Subject, str], archive: Archive) -> Settlement:
    """What the answers mean for the questions that are open."""
    outcome = Settlement()
    for question in asked:
        answer = answers.get(question.subject)
        if answer is None:
            continue
        subject, word = question.subject, answer.casefold()
        where = f"{QUESTIONS_FILE}, {subject.key} of “{subject.about}”"
        if subject.guess:
            if word in _YES:
                outcome.values[subject] = answer
            elif word in _NO:
                outcome.closed.add(subject)
            else:
                outcome.messages.append(f"{where}: “{answer[:60]}” is neither yes nor no; write one of the two")
        elif subject.key == "finished":
            try:
                outcome.values[subject] = str(read_partial_date(answer))
            except (NotAClock, NotAQuantity) as trouble:
                outcome.messages.append(f"{where}: {trouble}; write a year, or a day such as 2009-09-14")
        elif subject.key == "place":
            name = _known(answer, archive.places)
            if name is not None:
                outcome.values[subject] = text_as_yaml(name)
            else:
                hint = meant(answer, archive.places, "add it to places.yaml first")
                outcome.messages.append(f"{where}: no place is called “{answer[:60]}”; {hint}")
        else:
            _rig(question, answer, archive, outcome, where)
    return outcome


def _rig(question: Question, answer: str, archive: Archive, outcome: Settlement, where: str) -> None:
    proposal = proposed_rig(question.subject.about, question.known)
    if answer.casefold() in _YES:
        if proposal is None:
            outcome.messages.append(f"{where}: there is nothing to say yes to; write the name of a rig")
            return
        answer = proposal.name
    name = _known(answer, archive.rigs)
    if name is None:
        near = nearest(answer, archive.rigs, most=1, cutoff=0.85)
        if near:
            outcome.messages.append(f"{where}: no rig is called “{answer[:60]}”; did you mean {near}?")
            return
        name = answer
        outcome.rigs.setdefault(name, proposal or RigProposal(name, None, None, None, None, None))
    outcome.values[question.subject] = text_as_yaml(name)


def _known(written: str, names: Iterable[str]) -> str | None:
    return next((name for name in names if folded(name) == folded(written)), None)

"""One file of an archive: its bytes → the values that it holds and every fault of its form.

Nothing here looks at another file, so the outcome depends on the name and the content alone and can be
kept from one run to the next: a :class:`ParsedFile` is plain data of declared types.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import cache
from hashlib import blake2b
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from noctuary.archive.declaration import annotation_at, declared_keys
from noctuary.archive.did_you_mean import meant, nearest
from noctuary.archive.keys import MODELS, TEXTS, SidecarKeys
from noctuary.archive.marked_yaml import Path, Written, decode, read_yaml
from noctuary.archive.records import Marks
from noctuary.archive.shapes import parted, without_spare_marks
from noctuary.archive.values import prose
from noctuary.archive.yaml_node import Plain
from noctuary.diagnostic import Diagnostic, Mark, fault

if TYPE_CHECKING:
    from pydantic import TypeAdapter

R = TypeVar("R")

# How deep the entries lie that can be left out alone when one of them has a fault.
_ENTRY_DEPTH = {"archive": 1, "equipment": 2, "places": 1, "objects": 1}
_MUST_SPEAK = {"archive", "sidecar", "exhibit"}
_ENOUGH = 100
_DRAFT = re.compile(r"^draft[ \t]*:[ \t]*[\"']?(?:yes|true|on|y)\b", re.IGNORECASE | re.MULTILINE)
#: pydantic's word for a key that a record does not have.
_UNKNOWN_KEY = {"unexpected_keyword_argument", "extra_forbidden"}
_NO_MAPPING = {"dict_type", "dataclass_type"}
_FENCE = re.compile(r"---[ \t]*")


@dataclass(frozen=True)
class ParsedFile(Generic[R]):
    """What one file says, before any name in it is looked up.

    ``record`` holds the keys (numbers in default units, dates, clean text), without the entries
    that have faults; it is ``None`` when the whole record is of no use. ``names`` are the entries that
    the file defines, faulty ones too. ``sound_part`` is a sidecar with faults without what they are in, so that the
    names in the rest can be looked up. ``prose`` is the Markdown after the front matter. ``draft``: a sidecar
    says that it is unfinished, whatever else is wrong with it. ``rest``: a digest of what it says beside its texts.
    """

    name: str
    kind: str
    record: R | None
    marks: Marks
    findings: tuple[Diagnostic, ...] = ()
    names: dict[str, tuple[str, ...]] = field(default_factory=dict)
    object_names: tuple[tuple[str, Mark], ...] = ()
    prose: str = ""
    draft: bool = False
    rest: str = ""
    sound_part: R | None = None


def kind_of(name: str) -> str:
    """The kind of record that a file of this name (relative to the archive) holds."""
    folder, _, rest = name.partition("/")
    if not rest:
        return name.removesuffix(".yaml")
    return {"pictures": "sidecar", "nights": "night", "exhibits": "exhibit", "pages": "page"}[folder]


def parsed_question(name: str, sha256: str) -> tuple[str, str, str]:
    """The question after what a file of this name and content says."""
    return "parsed", name, sha256


def parsed_type(name: str) -> Any:
    """The type of what :func:`parse` makes of a file of this name, down to its record."""
    generic: Any = ParsedFile
    return generic[MODELS[kind_of(name)]]


def parse(content: bytes, name: str) -> ParsedFile[Any]:
    """Everything that one file says. Never raises on what is in it."""
    kind = kind_of(name)
    text = decode(content, name)
    if isinstance(text, Diagnostic):
        unread = content.decode("latin-1").replace("\r", "\n")
        return ParsedFile(name, kind, None, Marks(name), (text,), draft=_is_draft(unread, kind))
    after_front = ""
    if kind in ("night", "page"):
        front, after_front, unclosed = _parts(text, name)
        if unclosed is not None:
            return ParsedFile(name, kind, None, Marks(name), (unclosed,))
        written = read_yaml(front, name, first_line=2) if front.strip() else Written({}, {(): (1, 1)})
    else:
        written = read_yaml(text, name)
    marks = Marks(name, written.places)
    if not written.sound:
        return ParsedFile(name, kind, None, marks, written.findings, prose=after_front, draft=_is_draft(text, kind))
    if written.value is None and kind in _MUST_SPEAK:
        empty = fault(Mark(name), "empty", "the file says nothing", _what_to_write(kind))
        return ParsedFile(name, kind, None, marks, (*written.findings, empty))
    plain = {} if written.value is None else written.value
    record, sound_part, findings = _validated(plain, kind, written, name)
    # What is wrong with the YAML of a value explains what is wrong with the value.
    explained = {finding.mark for finding in written.findings}
    findings = [finding for finding in findings if finding.mark not in explained]
    if written.findings and kind not in _ENTRY_DEPTH:
        record = sound_part = None
    return ParsedFile(
        name,
        kind,
        record,
        marks,
        (*written.findings, *findings),
        _names(plain, kind),
        tuple(_object_names(plain, marks)) if kind == "sidecar" else (),
        after_front,
        draft=_is_draft(text, kind),
        rest=_rest(plain) if kind == "sidecar" else "",
        sound_part=sound_part,
    )


def with_other_texts(content: bytes, before: ParsedFile[SidecarKeys]) -> ParsedFile[SidecarKeys] | None:
    """What :func:`parse` makes of a sidecar in which its texts alone differ from ``before``; ``None``: more differs.

    Takes a fraction of the time, for nothing has to be validated anew.
    """
    text = decode(content, before.name)
    if before.record is None or before.findings or isinstance(text, Diagnostic):
        return None
    written = read_yaml(text, before.name)
    plain = written.value
    if not written.sound or written.findings or not isinstance(plain, dict) or _rest(plain) != before.rest:
        return None
    texts: dict[str, Any] = {}
    for key in TEXTS:
        value = plain.get(key)
        if value is not None and not isinstance(value, str):
            return None
        texts[key] = prose(value) if value is not None else None
    marks = Marks(before.name, written.places)
    return replace(
        before,
        record=replace(before.record, **texts),
        marks=marks,
        object_names=tuple(_object_names(plain, marks)),
        draft=_is_draft(text, "sidecar"),
    )


def _rest(plain: Plain) -> str:
    if not isinstance(plain, dict):
        return ""
    rest = {key: inner for key, inner in plain.items() if key not in TEXTS}
    return blake2b(repr(rest).encode("utf-8", "backslashreplace"), digest_size=16).hexdigest()


def _is_draft(text: str, kind: str) -> bool:
    """Whether a sidecar says that it is a draft; seen in its text, since what it says may not be YAML yet."""
    return kind == "sidecar" and _DRAFT.search(text) is not None


def _what_to_write(kind: str) -> str:
    return {
        "archive": "write title and author",
        "sidecar": "write title and finished, and what else is known",
        "exhibit": "write title and pictures",
    }[kind]


def _parts(text: str, name: str) -> tuple[str, str, Diagnostic | None]:
    """Front matter and prose of a Markdown file."""
    lines = text.split("\n")
    if not _FENCE.fullmatch(lines[0]):
        return "", text, None
    for number, line in enumerate(lines[1:], start=1):
        if _FENCE.fullmatch(line):
            return "\n".join(lines[1:number]), "\n".join(lines[number + 1 :]), None
    unclosed = fault(
        Mark(name), "front-matter", "the front matter that begins here does not end", "write --- on the line after it"
    )
    return "", "", unclosed


def _names(plain: Plain, kind: str) -> dict[str, tuple[str, ...]]:
    if not isinstance(plain, dict):
        return {}
    if kind == "equipment":
        return {part: tuple(_lines(inner)) for part, inner in plain.items() if isinstance(inner, dict)}
    return {kind: tuple(_lines(plain))} if kind in ("places", "objects") else {}


def _lines(names: dict[str, Plain]) -> Iterator[str]:
    return (" ".join(name.split()) for name in names)


def _object_names(plain: Plain, marks: Marks) -> Iterator[tuple[str, Mark]]:
    objects = plain.get("objects") if isinstance(plain, dict) else None
    for number, name in enumerate(parted(objects) if isinstance(objects, list | str) else []):
        if isinstance(name, str) and name.strip():
            yield " ".join(without_spare_marks(name).split()), marks.at("objects", number)


def _validated(plain: Plain, kind: str, written: Written, name: str) -> tuple[Any, Any, list[Diagnostic]]:
    """The record, else the sound part of a sidecar, and what is wrong."""
    # Imported here: reading records that are all in the cache must not pay for pydantic.
    from noctuary.archive.cross_checks import disagreements

    reader = _reader(kind)
    from pydantic import ValidationError

    problems = [*disagreements(plain, kind, written, name)]
    record: Any = None
    sound_part: Any = None
    try:
        record = reader.validate_python(plain)
    except ValidationError as error:
        problems += _from_pydantic(error.errors(include_url=False), plain, MODELS[kind], written, name)
    if problems and kind in _ENTRY_DEPTH and isinstance(plain, dict):
        kept = _without(plain, {path[: _ENTRY_DEPTH[kind]] for path, _ in problems if path})
        if kind == "archive":
            written_keys = {key: inner for key, inner in kept.items() if inner is not None}
            kept = {"title": "Untitled", "author": "Unknown", **written_keys}
        try:
            record = reader.validate_python(kept)
        except ValidationError:  # the file as a whole is wrong, which has been said
            record = None
    elif problems:
        record = None
        if kind == "sidecar" and isinstance(plain, dict):
            sound_part = _sound_part(plain, [path for path, _ in problems], reader)
    return record, sound_part, [finding for _, finding in problems]


def _sound_part(plain: dict[str, Plain], paths: list[Path], reader: TypeAdapter[Any]) -> Any:
    """A sidecar without what is wrong at these paths: without a session's key, or else without all its sessions."""
    from pydantic import ValidationError

    kept = _without(plain, {path[:1] for path in paths if path[:1] != ("sessions",)})
    needed: dict[str, Plain] = {"title": "Untitled", "finished": "1900"}
    kept = needed | {key: inner for key, inner in kept.items() if inner is not None}
    sessions = kept.pop("sessions", None)
    if isinstance(sessions, list):
        wrong = {(path[1], path[2]) for path in paths if path[:1] == ("sessions",) and len(path) > 2}
        fit = [
            {key: inner for key, inner in session.items() if (number, key) not in wrong}
            if isinstance(session, dict) else session
            for number, session in enumerate(sessions)
        ]  # fmt: skip
        with suppress(ValidationError):
            return reader.validate_python({**kept, "sessions": fit})
    with suppress(ValidationError):
        return reader.validate_python(kept)
    return None


@cache
def _reader(kind: str) -> TypeAdapter[Any]:
    # A run that reads one sidecar builds no more than that one's, and looks for no plugins in all that is installed.
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    from pydantic import TypeAdapter

    return TypeAdapter(MODELS[kind])


def _without(plain: dict[str, Plain], paths: set[Path]) -> dict[str, Plain]:
    """The mapping without the entries at these paths of one or two keys."""
    kept: dict[str, Plain] = {}
    for key, inner in plain.items():
        if (key,) in paths:
            continue
        drop = {path[1] for path in paths if len(path) == 2 and path[0] == key}
        kept[key] = {k: v for k, v in inner.items() if k not in drop} if isinstance(inner, dict) and drop else inner
    return kept


def _from_pydantic(
    errors: list[Any], plain: Plain, model: Any, written: Written, name: str
) -> list[tuple[Path, Diagnostic]]:
    # Parent and the right word of each misspelt key → the diagnostic of it.
    misspelt: dict[tuple[Path, str], Diagnostic] = {}
    faults: list[tuple[Path, Diagnostic]] = []
    for error in errors:
        if error["type"] not in _UNKNOWN_KEY:
            continue
        path = _path(error["loc"], plain)
        key, known = str(path[-1]), _known_keys(model, error["loc"][:-1])
        # A file that is something else altogether has keys without end, and none of them is near to ours.
        hint = meant(key, known, "") if len(faults) < _ENOUGH else ""
        spot = written.keys.get(path) or written.places.get(path, (1, 1))
        message = f"“{key[:60]}” means nothing here"
        unknown = fault(Mark(name, *spot), "unknown-key", message, hint or f"known are {', '.join(known)}")
        faults.append((path, unknown))
        if hint:
            misspelt.setdefault((path[:-1], nearest(key, known, most=1)), unknown)
    for error in errors:
        path = _path(error["loc"], plain)
        kind = error["type"]
        if kind in _UNKNOWN_KEY:
            continue
        if kind == "missing":
            # A misspelt key has been named already with the right word.
            if (told_already := misspelt.get((path[:-1], str(path[-1])))) is not None:
                faults.append((path, told_already))
                continue
            spot = written.places.get(path[:-1], (1, 1))
            rule, message, hint = "missing-key", f"“{path[-1]}” is missing", _meaning(model, error["loc"])
        else:
            at_key = error["loc"][-1:] == ("[key]",)
            spot = (written.keys if at_key else written.places).get(path, written.places.get(path, (1, 1)))
            rule, message, hint = _rule_message_hint(error)
        faults.append((path, fault(Mark(name, *spot), rule, message, hint)))
    return faults


def _rule_message_hint(error: Any) -> tuple[str, str, str]:
    kind, value, context = error["type"], error["input"], error.get("ctx", {})
    if kind == "written":
        return context["rule"], context["message"], context["hint"]
    shape = "a mapping" if isinstance(value, dict) else "a list" if isinstance(value, list) else "a text"
    if kind in {"list_type", "literal_error", *_NO_MAPPING} and value is None:
        return "missing-key", "nothing is written after this key", "write its value, or delete the key"
    if kind == "list_type":
        each = "begin it with “- ”, as each entry of a list does" if isinstance(value, dict) else (
            "write a list, such as [one, two]"
        )  # fmt: skip
        return "wrong-shape", f"{shape} stands where a list belongs", each
    if kind in _NO_MAPPING:
        return "wrong-shape", f"{shape} stands where a mapping belongs", "write key: value, one on each line"
    if kind == "literal_error":
        words = context["expected"].replace("'", "")
        shown = f"“{value[:60]}”" if isinstance(value, str) else shape
        return "wrong-word", f"{shown} is none of the words that may stand here", f"write {words}"
    if kind == "too_short":
        number = context["min_length"]
        return "empty", f"at least {number} must stand here", "write what belongs here, or delete the key"
    if kind == "too_long":
        return "wrong-shape", f"no more than {context['max_length']} may stand here", "delete what is too much"
    return "wrong-shape", str(error["msg"]), "compare the record with the README"


def _path(location: tuple[str | int, ...], plain: Plain) -> Path:
    """Where in the plain data an error of pydantic lies: its own steps to keys and into what is alone removed."""
    path: list[str | int] = []
    here: Any = plain
    for step in location:
        if step == "[key]" and not _inside(here, step):
            continue
        if isinstance(here, str):
            continue  # the only one of a list, or of a mapping, written alone
        path.append(step)
        here = here[step] if _inside(here, step) else None
    return tuple(path)


def _inside(here: Any, step: str | int) -> bool:
    if isinstance(here, dict):
        return step in here
    return isinstance(here, list) and isinstance(step, int) and step < len(here)


def _known_keys(model: Any, location: tuple[str | int, ...]) -> list[str]:
    return list(declared_keys(annotation_at(model, location)))


def _meaning(model: Any, location: tuple[str | int, ...]) -> str:
    declared = declared_keys(annotation_at(model, location[:-1]))[str(location[-1])]
    return f"write {location[-1]}: {declared.meaning}"

"""Adding gathered sessions to a sidecar that a person wrote, without touching a word of it.

ruamel.yaml composes the sidecar into nodes that know where each value stands; what is new is inserted into
the text there, so that comments, order, quoting and spacing stay as they are to the byte. An existing value
is never changed: where the frames say otherwise, that is a doubt. Questions answered by now give way.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

from noctuary.archive.clock import NotAClock, moment, read_clock, read_date
from noctuary.archive.gather.draft import (
    Entry,
    calibration_entries,
    group_entries,
    group_lines,
    scalar,
    session_lines,
)
from noctuary.archive.gather.frame_header import filter_key
from noctuary.archive.gather.sessions import GatheredSession, Group, folded
from noctuary.diagnostic import Diagnostic, Mark, doubt, fault
from noctuary.quantity import TEMPERATURE, TIME, Kind, NotAQuantity, read, read_number

DISAGREES = "gather-disagreement"
_MOST_NODES = 50_000
_CLOCK_TOLERANCE = timedelta(minutes=5)


@dataclass(slots=True)
class Node:
    """A value of the sidecar with its place in the text, lines and columns from 0.

    ``end_line`` is the last line with content, ``end_index`` where the value ends, ``inside_index`` where
    something can be added to it between brackets, ``key_line`` the line of its key.
    """

    value: str | list[Node] | dict[str, Node]
    line: int
    column: int
    index: int
    end_line: int
    end_index: int
    inside_index: int
    flow: bool
    key_line: int = 0

    def get(self, key: str) -> Node | None:
        return self.value.get(key) if isinstance(self.value, dict) else None

    def text(self, key: str) -> str | None:
        found = self.get(key)
        return found.value if found is not None and isinstance(found.value, str) and found.value else None

    def items(self) -> list[Node]:
        return self.value if isinstance(self.value, list) else []

    def plain(self) -> object:
        if isinstance(self.value, dict):
            return {k: v.plain() for k, v in self.value.items()}
        if isinstance(self.value, list):
            return [v.plain() for v in self.value]
        return self.value


@dataclass(slots=True)
class Extension:
    """The new text of a sidecar (the old one where nothing was added) and what was found on the way."""

    text: str
    added: int = 0
    filled: int = 0
    findings: list[Diagnostic] = field(default_factory=list)


class NotASidecar(ValueError):
    """A file that cannot be extended, with the finding that says why."""

    def __init__(self, finding: Diagnostic) -> None:
        super().__init__(finding.message)
        self.finding = finding


def composed(text: str, file: str) -> Node:
    """The sidecar's top mapping. Raises :class:`NotASidecar` when the text is no YAML mapping."""
    from ruamel.yaml import YAML
    from ruamel.yaml.error import MarkedYAMLError, YAMLError

    hint = "correct the file, or name another with --sidecar"
    try:
        raw = YAML(pure=True).compose(text)
        node = None if raw is None else _node(raw, [_MOST_NODES])
    except MarkedYAMLError as trouble:
        at = trouble.problem_mark
        mark = Mark(file, at.line + 1, at.column + 1) if at else Mark(file)
        raise NotASidecar(fault(mark, "not-yaml", f"the sidecar is no YAML: {trouble.problem}", hint)) from trouble
    except (YAMLError, ValueError, RecursionError) as trouble:
        raise NotASidecar(fault(Mark(file), "not-yaml", "the sidecar is no YAML", hint)) from trouble
    if node is None:
        return Node({}, 0, 0, len(text), -1, len(text), len(text), False)
    if not isinstance(node.value, dict) or node.flow:
        raise NotASidecar(
            fault(Mark(file, node.line + 1), "not-yaml", "the sidecar is not a list of keys, one a line", hint)
        )
    return node


def _node(raw: Any, left: list[int]) -> Node:
    left[0] -= 1
    if left[0] < 0:
        raise ValueError("aliases expand to more than any sidecar needs")
    start, end = raw.start_mark, raw.end_mark
    flow = bool(getattr(raw, "flow_style", False))
    value: str | list[Node] | dict[str, Node]
    if raw.id == "mapping":
        pairs = [(k, _node(v, left)) for k, v in raw.value]
        for key, held in pairs:
            held.key_line = key.start_mark.line
        value = {str(k.value): v for k, v in pairs if isinstance(k.value, str)}
        keys_end = max((k.end_mark.line for k, _ in pairs), default=start.line)
        last: int = max([v.end_line for _, v in pairs] + [keys_end])
        last_index: int = max((v.end_index for _, v in pairs), default=start.index + 1)
    elif raw.id == "sequence":
        value = [_node(v, left) for v in raw.value]
        last = max((v.end_line for v in value), default=start.line)
        last_index = max((v.end_index for v in value), default=start.index + 1)
    else:
        value = str(raw.value)
        last = end.line - (1 if end.column == 0 and end.line > start.line else 0)
        last_index = end.index
    if flow:
        last = max(last, end.line)
    whole = end.index if flow or raw.id == "scalar" else last_index
    return Node(value, start.line, start.column, start.index, last, whole, last_index, flow)


class _Text:
    """Lines of a file and what is to be inserted between and into them."""

    def __init__(self, text: str) -> None:
        self.newline = "\r\n" if "\r\n" in text else "\n"
        self.lines = text.split(self.newline)
        if self.lines and self.lines[-1] == "":
            self.lines.pop()
            self.ends_with_newline = True
        else:
            self.ends_with_newline = not text
        self.after: dict[int, list[Sequence[str]]] = {}
        self.within: list[tuple[int, str]] = []
        self.replaced: dict[int, str] = {}
        self.text = text

    def insert(self, after_line: int, lines: Sequence[str]) -> None:
        if lines:
            self.after.setdefault(after_line, []).append(lines)

    def insert_within(self, index: int, text: str) -> None:
        self.within.append((index, text))

    def result(self) -> str:
        starts: list[int] = []
        at = 0
        for line in self.lines:
            starts.append(at)
            at += len(line) + len(self.newline)
        changed = list(self.lines)
        for number, line in self.replaced.items():
            changed[number] = line
        by_line: dict[int, list[tuple[int, str]]] = {}
        for index, text in self.within:
            number = max(n for n, start in enumerate(starts) if start <= index)
            by_line.setdefault(number, []).append((index - starts[number], text))
        for number, pieces in by_line.items():
            line = changed[number]
            for column in sorted({c for c, _ in pieces}, reverse=True):
                joined = "".join(t for c, t in pieces if c == column)
                line = line[:column] + joined + line[column:]
            changed[number] = line
        whole: list[str] = []
        for number, line in enumerate(["", *changed], start=-1):
            if number >= 0:
                whole.append(line)
            # What stands deeper belongs to the block that ends here; of two as deep, items do.
            for lines in sorted(self.after.get(number, []), key=_depth):
                whole.extend(lines)
        return self.newline.join(whole) + (self.newline if self.ends_with_newline or self.after else "")

    def end_of(self, node: Node, column: int) -> int:
        """The last line of a block, with the comment lines that follow it and stand no further left."""
        line = node.end_line
        for number in range(node.end_line + 1, len(self.lines)):
            bare = self.lines[number].lstrip(" ")
            if bare.startswith("#") and len(self.lines[number]) - len(bare) >= max(column, 1):
                line = number
            elif bare:
                break
        return line

    def question(self, node: Node, column: int, key: str) -> int | None:
        """The line of an open question about a key of a block mapping."""
        for number in range(node.line, self.end_of(node, column) + 1):
            if re.match(rf" {{{column}}}# \? {re.escape(key)}:", self.lines[number]):
                return number
        return None


def _depth(lines: Sequence[str]) -> tuple[int, bool]:
    bare = lines[0].lstrip(" ")
    return len(bare) - len(lines[0]), not bare.startswith("- ")


def extended(
    text: str, file: str, sessions: Sequence[GatheredSession], clocks: Sequence[tuple[str, str]]
) -> Extension:
    """A sidecar with what these sessions add to it. Raises :class:`NotASidecar`."""
    mark = text[:1] if text.startswith("\ufeff") else ""  # some editors put one there; it is no text
    outcome = _extended(text.removeprefix(mark), file, sessions, clocks)
    outcome.text = mark + outcome.text
    return outcome


def _extended(
    text: str, file: str, sessions: Sequence[GatheredSession], clocks: Sequence[tuple[str, str]]
) -> Extension:
    root = composed(text, file)
    paper = _Text(text)
    outcome = Extension(text)
    listed = root.get("sessions")
    existing = listed.items() if listed is not None else []
    used: set[int] = set()
    fresh: list[tuple[GatheredSession, tuple[str, str]]] = []
    _compare_target(root, file, sessions, outcome)
    _complete_top(root, existing, sessions, paper, outcome)
    for session, clock in zip(sessions, clocks, strict=True):
        index = _same_session(root, existing, session, used)
        if index is None:
            fresh.append((session, clock))
            continue
        used.add(index)
        _complete(root, existing[index], session, clock, file, paper, outcome)
    if fresh:
        _append(root, listed, fresh, paper)
        outcome.added += len(fresh)
    if outcome.added or outcome.filled:
        outcome.text = paper.result()
        _verify(root, outcome.text, file)
    return outcome


def _verify(root: Node, text: str, file: str) -> None:
    if not _holds(composed(text, file).plain(), root.plain()):
        raise NotASidecar(
            fault(
                Mark(file), "not-extended", "the sidecar is laid out in a way that nothing can safely be added to",
                "add the sessions by hand, or gather into another file and copy them",
            )
        )  # fmt: skip


def _holds(new: object, old: object) -> bool:
    """Whether the new value has everything of the old, in the same order."""
    if isinstance(old, dict):
        return isinstance(new, dict) and all(k in new and _holds(new[k], v) for k, v in old.items())
    if isinstance(old, list):
        return isinstance(new, list) and len(new) >= len(old) and all(map(_holds, new, old))
    return old in ("", "null", "~") or new == old


def _compare_target(root: Node, file: str, sessions: Sequence[GatheredSession], outcome: Extension) -> None:
    objects = root.get("objects")
    written = [n.value for n in objects.items() if isinstance(n.value, str)] if objects else []
    if objects is None or not written:
        return
    known = {folded(name) for name in written}
    for name in dict.fromkeys(s.target for s in sessions if s.target and not s.target_guessed):
        if folded(name) not in known:
            outcome.findings.append(
                doubt(
                    _mark(file, objects), DISAGREES, f"the frames are of {name}, the sidecar of {', '.join(written)}",
                    "if both are names of the same object, nothing is wrong; else gather them into another sidecar",
                )
            )  # fmt: skip


def _complete_top(
    root: Node, existing: Sequence[Node], sessions: Sequence[GatheredSession], paper: _Text, outcome: Extension
) -> None:
    """The rig and place that the sidecar asked for and that are known by now."""
    for key, names in (
        ("rig", {s.kit.rig for s in sessions}), ("place", {s.place for s in sessions}),
    ):  # fmt: skip
        name = next(iter(names)) if len(names) == 1 else None
        if name is None or root.get(key) is not None or any(node.get(key) is not None for node in existing):
            continue
        at = paper.question(root, 0, key)
        if at is not None and isinstance(root.value, dict):
            paper.replaced[at] = f"{key}: {scalar(name)}"
            root.value[key] = Node(name, at, 0, 0, at, 0, 0, False)
            outcome.filled += 1


def _mark(file: str, node: Node) -> Mark:
    return Mark(file, node.line + 1, node.column + 1)


def _same_session(root: Node, existing: Sequence[Node], session: GatheredSession, used: set[int]) -> int | None:
    """The written session that these frames belong to: its night, rig and place, and its hours if several."""
    candidates = []
    for index, node in enumerate(existing):
        if index in used or _night(node) != session.night:
            continue
        overlap = _overlap_s(node, session)
        rig = node.text("rig") or root.text("rig")
        place = node.text("place") or root.text("place")
        alike = _agree(rig, session.kit.rig) + _agree(place, session.place)
        # Another rig or place makes another session, unless the frames are the very same.
        if (overlap is None or overlap > 0) and (alike == 2 or _same_frames(node, session)):
            candidates.append((alike == 2, overlap or 0.0, -index, index))
    return max(candidates)[3] if candidates else None


def _same_frames(node: Node, session: GatheredSession) -> bool:
    frames = node.get("frames")
    items = frames.items() if frames is not None else []
    return len(items) == len(session.groups) and all(
        any(_same_group(item, group, strict=True) and _number(item.text("taken")) == group.taken for item in items)
        for group in session.groups
    )


def _agree(written: str | None, gathered: str | None) -> bool:
    return written is None or gathered is None or written == gathered


def _night(node: Node) -> date | None:
    try:
        return read_date(node.text("night") or "")
    except NotAClock:
        return None


def _span(node: Node, session: GatheredSession) -> tuple[datetime | None, datetime | None]:
    found: list[datetime | None] = []
    for key in ("start", "end"):
        text = node.text(key)
        try:
            if text is None or session.zone is None:
                found.append(None)
            else:
                found.append(moment(read_clock(text), session.night, session.zone))
        except NotAClock:
            found.append(None)
    return found[0], found[1]


def _overlap_s(node: Node, session: GatheredSession) -> float | None:
    start, end = _span(node, session)
    if start is None or end is None:
        return None
    return min(end.timestamp(), session.end.timestamp()) - max(start.timestamp(), session.start.timestamp())


def _complete(
    root: Node, node: Node, session: GatheredSession, clock: tuple[str, str], file: str, paper: _Text,
    outcome: Extension,
) -> None:  # fmt: skip
    """Fill what a written session lacks, and tell where it says something else than the frames."""
    for key, ours in (("rig", session.kit.rig), ("place", session.place)):
        written = node.get(key) or root.get(key)
        if written is not None and ours is not None and isinstance(written.value, str) and written.value != ours:
            _disagree(file, written, key, scalar(written.value), scalar(ours), outcome)
    if session.zone is not None:
        span = _span(node, session)
        for key, text, ours_at, theirs in zip(
            ("start", "end"), clock, (session.start, session.end), span, strict=True
        ):
            value = node.get(key)
            if value is None:
                _fill(node, key, f'"{text}"', paper, outcome)
            elif (
                theirs is not None
                and abs(theirs.timestamp() - ours_at.timestamp()) > _CLOCK_TOLERANCE.total_seconds()
            ):
                _disagree(file, value, key, str(value.value), text, outcome)
    frames = node.get("frames")
    if frames is None or not frames.items():
        if frames is None and not node.flow:
            indent = " " * node.column
            lines = [f"{indent}frames:"]
            for group in session.groups:
                lines += group_lines(group, indent + "  ")
            paper.insert(paper.end_of(node, node.column), lines)
            outcome.filled += 1
    else:
        _complete_frames(frames, session, file, paper, outcome)
    _complete_calibration(node, session, file, paper, outcome)


def _complete_frames(frames: Node, session: GatheredSession, file: str, paper: _Text, outcome: Extension) -> None:
    items = frames.items()
    taken: set[int] = set()
    matches: list[tuple[Group, int | None]] = []
    for strict in (True, False):
        for group in session.groups:
            if any(g is group for g, _ in matches):
                continue
            fitting = [
                i for i, item in enumerate(items) if i not in taken and _same_group(item, group, strict=strict)
            ]
            if fitting and (strict or len(fitting) == 1):
                taken.add(fitting[0])
                matches.append((group, fitting[0]))
            elif not strict:
                matches.append((group, None))
    for group, index in matches:
        if index is not None:
            _complete_group(items[index], group, file, paper, outcome)
        elif frames.flow:
            paper.insert_within(frames.inside_index, f", {_flow(group_entries(group))}")
            outcome.added += 1
        else:
            paper.insert(paper.end_of(items[-1], items[-1].column), group_lines(group, " " * frames.column))
            outcome.added += 1


def _same_group(item: Node, group: Group, *, strict: bool) -> bool:
    if not isinstance(item.value, dict):
        return False
    exposure = _quantity(item.text("exposure"), TIME)
    if exposure is not None and group.exposure_s and not math.isclose(exposure, group.exposure_s, rel_tol=0.01):
        return False
    written_filter = item.text("filter")
    if written_filter and group.filter and filter_key(written_filter) != filter_key(group.filter):
        return False
    if not strict:
        return True
    pairs = (
        (_number(item.text("gain")), group.gain),
        (_number(item.text("iso")), group.iso),
        (_number(item.text("binning")) or 1.0, float(group.binning)),
    )
    return all(a is None or b is None or math.isclose(a, b, rel_tol=1e-6) for a, b in pairs)


def _complete_group(item: Node, group: Group, file: str, paper: _Text, outcome: Extension) -> None:
    for key, value in group_entries(group):
        written = item.get(key)
        if written is None:
            if (key == "gain" and item.get("iso") is not None) or (key == "iso" and item.get("gain") is not None):
                continue
            _fill(item, key, value, paper, outcome)
        elif isinstance(written.value, str) and not _same_value(key, written.value, value):
            _disagree(file, written, key, written.value, value, outcome)


def _complete_calibration(node: Node, session: GatheredSession, file: str, paper: _Text, outcome: Extension) -> None:
    entries = calibration_entries(session)
    if not entries:
        return
    calibration = node.get("calibration")
    if calibration is None:
        if node.flow:
            paper.insert_within(node.inside_index, f", calibration: {_flow(entries)}")
        else:
            indent = " " * node.column
            lines = [f"{indent}calibration:", *(f"{indent}  {key}: {value}" for key, value in entries)]
            _put(node, "calibration", lines, paper)
        outcome.filled += 1
        return
    if not isinstance(calibration.value, dict):
        return
    for key, value in entries:
        written = calibration.get(key)
        if written is None:
            _fill(calibration, key, value, paper, outcome)
        elif isinstance(written.value, str) and not _same_value(key, written.value, value):
            _disagree(file, written, key, written.value, value, outcome)


def _fill(mapping: Node, key: str, value: str, paper: _Text, outcome: Extension) -> None:
    if mapping.flow:
        comma = ", " if mapping.value else ""
        paper.insert_within(mapping.inside_index, f"{comma}{key}: {value}")
    else:
        _put(mapping, key, [f"{' ' * mapping.column}{key}: {value}"], paper)
    outcome.filled += 1


def _put(mapping: Node, key: str, lines: Sequence[str], paper: _Text) -> None:
    """Lines into a block mapping: in the place of the open question about the key, else at the end."""
    at = paper.question(mapping, mapping.column, key)
    night = mapping.get("night")
    if at is not None and at not in paper.replaced:
        paper.replaced[at] = lines[0]
        paper.insert(at, lines[1:])
    elif key in ("start", "end") and night is not None:
        before = mapping.get("start") if key == "end" else None
        paper.insert((before or night).end_line, lines)
    else:
        paper.insert(paper.end_of(mapping, mapping.column), lines)


def _append(
    root: Node, listed: Node | None, fresh: Sequence[tuple[GatheredSession, tuple[str, str]]], paper: _Text
) -> None:
    top_rig, top_place = root.text("rig"), root.text("place")

    def lines_of(indent: str) -> list[str]:
        lines: list[str] = []
        for session, clock in fresh:
            lines += session_lines(
                session, clock, indent,
                rig=top_rig is None or not _agree(top_rig, session.kit.rig),
                place=top_place is None or not _agree(top_place, session.place),
            )  # fmt: skip
        return lines

    if listed is not None and listed.flow:
        pieces = [_flow_session(session, clock, top_rig, top_place) for session, clock in fresh]
        joined = ", ".join(pieces)
        paper.insert_within(listed.inside_index, f", {joined}" if listed.items() else joined)
    elif listed is not None and listed.items():
        last = listed.items()[-1]
        paper.insert(paper.end_of(last, last.column), lines_of(" " * listed.column))
    elif listed is not None:
        paper.insert(listed.key_line, lines_of("  "))
    else:
        paper.insert(root.end_line, ["sessions:", *lines_of("  ")])


def _flow_session(
    session: GatheredSession, clock: tuple[str, str], top_rig: str | None, top_place: str | None
) -> str:
    entries: list[Entry] = [("night", session.night.isoformat())]
    if session.kit.rig is not None and session.kit.rig != top_rig:
        entries.append(("rig", scalar(session.kit.rig)))
    if session.place is not None and session.place != top_place:
        entries.append(("place", scalar(session.place)))
    if session.zone is not None:
        entries += [("start", f'"{clock[0]}"'), ("end", f'"{clock[1]}"')]
    entries.append(("frames", "[" + ", ".join(_flow(group_entries(g)) for g in session.groups) + "]"))
    if found := calibration_entries(session):
        entries.append(("calibration", _flow(found)))
    return _flow(entries)


def _flow(entries: Sequence[Entry]) -> str:
    return "{" + ", ".join(f"{key}: {value}" for key, value in entries) + "}"


def _disagree(file: str, node: Node, key: str, written: str, found: str, outcome: Extension) -> None:
    outcome.findings.append(
        doubt(
            _mark(file, node), DISAGREES, f"{key} says {written}, the frames say {found}",
            "the sidecar was left as it is; correct it if the frames are right",
        )
    )  # fmt: skip


def _same_value(key: str, written: str, found: str) -> bool:
    if key in ("exposure", "dark_exposure"):
        a, b = _quantity(written, TIME), _quantity(found, TIME)
        return a is not None and b is not None and math.isclose(a, b, rel_tol=0.01)
    if key == "sensor_temperature":
        a, b = _quantity(written, TEMPERATURE), _quantity(found, TEMPERATURE)
        return a is not None and b is not None and abs(a - b) <= 2
    if key == "filter":
        return filter_key(written) == filter_key(found)
    a, b = _number(written), _number(found)
    return a is not None and b is not None and math.isclose(a, b, rel_tol=1e-6)


def _quantity(text: str | None, kind: Kind) -> float | None:
    try:
        return None if text is None else read(text, kind)
    except NotAQuantity:
        return None


def _number(text: str | None) -> float | None:
    try:
        return None if text is None else read_number(text)
    except NotAQuantity:
        return None

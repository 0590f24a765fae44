"""The text of a sidecar while lines are added to it: every other byte stays as the person wrote it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from noctuary.archive.gather.draft import (
    Entry,
    calibration_entries,
    group_entries,
    scalar,
    session_lines,
)
from noctuary.archive.gather.same_session import texts_agree
from noctuary.archive.gather.sessions import GatheredSession
from noctuary.archive.gather.sidecar_nodes import Node
from noctuary.diagnostic import Diagnostic


@dataclass(slots=True)
class Extension:
    """The new text of a sidecar (the old one where nothing was added) and what was found on the way."""

    text: str
    added: int = 0
    filled: int = 0
    findings: list[Diagnostic] = field(default_factory=list)


class SidecarText:
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


def fill_key(mapping: Node, key: str, value: str, paper: SidecarText, outcome: Extension) -> None:
    if mapping.flow:
        comma = ", " if mapping.value else ""
        paper.insert_within(mapping.inside_index, f"{comma}{key}: {value}")
    else:
        put_lines(mapping, key, [f"{' ' * mapping.column}{key}: {value}"], paper)
    outcome.filled += 1


def put_lines(mapping: Node, key: str, lines: Sequence[str], paper: SidecarText) -> None:
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


def append_session(
    root: Node, listed: Node | None, fresh: Sequence[tuple[GatheredSession, tuple[str, str]]], paper: SidecarText
) -> None:
    top_rig, top_place = root.text("rig"), root.text("place")

    def lines_of(indent: str) -> list[str]:
        lines: list[str] = []
        for session, clock in fresh:
            lines += session_lines(
                session, clock, indent,
                rig=top_rig is None or not texts_agree(top_rig, session.kit.rig),
                place=top_place is None or not texts_agree(top_place, session.place),
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
    entries.append(("frames", "[" + ", ".join(flow_mapping(group_entries(g)) for g in session.groups) + "]"))
    if found := calibration_entries(session):
        entries.append(("calibration", flow_mapping(found)))
    return flow_mapping(entries)


def flow_mapping(entries: Sequence[Entry]) -> str:
    return "{" + ", ".join(f"{key}: {value}" for key, value in entries) + "}"

"""The text of a record while something is added to it: every other byte stays as the person wrote it."""

from __future__ import annotations

import re
from collections.abc import Sequence

from noctuary.archive.marked_yaml import decode_as_it_is, read_yaml
from noctuary.archive.yaml_node import Node
from noctuary.diagnostic import Diagnostic, Mark, fault
from noctuary.errors import NoctuaryError

_LINE = re.compile("[^\r\n\x85\u2028\u2029]*(?:\r\n|[\r\n\x85\u2028\u2029])|[^\r\n\x85\u2028\u2029]+")
_LINE_END = "\r\n\x85\u2028\u2029"


class NotEditable(NoctuaryError, ValueError):
    """A file that nothing can be added to, with the findings that say why: those that checking it gives."""

    def __init__(self, *findings: Diagnostic) -> None:
        super().__init__("\n".join(map(str, findings)))
        self.findings = findings


def editable_text(content: bytes, file: str) -> str:
    """The text of a file with its own ends of lines and byte-order mark; raises :class:`NotEditable`."""
    text = decode_as_it_is(content, file)
    if isinstance(text, Diagnostic):
        raise NotEditable(text)
    return "\ufeff" + text if content.startswith(b"\xef\xbb\xbf") else text


def record_node(text: str, file: str) -> Node:
    """The record's mapping, empty for a text that says nothing; raises :class:`NotEditable`."""
    written = read_yaml(text.removeprefix("\ufeff"), file)
    if written.findings:
        raise NotEditable(*written.findings)
    root = written.root
    if root is None or root.value is None:
        empty = Node({}, 0)
        empty.end_line, empty.end_index = -1, len(text)
        return empty
    if not isinstance(root.value, dict):
        shape = "a list" if isinstance(root.value, list) else "a text"
        finding = fault(
            Mark(file, root.line + 1, root.column + 1),
            "wrong-shape",
            f"{shape} stands where a mapping belongs",
            "write key: value, one on each line",
        )
        raise NotEditable(finding)
    return root


class RecordText:
    """Lines of a file and what is to be inserted between and into them."""

    def __init__(self, text: str) -> None:
        self._lines: list[str] = _LINE.findall(text)
        self.newline = "\r\n" if "\r\n" in text else "\n"
        self._after: dict[int, list[Sequence[str]]] = {}
        self._within: list[tuple[int, str]] = []
        self._replaced: dict[int, str] = {}

    def line(self, number: int) -> str:
        """A line without its end."""
        return self._lines[number].rstrip(_LINE_END)

    def is_replaced(self, number: int) -> bool:
        return number in self._replaced

    def replace(self, number: int, line: str) -> None:
        self._replaced[number] = line

    def insert(self, after_line: int, lines: Sequence[str]) -> None:
        if lines:
            self._after.setdefault(after_line, []).append(lines)

    def insert_within(self, index: int, text: str) -> None:
        self._within.append((index, text))

    def result(self) -> str:
        starts: list[int] = []
        at = 0
        for line in self._lines:
            starts.append(at)
            at += len(line)
        changed = list(self._lines)
        for number, line in self._replaced.items():
            changed[number] = line + self._lines[number][len(self.line(number)) :]
        by_line: dict[int, list[tuple[int, str]]] = {}
        for index, text in self._within:
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
            whole.append(line)
            # What is deeper belongs to the block that ends here; of two as deep, items do.
            for lines in sorted(self._after.get(number, []), key=_depth):
                if whole[-1] and whole[-1][-1] not in _LINE_END:
                    whole[-1] += self.newline
                whole.extend(line + self.newline for line in lines)
        return "".join(whole)

    def end_of(self, node: Node, column: int) -> int:
        """The last line of a block, with the comment lines that follow it and are no further left."""
        last = node.end_line
        for number in range(node.end_line + 1, len(self._lines)):
            line = self.line(number)
            bare = line.lstrip(" ")
            if bare.startswith("#") and len(line) - len(bare) >= max(column, 1):
                last = number
            elif bare:
                break
        return last

    def last_line(self, root: Node) -> int:
        """The last line of the text, or of what comes before the mark that ends the document."""
        for number in range(root.end_line + 1, len(self._lines)):
            if re.match(r"\.\.\.(?:\s|$)", self.line(number)):
                return number - 1
        return len(self._lines) - 1

    def question(self, node: Node, column: int, key: str) -> int | None:
        """The line of an open question about a key of a block mapping."""
        for number in range(node.line, self.end_of(node, column) + 1):
            if re.match(rf" {{{column}}}# \? {re.escape(key)}:", self.line(number)):
                return number
        return None


def _depth(lines: Sequence[str]) -> tuple[int, bool]:
    bare = lines[0].lstrip(" ")
    return len(bare) - len(lines[0]), not bare.startswith("- ")


def flow_mapping(entries: Sequence[tuple[str, str]]) -> str:
    """Keys and their values as YAML texts → a mapping in braces."""
    return "{" + ", ".join(f"{key}: {value}" for key, value in entries) + "}"

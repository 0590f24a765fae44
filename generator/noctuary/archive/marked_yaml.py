"""YAML in which every value knows its line and column.

A person's text is not turned into numbers, dates or truth values here: a scalar stays the text that was
written (``19:40`` is no base-60 number, ``No`` is a filter or a word), a value left empty is ``None``.
What the safe loader would refuse, and a few things that it would let pass (repeated keys, bombs of
aliases, tags, several documents), are findings with their place; nothing is raised.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, TypeAlias

import yaml

from noctuary.archive.syntax import explained
from noctuary.archive.yaml_node import Node, Plain, Spot
from noctuary.diagnostic import Diagnostic, Mark, fault

Path: TypeAlias = tuple[str | int, ...]

MAX_BYTES = 1 << 20
MAX_DEPTH = 40
MAX_VALUES = 50_000
_LOADER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_TEXT_TAGS = {
    None, "!", *(f"tag:yaml.org,2002:{name}" for name in ("str", "int", "float", "bool", "null", "timestamp")),
}  # fmt: skip
_MAPPING_TAGS = {None, "!", "tag:yaml.org,2002:map"}
_LIST_TAGS = {None, "!", "tag:yaml.org,2002:seq"}
_EMPTY = {"", "~", "null", "Null", "NULL"}
# All that YAML 1.1 calls unprintable, and the lone surrogates that an escape can make.
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x84\x86-\x9f\ud800-\udfff\ufffe\uffff]")


@dataclass(frozen=True)
class Written:
    """What one YAML text says.

    ``value`` is the plain data, ``places`` where each value begins and ``keys`` where the key before it
    does, both by path. ``sound`` is false when the text could not be read to its end, so that
    ``value`` holds nothing. ``root`` is the whole with its places in the text, ``None`` for a text that says nothing.
    """

    value: Plain
    places: Mapping[Path, Spot] = field(default_factory=dict)
    keys: Mapping[Path, Spot] = field(default_factory=dict)
    findings: tuple[Diagnostic, ...] = ()
    sound: bool = True
    root: Node | None = None


def decode(content: bytes, file: str, most_bytes: int = MAX_BYTES) -> str | Diagnostic:
    """The text of a file in UTF-8, without its byte-order mark and with plain ends of lines, or what is wrong."""
    text = decode_as_it_is(content, file, most_bytes)
    return text if isinstance(text, Diagnostic) else text.replace("\r\n", "\n").replace("\r", "\n")


def decode_as_it_is(content: bytes, file: str, most_bytes: int = MAX_BYTES) -> str | Diagnostic:
    """The text of a file in UTF-8, without its byte-order mark, or the fault that it is not."""
    if len(content) > most_bytes:
        return fault(
            Mark(file),
            "too-large",
            f"the file holds more than the {most_bytes:,} bytes that a record may have",
            "split it, or move what is no record elsewhere",
        )
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return fault(Mark(file), "encoding", "the file is in UTF-16", "save it as UTF-8")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        # Counted in what was decoded, which is without the byte-order mark.
        mark = Mark(file, *_spot(error.object[: error.start].decode("utf-8", "replace")))
        return fault(
            mark, "encoding", f"byte 0x{error.object[error.start]:02x} is not UTF-8", "save the file as UTF-8"
        )
    if found := _CONTROL.search(text):
        return fault(
            Mark(file, *_spot(text[: found.start()])),
            "control-character",
            f"the character U+{ord(found[0]):04X} cannot stand in a text",
            "delete it",
        )
    return text


def read_yaml(text: str, file: str, *, first_line: int = 1) -> Written:
    """The plain data of one YAML document, with every fault of its form.

    ``first_line`` is the line of the file on which ``text`` begins (for front matter).
    """
    builder = _Builder(file, first_line - 1)
    try:
        builder.take(yaml.parse(text, Loader=_LOADER))
    except _Unreadable as stop:
        return Written(None, findings=(*builder.findings, stop.finding), sound=False)
    except yaml.MarkedYAMLError as error:
        return Written(None, findings=(*builder.findings, builder.syntax(error, text)), sound=False)
    except (yaml.YAMLError, RecursionError, ValueError, OverflowError) as error:
        finding = fault(
            Mark(file, first_line), "yaml", f"the text is not YAML ({error})", "compare it with the README"
        )
        return Written(None, findings=(*builder.findings, finding), sound=False)
    places: dict[Path, Spot] = {}
    keys: dict[Path, Spot] = {}
    if builder.root is None:
        return Written(None, {(): (first_line, 1)}, {}, tuple(builder.findings))
    value = _flat(builder.root, (), first_line - 1, places, keys)
    return Written(value, places, keys, tuple(builder.findings), root=builder.root)


class _Unreadable(Exception):
    def __init__(self, finding: Diagnostic) -> None:
        super().__init__(finding.message)
        self.finding = finding


class _Builder:
    """Events of the parser → nodes, without recursion, so that deep nesting is a fault like any other."""

    def __init__(self, file: str, lines_before: int) -> None:
        self.file = file
        self.before = lines_before
        self.findings: list[Diagnostic] = []
        self.root: Node | None = None
        self.documents = 0
        self.anchors: dict[str, Node] = {}
        self.open: list[Node] = []
        self.pending: list[tuple[str, Spot, bool] | None] = []
        self.long_quotes: tuple[int, Any] | None = None

    def spot(self, mark: Any) -> Spot:
        return mark.line + 1 + self.before, mark.column + 1

    def stop(self, spot: Spot, rule: str, message: str, hint: str) -> _Unreadable:
        return _Unreadable(fault(Mark(self.file, *spot), rule, message, hint))

    def report(self, spot: Spot, rule: str, message: str, hint: str) -> None:
        self.findings.append(fault(Mark(self.file, *spot), rule, message, hint))

    def take(self, events: Iterator[Any]) -> None:
        for event in events:
            if isinstance(event, yaml.ScalarEvent):
                self.scalar(event)
            elif isinstance(event, yaml.MappingStartEvent):
                self.begin(event, {}, _MAPPING_TAGS)
            elif isinstance(event, yaml.SequenceStartEvent):
                self.begin(event, [], _LIST_TAGS)
            elif isinstance(event, yaml.MappingEndEvent | yaml.SequenceEndEvent):
                self.end(event)
            elif isinstance(event, yaml.AliasEvent):
                self.alias(event)
            elif isinstance(event, yaml.DocumentStartEvent):
                self.documents += 1
                if self.documents > 1:
                    raise self.stop(
                        self.spot(event.start_mark),
                        "several-documents",
                        "a second document begins here",
                        "keep one record in a file and delete the line ---",
                    )

    def scalar(self, event: Any) -> None:
        spot, text = self.spot(event.start_mark), event.value
        if event.tag not in _TEXT_TAGS:
            self.tag(event.tag, spot)
        if found := _CONTROL.search(text):
            self.report(
                spot,
                "control-character",
                f"the character U+{ord(found[0]):04X} cannot stand in a text",
                "delete the escape that writes it",
            )
            text = _CONTROL.sub("", text)
        if event.style in ("'", '"') and event.end_mark.line > event.start_mark.line:
            self.long_quotes = event.end_mark.line, event.start_mark
        plain = event.style in (None, "")
        # An empty key is still a key, so what it says is kept as text.
        if plain and text in _EMPTY and not self.expects_key():
            text = None
        start, end = event.start_mark, event.end_mark
        node = Node(text, start.line, start.column, start.index)
        # A text in a block ends where the line after it begins.
        node.end_line = end.line - (end.column == 0 and end.line > start.line)
        node.end_index = end.index
        if event.anchor:
            self.anchors[event.anchor] = node
        self.place(node, plain)

    def expects_key(self) -> bool:
        return bool(self.open) and isinstance(self.open[-1].value, dict) and self.pending[-1] is None

    def begin(self, event: Any, value: Any, tags: set[str | None]) -> None:
        spot = self.spot(event.start_mark)
        if event.tag not in tags:
            self.tag(event.tag, spot)
        if len(self.open) >= MAX_DEPTH:
            raise self.stop(spot, "too-deep", f"more than {MAX_DEPTH} levels are nested here", "write it flatter")
        if self.expects_key():
            raise self.stop(spot, "yaml", "a list or a mapping cannot be a key", "write a name before the colon")
        start = event.start_mark
        node = Node(value, start.line, start.column, start.index, flow=bool(event.flow_style))
        if event.anchor:
            self.anchors[event.anchor] = node
        self.open.append(node)
        self.pending.append(None)

    def end(self, event: Any) -> None:
        node = self.open.pop()
        self.pending.pop()
        if node.flow:
            node.end_line, node.end_index = event.end_mark.line, event.end_mark.index
        self.place(node, plain=False)

    def alias(self, event: Any) -> None:
        spot = self.spot(event.start_mark)
        node = self.anchors.get(event.anchor)
        if node is None:
            raise self.stop(
                spot, "yaml", f"*{event.anchor} points to nothing", f"put &{event.anchor} before what is meant"
            )
        if any(node is other for other in self.open):
            raise self.stop(
                spot, "alias", f"*{event.anchor} stands inside what it points to", "write the value out instead"
            )
        if self.expects_key() and not isinstance(node.value, str):
            raise self.stop(spot, "yaml", "a list or a mapping cannot be a key", "write a name before the colon")
        self.place(node, plain=False, alias=event)

    def place(self, node: Node, plain: bool, alias: Any = None) -> None:
        if not self.open:
            self.root = node
            return
        parent = self.open[-1]
        # An alias is elsewhere than what it points to.
        if alias is None:
            spot = node.line + 1 + self.before, node.column + 1
            parent.end_line, parent.end_index = node.end_line, node.end_index
        else:
            spot = self.spot(alias.start_mark)
            parent.end_line, parent.end_index = alias.end_mark.line, alias.end_mark.index
        parent.inside_index = parent.end_index
        if isinstance(parent.value, list):
            parent.value.append(node)
        elif (key := self.pending[-1]) is None:
            self.pending[-1] = (str(node.value or ""), spot, plain)
            return
        else:
            self.pending[-1] = None
            self.pair(parent, *key, node)
        parent.size += node.size
        parent.depth = max(parent.depth, node.depth + 1)
        if parent.size > MAX_VALUES:
            raise self.stop(
                spot,
                "too-large",
                f"more than {MAX_VALUES:,} values stand here, aliases counted as often as they are used",
                "write out what you need and no more",
            )
        if parent.depth > MAX_DEPTH:
            raise self.stop(spot, "too-deep", f"more than {MAX_DEPTH} levels are nested here", "write it flatter")

    def pair(self, parent: Node, name: str, spot: Spot, plain: bool, node: Node) -> None:
        if plain and name == "<<":
            self.merge(parent, node)
        elif name in parent.keys and parent.keys[name] != (0, 0):
            line = parent.keys[name][0]
            self.report(
                spot, "duplicate-key", f"“{name}” is already written on line {line}", "keep one of the two lines"
            )
        elif isinstance(parent.value, dict):
            parent.keys[name] = spot
            parent.value[name] = node

    def merge(self, parent: Node, node: Node) -> None:
        values = parent.value
        if not isinstance(values, dict):
            return
        for source in node.value if isinstance(node.value, list) else [node]:
            if not isinstance(source.value, dict):
                spot = source.line + 1 + self.before, source.column + 1
                message, hint = "<< merges mappings, and this is none", "point << to a mapping with an alias"
                self.report(spot, "yaml", message, hint)
                continue
            for name, value in source.value.items():
                values.setdefault(name, value)

    def tag(self, tag: str, spot: Spot) -> None:
        shown = tag.replace("tag:yaml.org,2002:", "!!")
        self.report(spot, "tag", f"the tag {shown} means nothing here", "delete it and write the value as plain text")

    def syntax(self, error: yaml.MarkedYAMLError, text: str) -> Diagnostic:
        mark, rule, message, hint = explained(error)
        gave_up = error.problem_mark or mark
        lines = text.split("\n")
        here = lines[gave_up.line] if gave_up is not None and gave_up.line < len(lines) else ""
        indent = here[: len(here) - len(here.lstrip())]
        if "\t" in indent or here[gave_up.column : gave_up.column + 1] == "\t":
            column = indent.find("\t") + 1 or gave_up.column + 1
            spot = Mark(self.file, gave_up.line + 1 + self.before, column)
            return fault(spot, "tab", "a tab stands where YAML wants spaces", "indent with spaces only")
        if self.long_quotes is not None and gave_up is not None and gave_up.line == self.long_quotes[0]:
            # Quotes that were not closed end at the next ones, and only what follows those is no YAML.
            mark, rule, message, hint = (
                self.long_quotes[1],
                "yaml",
                "the quotes that open here close in another line",
                "close the quotes",
            )
        spot = Mark(self.file, *(self.spot(mark) if mark is not None else (1 + self.before, 1)))
        return fault(spot, rule, message, hint)


def _flat(node: Node, path: Path, before: int, places: dict[Path, Spot], keys: dict[Path, Spot]) -> Plain:
    places[path] = node.line + 1 + before, node.column + 1
    value = node.value
    if isinstance(value, dict):
        for name, spot in node.keys.items():
            keys[(*path, name)] = spot
        return {name: _flat(inner, (*path, name), before, places, keys) for name, inner in value.items()}
    if isinstance(value, list):
        return [_flat(inner, (*path, number), before, places, keys) for number, inner in enumerate(value)]
    return value


def _spot(before: str) -> Spot:
    line = before.count("\n") + before.replace("\r\n", "\n").count("\r")
    return line + 1, len(before) - max(before.rfind("\n"), before.rfind("\r"))

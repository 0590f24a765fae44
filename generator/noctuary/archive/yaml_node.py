"""A value of a YAML text that knows where it was written, so that it can be named in a message and added to."""

from __future__ import annotations

from typing import Any, TypeAlias

Plain: TypeAlias = "dict[str, Plain] | list[Plain] | str | None"
Spot: TypeAlias = tuple[int, int]


class Node:
    """A value with its place in the text: lines, columns and indices of characters from 0.

    ``end_line`` is the last line with content, ``end_index`` where the value ends, ``inside_index`` where something
    can be added to it between brackets. ``keys`` are the spots of a mapping's keys (line and column from 1), ``size``
    and ``depth`` count the values inside, an alias as often as it is used.
    """

    __slots__ = (
        "column",
        "depth",
        "end_index",
        "end_line",
        "flow",
        "index",
        "inside_index",
        "keys",
        "line",
        "size",
        "value"
    )  # fmt: skip

    def __init__(self, value: Any, line: int, column: int = 0, index: int = 0, *, flow: bool = False) -> None:
        self.value: str | list[Node] | dict[str, Node] | None = value
        self.line = line
        self.column = column
        self.index = index
        self.flow = flow
        self.end_line = line
        self.end_index = index
        # Just within the bracket of what is still empty.
        self.inside_index = index + 1
        self.keys: dict[str, Spot] = {}
        self.size = 1
        self.depth = 1

    def get(self, key: str) -> Node | None:
        return self.value.get(key) if isinstance(self.value, dict) else None

    def text(self, key: str) -> str | None:
        found = self.get(key)
        return found.value if found is not None and isinstance(found.value, str) and found.value else None

    def items(self) -> list[Node]:
        return self.value if isinstance(self.value, list) else []

    def key_line(self, key: str) -> int:
        return self.keys[key][0] - 1

    def plain(self) -> Plain:
        if isinstance(self.value, dict):
            return {key: inner.plain() for key, inner in self.value.items()}
        if isinstance(self.value, list):
            return [inner.plain() for inner in self.value]
        return self.value

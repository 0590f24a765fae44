"""A sidecar as nodes that know where they are in the text, so that lines can be added and nothing else moves."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from noctuary.diagnostic import Diagnostic, Mark, fault

_MOST_NODES = 50_000


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

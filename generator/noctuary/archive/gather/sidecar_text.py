"""The text of a sidecar while lines are added to it: every other byte stays as the person wrote it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from noctuary.archive.gather.asking import Asking
from noctuary.archive.gather.draft import NO_PLACE_YET, Entry, calibration_entries, group_entries, session_lines
from noctuary.archive.gather.same_session import texts_agree
from noctuary.archive.gather.sessions import GatheredSession
from noctuary.archive.record_text import RecordText, flow_mapping
from noctuary.archive.values import text_as_yaml
from noctuary.archive.yaml_node import Node
from noctuary.diagnostic import Diagnostic


@dataclass(slots=True)
class Extension:
    """The new text of a sidecar (the old one where nothing was added) and what was found on the way."""

    text: str
    added: int = 0
    filled: int = 0
    findings: list[Diagnostic] = field(default_factory=list)


def fill_key(mapping: Node, key: str, value: str, paper: RecordText, outcome: Extension) -> None:
    if mapping.flow:
        comma = ", " if mapping.value else ""
        paper.insert_within(mapping.inside_index, f"{comma}{key}: {value}")
    else:
        put_lines(mapping, key, [f"{' ' * mapping.column}{key}: {value}"], paper)
    outcome.filled += 1


def fill_times(node: Node, clock: tuple[str, str], paper: RecordText, outcome: Extension) -> bool:
    """Start and end in place of the remark that they need a place, where a drafted session still has it."""
    for number in range(node.line, paper.end_of(node, node.column) + 1):
        if paper.line(number).endswith(NO_PLACE_YET) and not paper.is_replaced(number):
            indent = " " * node.column
            paper.replace(number, f'{indent}start: "{clock[0]}"')
            paper.insert(number, [f'{indent}end: "{clock[1]}"'])
            outcome.filled += 2
            return True
    return False


def put_lines(mapping: Node, key: str, lines: Sequence[str], paper: RecordText) -> None:
    """Lines into a block mapping: in the place of the open question about the key, else at the end."""
    at = paper.question(mapping, mapping.column, key)
    night = mapping.get("night")
    if at is not None and not paper.is_replaced(at):
        paper.replace(at, lines[0])
        paper.insert(at, lines[1:])
    elif key in ("start", "end") and night is not None:
        before = mapping.get("start") if key == "end" else None
        paper.insert((before or night).end_line, lines)
    else:
        paper.insert(paper.end_of(mapping, mapping.column), lines)


def append_session(
    root: Node,
    listed: Node | None,
    fresh: Sequence[tuple[GatheredSession, tuple[str, str]]],
    paper: RecordText,
    asking: Asking,
) -> None:
    top_rig, top_place = root.text("rig"), root.text("place")

    def lines_of(indent: str) -> list[str]:
        lines: list[str] = []
        for session, clock in fresh:
            lines += session_lines(
                session, clock, indent, asking,
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
        paper.insert(root.key_line("sessions"), lines_of("  "))
    else:
        paper.insert(root.end_line, ["sessions:", *lines_of("  ")])


def _flow_session(
    session: GatheredSession, clock: tuple[str, str], top_rig: str | None, top_place: str | None
) -> str:
    entries: list[Entry] = [("night", session.night.isoformat())]
    if session.kit.rig is not None and session.kit.rig != top_rig:
        entries.append(("rig", text_as_yaml(session.kit.rig)))
    if session.place is not None and session.place != top_place:
        entries.append(("place", text_as_yaml(session.place)))
    if session.clock != "universal" and not session.stacked:
        entries += [("start", f'"{clock[0]}"'), ("end", f'"{clock[1]}"')]
    entries.append(("frames", "[" + ", ".join(flow_mapping(group_entries(g)) for g in session.groups) + "]"))
    if calibration := calibration_entries(session):
        entries.append(("calibration", flow_mapping(calibration)))
    return flow_mapping(entries)

"""Adding gathered sessions to a sidecar that a person wrote, without touching a word of it.

The sidecar is read into nodes that know where each value is; what is new is inserted into the text there, so
that comments, order, quoting and spacing stay as they are to the byte. An existing value is never changed: where the
frames say otherwise, that is a doubt. Questions answered by now give way.
"""

from __future__ import annotations

from collections.abc import Sequence

from noctuary.archive.gather.asking import Asking
from noctuary.archive.gather.draft import DRAFTED, calibration_entries, group_entries, group_lines
from noctuary.archive.gather.same_session import CLOCK_TOLERANCE, same_group, same_session, same_value, session_span
from noctuary.archive.gather.sessions import GatheredSession, Group
from noctuary.archive.gather.sidecar_text import (
    Extension,
    append_session,
    fill_key,
    fill_times,
    put_lines,
)
from noctuary.archive.gather.target_names import TargetNames
from noctuary.archive.record_text import NotEditable, RecordText, flow_mapping, record_node
from noctuary.archive.values import text_as_yaml
from noctuary.archive.yaml_node import Node
from noctuary.diagnostic import Diagnostic, Mark, doubt, fault

DISAGREES = "gather-disagreement"


def extended(
    text: str,
    file: str,
    sessions: Sequence[GatheredSession],
    clocks: Sequence[tuple[str, str]],
    names: TargetNames,
    asking: Asking,
) -> Extension:
    """A sidecar with what these sessions add to it. Raises :class:`NotEditable`."""
    mark = text[:1] if text.startswith("\ufeff") else ""  # some editors put one there; it is no text
    outcome = _extended(text.removeprefix(mark), file, sessions, clocks, names, asking)
    outcome.text = mark + outcome.text
    return outcome


def _extended(
    text: str,
    file: str,
    sessions: Sequence[GatheredSession],
    clocks: Sequence[tuple[str, str]],
    names: TargetNames,
    asking: Asking,
) -> Extension:
    root = block_mapping(text, file)
    paper = RecordText(text)
    outcome = Extension(text)
    listed = root.get("sessions")
    existing = listed.items() if listed is not None else []
    used: set[int] = set()
    fresh: list[tuple[GatheredSession, tuple[str, str]]] = []
    _compare_target(root, file, sessions, names, outcome)
    _complete_top(root, existing, sessions, paper, outcome)
    for session, clock in zip(sessions, clocks, strict=True):
        index = same_session(root, existing, session, used)
        if index is None:
            fresh.append((session, clock))
            continue
        used.add(index)
        night = existing[index].get("night")
        if night is not None and night.value != session.night.isoformat():
            _disagree(file, night, "night", str(night.value), session.night.isoformat(), outcome)
            continue
        _complete(root, existing[index], session, clock, file, paper, asking, outcome)
    if fresh:
        append_session(root, listed, fresh, paper, asking)
        outcome.added += len(fresh)
    if outcome.added or outcome.filled:
        outcome.text = paper.result()
        _verify(root, outcome.text, file)
    return outcome


def block_mapping(text: str, file: str) -> Node:
    """The keys of a sidecar, one a line; raises :class:`NotEditable`, also for one in braces."""
    root = record_node(text, file)
    if root.flow:
        raise NotEditable(_not_extended(file))
    return root


def _not_extended(file: str) -> Diagnostic:
    return fault(
        Mark(file), "not-extended", "the sidecar is laid out in a way that nothing can safely be added to",
        "add the sessions by hand, or gather into another file and copy them",
    )  # fmt: skip


def _verify(root: Node, text: str, file: str) -> None:
    if not _holds(record_node(text, file).plain(), root.plain()):
        raise NotEditable(_not_extended(file))


def _holds(new: object, old: object) -> bool:
    """Whether the new value has everything of the old, in the same order."""
    if isinstance(old, dict):
        return isinstance(new, dict) and all(k in new and _holds(new[k], v) for k, v in old.items())
    if isinstance(old, list):
        return isinstance(new, list) and len(new) >= len(old) and all(map(_holds, new, old))
    return old in ("", None) or new == old


def _compare_target(
    root: Node, file: str, sessions: Sequence[GatheredSession], names: TargetNames, outcome: Extension
) -> None:
    objects = root.get("objects")
    listed = [n.value for n in objects.items()] if objects else []
    if objects is not None and not listed:
        listed = [objects.value]  # a list of one may be written as a text
    written = [name for name in listed if isinstance(name, str) and name]
    if objects is None or not written:
        return
    known = {names.key(name) for name in written}
    for target in dict.fromkeys(s.target for s in sessions):
        if target.name is not None and target.evidence is None and target.key not in known:
            outcome.findings.append(
                doubt(
                    _mark(file, objects), DISAGREES,
                    f"the frames are of {target.name}, the sidecar of {', '.join(written)}",
                    "if both are names of the same object, nothing is wrong; else gather them into another sidecar",
                )
            )  # fmt: skip


def _complete_top(
    root: Node, existing: Sequence[Node], sessions: Sequence[GatheredSession], paper: RecordText, outcome: Extension
) -> None:
    """The rig and place that a sidecar lacks and that are known by now: in place of its question, if it has one."""
    for key, names in (
        ("rig", {s.kit.rig for s in sessions}), ("place", {s.place for s in sessions}),
    ):  # fmt: skip
        name = next(iter(names)) if len(names) == 1 else None
        if name is None or root.get(key) is not None or any(node.get(key) is not None for node in existing):
            continue
        line, at = f"{key}: {text_as_yaml(name)}", paper.question(root, root.column, key)
        if not isinstance(root.value, dict):
            continue
        if at is not None:
            paper.replace(at, line)
        elif existing and paper.line(0).startswith(DRAFTED) and _are_all(existing, sessions):
            paper.insert(root.key_line("sessions") - 1, [line])  # it was asked in another draft of the night
        else:
            continue
        root.value[key] = Node(name, at if at is not None else root.key_line("sessions"))
        outcome.filled += 1


def _are_all(existing: Sequence[Node], sessions: Sequence[GatheredSession]) -> bool:
    nights = {session.night.isoformat() for session in sessions}
    return all(node.text("night") in nights for node in existing)


def _mark(file: str, node: Node) -> Mark:
    return Mark(file, node.line + 1, node.column + 1)


def _complete(
    root: Node, node: Node, session: GatheredSession, clock: tuple[str, str], file: str, paper: RecordText,
    asking: Asking, outcome: Extension,
) -> None:  # fmt: skip
    """Fill what a written session lacks, and tell where it says something else than the frames."""
    for key, ours in (("rig", session.kit.rig), ("place", session.place)):
        written = node.get(key) or root.get(key)
        if written is not None and ours is not None and isinstance(written.value, str) and written.value != ours:
            _disagree(file, written, key, text_as_yaml(written.value), text_as_yaml(ours), outcome)
    dated = session.clock == "place" and not session.stacked
    if dated and not fill_times(node, clock, paper, outcome):
        span = session_span(node, session)
        for key, text, ours_at, theirs in zip(
            ("start", "end"), clock, (session.start, session.end), span, strict=True
        ):
            value = node.get(key)
            if value is None:
                fill_key(node, key, f'"{text}"', paper, outcome)
            elif (
                theirs is not None
                and abs(theirs.timestamp() - ours_at.timestamp()) > CLOCK_TOLERANCE.total_seconds()
            ):
                _disagree(file, value, key, str(value.value), text, outcome)
    frames = node.get("frames")
    if frames is None or not frames.items():
        if frames is None and not node.flow:
            indent = " " * node.column
            lines = [f"{indent}frames:"]
            for group in session.groups:
                lines += group_lines(group, indent + "  ", asking)
            paper.insert(paper.end_of(node, node.column), lines)
            outcome.filled += 1
    else:
        _complete_frames(frames, session, file, paper, asking, outcome)
    _complete_calibration(node, session, file, paper, outcome)


def _complete_frames(
    frames: Node, session: GatheredSession, file: str, paper: RecordText, asking: Asking, outcome: Extension
) -> None:
    items = frames.items()
    taken: set[int] = set()
    matches: list[tuple[Group, int | None]] = []
    for strict in (True, False):
        for group in session.groups:
            if any(g is group for g, _ in matches):
                continue
            fitting = [
                i for i, item in enumerate(items) if i not in taken and same_group(item, group, strict=strict)
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
            paper.insert_within(frames.inside_index, f", {flow_mapping(group_entries(group))}")
            outcome.added += 1
        else:
            paper.insert(paper.end_of(items[-1], items[-1].column), group_lines(group, " " * frames.column, asking))
            outcome.added += 1


def _complete_group(item: Node, group: Group, file: str, paper: RecordText, outcome: Extension) -> None:
    for key, value in group_entries(group):
        written = item.get(key)
        if written is None:
            if (key == "gain" and item.get("iso") is not None) or (key == "iso" and item.get("gain") is not None):
                continue
            fill_key(item, key, value, paper, outcome)
        elif isinstance(written.value, str) and not same_value(key, written.value, value):
            _disagree(file, written, key, written.value, value, outcome)


def _complete_calibration(
    node: Node, session: GatheredSession, file: str, paper: RecordText, outcome: Extension
) -> None:
    entries = calibration_entries(session)
    if not entries:
        return
    calibration = node.get("calibration")
    if calibration is None:
        if node.flow:
            paper.insert_within(node.inside_index, f", calibration: {flow_mapping(entries)}")
        else:
            indent = " " * node.column
            lines = [f"{indent}calibration:", *(f"{indent}  {key}: {value}" for key, value in entries)]
            put_lines(node, "calibration", lines, paper)
        outcome.filled += 1
        return
    if not isinstance(calibration.value, dict):
        return
    for key, value in entries:
        written = calibration.get(key)
        if written is None:
            fill_key(calibration, key, value, paper, outcome)
        elif isinstance(written.value, str) and not same_value(key, written.value, value):
            _disagree(file, written, key, written.value, value, outcome)


def _disagree(file: str, node: Node, key: str, written: str, gathered: str, outcome: Extension) -> None:
    outcome.findings.append(
        doubt(
            _mark(file, node), DISAGREES, f"{key} says {written}, the frames say {gathered}",
            "the sidecar was left as it is; correct it if the frames are right",
        )
    )  # fmt: skip

"""Rigs that a person named in answer to a question, added to equipment.yaml; every other line stays as it is."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from noctuary.archive.adopt.matching import RigProposal
from noctuary.archive.gather.draft import number, scalar
from noctuary.archive.gather.sidecar_nodes import Node, NotASidecar, composed


class CannotAdd(ValueError):
    """equipment.yaml has no place for lines; ``lines`` are what to write there."""

    def __init__(self, lines: list[str]) -> None:
        super().__init__("\n".join(lines))
        self.lines = lines


def with_rigs(text: str, rigs: Mapping[str, RigProposal]) -> str:
    """The text of equipment.yaml with these rigs (name → what is known) and the cameras and optics that they need.

    Raises :class:`CannotAdd` where the text is no mapping in block style, or would say something else afterwards.
    """
    fresh = _entries(text, rigs)
    lines = [
        line
        for section, entries in fresh.items()
        if entries
        for line in (f"{section}:", *("  " + e for e in entries))
    ]
    try:
        root = composed(text, "equipment.yaml")
        changed = _inserted(text, root, fresh)
    except NotASidecar:
        raise CannotAdd(lines) from None
    if changed is None or not _says(text, changed, fresh):
        raise CannotAdd(lines)
    return changed


def _entries(text: str, rigs: Mapping[str, RigProposal]) -> dict[str, list[str]]:
    before = _loaded(text)
    there = {section: set(before.get(section) or {}) for section in ("cameras", "optics", "rigs")}
    fresh: dict[str, list[str]] = {"cameras": [], "optics": [], "rigs": []}
    for name, rig in rigs.items():
        if name in there["rigs"]:
            continue
        if rig.camera is not None and rig.camera not in there["cameras"]:
            size = f" {{pixel_size: {number(rig.pixel_size_um)} um}}" if rig.pixel_size_um else ""
            fresh["cameras"].append(f"{scalar(rig.camera)}:{size}")
            there["cameras"].add(rig.camera)
        if rig.optic is not None and rig.optic not in there["optics"]:
            known = [f"focal_length: {number(rig.focal_length_mm)} mm"] if rig.focal_length_mm else []
            known += [f"f_ratio: {number(rig.f_ratio)}"] if rig.f_ratio and rig.focal_length_mm else []
            fresh["optics"].append(f"{scalar(rig.optic)}:" + (f" {{{', '.join(known)}}}" if known else ""))
            there["optics"].add(rig.optic)
        parts = [f"optic: {scalar(rig.optic)}"] if rig.optic else []
        parts += [f"camera: {scalar(rig.camera)}"] if rig.camera else []
        fresh["rigs"].append(f"{scalar(name)}:" + (f" {{{', '.join(parts)}}}" if parts else ""))
        there["rigs"].add(name)
    return fresh


def _inserted(text: str, root: Node, fresh: Mapping[str, list[str]]) -> str | None:
    newline = "\r\n" if "\r\n" in text else "\n"
    lines = text.replace("\r\n", "\n").split("\n")
    if lines[-1] == "":
        lines.pop()
    after: list[tuple[int, list[str]]] = []
    for section, entries in fresh.items():
        if not entries:
            continue
        node = root.get(section)
        if node is None:
            after.append((len(lines) - 1, [f"{section}:", *("  " + entry for entry in entries)]))
        elif isinstance(node.value, dict) and node.value and not node.flow:
            after.append((node.end_line, [" " * node.column + entry for entry in entries]))
        elif node.value in ("", "null", "~"):
            after.append((node.key_line, ["  " + entry for entry in entries]))
        else:
            return None
    for at, more in sorted(after, key=lambda item: item[0], reverse=True):
        lines[at + 1 : at + 1] = more
    return newline.join(lines) + newline


def _says(before: str, after: str, fresh: Mapping[str, list[str]]) -> bool:
    old, new = _loaded(before), _loaded(after)
    if not new:
        return False
    for section, entries in fresh.items():
        was, now = old.get(section) or {}, new.get(section) or {}
        if not isinstance(now, dict) or len(now) != len(was) + len(entries):
            return False
        if any(now.get(name) != value for name, value in was.items()):
            return False
    return all(new.get(key) == value for key, value in old.items() if key not in fresh)


def _loaded(text: str) -> dict[str, Any]:
    import yaml

    try:
        value = yaml.safe_load(text)
    except (yaml.YAMLError, ValueError, RecursionError):
        return {}
    return value if isinstance(value, dict) else {}

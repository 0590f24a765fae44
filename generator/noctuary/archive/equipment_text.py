"""Rigs that the archive lacked, added to equipment.yaml; every other line of it stays as it is."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from noctuary.archive.declaration import written_entries
from noctuary.archive.keys import CameraKeys, OpticKeys, RigKeys
from noctuary.archive.record_text import NotEditable, RecordText, flow_mapping, record_node
from noctuary.archive.values import text_as_yaml
from noctuary.archive.yaml_node import Node, Plain
from noctuary.errors import NoctuaryError


@dataclass(frozen=True)
class RigProposal:
    """What is known of a rig that the archive lacks; ``name`` is what it may be called.

    ``pixels`` and ``colour`` are left out where the table of cameras has them, or nobody knows.
    """

    name: str
    camera: str | None
    optic: str | None
    focal_length_mm: float | None
    f_ratio: float | None
    pixel_size_um: float | None
    pixels: tuple[int, int] | None = None
    colour: bool | None = None


class CannotAdd(NoctuaryError, ValueError):
    """equipment.yaml has no place for lines; ``lines`` are what to write there."""

    def __init__(self, lines: list[str]) -> None:
        listed = "\n".join(lines)
        super().__init__("equipment.yaml has no place for new lines", f"write these there yourself:\n{listed}")
        self.lines = lines


def with_rigs(text: str, rigs: Mapping[str, RigProposal]) -> str:
    """The text of equipment.yaml with these rigs (name → what is known) and the cameras and optics that they need.

    Raises :class:`CannotAdd` where the text is no mapping in block style, or would say something else afterwards.
    """
    try:
        root = record_node(text, "equipment.yaml")
    except NotEditable:
        raise CannotAdd(_lines(_entries({}, rigs))) from None
    fresh = _entries(_sections(root), rigs)
    changed = _inserted(text, root, fresh)
    if changed is None or not _says(root, changed, fresh):
        raise CannotAdd(_lines(fresh))
    return changed


def rig_lines(rigs: Mapping[str, RigProposal], before: Iterable[str] = ()) -> list[str]:
    """The lines of equipment.yaml that say these rigs; ``before`` are names of cameras that it has already."""
    return _lines(_entries({"cameras": dict.fromkeys(before)}, rigs))


def _lines(fresh: Mapping[str, list[str]]) -> list[str]:
    return [
        line
        for section, entries in fresh.items()
        if entries
        for line in (f"{section}:", *("  " + entry for entry in entries))
    ]


def _sections(root: Node) -> dict[str, dict[str, Plain]]:
    sections = root.plain()
    named = sections if isinstance(sections, dict) else {}
    return {name: inner for name, inner in named.items() if isinstance(inner, dict)}


def _entries(before: Mapping[str, Mapping[str, Plain]], rigs: Mapping[str, RigProposal]) -> dict[str, list[str]]:
    existing = {section: set(before.get(section, {})) for section in ("cameras", "optics", "rigs")}
    fresh: dict[str, list[str]] = {"cameras": [], "optics": [], "rigs": []}

    def add(section: str, name: str, entries: list[tuple[str, str]]) -> None:
        fresh[section].append(f"{text_as_yaml(name)}:" + (f" {flow_mapping(entries)}" if entries else ""))
        existing[section].add(name)

    for name, rig in rigs.items():
        if name in existing["rigs"]:
            continue
        if rig.camera is not None and rig.camera not in existing["cameras"]:
            sensor = written_entries(
                CameraKeys, pixels=rig.pixels, pixel_size_um=rig.pixel_size_um or None, colour=rig.colour
            )
            add("cameras", rig.camera, sensor)
        if rig.optic is not None and rig.optic not in existing["optics"]:
            focal, ratio = rig.focal_length_mm or None, rig.f_ratio or None
            known = written_entries(OpticKeys, focal_length_mm=focal, f_ratio=ratio if focal else None)
            add("optics", rig.optic, known)
        add("rigs", name, written_entries(RigKeys, optic_name=rig.optic or None, camera_name=rig.camera or None))
    return fresh


def _inserted(text: str, root: Node, fresh: Mapping[str, list[str]]) -> str | None:
    record = RecordText(text)
    if root.flow:
        return None
    for section, entries in fresh.items():
        if not entries:
            continue
        node = root.get(section)
        if node is None:
            record.insert(record.last_line(root), [f"{section}:", *("  " + entry for entry in entries)])
        elif isinstance(node.value, dict) and node.value and not node.flow:
            record.insert(node.end_line, [" " * node.column + entry for entry in entries])
        elif node.value is None:
            record.insert(root.key_line(section), ["  " + entry for entry in entries])
        else:
            return None
    return record.result()


def _says(before: Node, after: str, fresh: Mapping[str, list[str]]) -> bool:
    try:
        new_root = record_node(after, "equipment.yaml")
    except NotEditable:
        return False
    old, new = before.plain(), new_root.plain()
    if not isinstance(old, dict) or not isinstance(new, dict):
        return False
    was, now = _sections(before), _sections(new_root)
    for section, entries in fresh.items():
        if entries and len(now.get(section, {})) != len(was.get(section, {})) + len(entries):
            return False
        if any(now.get(section, {}).get(name) != value for name, value in was.get(section, {}).items()):
            return False
    return all(new.get(key) == value for key, value in old.items() if key not in fresh)

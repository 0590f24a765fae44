"""Add to a sidecar what the program found out, and leave every other byte of it as the person wrote it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Protocol

from noctuary.archive.declaration import written_entries
from noctuary.archive.keys import PlacementKeys
from noctuary.archive.record_text import NotEditable, RecordText, editable_text, flow_mapping, record_node
from noctuary.archive.yaml_node import Node, Plain
from noctuary.diagnostic import Mark, fault
from noctuary.files import write_whole


class PlacementNumbers(Protocol):
    """A placement in numbers; degrees (ICRS) and arcseconds per picture pixel."""

    @property
    def ra_deg(self) -> float: ...
    @property
    def dec_deg(self) -> float: ...
    @property
    def image_scale_arcsec(self) -> float: ...
    @property
    def position_angle_deg(self) -> float: ...
    @property
    def mirrored(self) -> bool: ...


_Written = list[tuple[str, str]] | str
"""Keys and values of the block, or the name of a header file."""


def add_placement(sidecar_path: Path, placement: PlacementNumbers | str, name: str | None = None) -> None:
    """Write ``placement``, numbers or the name of a header file beside it, into a sidecar that has none.

    ``name`` is the sidecar's for the findings.

    The file is replaced in one step and keeps its permissions; a link stays a link. Raises :class:`NotEditable` where
    there is a placement already, or the text is no record in YAML, and :class:`OSError` where it cannot be written.
    """
    name = name or sidecar_path.as_posix()
    text = editable_text(sidecar_path.read_bytes(), name)
    mark = text[:1] if text.startswith("\ufeff") else ""
    text = text.removeprefix(mark)
    root = record_node(text, name)
    if not root.value:
        raise NotEditable(fault(Mark(name), "empty", "the file says nothing", "write title and finished first"))
    if root.get("placement") is not None:
        where, message = Mark(name, *root.keys["placement"]), "there is a placement already"
        raise NotEditable(fault(where, "placed-already", message, "delete it to have one found"))
    entries = placement if isinstance(placement, str) else _entries(placement)
    changed = _with_block(text, root, entries)
    if not _says(changed, name, root, entries):
        lines = " ".join(_lines(entries, ""))
        raise NotEditable(fault(Mark(name), "not-extended", "nothing can safely be added to it", f"write {lines}"))
    write_whole(sidecar_path.resolve(), (mark + changed).encode("utf-8"), flush=True)


def _entries(numbers: PlacementNumbers) -> list[tuple[str, str]]:
    return written_entries(
        PlacementKeys,
        centre=(numbers.ra_deg, numbers.dec_deg),
        image_scale_arcsec=numbers.image_scale_arcsec,
        position_angle_deg=numbers.position_angle_deg,
        mirrored=numbers.mirrored,
    )


def _with_block(text: str, root: Node, entries: _Written) -> str:
    record = RecordText(text)
    if root.flow:
        value = _quoted(entries) if isinstance(entries, str) else flow_mapping(entries)
        record.insert_within(root.inside_index, f", placement: {value}")
    else:
        record.insert(record.last_line(root), _lines(entries, " " * root.column))
    return record.result()


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def _lines(entries: _Written, margin: str) -> list[str]:
    if isinstance(entries, str):
        return [f"{margin}placement: {_quoted(entries)}"]
    return [f"{margin}placement:", *(f"{margin}  {key}: {value}" for key, value in entries)]


def _says(text: str, name: str, before: Node, entries: _Written) -> bool:
    """Whether a text holds the record as it was, in the same order, and the block after it."""
    try:
        now = record_node(text, name).plain()
    except NotEditable:
        return False
    was = before.plain()
    if not isinstance(now, dict) or not isinstance(was, dict):
        return False
    block: Plain = entries if isinstance(entries, str) else {key: value.strip('"') for key, value in entries}
    return list(now.items()) == [*was.items(), ("placement", block)]

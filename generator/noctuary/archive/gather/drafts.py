"""The drafts of earlier runs of gathering, and what their person has answered in them by now."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path

from noctuary.archive.clock import NotAClock, read_date
from noctuary.archive.gather.target_names import Target, TargetNames
from noctuary.archive.record_text import NotEditable, editable_text, record_node
from noctuary.archive.records import Archive
from noctuary.archive.yaml_node import Node

DRAFTS = "gathered"
_PANEL = re.compile(r"-panel-(\d{1,2}(?:[-x]\d{1,2})?|[a-f])(?=-|$)")


@dataclass(frozen=True, slots=True)
class Draft:
    """A drafted sidecar. ``objects`` are those that are stated, the first the target."""

    path: Path
    objects: tuple[str, ...]
    nights: frozenset[date]
    rig: str | None
    place: str | None

    @property
    def panel(self) -> str | None:
        match = _PANEL.search(self.path.stem)
        return match[1].upper() if match else None


class Drafts:
    """All drafts that can be read; one that cannot is named when it is to be extended."""

    def __init__(self, folder: Path, archive: Archive | None) -> None:
        self._archive = archive
        self.drafts: list[Draft] = []
        listed = sorted((folder / DRAFTS).glob("*.yaml")) if (folder / DRAFTS).is_dir() else []
        for path in listed:
            try:
                text = editable_text(path.read_bytes(), path.name)
                self.drafts.append(_draft(path, record_node(text, path.name)))
            except (OSError, NotEditable):
                continue

    def place_of_night(self, night: date) -> tuple[str, str] | None:
        """The place that drafts of this night agree on, and the draft that says so, where they are one."""
        known = self._archive.places if self._archive else {}
        near = {night + timedelta(days=d) for d in (-1, 0, 1)}  # universal time may give another date
        places = {d.place: d.path.name for d in self.drafts if d.place in known and d.nights & near}
        if len(places) != 1:
            return None
        ((place, name),) = places.items()
        return (place, f"{DRAFTS}/{name} says so") if place is not None else None

    def named(self, names: TargetNames) -> Mapping[str, Target]:
        """Runs that had no name when they were drafted → the target that their person gave them."""
        return {d.path.stem: replace(names.target(d.objects[0]), run=d.path.stem) for d in self.drafts if d.objects}

    def of_target(self, target: Target, names: TargetNames) -> list[Draft]:
        """The drafts of one target and panel."""
        return [
            d
            for d in self.drafts
            if d.objects and names.key(d.objects[0]) == target.key and d.panel == target.panel
        ]

    def rig_of(self, target: Target, names: TargetNames) -> str | None:
        """The one rig that the drafts of a target state."""
        known = self._archive.rigs if self._archive else {}
        rigs = {d.rig for d in self.of_target(target, names) if d.rig in known}
        return rigs.pop() if len(rigs) == 1 else None


def _draft(path: Path, root: Node) -> Draft:
    objects = root.get("objects")
    sessions = root.get("sessions")
    written = sessions.items() if sessions is not None else []
    nights = frozenset(night for node in written if (night := _night(node)) is not None)
    own = {node.text("place") for node in written}
    place = root.text("place") or (own.pop() if len(own) == 1 else None)
    named = tuple(str(n.value) for n in objects.items() if isinstance(n.value, str)) if objects else ()
    return Draft(path, named or _one(root), nights, root.text("rig"), place)


def _one(root: Node) -> tuple[str, ...]:
    """An object written as a text, without brackets."""
    text = root.text("objects")
    return (text,) if text else ()


def _night(node: Node) -> date | None:
    try:
        return read_date(node.text("night") or "")
    except NotAClock:
        return None

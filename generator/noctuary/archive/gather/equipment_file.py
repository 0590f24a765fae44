"""New rigs into equipment.yaml, whose comments and order stay: what ``gather --equipment`` does."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from noctuary.archive.equipment_text import CannotAdd, with_rigs
from noctuary.archive.gather.new_equipment import new_rigs
from noctuary.archive.gather.sessions import GatheredSession
from noctuary.archive.record_text import NotEditable, editable_text
from noctuary.diagnostic import Diagnostic, Mark, fault
from noctuary.files import write_whole

_FILE = "equipment.yaml"


def add_equipment(folder: Path, sessions: Sequence[GatheredSession]) -> tuple[list[str], list[Diagnostic]]:
    """Write what the archive lacks; the names of the new rigs, and faults where nothing can be added."""
    rigs = new_rigs(sessions)
    if not rigs:
        return [], []
    path = folder / _FILE
    try:
        text = editable_text(path.read_bytes(), _FILE) if path.exists() else ""
        mark = text[:1] if text.startswith("\ufeff") else ""
        changed = mark + with_rigs(text.removeprefix(mark), rigs)
        if changed != text:
            write_whole(path.resolve(), changed.encode("utf-8"), flush=True)
    except NotEditable as trouble:
        return [], list(trouble.findings)
    except CannotAdd as trouble:
        return [], [fault(Mark(_FILE), "gather-equipment", "nothing can safely be added to it", trouble.hint)]
    except OSError as trouble:
        hint = "see who may write it, or add the rig yourself"
        return [], [fault(Mark(_FILE), "gather-equipment", f"it cannot be written: {trouble.strerror}", hint)]
    return list(rigs), []

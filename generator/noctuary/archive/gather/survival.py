"""Which subs are in the picture, by lists of the survivors and of the rejects.

A list speaks for the frames that it can have meant: names of one target's subs say nothing of another target, of
another night or of another filter. What no list speaks for keeps its question.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from noctuary.archive.gather.frame_files import surviving
from noctuary.archive.gather.frame_header import filter_key
from noctuary.archive.gather.frame_names import is_reject
from noctuary.archive.gather.shots import Shot


@dataclass(frozen=True, slots=True)
class ListedNames:
    """Names of subs, and of those the ones that mean no light or several."""

    names: Sequence[str]
    unknown: Sequence[str] = ()
    unclear: Sequence[str] = ()


def with_survival(
    shots: Sequence[Shot], kept: Sequence[str] | None, rejected: Sequence[str] | None
) -> tuple[list[Shot], list[tuple[str, ListedNames]]]:
    """The shots with what the lists say of each, and what to report of the lists themselves."""
    paths = [shot.header.path for shot in shots]
    notes: list[tuple[str, ListedNames]] = []
    alive: set[str] = set()
    dead: set[str] = set()
    if kept is not None:
        # A folder of everything has the rejects in a folder of its own.
        alive, unknown, unclear = surviving(paths, [name for name in kept if not is_reject(name)])
        notes.append(("surviving", ListedNames(kept, unknown, unclear)))
    if rejected is not None:
        dead, unknown, unclear = surviving(paths, rejected)
        notes.append(("rejected", ListedNames(rejected, unknown, unclear)))
    survivors_of = {_series(shot) for shot in shots if shot.header.path in alive}
    rejects_of = {shot.target for shot in shots if shot.header.path in dead}

    def survived(shot: Shot) -> bool | None:
        if shot.header.path in dead:
            return False
        if _series(shot) in survivors_of:
            return shot.header.path in alive
        return True if shot.target in rejects_of else None

    return [replace(shot, kept=survived(shot)) for shot in shots], notes


def _series(shot: Shot) -> tuple[object, ...]:
    header = shot.header
    exposure = f"{header.exposure_s:.2g}" if header.exposure_s else None
    return (shot.target, shot.night, shot.rig_key, header.filter and filter_key(header.filter), exposure)

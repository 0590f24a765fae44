"""What one run of gathering tells: sidecars, frames, files that could not be read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from noctuary.archive.gather.frame_files import Unreadable
from noctuary.archive.gather.sessions import (
    GatheredSession,
)
from noctuary.diagnostic import Diagnostic


@dataclass(frozen=True, slots=True)
class Gathered:
    """A sidecar that the frames went into or were compared with.

    ``outcome`` is ``drafted``, ``extended``, ``unchanged`` (it had everything already) or ``compared`` (a
    picture's sidecar that has the sessions; it is only extended when it is named).
    """

    path: Path
    outcome: str
    sessions: int
    questions: int


@dataclass(frozen=True, slots=True)
class GatherReport:
    """What became of the frames.

    ``kinds`` counts frames by kind (``light``, ``dark``, ``flat``, ``bias``, ``dark flat``, ``combined``).
    ``notes`` are things worth knowing: changes of target, pauses, frames left out. ``equipment`` are the rigs that
    were added to equipment.yaml. ``questions`` is the number of answers that the sidecars wait for. A fault among the
    findings means that nothing was written.
    """

    sidecars: tuple[Gathered, ...] = ()
    sessions: tuple[GatheredSession, ...] = ()
    kinds: Mapping[str, int] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    equipment: tuple[str, ...] = ()
    unreadable: tuple[Unreadable, ...] = ()
    findings: tuple[Diagnostic, ...] = ()

    @property
    def questions(self) -> int:
        return sum(sidecar.questions for sidecar in self.sidecars)

    @property
    def failed(self) -> bool:
        return any(finding.level == "fault" for finding in self.findings)

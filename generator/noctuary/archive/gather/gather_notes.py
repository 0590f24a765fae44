"""What a run of gathering tells its person beyond the drafts: what was left out, and what was noticed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from itertools import pairwise
from pathlib import PurePath

from noctuary.archive.gather.copies import Exposure
from noctuary.archive.gather.draft import pause_text
from noctuary.archive.gather.equipment import focal_length_fits, nearest_place, pixel_size_fits
from noctuary.archive.gather.frame_context import FrameContext
from noctuary.archive.gather.frame_header import FrameHeader
from noctuary.archive.gather.merge_sessions import DISAGREES
from noctuary.archive.gather.sessions import GatheredSession
from noctuary.archive.gather.survival import ListedNames
from noctuary.archive.gather.target_changes import Change
from noctuary.diagnostic import Diagnostic, Mark, doubt, one_line
from noctuary.text import counted

_FEW_CHANGES = 4


class GatherNotes:
    """Lines in the order of the work, and doubts."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self.findings: list[Diagnostic] = []

    def copies(self, once: Sequence[Exposure]) -> None:
        copies = [h.path for e in once for h in e.copies]
        if copies:
            example = one_line(PurePath(copies[0]).name)
            self.lines.append(f"{counted(len(copies), 'copy')} left out ({example}): one exposure counts once")

    def lists(self, listed: Sequence[tuple[str, ListedNames]]) -> None:
        for word, names in listed:
            wrong = [*names.unknown, *names.unclear]
            examples = ", ".join(one_line(n.replace("\\", "/").rsplit("/", 1)[-1]) for n in wrong[:3])
            if names.unknown:
                self.lines.append(f"{len(names.unknown)} of the {word} subs are none of these lights ({examples})")
            if names.unclear:
                self.lines.append(
                    f"{len(names.unclear)} of the {word} subs have names that several lights share; list them with "
                    "their folders"
                )

    def sessions(self, sessions: Sequence[GatheredSession], changes: Sequence[Change]) -> None:
        guessed = {(c.night, c.first.start): c.reason for c in changes}
        nights: dict[tuple[object, ...], list[GatheredSession]] = {}
        for session in sessions:
            nights.setdefault((session.night, session.rig_key), []).append(session)
        for members in nights.values():
            self._changes(members, guessed)
            for session in members:
                for pause in session.pauses:
                    minutes = round((pause[1].timestamp() - pause[0].timestamp()) / 60)
                    name = _name(session)
                    self.lines.append(f"{session.night}: pause of {minutes} min on {name}, {pause_text(pause)}")
        for night in sorted({c.night for c in changes} & {s.night for s in sessions if s.target.name is None}):
            self.lines.append(
                f"{night}: what no header names is drafted by itself from one change to the next; give drafts of one "
                "target the same objects, gather again, and they become one"
            )

    def _changes(self, members: Sequence[GatheredSession], guessed: Mapping[tuple[date, datetime], str]) -> None:
        """Every change of target in a night, in one line where targets alternated."""
        names = list(dict.fromkeys(_name(s) for s in members))
        if len(members) > _FEW_CHANGES and len(names) < len(members) - 1:
            night = members[0].night
            self.lines.append(f"{night}: {len(members) - 1} changes of target between {_listed(names)}")
            return
        for before, session in pairwise(members):
            why = guessed.get((session.night, session.start))
            changed = f"change of target from {_name(before)} to {_name(session)}"
            if why:
                changed = f"{why}: " + ("another target?" if session.target.name is None else changed)
            self.lines.append(f"{session.night} {session.start:%H:%M}: {changed}")

    def frames(self, read: Sequence[FrameHeader], lights: Sequence[FrameHeader], stacks: int) -> None:
        combined = sum(h.combined for h in read) - stacks
        if combined > 0:
            self.lines.append(
                f"{counted(combined, 'combined frame')} (masters, stacks) left out: they count no exposures"
            )
        asked = sum(h.kind is None for h in lights)
        if asked:
            self.lines.append(
                f"{counted(asked, 'frame')} of a kind that nothing says: taken for lights and asked about"
            )
        short = sum(h.missing_bytes > 0 for h in read)
        if short:
            self.lines.append(
                f"{counted(short, 'file')} shorter than the header says; the headers count all the same"
            )
        for what, number in Counter(w for h in read for w in h.impossible).most_common(5):
            self.lines.append(f"{counted(number, 'header')} with {what}: left out, as it cannot be")

    def compare(self, context: FrameContext, lights: Sequence[FrameHeader]) -> None:
        """Doubts where headers speak against the place and the rig that the person named."""
        self._compare_place(context, lights)
        self._compare_rig(context, lights)

    def _compare_place(self, context: FrameContext, lights: Sequence[FrameHeader]) -> None:
        if context.place is None or context.archive is None or context.place not in context.archive.places:
            return
        near = {context.place: context.archive.places[context.place]}
        sites = {h.site for h in lights if h.site is not None}
        if any(nearest_place(site, near) is None for site in sites):
            self.findings.append(
                doubt(
                    Mark("places.yaml"), DISAGREES, f"the headers tell a site far from {context.place}",
                    "give the place where the frames were taken with --place",
                )
            )  # fmt: skip

    def _compare_rig(self, context: FrameContext, lights: Sequence[FrameHeader]) -> None:
        rig = context.archive.rigs.get(context.rig) if context.archive and context.rig else None
        if rig is None:
            return
        focal = {
            h.focal_length_mm for h in lights if h.focal_length_mm and not focal_length_fits(h.focal_length_mm, rig)
        }
        camera = rig.camera
        size = {h.pixel_size_um for h in lights if camera is not None and not pixel_size_fits(h, camera)}
        for what, values, unit in (("a focal length", focal, "mm"), ("a pixel size", size, "µm")):
            if values:
                listed = ", ".join(f"{v:g}" for v in sorted(v for v in values if v is not None))
                self.findings.append(
                    doubt(
                        rig.mark, DISAGREES,
                        f"the headers tell {what} of {listed} {unit}, which is not that of {rig.name}",
                        "correct equipment.yaml, or name another rig with --rig",
                    )
                )  # fmt: skip


def _listed(names: Sequence[str]) -> str:
    return " and ".join(filter(None, (", ".join(names[:-1]), names[-1])))


def _name(session: GatheredSession) -> str:
    return session.target.title if session.target.name else "an unknown target"

"""Sessions into sidecars: into drafts, into the one that the person named, or compared with what the archive has."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path

from noctuary.archive.gather.asking import Asking, questions_in
from noctuary.archive.gather.clock_texts import clock_texts
from noctuary.archive.gather.draft import sidecar_text
from noctuary.archive.gather.drafts import DRAFTS, Drafts
from noctuary.archive.gather.equipment import Kit
from noctuary.archive.gather.frame_context import FrameContext
from noctuary.archive.gather.gather_report import Gathered
from noctuary.archive.gather.merge_sessions import extended
from noctuary.archive.gather.sessions import GatheredSession
from noctuary.archive.gather.target_names import Target, TargetNames
from noctuary.archive.record_text import NotEditable, record_node
from noctuary.archive.records import Picture
from noctuary.diagnostic import Diagnostic, Mark, doubt, fault
from noctuary.files import write_whole
from noctuary.text import hyphenated

WARM_C = 2.0


class SidecarWriter:
    """Which sidecar each session goes into, and what to report of that."""

    def __init__(self, context: FrameContext, names: TargetNames, drafts: Drafts) -> None:
        self.context = context
        self.names = names
        self.drafts = drafts
        self.notes: list[str] = []
        self.findings: list[Diagnostic] = []
        self._asking = Asking()

    def write(
        self, sessions: Sequence[GatheredSession], sidecar: Path | None, previews: Mapping[Target, bytes]
    ) -> list[Gathered]:
        """Draft or extend every sidecar concerned; nothing is written when one of them cannot be.

        ``previews``: a small JPEG of a target, which is put beside its draft.
        """
        if not sessions:
            return []
        clocks = dict(zip(map(id, sessions), clock_texts(sessions), strict=True))
        places, compared = self._distributed(sessions, sidecar)
        texts: list[tuple[Path, str | None, str, list[GatheredSession]]] = []
        for path, members in places.items():
            mine = [clocks[id(s)] for s in members]
            self._note_warm(path, members)
            name = self.context.name_of(path)
            asking = self._asking.for_draft()
            try:
                old = self.context.text_of(path)
                if old is None:
                    preview = _preview_path(path).name if _preview_of(members, previews) else None
                    texts.append((path, None, sidecar_text(members, mine, asking, preview), members))
                    continue
                result = extended(old, name, members, mine, self.names, asking)
                self.findings += result.findings
                texts.append((path, old, old if path in compared else result.text, members))
                if path in compared and result.text != old:
                    self.notes.append(f"{name} has these sessions, but not all of this; --sidecar {name} adds it")
            except NotEditable as trouble:
                self.findings += trouble.findings
            except OSError as trouble:
                reason = trouble.strerror or "it cannot be read"
                self.findings.append(
                    fault(Mark(name), "gather-sidecar", f"the sidecar cannot be used: {reason}",
                          "correct it, or name another with --sidecar")
                )  # fmt: skip
        if any(f.level == "fault" for f in self.findings):
            return []
        self._note_superfluous(places)
        return [w for text in texts if (w := self._written(*text, text[0] in compared, previews)) is not None]

    def _note_superfluous(self, places: Mapping[Path, Sequence[GatheredSession]]) -> None:
        """Drafts of runs that turned out to be of a target that has a draft."""
        for path, members in places.items():
            for run in sorted({s.target.run for s in members if s.target.run}):
                draft = path.with_name(f"{run}.yaml")
                if draft != path and draft.exists() and draft not in places:
                    name = self.context.name_of(path)
                    self.notes.append(f"{draft.name} is not needed any more: its frames are in {name}")

    def _distributed(
        self, sessions: Sequence[GatheredSession], sidecar: Path | None
    ) -> tuple[dict[Path, list[GatheredSession]], set[Path]]:
        if sidecar is not None:
            chosen = self._for_one_sidecar(sessions, sidecar)
            return ({sidecar: chosen} if chosen else {}), set()
        recorded = self._recorded(sessions)
        places = dict(recorded)
        known = {id(s) for members in recorded.values() for s in members}
        for path, members in self._by_draft([s for s in sessions if id(s) not in known]):
            places.setdefault(path, []).extend(members)
        return places, set(recorded)

    def _written(
        self,
        path: Path,
        old: str | None,
        new: str,
        members: Sequence[GatheredSession],
        compared: bool,
        previews: Mapping[Target, bytes],
    ) -> Gathered | None:
        if new != old:
            try:
                write_whole(path.resolve(), new.encode("utf-8"), flush=True)
                if old is None and (preview := _preview_of(members, previews)) is not None:
                    write_whole(_preview_path(path).resolve(), preview)
            except OSError as trouble:
                self.findings.append(
                    fault(Mark(self.context.name_of(path)), "gather-sidecar",
                          f"the sidecar cannot be written: {trouble.strerror}", "name another with --sidecar")
                )  # fmt: skip
                return None
        outcome = "drafted" if old is None else "unchanged" if new == old else "extended"
        return Gathered(path, "compared" if compared else outcome, len(members), questions_in(new))

    def _for_one_sidecar(self, sessions: Sequence[GatheredSession], sidecar: Path) -> list[GatheredSession]:
        targets = {(s.target.key, s.target.panel): s.target.title for s in sessions if s.target.name}
        if len(targets) <= 1:
            return list(sessions)
        known: set[str] = set()
        name = self.context.name_of(sidecar)
        try:
            old = self.context.text_of(sidecar)
            objects = record_node(old, name).get("objects") if old else None
            if objects is not None:
                known = {self.names.key(str(n.value)) for n in objects.items() or [objects]}
        except (OSError, NotEditable):
            return list(sessions)  # the same trouble is reported when the sidecar is extended
        ours = [s for s in sessions if s.target.name and s.target.key in known]
        if not ours:
            listed = ", ".join(sorted(targets.values()))
            self.findings.append(
                fault(
                    Mark(name), "gather-targets", f"the frames are of several targets ({listed})",
                    "leave --sidecar out, which drafts one sidecar a target, or give the frames of one target only",
                )
            )  # fmt: skip
            return []
        left = sorted({s.target.title for s in sessions if s.target.name and s.target.key not in known})
        if left:
            self.notes.append(f"left out, because the sidecar is of another target: frames of {', '.join(left)}")
        return ours

    def _recorded(self, sessions: Sequence[GatheredSession]) -> dict[Path, list[GatheredSession]]:
        """The sessions that a picture of the archive writes out, by its sidecar."""
        recorded: dict[Path, list[GatheredSession]] = {}
        for session in sessions:
            picture = self._written_already(session)
            if picture is not None:
                recorded.setdefault(self.context.folder / picture.sidecar, []).append(session)
        return recorded

    def _written_already(self, session: GatheredSession) -> Picture | None:
        """The picture whose sidecar writes this session out."""
        archive = self.context.archive
        if archive is None or session.target.name is None:
            return None
        for picture in archive.pictures.values():
            if session.target.key not in {self.names.key(name) for name in picture.objects}:
                continue
            for own in picture.own_sessions:
                same_rig = session.kit.rig is None or own.rig is None or own.rig.name == session.kit.rig
                same_place = session.place is None or own.place is None or own.place.name == session.place
                if own.night == session.night and same_rig and same_place:
                    return picture
        return None

    def _by_draft(self, sessions: Sequence[GatheredSession]) -> list[tuple[Path, list[GatheredSession]]]:
        by_target: dict[tuple[str, str | None, tuple[object, ...]], list[GatheredSession]] = {}
        for session in sessions:
            by_target.setdefault((session.target.key, session.target.panel, session.rig_key), []).append(session)
        rigs_of = Counter((key, panel) for key, panel, _ in by_target)
        placed: dict[Path, list[GatheredSession]] = {}
        for (key, panel, _), members in by_target.items():
            path = self._draft_of(members[0], alone=rigs_of[key, panel] == 1)
            placed.setdefault(path, []).extend(members)
        return list(placed.items())

    def _draft_of(self, session: GatheredSession, *, alone: bool) -> Path:
        """The draft of a target and rig: one that exists, whatever it calls the target, else one of its name."""
        kit = session.kit
        for draft in self.drafts.of_target(session.target, self.names):
            same_rig = draft.rig is None or kit.rig is None or draft.rig == kit.rig
            if same_rig and (alone or draft.rig is not None):
                return draft.path
        stem = _stem(session.target)
        plain = self.context.folder / DRAFTS / f"{stem}.yaml"
        fuller = plain.with_name(f"{stem}-{hyphenated(kit.rig or kit.camera or '') or 'rig'}.yaml")
        return plain if alone and not fuller.exists() and self._is_of_rig(plain, kit) else fuller

    def _is_of_rig(self, path: Path, kit: Kit) -> bool:
        try:
            old = self.context.text_of(path)
            rig = record_node(old, self.context.name_of(path)).text("rig") if old is not None else None
        except (OSError, NotEditable):
            return True
        return rig is None or kit.rig is None or rig == kit.rig

    def _note_warm(self, path: Path, sessions: Sequence[GatheredSession]) -> None:
        for session in sessions:
            for group in session.groups:
                at, meant_at = group.sensor_temperature_c, group.set_point_c
                if at is not None and meant_at is not None and at - meant_at > WARM_C:
                    self.findings.append(
                        doubt(
                            Mark(self.context.name_of(path)), "sensor-warm",
                            f"on {session.night} the sensor stood at {at:.0f} °C, set to {meant_at:.0f} °C",
                            "the cooler may not have kept up: darks of the set point will not fit these lights",
                        )
                    )  # fmt: skip


def _stem(target: Target) -> str:
    stem = hyphenated(target.name or target.key) or "untitled"
    return f"{stem}-panel-{hyphenated(target.panel)}" if target.panel else stem


def _preview_path(draft: Path) -> Path:
    """Beside the draft under another name, so that it is not taken for the finished picture."""
    return draft.with_name(f"{draft.stem}-preview.jpg")


def _preview_of(sessions: Sequence[GatheredSession], previews: Mapping[Target, bytes]) -> bytes | None:
    return next((p for s in sessions if (p := previews.get(s.target)) is not None), None)

"""The night's frames → drafted sidecars: the work of ``noctuary gather``.

Only headers are read, never a pixel. What the frames tell goes into the sidecar named with ``--sidecar``, else
into one draft a target and rig in the archive's folder ``gathered/``. A session that a picture of the archive
has already is compared with it and left alone. Drafts wait in that folder because no picture lies beside them
yet: nothing but ``gather`` reads it, so that the archive builds as before while the picture is being made. With
the finished picture the draft moves to ``pictures/`` under the picture's name.

The site in a header serves to pick the nearest place of places.yaml and is written nowhere, not into a
message either.
"""

from __future__ import annotations

import os
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path

from noctuary.archive.clock import zone_fault
from noctuary.archive.did_you_mean import meant
from noctuary.archive.gather.calibration import matched
from noctuary.archive.gather.draft import pause_text, sidecar_text
from noctuary.archive.gather.equipment import Kit, focal_length_fits, nearest_place, pixel_size_fits
from noctuary.archive.gather.frame_context import FrameContext, clock_zone
from noctuary.archive.gather.frame_files import Progress, found, headers, surviving, survivors
from noctuary.archive.gather.frame_header import FrameHeader
from noctuary.archive.gather.gather_report import Gathered, GatherReport
from noctuary.archive.gather.merge_sessions import DISAGREES, extended
from noctuary.archive.gather.sessions import (
    GatheredSession,
    Shot,
    clock_texts,
    folded,
    grouped,
)
from noctuary.archive.record_text import NotEditable, record_node
from noctuary.archive.records import Archive, Picture
from noctuary.diagnostic import Diagnostic, Mark, doubt, fault, in_order, one_line
from noctuary.files import write_whole
from noctuary.text import hyphenated

DRAFTS = "gathered"
WARM_C = 2.0


def gather(
    paths: Iterable[str | os.PathLike[str]],
    *,
    archive: Archive | None,
    archive_folder: str | os.PathLike[str],
    sidecar: str | os.PathLike[str] | None = None,
    place: str | None = None,
    rig: str | None = None,
    time_zone: str | None = None,
    kept: str | os.PathLike[str] | None = None,
    progress: Progress | None = None,
) -> GatherReport:
    """Read the headers of raw frames and draft or extend sidecars.

    Parameters
    ----------
    paths : files, folders and globs of frames.
    archive : what the archive knows of places, equipment and pictures; ``None`` where there is none.
    sidecar : the one file to draft or extend, instead of one a target and rig in ``gathered/``.
    place, rig : names that settle what the headers leave open.
    time_zone : the zone of camera clocks that tell no offset: an IANA name or an offset (``+02:00``);
        else that of the place.
    kept : a folder of the subs that survived, or a list of their names, one a line.
    progress : is told headers read and headers in all.

    Nothing is raised for what a person can get wrong: names that nothing knows, files that cannot be read
    or written are faults in the report, frames that cannot be read are listed there and skipped.
    """
    folder = Path(archive_folder)
    faults = _wrong_words(archive, place, rig, time_zone)
    names: list[str] = []
    if kept is not None:
        try:
            names = survivors(kept)
        except (OSError, UnicodeDecodeError) as trouble:
            reason = trouble.strerror if isinstance(trouble, OSError) else "it is no text"
            listed = Mark(one_line(os.fspath(kept)))
            faults.append(
                fault(
                    listed, "gather-kept", f"the subs that survived cannot be read: {reason}",
                    "name their folder, or a text file with one name a line",
                )
            )  # fmt: skip
    if faults:
        return GatherReport(findings=tuple(faults))
    files, unreadable = found(paths)
    read, damaged = headers(files, progress)
    unreadable += damaged
    work = _Work(archive, folder, place, rig, time_zone)
    if sidecar is not None:
        work.learn_sidecar(Path(sidecar))
    lights = [h for h in read if h.kind in ("light", None) and not h.combined]
    work.learn_places(read)
    alive: set[str] | None = None
    if kept is not None:
        alive, unknown, unclear = surviving([h.path for h in lights], names)
        work.tell_survivors(len(unknown), len(unclear), unknown + unclear)
    shots: list[Shot] = []
    for header in lights:
        start, where, assumed = work.moment_of(header)
        if start is None:
            unreadable.append((header.path, "its header does not say when it was taken"))
        else:
            survived = None if alive is None else header.path in alive
            shots.append(Shot(header, work.kit(header), where, start, survived, assumed))
    sessions = grouped(shots, work.zones())
    calibrating = [work.calibration_frame(h) for h in read if h.kind not in ("light", None) and not h.combined]
    sessions = [replace(s, calibration=matched(s.night, s.lights(), calibrating)) for s in sessions]
    work.tell_sessions(sessions)
    work.tell_frames(read, lights)
    sidecars = work.write(sessions, None if sidecar is None else Path(sidecar))
    kinds = Counter("combined" if h.combined else h.kind or "light" for h in read)
    return GatherReport(
        sidecars=tuple(sidecars),
        sessions=tuple(sessions),
        kinds=dict(sorted(kinds.items())),
        told=tuple(work.told),
        unreadable=tuple((one_line(path), reason) for path, reason in sorted(unreadable)),
        findings=tuple(in_order(work.findings)),
    )


def _wrong_words(
    archive: Archive | None, place: str | None, rig: str | None, time_zone: str | None
) -> list[Diagnostic]:
    wrong = []
    for option, name, known, file in (
        ("place", place, archive.places if archive else {}, "places.yaml"),
        ("rig", rig, archive.rigs if archive else {}, "equipment.yaml"),
    ):
        if name is not None and archive is not None and name not in known:
            hint = meant(name, known, f"write it into {file} first")
            wrong.append(
                fault(Mark(file), f"unknown-{option}", f"no {option} is called “{one_line(name)[:60]}”", hint)
            )
    if time_zone is not None and clock_zone(time_zone) is None:
        problem = zone_fault(time_zone)
        message, hint = problem or (f"“{one_line(time_zone)[:60]}” is no time zone", "write +02:00 or Europe/Berlin")
        wrong.append(fault(Mark("places.yaml"), "unknown-time-zone", message, hint))
    return wrong


class _Work(FrameContext):
    """One run of gathering: what there is to tell, and the sidecars that it writes."""

    def __init__(
        self, archive: Archive | None, folder: Path, place: str | None, rig: str | None, time_zone: str | None
    ) -> None:
        super().__init__(archive, folder, place, rig, time_zone)
        self.told: list[str] = []
        self.findings: list[Diagnostic] = []

    def tell_survivors(self, unknown: int, unclear: int, names: Sequence[str]) -> None:
        examples = ", ".join(one_line(Path(n.replace("\\", "/")).name) for n in names[:3])
        if unknown:
            self.told.append(f"{unknown} of the surviving subs are none of these lights ({examples})")
        if unclear:
            self.told.append(
                f"{unclear} of the surviving subs have names that several lights share; list them with their folders"
            )

    def tell_sessions(self, sessions: Sequence[GatheredSession]) -> None:
        last: dict[tuple[object, ...], GatheredSession] = {}
        for session in sessions:
            name = session.target or "an unknown target"
            key = (session.kit.rig, session.kit.camera, session.night)
            before = last.get(key)
            if before is not None:
                was = before.target or "an unknown target"
                self.told.append(f"{session.night} {session.start:%H:%M}: change of target from {was} to {name}")
            last[key] = session
            for pause in session.pauses:
                minutes = round((pause[1].timestamp() - pause[0].timestamp()) / 60)
                self.told.append(f"{session.night}: pause of {minutes} min on {name}, {pause_text(pause)}")

    def tell_frames(self, read: Sequence[FrameHeader], lights: Sequence[FrameHeader]) -> None:
        combined = sum(h.combined for h in read)
        if combined:
            self.told.append(f"{combined} combined frames (masters) are left out: they count no exposures")
        asked = sum(h.kind is None for h in lights)
        if asked:
            self.told.append(
                f"{asked} frames do not say of what kind they are; they are taken for lights and asked about"
            )
        short = sum(h.missing_bytes > 0 for h in read)
        if short:
            self.told.append(f"{short} files are shorter than their headers say; their headers count all the same")
        self._compare_place(lights)
        self._compare_rig(lights)

    def _compare_place(self, lights: Sequence[FrameHeader]) -> None:
        if self.place is None or self.archive is None or self.place not in self.archive.places:
            return
        near = {self.place: self.archive.places[self.place]}
        sites = {h.site for h in lights if h.site is not None}
        far = [s for s in sites if nearest_place(s, near) is None]
        if far:
            self.findings.append(
                doubt(
                    Mark("places.yaml"), DISAGREES, f"the headers tell a site far from {self.place}",
                    "give the place where the frames were taken with --place",
                )
            )  # fmt: skip

    def _compare_rig(self, lights: Sequence[FrameHeader]) -> None:
        rig = self.archive.rigs.get(self.rig) if self.archive and self.rig else None
        if rig is None:
            return
        focal = {
            h.focal_length_mm for h in lights if h.focal_length_mm and not focal_length_fits(h.focal_length_mm, rig)
        }
        camera = rig.camera
        size = {h.pixel_size_um for h in lights if camera is not None and not pixel_size_fits(h, camera)}
        for what, values, unit in (("a focal length", focal, "mm"), ("a pixel size", size, "µm")):
            if values:
                told = ", ".join(f"{v:g}" for v in sorted(v for v in values if v is not None))
                self.findings.append(
                    doubt(
                        rig.mark, DISAGREES,
                        f"the headers tell {what} of {told} {unit}, which is not that of {rig.name}",
                        "correct equipment.yaml, or name another rig with --rig",
                    )
                )  # fmt: skip

    def write(self, sessions: Sequence[GatheredSession], sidecar: Path | None) -> list[Gathered]:
        """Draft or extend every sidecar concerned; nothing is written when one of them cannot be."""
        if not sessions:
            return []
        clocks = dict(zip(map(id, sessions), clock_texts(sessions), strict=True))
        places: dict[Path, list[GatheredSession]] = {}
        compared: set[Path] = set()
        if sidecar is not None:
            chosen = self._for_one_sidecar(sessions, sidecar)
            if chosen:
                places[sidecar] = chosen
        else:
            recorded = self._recorded(sessions)
            compared = set(recorded)
            places |= recorded
            known = {id(s) for members in recorded.values() for s in members}
            for path, members in self._by_draft([s for s in sessions if id(s) not in known]):
                places.setdefault(path, []).extend(members)
        texts: list[tuple[Path, str | None, str, list[GatheredSession]]] = []
        for path, members in places.items():
            mine = [clocks[id(s)] for s in members]
            self._tell_warm(path, members)
            try:
                old = self.text_of(path)
                if old is None:
                    texts.append((path, None, sidecar_text(members, mine), members))
                else:
                    result = extended(old, self.name_of(path), members, mine)
                    self.findings += result.findings
                    texts.append((path, old, old if path in compared else result.text, members))
                    if path in compared and result.text != old:
                        name = self.name_of(path)
                        self.told.append(f"{name} has these sessions, but not all of this; --sidecar {name} adds it")
            except NotEditable as trouble:
                self.findings += trouble.findings
            except OSError as trouble:
                reason = trouble.strerror or "it cannot be read"
                self.findings.append(
                    fault(Mark(self.name_of(path)), "gather-sidecar", f"the sidecar cannot be used: {reason}",
                          "correct it, or name another with --sidecar")
                )  # fmt: skip
        if any(f.level == "fault" for f in self.findings):
            return []
        written = []
        for path, old, new, members in texts:
            if new != old:
                try:
                    write_whole(path.resolve(), new.encode("utf-8"), flush=True)
                except OSError as trouble:
                    self.findings.append(
                        fault(Mark(self.name_of(path)), "gather-sidecar",
                              f"the sidecar cannot be written: {trouble.strerror}", "name another with --sidecar")
                    )  # fmt: skip
                    continue
            outcome = "drafted" if old is None else "unchanged" if new == old else "extended"
            outcome = "compared" if path in compared else outcome
            written.append(Gathered(path, outcome, len(members), _questions(new)))
        return written

    def _for_one_sidecar(self, sessions: Sequence[GatheredSession], sidecar: Path) -> list[GatheredSession]:
        targets = {folded(s.target): s.target for s in sessions if s.target}
        if len(targets) <= 1:
            return list(sessions)
        known: set[str] = set()
        try:
            old = self.text_of(sidecar)
            objects = record_node(old, self.name_of(sidecar)).get("objects") if old else None
            known = {folded(str(n.value)) for n in objects.items()} if objects else set()
        except (OSError, NotEditable):
            return list(sessions)  # the same trouble is told when the sidecar is extended
        names = ", ".join(sorted(targets.values()))
        ours = [s for s in sessions if s.target and folded(s.target) in known]
        if not ours:
            self.findings.append(
                fault(
                    Mark(self.name_of(sidecar)), "gather-targets", f"the frames are of several targets ({names})",
                    "leave --sidecar out, which drafts one sidecar a target, or give the frames of one target only",
                )
            )  # fmt: skip
            return []
        left = sorted({s.target for s in sessions if s.target and folded(s.target) not in known})
        self.told.append(f"left out, because the sidecar is of another target: frames of {', '.join(left)}")
        return ours

    def _recorded(self, sessions: Sequence[GatheredSession]) -> dict[Path, list[GatheredSession]]:
        """The sessions that a picture of the archive writes out, by its sidecar."""
        recorded: dict[Path, list[GatheredSession]] = {}
        for session in sessions:
            picture = self._written_already(session)
            if picture is not None:
                recorded.setdefault(self.folder / picture.sidecar, []).append(session)
        return recorded

    def _by_draft(self, sessions: Sequence[GatheredSession]) -> list[tuple[Path, list[GatheredSession]]]:
        by_target: dict[tuple[str, tuple[object, ...]], list[GatheredSession]] = {}
        placed: dict[Path, list[GatheredSession]] = {}
        for session in sessions:
            kit = session.kit
            rig = (kit.rig,) if kit.rig is not None else (None, kit.camera, kit.focal_length_mm)
            by_target.setdefault((folded(session.target or ""), rig), []).append(session)
        rigs_of = Counter(target for target, _ in by_target)
        for (target, _), members in by_target.items():
            stem = hyphenated(members[0].target or "") or "untitled"
            kit = members[0].kit
            with_rig = f"{stem}-{hyphenated(kit.rig or kit.camera or '') or 'rig'}"
            plain = self.folder / DRAFTS / f"{stem}.yaml"
            fuller = self.folder / DRAFTS / f"{with_rig}.yaml"
            alone = rigs_of[target] == 1 and not fuller.exists() and self._is_of_rig(plain, kit)
            placed.setdefault(plain if alone else fuller, []).extend(members)
        return list(placed.items())

    def _is_of_rig(self, path: Path, kit: Kit) -> bool:
        try:
            old = self.text_of(path)
            rig = record_node(old, self.name_of(path)).text("rig") if old is not None else None
        except (OSError, NotEditable):
            return True
        return rig is None or kit.rig is None or rig == kit.rig

    def _written_already(self, session: GatheredSession) -> Picture | None:
        """The picture whose sidecar writes this session out."""
        if self.archive is None or session.target is None:
            return None
        target = folded(session.target)
        for picture in self.archive.pictures.values():
            if target not in {folded(name) for name in picture.objects}:
                continue
            for own in picture.own_sessions:
                same_rig = session.kit.rig is None or own.rig is None or own.rig.name == session.kit.rig
                same_place = session.place is None or own.place is None or own.place.name == session.place
                if own.night == session.night and same_rig and same_place:
                    return picture
        return None

    def _tell_warm(self, path: Path, sessions: Sequence[GatheredSession]) -> None:
        for session in sessions:
            for group in session.groups:
                at, meant_at = group.sensor_temperature_c, group.set_point_c
                if at is not None and meant_at is not None and at - meant_at > WARM_C:
                    self.findings.append(
                        doubt(
                            Mark(self.name_of(path)), "sensor-warm",
                            f"on {session.night} the sensor stood at {at:.0f} °C, set to {meant_at:.0f} °C",
                            "the cooler may not have kept up: darks of the set point will not fit these lights",
                        )
                    )  # fmt: skip


def _questions(text: str) -> int:
    return len(re.findall(r"(?m)(?:^|[ \t])# \? ", text))

"""The night's frames → drafted sidecars: the work of ``noctuary gather``.

Headers are read, and of one frame a run a preview where there is one. What the frames tell goes into the sidecar
named with ``--sidecar``, else into one draft a target and rig in the archive's folder ``gathered/``. A session that a
picture of the archive has already is compared with it and left alone. Drafts wait in that folder because no picture
lies beside them yet: nothing but ``gather`` reads it, so that the archive builds as before while the picture is being
made. With the finished picture the draft moves to ``pictures/`` under the picture's name.

The site in a header serves to pick the nearest place of places.yaml and is written nowhere, not into a
message either.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from noctuary.archive.clock import zone_fault
from noctuary.archive.did_you_mean import meant
from noctuary.archive.gather.calibration import matched
from noctuary.archive.gather.copies import Exposure, exposures
from noctuary.archive.gather.drafts import Drafts
from noctuary.archive.gather.equipment_file import add_equipment
from noctuary.archive.gather.frame_context import FrameContext, clock_zone
from noctuary.archive.gather.frame_field import FrameField, field_of
from noctuary.archive.gather.frame_files import Progress, Unreadable, found, headers, survivors
from noctuary.archive.gather.frame_header import FrameHeader
from noctuary.archive.gather.frame_kinds import told_apart
from noctuary.archive.gather.frame_views import FrameViews
from noctuary.archive.gather.gather_notes import GatherNotes
from noctuary.archive.gather.gather_report import GatherReport
from noctuary.archive.gather.limits import impossible_date, without_impossible
from noctuary.archive.gather.run_previews import named_by_stars, previews_of
from noctuary.archive.gather.sessions import GatheredSession, grouped
from noctuary.archive.gather.shots import Shot, with_nights
from noctuary.archive.gather.stack_sessions import stack_sessions, with_stack_counts
from noctuary.archive.gather.survival import with_survival
from noctuary.archive.gather.target_changes import Change, named_runs, with_panels
from noctuary.archive.gather.target_names import SkyNames, Target, TargetNames
from noctuary.archive.gather.write_sidecars import SidecarWriter
from noctuary.archive.records import Archive
from noctuary.diagnostic import Diagnostic, Mark, fault, in_order, one_line


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What gathering may ask beyond headers: the catalogue, what can be seen in a frame, and what time it is."""

    sky: SkyNames | None = None
    views: FrameViews | None = None
    now: datetime | None = None


def gather(
    paths: Iterable[str | os.PathLike[str]],
    *,
    archive: Archive | None,
    archive_folder: str | os.PathLike[str],
    sidecar: str | os.PathLike[str] | None = None,
    place: str | None = None,
    rig: str | None = None,
    time_zone: str | None = None,
    clock_shift: timedelta = timedelta(),
    kept: str | os.PathLike[str] | None = None,
    rejected: str | os.PathLike[str] | None = None,
    equipment: bool = False,
    around: Surroundings | None = None,
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
    clock_shift : what is to be added to the time of every header.
    kept, rejected : a folder of the subs that survived, or did not, or a list of their names, one a line.
    equipment : whether rigs that equipment.yaml lacks are to be written there.
    progress : called with the headers read and the headers in all.

    Nothing is raised for what a person can get wrong: names that nothing knows, files that cannot be read
    or written are faults in the report, frames that cannot be read are listed there and skipped.
    """
    around = around or Surroundings()
    folder = Path(archive_folder)
    faults = _wrong_words(archive, place, rig, time_zone)
    lists = [_names(rule, chosen, faults) for rule, chosen in (("gather-kept", kept), ("gather-rejected", rejected))]
    if faults:
        return GatherReport(findings=tuple(faults))
    notes = GatherNotes()
    files, unreadable = found(paths)
    read, damaged = headers(files, progress)
    read, impossible = _possible(read, clock_shift, around.now or datetime.now(UTC))
    unreadable += damaged + impossible
    once = exposures(read)
    notes.copies(once)
    frames = told_apart([e.header for e in once], around.views.brightness if around.views else None)
    once = [replace(e, header=h) for e, h in zip(once, frames, strict=True)]
    lights = [e for e in once if e.header.kind in ("light", None) and not e.header.combined]

    work = _Work(archive, folder, place, rig, time_zone, around)
    if sidecar is not None:
        work.context.learn_sidecar(Path(sidecar))
    work.context.learn_places(frames)
    shots, undated = work.shots(lights)
    unreadable += undated
    others = [h for h in frames if h.kind not in ("light", None) or h.combined]
    shots, listed = with_survival(shots, *(_without(names, others) for names in lists))
    sessions = work.sessions(shots, [h for h in others if not h.combined])
    combined = [h for h in frames if h.combined]
    stacks = stack_sessions(combined, work.context, work.names, sessions)
    sessions = with_stack_counts(sessions, combined, work.names)
    if equipment:
        added, faults = add_equipment(folder, [*sessions, *stacks])
        if faults:
            return GatherReport(findings=tuple(faults), unreadable=_listed(unreadable))
        if added:
            return replace(
                gather(
                    paths, archive=_with_new_equipment(folder) or archive, archive_folder=folder, sidecar=sidecar,
                    place=place, rig=rig, time_zone=time_zone, clock_shift=clock_shift, kept=kept, rejected=rejected,
                    around=around,
                ),
                equipment=tuple(added),
            )  # fmt: skip
    notes.lists(listed)
    notes.sessions(sessions, work.changes)
    notes.frames(frames, [e.header for e in lights], len(stacks))
    notes.compare(work.context, [e.header for e in lights])
    writer = SidecarWriter(work.context, work.names, work.drafts)
    previews = previews_of(shots, around.views) if around.views is not None else {}
    sidecars = writer.write([*sessions, *stacks], None if sidecar is None else Path(sidecar), previews)
    kinds = Counter("combined" if h.combined else h.kind or "light" for h in frames)
    return GatherReport(
        sidecars=tuple(sidecars),
        sessions=(*sessions, *stacks),
        kinds=dict(sorted(kinds.items())),
        notes=(*notes.lines, *writer.notes),
        unreadable=_listed(unreadable),
        findings=tuple(in_order([*notes.findings, *writer.findings])),
    )


def _listed(unreadable: Sequence[Unreadable]) -> tuple[Unreadable, ...]:
    return tuple((one_line(path), reason) for path, reason in sorted(unreadable))


def _with_new_equipment(folder: Path) -> Archive | None:
    from noctuary.archive.read import read_archive

    return read_archive(folder).archive


def _names(rule: str, chosen: str | os.PathLike[str] | None, faults: list[Diagnostic]) -> list[str] | None:
    if chosen is None:
        return None
    try:
        return survivors(chosen)
    except (OSError, UnicodeDecodeError) as trouble:
        reason = trouble.strerror if isinstance(trouble, OSError) else "it is no text"
        faults.append(
            fault(
                Mark(one_line(os.fspath(chosen))), rule, f"the list of subs cannot be read: {reason}",
                "name their folder, or a text file with one name a line",
            )
        )  # fmt: skip
        return None


def _without(names: Sequence[str] | None, others: Sequence[FrameHeader]) -> Sequence[str] | None:
    """A folder's names without its darks, flats and masters, which no list of subs is about."""
    paths = {header.path for header in others}
    return None if names is None else [n for n in names if str(Path(n).absolute()) not in paths]


def _possible(
    read: Sequence[FrameHeader], shift: timedelta, now: datetime
) -> tuple[list[FrameHeader], list[Unreadable]]:
    """The headers by the right clock and without what cannot be, and the frames whose date cannot be."""
    possible: list[FrameHeader] = []
    left: list[Unreadable] = []
    for header in read:
        start = header.start
        try:
            start = start + shift if start is not None else None
        except OverflowError:
            start = None
        trouble = impossible_date(start, now) if start is not None else None
        if trouble:
            left.append((header.path, trouble))
        else:
            possible.append(without_impossible(replace(header, start=start)))
    return possible, left


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


class _Work:
    """One run of gathering, from exposures to sessions."""

    def __init__(
        self, archive: Archive | None, folder: Path, place: str | None, rig: str | None, time_zone: str | None,
        around: Surroundings,
    ) -> None:  # fmt: skip
        self.context = FrameContext(archive, folder, place, rig, time_zone)
        self.names = TargetNames(around.sky)
        self.drafts = Drafts(folder, archive)
        self.views = around.views
        self.changes: list[Change] = []

    def shots(self, lights: Sequence[Exposure]) -> tuple[list[Shot], list[Unreadable]]:
        """The lights with place, moment, night and target; and those whose headers do not say when that was."""
        self.names.learn(e.header.target for e in lights if e.header.target)
        shots: list[Shot] = []
        undated: list[Unreadable] = []
        for exposure in lights:
            header = exposure.header
            shot = self.context.shot(header, *self.context.place_of(header))
            if shot is None:
                undated.append((header.path, "its header does not say when it was taken"))
                continue
            target = self._stated_target(header)
            aside, processed = exposure.set_aside, exposure.processed
            shots.append(replace(shot, target=target, set_aside=aside, processed=processed))
        shots = with_nights([self._at_place_of_drafts(shot) for shot in with_nights(shots)])
        shots, self.changes = named_runs(shots, self.names, self._side)
        answered: Mapping[str, Target] = self.drafts.named(self.names)
        shots = [replace(s, target=answered.get(s.target.key, s.target)) for s in shots]
        if self.views is not None:
            shots = named_by_stars(shots, self.names, self.views, self._field)
        return [self._on_rig_of_drafts(s) for s in with_panels(shots, self._side)], undated

    def _stated_target(self, header: FrameHeader) -> Target:
        if header.target is None:
            return Target(None, "")
        if header.target_from != "folder":
            return self.names.target(header.target)
        return replace(self.names.target(header.target), evidence="so the folder is called", sure=False)

    def _at_place_of_drafts(self, shot: Shot) -> Shot:
        """The shot at the place that a draft of its night was answered with, where nothing else names one."""
        known = self.drafts.place_of_night(shot.night) if shot.place is None and shot.header.site is None else None
        again = self.context.shot(shot.header, *known) if known is not None else None
        if again is None:
            return shot
        return replace(again, target=shot.target, set_aside=shot.set_aside, processed=shot.processed)

    def _on_rig_of_drafts(self, shot: Shot) -> Shot:
        if shot.kit.rig is not None or not shot.kit.choices:
            return shot
        rig = self.drafts.rig_of(shot.target, self.names)
        return replace(shot, kit=replace(shot.kit, rig=rig, choices=())) if rig in shot.kit.choices else shot

    def _field(self, shot: Shot) -> FrameField | None:
        return field_of(shot.header, shot.kit, self.context.archive)

    def _side(self, shot: Shot) -> float | None:
        field = self._field(shot)
        return field.shorter_side_deg if field is not None else None

    def sessions(self, shots: Sequence[Shot], others: Sequence[FrameHeader]) -> list[GatheredSession]:
        calibrating = [self.context.calibration_frame(h) for h in others]
        sessions = grouped(shots, self.context.zones())
        return [replace(s, calibration=matched(s.night, s.lights(), calibrating)) for s in sessions]

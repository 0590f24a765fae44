"""From finished pictures to an archive that knows what can be known of them.

What happens, in order: the pictures are found, each one's sources are read, a record is drafted for each, questions
that were answered are settled in all drafts, and only then is anything written. Nothing that exists is changed but
open questions of records that this program drafted, and a second run finds nothing to do.
"""

from __future__ import annotations

import posixpath
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from noctuary.archive.adopt.answers import Settlement, read_answers, settle
from noctuary.archive.adopt.draft_record import Draft, Sources, draft
from noctuary.archive.adopt.evidence import Evidence, ObjectNames
from noctuary.archive.adopt.fits_evidence import of_fits
from noctuary.archive.adopt.incoming import Incoming, Places, bring, found_pictures
from noctuary.archive.adopt.matching import equipped, proposed_rig
from noctuary.archive.adopt.name_evidence import of_folders, of_name
from noctuary.archive.adopt.questions import QUESTIONS_FILE, Question, Subject, file_text, questions_of, settled
from noctuary.archive.adopt.raster_blocks import DamagedHeader, NotReadable
from noctuary.archive.adopt.raster_evidence import of_raster
from noctuary.archive.adopt.table_columns import columns, read_choices
from noctuary.archive.adopt.table_evidence import Joined, join
from noctuary.archive.adopt.table_rows import read_table
from noctuary.archive.adopt.versions import Version, proposals
from noctuary.archive.adopt.xisf_evidence import of_xisf
from noctuary.archive.equipment_text import CannotAdd, with_rigs
from noctuary.archive.folder import list_files
from noctuary.archive.records import Archive, HeaderPlacement
from noctuary.files import write_whole
from noctuary.text import hyphenated

Progress = Callable[[int, int], None]

_FITS = (".fits", ".fit", ".fts")
_DRAFTED = "# Drafted by noctuary adopt"


@dataclass
class Report:
    """What was done, or would be: sidecars with their texts, pictures that came in, messages."""

    drafted: dict[str, str] = field(default_factory=dict)
    brought: list[Incoming] = field(default_factory=list)
    settled: dict[str, str] = field(default_factory=dict)
    rigs: tuple[str, ...] = ()
    questions: list[Question] = field(default_factory=list)
    questions_changed: bool = False
    known: int = 0
    known_names: list[str] = field(default_factory=list)
    messages: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Choices:
    """What the person asked for besides the archive."""

    files: Sequence[Path] = ()
    table: Path | None = None
    column_choices: Path | None = None
    link: bool = False
    dry_run: bool = False


def adopt(
    archive: Archive,
    folder: Path,
    names: ObjectNames,
    choices: Choices,
    today: date,
    progress: Progress | None = None,
) -> Report:
    """Drafts what has no record and settles what was answered.

    Raises :class:`~noctuary.archive.adopt.answers.AnswersFault` and
    :class:`~noctuary.archive.adopt.table_rows.TableFault` before anything is written, and OSError.
    """
    report = Report()
    answers = read_answers(folder)
    pictures = _pictures(archive, folder, choices, report)
    headers = _headers(pictures, archive, names, report, progress)
    table = _table(choices, pictures, names, report)
    report.drafted = _drafts(pictures, headers, table, archive, names, today)
    report.brought = [p for p in pictures if p.fresh and _sidecar(p.name) in report.drafted]
    _answer(report, archive, folder, answers, choices.dry_run)
    if not choices.dry_run:
        _write(report, folder, link=choices.link)
    return report


def proposed_records(
    archive: Archive, folder: Path, names: ObjectNames, today: date, most: int
) -> tuple[dict[str, str], int]:
    """What :func:`adopt` would write beside the first ``most`` pictures without a record, and how many there are."""
    report = Report()
    waiting = _pictures(archive, folder, Choices(), report)
    first = waiting[:most]
    headers = _headers(first, archive, names, report, None)
    return _drafts(first, headers, Joined(), archive, names, today), len(waiting)


def open_questions(archive: Archive, folder: Path) -> tuple[list[Question], dict[Subject, str]]:
    """What the drafts of an archive leave open, and the names proposed for rigs. Raises as :func:`adopt`."""
    asked = questions_of(_drafts_on_disk(folder))
    outcome = settle(asked, read_answers(folder), archive)
    return [q for q in asked if q.subject not in outcome.values and q.subject not in outcome.closed], _proposed(asked)


def _pictures(archive: Archive, folder: Path, choices: Choices, report: Report) -> list[Incoming]:
    """Pictures without a record, then those that come in."""
    listing = list_files(folder)
    sidecars = {name for name in listing.records if name.startswith("pictures/")}
    used = {p.placement.file for p in archive.pictures.values() if isinstance(p.placement, HeaderPlacement)}
    taken = {_stem(name) for name in sidecars} | {
        former for p in archive.pictures.values() for former in p.former_ids
    }
    waiting: list[Incoming] = []
    for name in listing.pictures:
        sidecar = _sidecar(name)
        exact = posixpath.splitext(name)[0] + ".yaml"
        if sidecar in sidecars or exact in sidecars or name in used:
            report.known_names.append(name)
            continue
        identity = _stem(sidecar)
        if not identity:
            report.messages.append(
                f"{name}: no id can be made of this name; rename it with letters or digits, or hand it over by name"
            )
        elif identity in taken:
            report.messages.append(f"{name}: another picture is called {identity}; rename this one")
        else:
            taken.add(identity)
            waiting.append(Incoming(folder / name, name, name, False))
    report.known = len(listing.pictures) - len(waiting)
    given, nowhere = found_pictures(choices.files, folder / "pictures")
    report.messages += nowhere
    places = Places(
        folder, listing.pictures, taken | {_stem(_sidecar(name)) for name in listing.pictures} | set(archive.gone)
    )
    inside = (folder / "pictures").resolve()
    for file, came_as in given:
        try:
            if file.is_relative_to(inside) or places.same(file) is not None:
                report.known_names.append(came_as)
                continue
            waiting.append(places.take(file, came_as))
        except (OSError, NotReadable) as trouble:
            report.messages.append(f"{file}: {getattr(trouble, 'strerror', None) or trouble}")
    return waiting


def _headers(
    pictures: Sequence[Incoming], archive: Archive, names: ObjectNames, report: Report, progress: Progress | None
) -> dict[str, tuple[Evidence, str | None]]:
    """What each picture says of itself, and what is wrong with its header; without those that are no pictures."""
    longitudes = [place.longitude_deg for place in archive.places.values()]
    found: dict[str, tuple[Evidence, str | None]] = {}
    for number, picture in enumerate(pictures, start=1):
        try:
            found[picture.name] = _own_header(picture.source, names, longitudes), None
        except NotReadable as trouble:
            if picture.fresh and not isinstance(trouble, DamagedHeader):
                report.messages.append(f"{picture.source}: {trouble}")
            else:
                found[picture.name] = Evidence("its header"), str(trouble)
                report.messages.append(f"{picture.came_as}: {trouble}; a build says whether the picture can be shown")
        except OSError as trouble:
            report.messages.append(f"{picture.source}: {trouble.strerror or 'it cannot be read'}")
        if progress:
            progress(number, len(pictures))
    return found


def _drafts(
    pictures: Sequence[Incoming],
    headers: Mapping[str, tuple[Evidence, str | None]],
    table: Joined,
    archive: Archive,
    names: ObjectNames,
    today: date,
) -> dict[str, str]:
    """The record of each picture whose header was looked at: its sidecar's name → text."""
    drafts: dict[str, Draft] = {}
    made: list[Version] = []
    for picture in pictures:
        if picture.name not in headers:
            continue
        evidence, damage = headers[picture.name]
        guessed = of_name(picture.came_as, names, today), of_folders(picture.came_as, names, today)
        sources = Sources(picture.came_as, evidence, *guessed, table.of_picture.get(picture.name), damage)
        kit = equipped(sources, archive)
        record = drafts[_sidecar(picture.name)] = draft(sources, kit, names, today)
        identity = names.called(record.objects[0]) if record.objects else None
        made.append(
            Version(
                id=_stem(_sidecar(picture.name)),
                identity=identity[1] if identity else None,
                finished=record.finished,
                night=record.night,
                filter=record.filter,
                rig=kit.rig or kit.rig_subject,
                fresh=True,
            )
        )
    replaced = proposals({v.id: v for v in [*_recorded_versions(archive, names), *made]})
    texts: dict[str, str] = {}
    for sidecar, record in drafts.items():
        older = replaced.get(_stem(sidecar))
        line = f"# replaces: {older}   # the same target in the same season; write it if this is the newer version"
        texts[sidecar] = record.text([line] if older else [])
    return texts


def _own_header(path: Path, names: ObjectNames, longitudes_deg: Sequence[float]) -> Evidence:
    """What a picture's header says, by the kind of header it has. Raises NotReadable and OSError."""
    with path.open("rb") as file:
        begins = file.read(8)
    if begins == b"XISF0100" or path.suffix.lower() == ".xisf":
        return of_xisf(path, names, longitudes_deg)
    if begins.startswith(b"SIMPLE") or path.suffix.lower() in _FITS:
        return of_fits(path, names, longitudes_deg)
    return of_raster(path, names)


def _table(choices: Choices, pictures: Iterable[Incoming], names: ObjectNames, report: Report) -> Joined:
    if choices.table is None:
        return Joined()
    table = read_table(choices.table)
    chosen = read_choices(choices.column_choices) if choices.column_choices else {}
    came_as = {picture.name: picture.came_as for picture in pictures}
    joined = join(table, columns(table.headings, chosen), came_as, report.known_names, names, choices.table.name)
    report.messages += [*joined.unjoined, *joined.unread]
    if joined.known:
        report.messages.append(
            f"{choices.table.name}: {joined.known} rows are of pictures that have records; those stay"
        )
    return joined


def _recorded_versions(archive: Archive, names: ObjectNames) -> list[Version]:
    """The pictures that have records already."""
    found = []
    for picture in archive.pictures.values():
        identity = names.called(picture.target) if picture.target else None
        night = picture.own_sessions[0].night if picture.own_sessions else None
        rig = picture.rig.name if picture.rig else None
        found.append(
            Version(picture.id, identity[1] if identity else None, picture.finished, night, None, rig, False)
        )
    return found


def _answer(report: Report, archive: Archive, folder: Path, answers: dict[Subject, str], dry_run: bool) -> None:
    """Settles what was answered, in old drafts and new ones, and lists what is left."""
    before = _drafts_on_disk(folder)
    texts = {**before, **report.drafted}
    asked = questions_of(texts)
    outcome = settle(asked, answers, archive)
    report.messages += outcome.messages
    _add_rigs(outcome, report, folder, dry_run)
    for name, text in texts.items():
        changed = settled(text, outcome.values)
        if name in report.drafted:
            report.drafted[name] = changed
        elif changed != text:
            report.settled[name] = changed
    proposed = _proposed(asked)
    left = questions_of({**before, **report.drafted, **report.settled})
    report.questions = [q for q in left if q.subject not in outcome.closed]
    text = file_text(left, proposed, answers)
    path = folder / QUESTIONS_FILE
    on_disk = path.read_text(encoding="utf-8-sig", errors="replace") if path.is_file() else ""
    report.questions_changed = bool(left or answers) and text != on_disk
    if report.questions_changed and not dry_run:
        write_whole(path, text.encode("utf-8"), flush=True)


def _proposed(asked: Iterable[Question]) -> dict[Subject, str]:
    rigs = {
        q.subject: proposed_rig(q.subject.about, q.known)
        for q in asked
        if q.subject.key == "rig" and not q.subject.guess
    }
    return {subject: rig.name for subject, rig in rigs.items() if rig is not None}


def _add_rigs(outcome: Settlement, report: Report, folder: Path, dry_run: bool) -> None:
    if not outcome.rigs:
        return
    path = folder / "equipment.yaml"
    text = path.read_text(encoding="utf-8-sig") if path.is_file() else ""
    try:
        changed = with_rigs(text, outcome.rigs)
    except CannotAdd as trouble:
        report.messages.append(str(trouble))
        for subject, value in list(outcome.values.items()):
            if subject.key == "rig" and value.strip('"') in outcome.rigs:
                del outcome.values[subject]
        return
    report.rigs = tuple(outcome.rigs)
    if not dry_run:
        write_whole(path, changed.encode("utf-8"), flush=True)


def _write(report: Report, folder: Path, *, link: bool) -> None:
    for picture in report.brought:
        try:
            message = bring(picture, folder, link=link)
        except (OSError, NotReadable) as trouble:
            report.drafted.pop(_sidecar(picture.name), None)
            message = f"{picture.source}: {getattr(trouble, 'strerror', None) or trouble}"
        if message:
            report.messages.append(message)
    for name, text in {**report.drafted, **report.settled}.items():
        write_whole(folder / name, text.encode("utf-8"), flush=True)


def _drafts_on_disk(folder: Path) -> dict[str, str]:
    """The sidecars that this program drafted, as far as they still say so."""
    found = {}
    for name in list_files(folder).records:
        if name.startswith("pictures/"):
            try:
                text = (folder / name).read_bytes().decode("utf-8")
            except (OSError, UnicodeDecodeError):
                continue
            if text.startswith(_DRAFTED):
                found[name] = text
    return found


def _stem(name: str) -> str:
    return posixpath.splitext(posixpath.basename(name))[0]


def _sidecar(picture: str) -> str:
    """The record of a picture: its name in the letters of an id, so that the picture keeps the name it has."""
    return posixpath.join(posixpath.dirname(picture), hyphenated(_stem(picture), 100) + ".yaml")

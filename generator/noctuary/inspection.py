"""An archive read, resolved against the sky and judged: what ``check``, ``facts`` and ``build`` share."""

from __future__ import annotations

import hashlib
import os
import sys
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeVar

from noctuary.archive.changes_file import KeptChanges, changes_file, read_changes_file
from noctuary.archive.parse_file import ParsedFile, parsed_question, parsed_type
from noctuary.archive.reach_file import KeptReach, reach_file, read_reach_file
from noctuary.archive.read import Reading, read_archive
from noctuary.archive.records import Archive, HeaderPlacement, Picture
from noctuary.archive.star_file import StarShapes, read_star_file, star_file
from noctuary.build_manifest import BuildManifest, Stamp, inventory
from noctuary.diagnostic import Diagnostic, Mark, as_doubts, doubt, fault, in_order
from noctuary.facts.almanac import Almanac
from noctuary.facts.archive_facts import ArchiveFacts, archive_facts
from noctuary.facts.objects import unknown_names
from noctuary.facts.placement_summary import PlacementSummary
from noctuary.facts.plausibility import judge
from noctuary.memo import Memo
from noctuary.pages.dead_links import addresses_in_texts
from noctuary.pages.gone_addresses import gone, moved
from noctuary.pages.theme import NoSuchTheme, theme_folders
from noctuary.pages.theme_check import theme_findings
from noctuary.publish.upload.cache import uploaded_address

Compared = TypeVar("Compared", KeptReach, KeptChanges)


@lru_cache(maxsize=1)
def program_hash(stamp: str) -> str:
    """A digest of the program's own files and of the libraries (names and versions) that it can import.

    ``stamp``: the :func:`~noctuary.build_manifest.program_stamp` of just now. The files are read anew where it
    differs from the one before, so a process that builds again and again reads them once.
    """
    digest = hashlib.sha256(sys.version.encode())
    package = Path(__file__).resolve().parent
    for path in sorted(p for p in package.rglob("*") if p.is_file() and "__pycache__" not in p.parts):
        digest.update(str(path.relative_to(package)).encode() + b"\0" + path.read_bytes())
    for folder in sys.path:
        if folder.endswith(("site-packages", "dist-packages")) and Path(folder).is_dir():
            with os.scandir(folder) as entries:
                libraries = sorted(e.name for e in entries if e.name.endswith(".dist-info"))
            digest.update("\n".join(libraries).encode())
    return digest.hexdigest()


class Hashes:
    """Content hashes of the archive's files, taken from the last build where the stamp is the same."""

    def __init__(self, folder: Path, stamps: Mapping[str, Stamp], before: BuildManifest) -> None:
        self._folder = folder
        self._stamps = stamps
        self._known = {
            name: content for name, (stamp, content) in before.inputs.items() if content and stamps.get(name) == stamp
        }

    def of(self, name: str) -> str:
        """SHA-256 of a file, hexadecimal; raises OSError."""
        if name not in self._known:
            with (self._folder / name).open("rb") as file:
                self._known[name] = hashlib.file_digest(file, "sha256").hexdigest()
        return str(self._known[name])

    def known(self, name: str) -> str | None:
        """The hash of a file that nobody has to read for it."""
        return self._known.get(name)

    def learn(self, name: str, content: bytes) -> str:
        """The hash of a file whose content has been read."""
        if name in self._stamps:
            self._known[name] = hashlib.sha256(content).hexdigest()
            return self._known[name]
        return hashlib.sha256(content).hexdigest()

    def __contains__(self, name: str) -> bool:
        """Whether the archive holds such a file."""
        return name in self._stamps

    def names(self) -> Collection[str]:
        """Every file of the archive."""
        return self._stamps.keys()

    def entries(self) -> dict[str, tuple[Stamp, str]]:
        """Every file with its stamp and, where it was needed, its hash: the inputs of a build."""
        return {name: (stamp, self._known.get(name, "")) for name, stamp in self._stamps.items()}


class _Parsed:
    """What the text files of an archive say, recollected by their hashes; a file that is as it was is not read."""

    def __init__(self, memory: Memo, hashes: Hashes) -> None:
        self._memory, self._hashes = memory, hashes

    def unread(self, name: str) -> ParsedFile[Any] | None:
        sha256 = self._hashes.known(name)
        return None if sha256 is None else self._find(name, sha256)

    def get(self, name: str, content: bytes) -> ParsedFile[Any] | None:
        return self._find(name, self._hashes.learn(name, content))

    def put(self, name: str, content: bytes, parsed: ParsedFile[Any]) -> None:
        self._memory.learn(parsed_question(name, self._hashes.learn(name, content)), parsed)

    def _find(self, name: str, sha256: str) -> ParsedFile[Any] | None:
        found: ParsedFile[Any] | None = self._memory.known(parsed_question(name, sha256), parsed_type(name))
        return found


@dataclass(frozen=True)
class Inspection:
    """What an archive says and what is wrong with it. ``facts`` is ``None`` without an archive."""

    reading: Reading
    archive: Archive | None
    facts: ArchiveFacts | None
    almanac: Almanac | None
    theme: tuple[Path, ...]
    findings: list[Diagnostic]
    hashes: Hashes

    @property
    def faults(self) -> list[Diagnostic]:
        return [f for f in self.findings if f.level == "fault"]


def inspect(folder: Path, out: Path, before: BuildManifest, memory: Memo, today: date) -> Inspection:
    """Reads an archive, resolves its names, looks into its pictures, derives the facts and judges them.

    Every finding of every step is there, in order; nothing is written. ``today`` is only used to tell a
    night in the future.
    """
    hashes = Hashes(folder, inventory(folder, out), before)
    reading = read_archive(folder, cache=_Parsed(memory, hashes))
    findings = list(reading.findings)
    archive = reading.archive
    if archive is None:
        return Inspection(reading, None, None, None, (), in_order(findings), hashes)
    almanac = Almanac(archive, memory)
    known = [name for name, _ in reading.object_names if almanac.known(name) is not None]
    if len(known) < len(reading.object_names):
        accepted = [p.sidecar for p in archive.pictures.values() if "unknown-object" in p.accepted_doubts]
        findings += unknown_names(reading.object_names, almanac.catalogue, known, accepted)
    pixels: dict[str, tuple[int, int]] = {}
    placements: dict[str, PlacementSummary] = {}
    stars: dict[str, StarShapes] = {}
    reach: dict[str, tuple[KeptReach, ...]] = {}
    changes: dict[str, tuple[KeptChanges, ...]] = {}
    for picture in archive.shown:
        findings += _look_into(folder, picture, hashes, memory, pixels, placements)
        if picture.id in pixels and star_file(picture.sidecar) in hashes:
            findings += _kept_stars(folder, picture, hashes, stars)
        if picture.id in pixels and (name := reach_file(picture.sidecar)) in hashes:
            kept = read_reach_file(folder, picture.sidecar)
            again = f"noctuary stars ARCHIVE {picture.id} --against ID --keep"
            reach[picture.id] = _current(kept, archive, picture, hashes, name, "reach-file-outdated", again, findings)
        if picture.id in pixels and (name := changes_file(picture.sidecar)) in hashes:
            of_sky = read_changes_file(folder, picture.sidecar)
            again = f"noctuary changes ARCHIVE {picture.id} --keep"
            changes[picture.id] = _current(
                of_sky, archive, picture, hashes, name, "changes-file-outdated", again, findings
            )
    findings += gone(archive, before.published, hashes.of, hashes.names())
    findings += moved(archive, uploaded_address(folder) or before.address)
    facts = archive_facts(archive, almanac, pixels, placements, stars, reach, changes)
    findings += judge(archive, facts, today)
    findings += addresses_in_texts(folder, facts, pixels, memory)
    theme: tuple[Path, ...] = ()
    try:
        theme = theme_folders(archive.theme, folder)
        findings += theme_findings(theme, folder, archive.language)
    except NoSuchTheme as error:
        hint = f"{error.hint}, or leave it out for the usual one"
        findings.append(fault(archive.marks.at("theme"), error.rule, error.message, hint))
    findings = in_order(as_doubts(findings, reading.drafts))
    return Inspection(reading, archive, facts, almanac, theme, findings, hashes)


def _look_into(
    folder: Path,
    picture: Picture,
    hashes: Hashes,
    memory: Memo,
    pixels: dict[str, tuple[int, int]],
    placements: dict[str, PlacementSummary],
) -> list[Diagnostic]:
    """Dimensions and placement of one picture, put into ``pixels`` and ``placements``; what is wrong with them."""
    source = Mark(picture.file)
    try:
        content = hashes.of(picture.file)
        header = hashes.of(picture.placement.file) if isinstance(picture.placement, HeaderPlacement) else ""
    except OSError as error:
        why = error.strerror or "it is gone"
        return [
            fault(source, "unreadable", f"the picture cannot be read: {why}", "check that it is there and readable")
        ]
    looked: Look = memory.ask(("look", content, picture.file), lambda: _look(folder / picture.file), Look)
    if looked.size is None:
        return [fault(source, *each) for each in looked.remarks]
    size = pixels[picture.id] = looked.size
    findings = [doubt(source, *each) for each in looked.remarks if each[0] not in picture.accepted_doubts]
    question = ("placement", content, repr(picture.placement), header, size)
    answer: PlacementAnswer = memory.ask(question, lambda: _placement(folder, picture, size), PlacementAnswer)
    if (placed := answer.finding) is not None:
        # Remembered answers keep no line numbers: the record may have moved since.
        where = picture.marks.at("placement") if picture.placement is not None else picture.marks.at()
        if placed.level == "fault":
            findings.append(fault(where, placed.rule, placed.message, placed.hint))
        elif placed.rule not in picture.accepted_doubts:
            findings.append(doubt(where, placed.rule, placed.message, placed.hint))
    elif answer.summary is not None:
        placements[picture.id] = answer.summary
    return findings


def _kept_stars(folder: Path, picture: Picture, hashes: Hashes, stars: dict[str, StarShapes]) -> list[Diagnostic]:
    """The star shapes kept beside a sidecar, put into ``stars``; what is wrong with them."""
    kept = read_star_file(folder, picture.sidecar)
    if isinstance(kept, StarShapes):
        if kept.picture_sha256 == hashes.of(picture.file):
            stars[picture.id] = kept
            return []
        message = "the stars were measured in another version of the picture, and are not shown"
        hint = f"measure anew: noctuary stars ARCHIVE {picture.id} --keep"
        kept = doubt(Mark(star_file(picture.sidecar)), "star-file-outdated", message, hint)
    if kept is None or (kept.level == "doubt" and kept.rule in picture.accepted_doubts):
        return []
    return [kept]


def _current(
    kept: tuple[Compared, ...] | Diagnostic,
    archive: Archive,
    picture: Picture,
    hashes: Hashes,
    name: str,
    rule: str,
    again: str,
    findings: list[Diagnostic],
) -> tuple[Compared, ...]:
    """Of the comparisons kept beside a sidecar those of the pictures as they are; what is wrong goes to ``findings``.

    ``rule`` doubts those of other versions, ``again`` is what to type for new ones.
    """
    if isinstance(kept, Diagnostic):
        findings += [] if kept.level == "doubt" and kept.rule in picture.accepted_doubts else [kept]
        return ()
    current = []
    for one in kept:
        other = archive.pictures.get(one.against)
        whole = other is not None and other.file in hashes and one.against_sha256 == hashes.of(other.file)
        if whole and one.picture_sha256 == hashes.of(picture.file):
            current.append(one)
        elif rule not in picture.accepted_doubts:
            message = (
                f"what was measured against {one.against} is of other versions of the pictures, and is not shown"
            )
            findings.append(doubt(Mark(name), rule, message, f"measure anew: {again}"))
    return tuple(current)


@dataclass(frozen=True, slots=True)
class Look:
    """A first look at a picture: (width, height) and doubts, or no size and one fault, as (rule, message, hint)."""

    size: tuple[int, int] | None
    remarks: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True, slots=True)
class PlacementAnswer:
    """Where a picture lies, or what is wrong with what should say so; neither where nothing does."""

    summary: PlacementSummary | None
    finding: Diagnostic | None


def _look(path: Path) -> Look:
    from noctuary.images.decode import quick_check
    from noctuary.images.decoded import PictureFault

    try:
        width, height, doubts = quick_check(path)
    except PictureFault as error:
        return Look(None, ((error.rule, error.message, error.hint),))
    return Look((width, height), doubts)


def _placement(folder: Path, picture: Picture, size: tuple[int, int]) -> PlacementAnswer:
    from noctuary.facts.placement_summary import placement_numbers
    from noctuary.images.read_placement import placement_of

    found = placement_of(folder, picture, size)
    if found is None or isinstance(found, Diagnostic):
        return PlacementAnswer(None, found)
    return PlacementAnswer(placement_numbers(found), None)

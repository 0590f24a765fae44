"""A folder → an archive, and everything that keeps a record from being read.

Each file is parsed by itself (:mod:`noctuary.archive.parse_file`), then the names in it are looked up
(:mod:`noctuary.archive.name_table`, :mod:`noctuary.archive.resolve`). Nothing raises: every fault of every
file is found in one run, and what could be read is there.
"""

from __future__ import annotations

import posixpath
from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Protocol, TypeAlias

from noctuary.archive import resolve
from noctuary.archive.declaration import keys_of
from noctuary.archive.did_you_mean import nearest
from noctuary.archive.folder import Listing, content, list_files
from noctuary.archive.keys import ArchiveKeys, SidecarKeys
from noctuary.archive.name_table import Known, equipment, own_objects, places
from noctuary.archive.parse_file import ParsedFile, parse
from noctuary.archive.picture_files import NOT_SHOWN
from noctuary.archive.records import Archive, HeaderPlacement, Marks, Picture
from noctuary.diagnostic import Diagnostic, Mark, as_doubts, doubt, fault, in_order
from noctuary.text import hyphenated


@dataclass(frozen=True)
class Reading:
    """What was read.

    ``archive`` lacks the pictures and entries that have faults, and is ``None`` only when archive.yaml
    makes no sense. ``object_names`` are all names of objects in sidecars, faulty ones included.
    ``files`` are all files that were looked at, relative to the archive with ``/``, sorted. ``drafts`` are the
    sidecars that say they are unfinished: whatever is wrong with them is a doubt.
    """

    archive: Archive | None
    findings: tuple[Diagnostic, ...]
    object_names: tuple[tuple[str, Mark], ...]
    files: tuple[str, ...]
    drafts: frozenset[str] = frozenset()


Sidecars: TypeAlias = dict[str, ParsedFile[SidecarKeys]]

_HIDES = {"unreadable", "outside-archive", "link-loop", "unknown-file", "too-deep", "encoding"}


class ParsedCache(Protocol):
    """What an earlier run made of a file, by its name and its bytes; ``unread`` where it is the same file still."""

    def unread(self, name: str) -> ParsedFile[Any] | None: ...

    def get(self, name: str, content: bytes) -> ParsedFile[Any] | None: ...

    def put(self, name: str, content: bytes, parsed: ParsedFile[Any]) -> None: ...


def read_file(folder: Path, name: str, cache: ParsedCache | None = None) -> ParsedFile[Any]:
    """One record of an archive, by its name relative to the archive; from the cache if it is there."""
    if cache is not None and (known := cache.unread(name)) is not None:
        return known
    found = content(folder, name)
    if isinstance(found, Diagnostic):
        return ParsedFile[Any](name, "", None, Marks(name), (found,))
    parsed = cache.get(name, found) if cache is not None else None
    if parsed is None:
        parsed = parse(found, name)
        if cache is not None:
            cache.put(name, found, parsed)
    return parsed


def read_archive(folder: Path, *, cache: ParsedCache | None = None) -> Reading:
    """Everything in an archive's folder, with all faults of form."""
    listing = list_files(folder)
    if (
        not any(f.mark.file.startswith("archive.y") for f in listing.findings)
        and "archive.yaml" not in listing.records
    ):
        hint = "write one, or a whole archive to begin with: noctuary begin FOLDER"
        lost = fault(Mark("archive.yaml"), "missing-archive", "there is no archive.yaml in this folder", hint)
        return Reading(None, (lost,), (), ())
    parsed = {name: read_file(folder, name, cache) for name in listing.records}
    findings = [*listing.findings, *(finding for file in parsed.values() for finding in file.findings)]
    object_names = tuple(sorted((pair for file in parsed.values() for pair in file.object_names), key=lambda p: p[1]))
    archive = _assemble(folder, parsed, listing, findings)
    # A file that could not be opened, or a header that is not there, has been reported and cannot be looked at.
    unopened = {name for name, file in parsed.items() if not file.kind}
    placements = (picture.placement for picture in (archive.pictures.values() if archive else ()))
    named = {placement.file for placement in placements if isinstance(placement, HeaderPlacement)}
    files = tuple(sorted({*listing.files, *named} - unopened))
    drafts = frozenset(name for name, file in parsed.items() if file.draft)
    return Reading(archive, tuple(in_order(as_doubts(findings, drafts))), object_names, files, drafts)


def _assemble(
    folder: Path, parsed: dict[str, ParsedFile[Any]], listing: Listing, findings: list[Diagnostic]
) -> Archive | None:
    # What was not read may well define the names that seem to be missing.
    unread = [*listing.misnamed.values(), *(f.mark.file for f in listing.findings)]
    known = Known(findings, all_of={name: False for name in unread if "/" not in name})
    if any(f.mark.file.startswith("pictures") and f.rule in _HIDES for f in listing.findings):
        known.all_of["pictures/"] = False
    equipment(parsed.get("equipment.yaml"), known)
    places(parsed.get("places.yaml"), known)
    sidecars: Sidecars = {name: file for name, file in parsed.items() if name.startswith("pictures/")}
    headers = _headers(sidecars.values())
    paired = _paired(sidecars, listing, headers, findings)
    known.picture_ids = tuple(_stem(name) for name in (*sidecars, *sorted(listing.misnamed)))
    _former_ids(sidecars, known)
    pictures: dict[str, Picture] = {}
    for name, picture_file in paired.items():
        if (found := resolve.picture(sidecars[name], picture_file, folder, known)) is not None:
            pictures[found.id] = found
    for name in _cycles(sidecars, findings):
        pictures.pop(name, None)
    nights = [resolve.night(file, known) for name, file in parsed.items() if name.startswith("nights/")]
    exhibits = [resolve.exhibit(file, known) for name, file in parsed.items() if name.startswith("exhibits/")]
    pages = [resolve.page(file, known) for name, file in parsed.items() if name.startswith("pages/")]
    top: ParsedFile[ArchiveKeys] | None = parsed.get("archive.yaml")
    if top is None or top.record is None:
        return None
    # Depth is compared with an aperture, so a rig of which it is known comes first.
    rigs = list(known.rigs.values())
    reference = next((rig for rig in rigs if rig.optic and rig.optic.aperture_mm), rigs[0] if rigs else None)
    if top.record.reference_rig_name is not None:
        reference = known.rig(top.record.reference_rig_name, top.marks.at("reference_rig")) or reference
    return Archive(
        **keys_of(replace(top.record, gone=tuple(dict.fromkeys(top.record.gone)))),
        reference_rig=reference,
        cameras=known.cameras,
        optics=known.optics,
        rigs=known.rigs,
        places=known.places,
        own_objects=own_objects(parsed.get("objects.yaml")),
        pictures=pictures,
        nights=tuple(n for n in nights if n is not None),
        exhibits=tuple(e for e in exhibits if e is not None),
        pages=tuple(p for p in pages if p is not None),
        marks=top.marks,
    )


def _stem(name: str) -> str:
    return posixpath.splitext(posixpath.basename(name))[0]


def _headers(sidecars: Iterable[ParsedFile[SidecarKeys]]) -> set[str]:
    """Header files that sidecars name: a FITS file among them is no picture of its own."""
    headers = set()
    for file in sidecars:
        placement = file.record.placement_keys if file.record is not None else None
        written = placement.header if placement is not None else None
        if written is not None and (name := resolve.header_name(written, file.name)) is not None:
            headers.add(name)
    return headers


def _paired(sidecars: Sidecars, listing: Listing, headers: set[str], findings: list[Diagnostic]) -> dict[str, str]:
    """Sidecars → their pictures, for those that have exactly one and a name of their own."""
    beside: dict[str, list[str]] = defaultdict(list)
    by_stem: dict[str, list[str]] = defaultdict(list)
    candidates = Counter(posixpath.splitext(name)[0] + ".yaml" for name in listing.pictures)
    for name in listing.pictures:
        own_sidecar = _own_sidecar(name, sidecars, candidates)
        # A FITS picture may serve as its own header, unless there is another picture for the record.
        if name in headers and (own_sidecar not in sidecars or candidates[own_sidecar] > 1):
            continue
        beside[own_sidecar].append(name)
        by_stem[_stem(own_sidecar)].append(name)
    shared: set[str] = set()

    def is_draft(sidecar: str) -> bool:
        return sidecar in sidecars and sidecars[sidecar].draft

    def unclear(pair: Iterable[str]) -> set[str]:
        """Of two sidecars of one name those that cannot have it: both, but a draft alone where one is finished."""
        both = set(pair)
        return {name for name in both if is_draft(name)} or both

    for names in by_stem.values():
        # A draft gives way to a finished record of the same name.
        names = sorted(names, key=lambda name: is_draft(posixpath.splitext(name)[0] + ".yaml"))
        for name in names[1:]:
            message = f"{names[0]} has the same name but for its folder or ending"
            findings.append(fault(Mark(name), "same-name", message, "rename one of the two, and its sidecar with it"))
            shared.update(unclear(posixpath.splitext(n)[0] + ".yaml" for n in (names[0], name)))
    lonely = 0
    first: dict[str, str] = {}
    paired: dict[str, str] = {}
    for name in sorted(sidecars, key=is_draft):
        stem = _stem(name)
        if stem in first:
            message = f"{first[stem]} has the same name but for its folder"
            findings.append(fault(Mark(name), "same-name", message, "rename one of the two, and its picture with it"))
            shared.update(unclear((first[stem], name)))
        first.setdefault(stem, name)
        sound = resolve.is_id(stem, name, ".yaml", findings)
        if not beside[name]:
            findings.append(_without_picture(name, listing, lonely := lonely + 1))
        elif sound:
            paired[name] = beside[name][0]
    misnamed = set(listing.misnamed.values())
    findings += _without_record(
        name
        for own_sidecar, names in beside.items()
        if own_sidecar not in sidecars and own_sidecar not in misnamed | shared
        for name in names
    )
    return {name: paired[name] for name in sidecars if name in paired and name not in shared}


def _without_record(pictures: Iterable[str]) -> Iterator[Diagnostic]:
    """One doubt for a picture, and one for a folder of several: three hundred would bury everything else."""
    by_folder: dict[str, list[str]] = {}
    for name in pictures:
        by_folder.setdefault(posixpath.dirname(name), []).append(name)
    for folder, names in by_folder.items():
        hint = "run “noctuary adopt”, which drafts one from the picture's own header and name"
        message, mark = "the picture has no record", Mark(names[0])
        if len(names) > 1:
            shown = ", ".join(posixpath.basename(name) for name in sorted(names)[:3])
            more = f" and {len(names) - 3} more" if len(names) > 3 else ""
            message, mark = f"{len(names)} pictures here have no record: {shown}{more}", Mark(folder)
            hint = "run “noctuary adopt”, which drafts one for each from its own header and name"
        yield doubt(mark, "picture-without-sidecar", message, hint)


def _own_sidecar(picture: str, sidecars: Collection[str], candidates: Mapping[str, int]) -> str:
    """The record of a picture: the one of its stem, or of its stem in the letters of an id (``M31_final.jpg`` and
    ``m31-final.yaml``), unless another picture has exactly that name."""
    exact = posixpath.splitext(picture)[0] + ".yaml"
    plain = posixpath.join(posixpath.dirname(picture), hyphenated(_stem(picture), 100) + ".yaml")
    return plain if exact not in sidecars and plain in sidecars and plain not in candidates else exact


def _without_picture(name: str, listing: Listing, number: int) -> Diagnostic:
    stem = posixpath.splitext(name)[0]
    for other in listing.not_shown:
        if posixpath.splitext(other)[0] == stem:
            ending = posixpath.splitext(other)[1]
            message = f"{posixpath.basename(other)} cannot be shown"
            return fault(Mark(name), "picture-kind", message, NOT_SHOWN[ending.lower()])
    # Comparing names takes time, and after this many it is not a slip of the pen.
    names = [posixpath.basename(p) for p in listing.pictures] if number <= 20 else []
    near = nearest(_stem(name), names, most=1, cutoff=0.7)
    hint = f"did you mean {near}? Name the two alike and put them side by side" if near else (
        f"put the picture beside it, such as {stem}.jpg"
    )  # fmt: skip
    return fault(Mark(name), "sidecar-without-picture", "there is no picture beside this record", hint)


def _former_ids(sidecars: Sidecars, known: Known) -> None:
    for name, file in sorted(sidecars.items(), key=lambda item: (item[1].draft, item[0])):
        for number, former in enumerate(file.record.former_ids if file.record is not None else ()):
            owner = former if former in known.picture_ids else known.moved_ids.get(former)
            if owner is not None and (owner != _stem(name) or former == owner):
                message = f"“{former}” is an id of {'this picture itself' if owner == _stem(name) else owner}"
                mark = file.marks.at("former_ids", number)
                known.findings.append(fault(mark, "former-id-taken", message, "delete it here, or rename the other"))
            else:
                known.moved_ids[former] = _stem(name)


def _cycles(sidecars: Sidecars, findings: list[Diagnostic]) -> set[str]:
    """Pictures that contain or replace themselves by way of others."""
    # Of two of one name the finished record is meant, so it comes last.
    ordered = sorted(sidecars.items(), key=lambda item: not item[1].draft)
    values = {_stem(name): file for name, file in ordered if file.record is not None}

    def named(file: ParsedFile[SidecarKeys], *keys: str) -> list[tuple[str, str, Mark]]:
        """What a record names under these keys: the key, the other picture, and where."""
        record = file.record
        if record is None:
            return []
        replaced = (record.replaces,) if record.replaces is not None else ()
        links = {"builds_on": record.builds_on, "panels": record.panels, "replaces": replaced}
        return [(key, name, file.marks.at(key, number)) for key in keys for number, name in enumerate(links[key])]

    cyclic: set[str] = set()
    for keys in (("builds_on", "panels"), ("replaces",)):
        for ring in _rings({name: [other for _, other, _ in named(file, *keys)] for name, file in values.items()}):
            links = []
            for first, second in zip(ring, [*ring[1:], ring[0]], strict=True):
                links.append(next(link for link in named(values[first], *keys) if link[1] == second))
            way = " ".join([ring[0], *(f"{_VERBS[key]} {other}" for key, other, _ in links)])
            # Told where the first of the ring names the next one; a draft in it is enough to break it.
            drafts = [name for name in ring if values[name].draft]
            mark = links[ring.index(drafts[0]) if drafts else 0][2]
            rule = "panels-cycle" if any(key == "panels" for key, _, _ in links) else _CYCLES[links[0][0]]
            findings.append(fault(mark, rule, way, "delete one of these names"))
            cyclic.update(drafts or ring)
    return cyclic


_VERBS = {"builds_on": "builds on", "panels": "has the panel", "replaces": "replaces"}
_CYCLES = {"builds_on": "builds-on-cycle", "replaces": "replaces-cycle"}


def _rings(graph: dict[str, list[str]]) -> list[list[str]]:
    """Circles of a graph, each once, beginning with its first name in order."""
    rings: list[list[str]] = []
    done: set[str] = set()
    for origin in sorted(graph):
        if origin in done:
            continue
        trail: list[str] = [origin]
        on_trail = {origin: 0}
        waiting = [iter(graph[origin])]
        while waiting:
            following = next(waiting[-1], None)
            if following is None:
                waiting.pop()
                name = trail.pop()
                del on_trail[name]
                done.add(name)
            elif following in on_trail:
                ring = trail[on_trail[following] :]
                lowest = ring.index(min(ring))
                rings.append(ring[lowest:] + ring[:lowest])
            elif following in graph and following not in done:
                on_trail[following] = len(trail)
                trail.append(following)
                waiting.append(iter(graph[following]))
    return [ring for number, ring in enumerate(rings) if ring not in rings[:number]]

"""The files of an archive: which are read, which are pictures, and which lead astray.

Hidden files and folders, the program's own cache and the published site are never looked at. Links are
followed as long as they stay inside the archive.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from generator.archive.marked_yaml import MAX_BYTES
from generator.archive.nearest import nearest
from generator.archive.picture_files import NOT_SHOWN, PICTURE_ENDINGS
from generator.finding import Finding, Mark, fault

TOP_RECORDS = ("archive.yaml", "equipment.yaml", "places.yaml", "objects.yaml")
_FLAT = {"nights": ".md", "exhibits": ".yaml", "pages": ".md"}
_LOOKALIKES = {".yml": ".yaml", ".markdown": ".md", ".mdown": ".md"}


@dataclass
class Listing:
    """Names relative to the archive, with ``/``, each list sorted."""

    records: list[str] = field(default_factory=list)
    pictures: list[str] = field(default_factory=list)
    not_shown: list[str] = field(default_factory=list)
    misnamed: set[str] = field(default_factory=set)
    findings: list[Finding] = field(default_factory=list)

    @property
    def files(self) -> list[str]:
        return sorted({*self.records, *self.pictures})


def list_files(folder: Path) -> Listing:
    """Everything in an archive that a record or a picture may be."""
    listing = Listing()
    root = folder.resolve()
    for path in _entries(folder, "", root, listing):
        name = path.name
        if name in TOP_RECORDS:
            listing.records.append(name)
        elif path.suffix.lower() in (".yaml", ".yml"):
            near = nearest(path.stem, (record.removesuffix(".yaml") for record in TOP_RECORDS), most=1, cutoff=0.8)
            if near:
                _misnamed(listing, name, f"{near}.yaml")
    for part, ending in _FLAT.items():
        if _is_folder(folder / part, part, root, listing):
            for path in _entries(folder / part, part, root, listing):
                name = f"{part}/{path.name}"
                if path.is_dir():
                    continue
                if path.suffix == ending:
                    listing.records.append(name)
                elif path.suffix.lower() == ending or _LOOKALIKES.get(path.suffix.lower()) == ending:
                    _misnamed(listing, name, f"{part}/{path.stem}{ending}")
    if _is_folder(folder / "pictures", "pictures", root, listing):
        _walk(folder / "pictures", "pictures", root, listing, (root / "pictures",))
    for names in (listing.records, listing.pictures, listing.not_shown):
        names.sort()
    return listing


def content(folder: Path, name: str) -> bytes | Finding:
    """The bytes of a record, or the fault that keeps them from being read."""
    path = folder / name
    try:
        if not path.is_file():
            return fault(Mark(name), "unreadable", "this is not a file", "put the record here, or delete it")
        with path.open("rb") as file:
            return file.read(MAX_BYTES + 1)
    except OSError as error:
        return _unreadable(name, error)


def inside(path: Path, name: str, root: Path) -> Finding | None:
    """The fault of a file or folder that is not really inside the archive, or cannot be reached."""
    try:
        real = path.resolve(strict=True)
    except FileNotFoundError:
        return fault(Mark(name), "unknown-file", "the link leads to nothing", "put the file itself here")
    except (OSError, RuntimeError) as error:
        if isinstance(error, PermissionError):
            return _unreadable(name, error)
        return fault(Mark(name), "link-loop", "the link leads in a circle", "put the file itself here")
    if not real.is_relative_to(root):
        return fault(
            Mark(name), "outside-archive", "the link leads out of the archive", "put the file itself into the archive"
        )
    return None


def _is_folder(path: Path, name: str, root: Path, listing: Listing) -> bool:
    if not path.is_symlink() and not path.exists():
        return False
    if found := inside(path, name, root):
        listing.findings.append(found)
        return False
    if not path.is_dir():
        listing.findings.append(
            fault(Mark(name), "unreadable", f"{name} is a file where a folder belongs", "rename or delete it")
        )
        return False
    return True


def _entries(folder: Path, name: str, root: Path, listing: Listing) -> Iterator[Path]:
    """What lies in a folder, sorted, without what is hidden and what leads out."""
    try:
        paths = sorted(folder.iterdir(), key=lambda path: path.name)
    except OSError as error:
        listing.findings.append(_unreadable(name or ".", error))
        return
    for path in paths:
        if path.name.startswith("."):
            continue
        relevant = name or path.suffix.lower() in (".yaml", ".yml")
        if not relevant:
            continue
        own_name = f"{name}/{path.name}" if name else path.name
        try:
            own_name.encode()
        except UnicodeEncodeError:
            shown = own_name.encode("utf-8", "replace").decode()
            listing.findings.append(
                fault(Mark(shown), "encoding", "the name of this file is not UTF-8", "rename it with plain letters")
            )
            continue
        if path.is_symlink() and (found := inside(path, own_name, root)):
            listing.findings.append(found)
            continue
        yield path


def _walk(folder: Path, name: str, root: Path, listing: Listing, above: tuple[Path, ...]) -> None:
    for path in _entries(folder, name, root, listing):
        own_name = f"{name}/{path.name}"
        if path.is_dir():
            real = path.resolve()
            if real in above or root.is_relative_to(real):
                listing.findings.append(
                    fault(Mark(own_name), "link-loop", "the link leads back to a folder around it", "delete the link")
                )
            elif len(above) > 30:
                listing.findings.append(
                    fault(Mark(own_name), "too-deep", "more than 30 folders are nested here", "put it further up")
                )
            else:
                _walk(path, own_name, root, listing, (*above, real))
            continue
        ending = path.suffix.lower()
        if path.suffix == ".yaml":
            listing.records.append(own_name)
        elif ending in (".yaml", ".yml"):
            _misnamed(listing, own_name, f"{name}/{path.stem}.yaml")
        elif ending in PICTURE_ENDINGS:
            listing.pictures.append(own_name)
        elif ending in NOT_SHOWN:
            listing.not_shown.append(own_name)


def _misnamed(listing: Listing, name: str, meant: str) -> None:
    listing.misnamed.add(name)
    listing.findings.append(
        fault(
            Mark(name), "unread-file", "a file of this name is not read", f"rename it to {meant.rpartition('/')[2]}"
        )
    )


def _unreadable(name: str, error: OSError) -> Finding:
    reason = error.strerror or type(error).__name__
    return fault(Mark(name), "unreadable", f"this cannot be read: {reason}", "see who may read it, and where it lies")

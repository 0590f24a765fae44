"""The files of an archive: which are read, which are pictures, and which lead astray.

Hidden files and folders, the program's own cache and the published site are never looked at. Links are
followed as long as they stay inside the archive.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from noctuary.archive.did_you_mean import nearest
from noctuary.archive.marked_yaml import MAX_BYTES
from noctuary.archive.picture_files import NOT_SHOWN, PICTURE_ENDINGS
from noctuary.diagnostic import Diagnostic, Mark, fault, one_line

TOP_RECORDS = ("archive.yaml", "equipment.yaml", "places.yaml", "objects.yaml")
_FLAT = {"nights": ".md", "exhibits": ".yaml", "pages": ".md"}
_LOOKALIKES = {".yml": ".yaml", ".markdown": ".md", ".mdown": ".md"}


@dataclass
class Listing:
    """Names relative to the archive, with ``/``, each list sorted; ``misnamed`` leads to the right names."""

    records: list[str] = field(default_factory=list)
    pictures: list[str] = field(default_factory=list)
    not_shown: list[str] = field(default_factory=list)
    misnamed: dict[str, str] = field(default_factory=dict)
    findings: list[Diagnostic] = field(default_factory=list)

    @property
    def files(self) -> list[str]:
        return sorted({*self.records, *self.pictures})


def list_files(folder: Path) -> Listing:
    """Everything in an archive that a record or a picture may be."""
    listing = Listing()
    root = folder.resolve()
    for entry in _entries(folder, "", root, listing):
        if entry.name in TOP_RECORDS:
            listing.records.append(entry.name)
            continue
        stems = [record.removesuffix(".yaml") for record in TOP_RECORDS]
        if near := nearest(_stem(entry.name), stems, most=1, cutoff=0.8):
            _misnamed(listing, entry.name, f"{near}.yaml")
    for part, ending in _FLAT.items():
        if not _is_folder(folder / part, part, root, listing):
            continue
        for entry in _entries(folder / part, part, root, listing):
            name, written_ending = f"{part}/{entry.name}", _ending(entry.name)
            if entry.is_dir():
                continue
            if entry.name.endswith(ending):
                listing.records.append(name)
            elif written_ending == ending or _LOOKALIKES.get(written_ending) == ending:
                _misnamed(listing, name, f"{_stem(entry.name)}{ending}")
    if _is_folder(folder / "pictures", "pictures", root, listing):
        _walk(folder / "pictures", "pictures", root, listing, (root / "pictures",))
    for names in (listing.records, listing.pictures, listing.not_shown):
        names.sort()
    return listing


def content(folder: Path, name: str) -> bytes | Diagnostic:
    """The bytes of a record, or the fault that keeps them from being read."""
    path = folder / name
    try:
        if not path.is_file():
            return fault(Mark(name), "unreadable", "this is not a file", "put the record here, or delete it")
        with path.open("rb") as file:
            return file.read(MAX_BYTES + 1)
    except OSError as error:
        return _unreadable(name, error)


def content_beside(folder: Path, name: str) -> bytes | Diagnostic | None:
    """The bytes of a file that the program keeps beside a record, ``None`` where there is none."""
    path = folder / name
    if not path.is_symlink() and not path.exists():
        return None
    return inside(path, name, folder.resolve()) or content(folder, name)


def inside(path: Path, name: str, root: Path) -> Diagnostic | None:
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
    try:
        if not path.is_symlink() and not path.exists():
            return False
        if found := inside(path, name, root):
            listing.findings.append(found)
            return False
        if path.is_dir():
            return True
    except OSError as error:
        listing.findings.append(_unreadable(name, error))
        return False
    message = f"{name} is no folder, where a folder belongs"
    listing.findings.append(fault(Mark(name), "unreadable", message, "rename or delete it"))
    return False


def _entries(folder: Path, name: str, root: Path, listing: Listing) -> Iterator[os.DirEntry[str]]:
    """What is in a folder, sorted, without what is hidden and what leads out."""
    try:
        with os.scandir(folder) as found_there:
            entries = sorted(found_there, key=lambda entry: entry.name)
    except OSError as error:
        # Where there is no folder there is no archive, which is reported elsewhere.
        if name or not isinstance(error, FileNotFoundError | NotADirectoryError):
            listing.findings.append(_unreadable(name or "archive.yaml", error))
        return
    for entry in entries:
        if entry.name.startswith(".") or not (name or _ending(entry.name) in (".yaml", ".yml")):
            continue
        own_name = f"{name}/{entry.name}" if name else entry.name
        if re.search("[\x00-\x1f\x7f-\x9f\ud800-\udfff]", own_name):
            shown = own_name.encode("utf-8", "replace").decode()
            message, hint = "the name of this file holds what is no text in UTF-8", "rename it with plain letters"
            listing.findings.append(fault(Mark(one_line(shown)), "encoding", message, hint))
        elif entry.is_symlink() and (found := inside(Path(entry.path), own_name, root)):
            listing.findings.append(found)
        elif entry.is_dir() or entry.is_file():
            yield entry
        elif _ending(entry.name) in (".yaml", ".yml", ".md") or _ending(entry.name) in PICTURE_ENDINGS:
            listing.findings.append(fault(Mark(own_name), "unreadable", "this is no file", "delete it"))


def _walk(folder: Path, name: str, root: Path, listing: Listing, above: tuple[Path, ...]) -> None:
    for entry in _entries(folder, name, root, listing):
        own_name = f"{name}/{entry.name}"
        if entry.is_dir():
            real = Path(entry.path).resolve()
            if real in above or root.is_relative_to(real):
                message = "the link leads back to a folder around it"
                listing.findings.append(fault(Mark(own_name), "link-loop", message, "delete the link"))
            elif len(above) > 30:
                message = "more than 30 folders are nested here"
                listing.findings.append(fault(Mark(own_name), "too-deep", message, "put it further up"))
            else:
                _walk(Path(entry.path), own_name, root, listing, (*above, real))
            continue
        ending = _ending(entry.name)
        if entry.name.endswith(".yaml"):
            listing.records.append(own_name)
        elif ending in (".yaml", ".yml"):
            _misnamed(listing, own_name, f"{_stem(entry.name)}.yaml")
        elif ending in PICTURE_ENDINGS:
            listing.pictures.append(own_name)
        elif ending in NOT_SHOWN:
            listing.not_shown.append(own_name)


def _ending(name: str) -> str:
    return os.path.splitext(name)[1].lower()  # noqa: PTH122


def _stem(name: str) -> str:
    return os.path.splitext(name)[0]  # noqa: PTH122


def _misnamed(listing: Listing, name: str, meant: str) -> None:
    folder = name[: name.rfind("/") + 1]
    listing.misnamed[name] = folder + meant
    listing.findings.append(
        fault(Mark(name), "unread-file", "a file of this name is not read", f"rename it to {meant}")
    )


def _unreadable(name: str, error: OSError) -> Diagnostic:
    reason = error.strerror or type(error).__name__
    return fault(Mark(name), "unreadable", f"this cannot be read: {reason}", "see who may read it, and where it lies")

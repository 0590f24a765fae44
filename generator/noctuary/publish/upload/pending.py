"""What an upload would send, by the copy of the last listing alone: no network is asked."""

from __future__ import annotations

from pathlib import Path

from noctuary.archive.did_you_mean import meant
from noctuary.archive.keys import ArchiveKeys
from noctuary.archive.parse_file import ParsedFile
from noctuary.archive.read import read_file
from noctuary.archive.upload_address import UploadAddress, read_address
from noctuary.diagnostic import Diagnostic
from noctuary.errors import NoctuaryError
from noctuary.publish.upload.connection import UploadError
from noctuary.publish.upload.site_files import site_files
from noctuary.publish.upload.upload import Archived, kept_states
from noctuary.publish.weight import amount


class NothingToUploadTo(NoctuaryError, ValueError):
    """archive.yaml names no destination, or none of this name; says what to write."""


def read_destinations(folder: Path) -> tuple[Archived | None, dict[str, str], list[Diagnostic]]:
    """The archive, its destinations by name (``""`` is the only one), and the findings of archive.yaml.

    The archive is ``None`` where archive.yaml cannot be read.
    """
    parsed: ParsedFile[ArchiveKeys] = read_file(folder, "archive.yaml")
    record, findings = parsed.record, list(parsed.findings)
    if record is None:
        return None, {}, findings
    return Archived(folder, record.title, record.author, record.address), dict(record.upload or {}), findings


def chosen(destinations: dict[str, str], name: str | None) -> tuple[str, UploadAddress]:
    """The destination of a name, or the first; raises :class:`NothingToUploadTo`."""
    if not destinations:
        raise NothingToUploadTo(
            "archive.yaml says nowhere to upload to; write there, say, upload: sftp://user@example.org/site"
        )
    if name is None:
        name = next(iter(destinations))
    elif name not in destinations:
        known = [n for n in destinations if n]
        raise NothingToUploadTo(
            f"upload: in archive.yaml has no {name!r}: {meant(name, known, 'it gives one address without a name')}"
        )
    return name, read_address(destinations[name])


def pending(folder: Path, out: Path) -> str | None:
    """One line on what an upload to the first destination would send; ``None`` where that is not known."""
    folder = folder.resolve()
    archived, to, _ = read_destinations(folder)
    if archived is None or not to:
        return None
    name, address = chosen(to, None)
    known = kept_states(folder, address)
    if known is None:
        return None
    try:
        site = site_files(folder, out)
    except UploadError:
        return None
    _, states = known
    send = [f for f in site.values() if not _is_there(states.get(f.name, ()), f.digest)]
    gone = len(states.keys() - site.keys())
    if not send and not gone:
        return None
    elsewhere = "" if out == folder / "site" else f" --out {out}"
    command = "noctuary upload" + elsewhere + (f" --to {name}" if name else "")
    removes = f" and remove {gone}" if gone else ""
    files = f"{len(send)} file{'' if len(send) == 1 else 's'}"
    return f"An upload would send {files} ({amount(sum(f.size for f in send))}){removes}: {command}"


def _is_there(states: tuple[object, ...], digest: str) -> bool:
    return len(states) == 1 and getattr(states[0], "digest", None) == digest

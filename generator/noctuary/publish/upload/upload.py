"""The story of one upload, from the site and the listing at its destination to a destination that holds the site."""

from __future__ import annotations

import hashlib
import secrets
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from noctuary.archive.upload_address import UploadAddress
from noctuary.publish.upload.cache import archive_key, keep_plain, read_plain, remember_archive, uploaded_address
from noctuary.publish.upload.connection import Body, Connection, Destination, UploadError
from noctuary.publish.upload.listing import (
    NAME,
    DamagedListing,
    Listing,
    Owner,
    State,
    States,
    name_digest,
    read_listing,
)
from noctuary.publish.upload.plan import Plan, Settings, make_plan, owner_trouble
from noctuary.publish.upload.site_files import SiteFile
from noctuary.publish.upload.transfer import Line, Transfer

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Archived:
    """What an upload needs to know of the archive. ``folder`` is its own, absolute."""

    folder: Path
    title: str
    author: str
    address: str | None


@dataclass(frozen=True)
class Choices:
    """What the person chose, and how to speak with them.

    ``verify``: read everything that is there; ``replace``: write over files that no upload made. ``sleep`` waits
    between tries.
    """

    dry_run: bool = False
    verify: bool = False
    replace: bool = False
    keep_history: bool = False
    progress: Progress = lambda what, done, total: None
    sleep: Callable[[float], None] = time.sleep


@dataclass(frozen=True)
class Report:
    """What was, or would be, done. ``notes`` are lines for the person."""

    send: tuple[SiteFile, ...]
    remove: tuple[str, ...]
    site: Mapping[str, SiteFile]
    shown: str
    notes: tuple[str, ...] = ()
    seconds: float = field(default=0.0)


def upload_files(
    archived: Archived, site: Mapping[str, SiteFile], address: UploadAddress, to: Destination, choices: Choices
) -> Report:
    """Makes the destination equal to the site, file by file; raises :class:`UploadError`."""
    began = time.monotonic()
    owner = owner_of(archived)
    line = Line(to, choices.sleep)
    try:
        listing = line.do(_read_listing)
        if listing is not None:
            if trouble := owner_trouble(listing, owner, to.shown):
                raise trouble
            owner = owner_of(archived, listing.owner.key)
        copy = read_plain(archived.folder, copy_name(address))
        settings = Settings(
            archived.title,
            archived.address,
            to.keeps_encoding,
            _names(copy),
            to.look,
            choices.replace,
            choices.verify,
        )
        plan = line.do(
            lambda connection: make_plan(
                site, listing, connection, settings, lambda done, total: choices.progress("reading", done, total)
            )
        )
        notes = moved_notes(listing.owner.address if listing else None, archived.address)
        report = Report(plan.send, plan.remove, site, to.shown, notes)
        if choices.dry_run:
            return report
        if plan.idle and listing is not None and listing.files == plan.after and listing.owner == owner:
            settled(archived, address, site, plan.after, owner)
            return report
        _send(archived, site, address, to, choices, plan, line, owner)
    finally:
        line.close()
    return Report(plan.send, plan.remove, site, to.shown, notes, time.monotonic() - began)


def _send(
    archived: Archived,
    site: Mapping[str, SiteFile],
    address: UploadAddress,
    to: Destination,
    choices: Choices,
    plan: Plan,
    line: Line,
    owner: Owner,
) -> None:
    # Names first: should this end early, the next upload must know what it may find.
    keep_copy(archived, address, site, plan.before, plan.remove)
    _write_listing(line, Listing(owner, plan.before))
    for part in plan.parts:
        line.do(lambda connection, part=part: connection.remove(part))  # type: ignore[misc]
    total = plan.bytes
    choices.progress("sending", 0, total)
    Transfer(
        plan, site, to, archived.title, lambda done, total: choices.progress("sending", done, total), choices.sleep
    ).run(line)
    for folder in _emptied(plan.remove, site):
        line.do(lambda connection, folder=folder: connection.remove_folder(folder))  # type: ignore[misc]
    line.do(lambda connection: connection.settle())
    _write_listing(line, Listing(owner, plan.after))
    line.do(lambda connection: connection.settle())
    settled(archived, address, site, plan.after, owner)


def settled(
    archived: Archived,
    address: UploadAddress,
    site: Mapping[str, SiteFile],
    after: Mapping[str, States],
    owner: Owner,
) -> None:
    """Keeps that the destination holds the site."""
    keep_copy(archived, address, site, after, ())
    if address.kind != "folder":  # a stick is not where the archive's address leads
        remember_archive(archived.folder, owner.key, archived.address)


def _read_listing(connection: Connection) -> Listing | None:
    data = connection.read(NAME)
    try:
        return read_listing(data) if data is not None else None
    except DamagedListing:
        raise UploadError(
            f"the listing {NAME} there is damaged, so nobody can tell what is this site's",
            "delete it there, then run upload again with --replace",
        ) from None


def _write_listing(line: Line, listing: Listing) -> None:
    data = listing.as_bytes()
    body = Body(NAME, len(data), data, None, "application/json", "no-store")
    line.do(lambda connection: connection.write(body))


def _emptied(removed: tuple[str, ...], site: Mapping[str, SiteFile]) -> list[str]:
    """Folders that held what was removed and hold nothing of the site, the deepest first."""
    needed = {folder for name in site for folder in _above(name)}
    gone = {folder for name in removed for folder in _above(name)} - needed
    return sorted(gone, key=lambda folder: (-folder.count("/"), folder))


def _above(name: str) -> list[str]:
    parts = name.split("/")[:-1]
    return ["/".join(parts[:number]) for number in range(1, len(parts) + 1)]


def owner_of(archived: Archived, key: str | None = None) -> Owner:
    """Who this archive is at its destinations; a key is drawn at the first upload and kept in the cache."""
    if key is None:
        key = archive_key(archived.folder) or secrets.token_hex(12)
    remember_archive(archived.folder, key, uploaded_address(archived.folder))
    words = hashlib.blake2b(f"{archived.title}\n{archived.author}".encode(), digest_size=12).hexdigest()
    return Owner(key, words, archived.address)


def copy_name(address: UploadAddress) -> str:
    """The name under which the cache keeps what is known of a destination."""
    written = repr((address.kind, address.host, address.port, address.path, address.branch))
    return f"at-{hashlib.blake2b(written.encode(), digest_size=8).hexdigest()}.json"


def keep_copy(
    archived: Archived,
    address: UploadAddress,
    site: Mapping[str, SiteFile],
    files: Mapping[str, States],
    more_names: tuple[str, ...],
) -> None:
    """Keeps what is known of a destination, with names, so that a build can tell what an upload would send."""
    known: dict[str, Any] = {}
    for name in (*site, *more_names):
        states = files.get(name_digest(name), ())
        if states:
            known[name] = [list(s) if s else None for s in states]
    keep_plain(archived.folder, copy_name(address), {"address": archived.address, "files": known})


def _names(copy: Mapping[str, object]) -> list[str]:
    files = copy.get("files")
    return [name for name in files if isinstance(name, str)] if isinstance(files, dict) else []


def kept_states(archive: Path, address: UploadAddress) -> tuple[str | None, dict[str, States]] | None:
    """The site's address at the last upload, and what was there then, by name; ``None`` where nothing is known."""
    copy = read_plain(archive, copy_name(address))
    files = copy.get("files")
    if not isinstance(files, dict):
        return None
    try:
        states = {name: tuple(State(*s) if s else None for s in kept) for name, kept in files.items()}
    except TypeError:
        return None
    was = copy.get("address")
    return was if isinstance(was, str) else None, states


def moved_notes(before: str | None, now: str | None) -> tuple[str, ...]:
    """What an upload says where the site's address has changed."""
    if before is None or before == now:
        return ()
    where = f"it is {now} now" if now else "archive.yaml gives none now"
    return (f"The site was at {before}, and {where}: links that people keep lead on only if the old address does.",)

"""Addresses of pictures that were published once and lead nowhere now: who linked to one finds nothing."""

from __future__ import annotations

import posixpath
from collections.abc import Callable, Collection, Mapping
from typing import TYPE_CHECKING

from noctuary.archive.records import Archive, Picture
from noctuary.archive.values import ID
from noctuary.build_manifest import PublishedAddress
from noctuary.diagnostic import Diagnostic, Mark, doubt
from noctuary.pages.addresses import picture_page
from noctuary.plain_record import plain_record

if TYPE_CHECKING:
    from noctuary.facts.archive_facts import ArchiveFacts

_RULE = "address-gone"


@plain_record
class GonePicture:
    """A picture that had a page and has none: its id, the identity of its target, the id under which it is shown now.

    The last two are empty where there is none or it is not known.
    """

    id: str
    target: str
    now: str


def published(facts: ArchiveFacts, hash_of: Callable[[str], str]) -> dict[str, PublishedAddress]:
    """Every id at which a build publishes a page, former ones too → what was shown there.

    ``hash_of`` raises OSError for a file that cannot be read.
    """
    at = {}
    for picture in facts.archive.shown:
        target = facts.pictures[picture.id].target
        shown = PublishedAddress(hash_of(picture.file), target.name if target else "")
        at.update(dict.fromkeys((picture.id, *picture.former_ids), shown))
    return at


def gone_pictures(
    archive: Archive, before: Mapping[str, PublishedAddress], hash_of: Callable[[str], str]
) -> tuple[GonePicture, ...]:
    """Every id that had a page (``before``, as :func:`published` has it) or is let go, and has none now; by id."""
    lost = sorted((before.keys() | set(archive.gone)) - _alive(archive))
    by_content = _by_content(archive, hash_of) if lost else {}
    nothing = PublishedAddress("", "")
    return tuple(
        GonePicture(name, at.target, now.id if (now := by_content.get(at.sha256)) else "")
        for name in lost
        # A database may say anything: what is no id is no part of an address.
        if ID.fullmatch(name) and (at := before.get(name, nothing))
    )


def gone(
    archive: Archive, before: Mapping[str, PublishedAddress], hash_of: Callable[[str], str], files: Collection[str]
) -> list[Diagnostic]:
    """A doubt for each id ``before`` that has no page now, unless archive.yaml lets it go.

    ``before`` is what earlier builds kept of themselves with :func:`published`; ``files`` are those of the archive.
    An id of which there is a sidecar, though it cannot be read, is not gone.
    """
    lost = before.keys() - _alive(archive) - set(archive.gone)
    if not lost:
        return []
    sidecars = (file for file in files if file.startswith("pictures/") and file.endswith(".yaml"))
    written = {posixpath.basename(file).removesuffix(".yaml") for file in sidecars}
    by_content = _by_content(archive, hash_of)
    doubts = []
    for name in sorted(lost):
        if (draft := archive.pictures.get(name)) is not None:
            doubts.append(_of_draft(archive, draft))
        elif name not in written:
            doubts.append(_of_none(archive, name, by_content.get(before[name].sha256)))
    return [doubt_ for doubt_ in doubts if doubt_ is not None]


def moved(archive: Archive, before: str) -> list[Diagnostic]:
    """A doubt where the site's address is another than ``before``, or there is none any more."""
    if not before or before == archive.address:
        return []
    message = f"the site was published at {before}, and its address is {archive.address or 'not given'} now"
    hint = (
        "links that people keep, printed QR codes and the feed that readers follow break, unless the old address "
        "leads on to the new one; the next upload settles this"
    )
    return [doubt(archive.marks.at("address"), "address-changed", message, hint)]


def _alive(archive: Archive) -> set[str]:
    return {name for picture in archive.shown for name in (picture.id, *picture.former_ids)}


def _by_content(archive: Archive, hash_of: Callable[[str], str]) -> dict[str, Picture]:
    by_content: dict[str, Picture] = {}
    for picture in archive.shown:
        by_content.setdefault(_hash(picture, hash_of), picture)
    by_content.pop("", None)
    return by_content


def _hash(picture: Picture, hash_of: Callable[[str], str]) -> str:
    try:
        return hash_of(picture.file)
    except OSError:  # reported by itself
        return ""


def _of_draft(archive: Archive, picture: Picture) -> Diagnostic | None:
    if _RULE in picture.accepted_doubts:
        return None
    message = f"{picture_page(picture.id)} was published, and a draft has no page"
    hint = f"write listed: no in place of draft: yes to keep its page, or {_let_go(archive, picture.id)}"
    return doubt(picture.marks.at("draft"), _RULE, message, hint)


def _of_none(archive: Archive, name: str, now: Picture | None) -> Diagnostic | None:
    message = f"{picture_page(name)} was published, and no picture is called “{name}” any more"
    if now is None:
        hint = f"write former_ids: [{name}] in the record of the picture that stands for it"
        return doubt(archive.marks.at("gone"), _RULE, message, f"{hint}, or {_let_go(archive, name)}")
    if _RULE in now.accepted_doubts:
        return None
    kept = ", ".join((*now.former_ids, name))
    hint = f"the same picture is “{now.id}” now: write former_ids: [{kept}] in {now.sidecar}"
    return doubt(_mark(now), _RULE, message, f"{hint}, or {_let_go(archive, name)}")


def _mark(picture: Picture) -> Mark:
    return picture.marks.at("former_ids") if picture.former_ids else picture.marks.at()


def _let_go(archive: Archive, name: str) -> str:
    return f"let it go with gone: [{', '.join((*archive.gone, name))}] in archive.yaml"

"""Addresses of pictures that were published once and lead nowhere now: who linked to one finds nothing."""

from __future__ import annotations

import posixpath
from collections.abc import Callable, Collection, Mapping

from noctuary.archive.records import Archive, Picture
from noctuary.diagnostic import Diagnostic, Mark, doubt
from noctuary.pages.addresses import picture_page

_RULE = "address-gone"


def published(archive: Archive, hash_of: Callable[[str], str]) -> dict[str, str]:
    """Every id at which a build publishes a page, former ones too → SHA-256 of the picture's file.

    ``hash_of`` raises OSError for a file that cannot be read.
    """
    at = {}
    for picture in archive.shown:
        content = hash_of(picture.file)
        at.update(dict.fromkeys((picture.id, *picture.former_ids), content))
    return at


def ids_let_go(archive: Archive) -> list[str]:
    """The ids that archive.yaml lets go and at which nothing is shown, sorted."""
    return sorted(set(archive.gone) - _alive(archive))


def gone(
    archive: Archive, before: Mapping[str, str], hash_of: Callable[[str], str], files: Collection[str]
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
    by_content: dict[str, Picture] = {}
    for picture in archive.shown:
        by_content.setdefault(_hash(picture, hash_of), picture)
    doubts = []
    for name in sorted(lost):
        if (draft := archive.pictures.get(name)) is not None:
            doubts.append(_of_draft(archive, draft))
        elif name not in written:
            doubts.append(_of_none(archive, name, by_content.get(before[name])))
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


def _hash(picture: Picture, hash_of: Callable[[str], str]) -> str:
    try:
        return hash_of(picture.file)
    except OSError:  # reported by itself
        return ""


def _of_draft(archive: Archive, picture: Picture) -> Diagnostic | None:
    if _RULE in picture.accepted_doubts:
        return None
    message = f"{picture_page(picture.id)} was published, and a draft has no page"
    hint = f"write listed: no in place of draft: yes to keep its page, or {_line_to_let_go(archive, picture.id)}"
    return doubt(picture.marks.at("draft"), _RULE, message, hint)


def _of_none(archive: Archive, name: str, now: Picture | None) -> Diagnostic | None:
    message = f"{picture_page(name)} was published, and no picture is called “{name}” any more"
    if now is None:
        hint = f"write former_ids: [{name}] in the record of the picture that stands for it"
        return doubt(archive.marks.at("gone"), _RULE, message, f"{hint}, or {_line_to_let_go(archive, name)}")
    if _RULE in now.accepted_doubts:
        return None
    kept = ", ".join((*now.former_ids, name))
    hint = f"the same picture is “{now.id}” now: write former_ids: [{kept}] in {now.sidecar}"
    return doubt(_mark(now), _RULE, message, f"{hint}, or {_line_to_let_go(archive, name)}")


def _mark(picture: Picture) -> Mark:
    return picture.marks.at("former_ids") if picture.former_ids else picture.marks.at()


def _line_to_let_go(archive: Archive, name: str) -> str:
    return f"let it go with gone: [{', '.join((*archive.gone, name))}] in archive.yaml"

"""What a person writes of a picture in running text, and the files of the site that say it.

A picture's ``description`` and ``processing`` are read by its page, the feed, the search index and whoever looks for
dead links in them: by no fact, no rule and no other page. So these files are left by a build in a form in which they
can be made again with other words and nothing else of the archive.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from functools import partial
from typing import Any

from noctuary.archive.keys import SidecarKeys
from noctuary.memo import Memo, Question
from noctuary.pages.addresses import picture_page
from noctuary.pages.feed import FeedContext, said_in_feed
from noctuary.pages.kept_page import KeptPage, kept
from noctuary.pages.page import Page, PagePlan
from noctuary.pages.picture_page import PictureContext
from noctuary.pages.product import digest
from noctuary.pages.search_index import Index, IndexDigest, IndexedPicture, saying_otherwise
from noctuary.typed_values import from_bytes, to_bytes

#: The pages that say them, by their templates: what is on them.
_CONTEXTS: Mapping[str, type[Any]] = {"picture.html": PictureContext, "feed.xml": FeedContext}


def keep_page(page: Page | PagePlan, page_digest: str, memory: Memo) -> None:
    """Leaves a page for a later build, if it says what is written of pictures; one that is planned is told then."""
    if page.template in _CONTEXTS:
        # One that cannot be kept is made by a whole build.
        work = partial(kept, page) if isinstance(page, Page) else partial(_kept_anew, page)
        memory.keep(page_question(page.path, page_digest), work)


def _kept_anew(plan: PagePlan) -> KeptPage:
    return kept(plan.page())


def index_pieces(index: Index) -> Iterator[tuple[bytes, bytes]]:
    """The search index in pieces for a later build, by name."""
    yield _INDEX, to_bytes(index.told_by)
    for each in index.pictures:
        yield _piece_of(each.page), to_bytes(each)


def page_question(path: str, page_digest: str) -> Question:
    """The question after the page at this address that has this digest."""
    return "page", path, page_digest


def page_saying(
    path: str, page_digest: str, records: Mapping[str, SidecarKeys], left: Mapping[bytes, bytes]
) -> Page | None:
    """A page that a build ``left``, with what the records of pictures (by id) say now.

    ``None`` where it was not left, or not as the page that has this digest.
    """
    found: KeptPage | None = Memo(left).known(page_question(path, page_digest), KeptPage)
    if found is None or found.template not in _CONTEXTS:
        return None
    try:
        page = found.page(_CONTEXTS[found.template])
    except ValueError:
        return None
    return replace(page, context=_saying(page.context, records)) if digest(page) == page_digest else None


def _saying(context: Any, records: Mapping[str, SidecarKeys]) -> Any:
    if isinstance(context, PictureContext):
        record = records.get(context.id)
        return replace(context, description=record.description, processing=record.processing) if record else context
    addressed = {context.site + picture_page(picture_id): record for picture_id, record in records.items()}
    entries = (
        replace(entry, description=said_in_feed(addressed[entry.address].description))
        if entry.address in addressed
        else entry
        for entry in context.entries
    )
    return replace(context, entries=tuple(entries))


def index_saying(
    index_digest: str,
    script: bytes,
    records: Mapping[str, SidecarKeys],
    piece: Callable[[bytes], bytes | None],
    memory: Memo,
) -> tuple[IndexDigest, bytes, dict[bytes, bytes]]:
    """The search index with what the records of pictures (by id) say now: what tells it, it itself, its new pieces.

    ``script`` is what it was, ``piece`` gives one that a build left of it. Raises ValueError where they are not of
    the index that has this digest.
    """
    told_by = from_bytes(piece(_INDEX) or b"", IndexDigest)
    if told_by.digest != index_digest:
        raise ValueError("pieces of another index")
    pieces = {}
    for picture_id, record in records.items():
        name = _piece_of(picture_page(picture_id))
        if not record.listed:
            continue
        before = from_bytes(piece(name) or b"", IndexedPicture)
        now = before.saying(record.description, record.processing, memory)
        if now != before:
            script = saying_otherwise(script, before, now)
            told_by = told_by.with_other(before, now)
            pieces[name] = to_bytes(now)
    return told_by, script, {**pieces, _INDEX: to_bytes(told_by)} if pieces else {}


_INDEX = b"search index"


def _piece_of(page: str) -> bytes:
    return b"%s, %s" % (_INDEX, page.encode())

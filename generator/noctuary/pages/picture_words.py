"""What a person writes of a picture in running text, and the files of the site that say it.

A picture's ``description`` and ``processing`` are read by its page, the feed, the search index and whoever looks for
dead links in them: by no fact, no rule and no other page. So these files are left by a build in a form in which they
can be made again with other words and nothing else of the archive.
"""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import replace
from functools import partial
from typing import Any

from noctuary.archive.keys import SidecarKeys
from noctuary.memo import Memo, Question
from noctuary.pages.addresses import picture_page
from noctuary.pages.feed import FeedContext, said_in_feed
from noctuary.pages.kept_page import KeptPage, kept
from noctuary.pages.page import Page
from noctuary.pages.picture_page import PictureContext
from noctuary.pages.product import digest
from noctuary.pages.search_index import Index

#: The keys of a sidecar of which all of this is true.
WORDS = ("description", "processing")

#: The pages that say them, by their templates: what is on them.
_CONTEXTS: Mapping[str, type[Any]] = {"picture.html": PictureContext, "feed.xml": FeedContext}


def keep_page(page: Page, page_digest: str, memory: Memo) -> None:
    """Leaves a page for a later build, if it says what is written of pictures."""
    if page.template in _CONTEXTS:
        with suppress(ValueError):  # one that cannot be kept is made by a whole build
            memory.keep(page_question(page.path, page_digest), partial(kept, page))


def keep_index(index: Index, memory: Memo) -> None:
    """Leaves the search index for a later build."""
    memory.keep(index_question(index.digest), lambda: index)


def page_question(path: str, page_digest: str) -> Question:
    """The question after the page at this address that has this digest."""
    return "page", path, page_digest


def index_question(index_digest: str) -> Question:
    """The question after the search index that has this digest."""
    return "index", index_digest


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
    index_digest: str, records: Mapping[str, SidecarKeys], left: Mapping[bytes, bytes], memory: Memo
) -> Index | None:
    """The search index that a build ``left``, with what the records of pictures (by id) say now; or ``None``."""
    index: Index | None = Memo(left).known(index_question(index_digest), Index)
    if index is None or index.digest != index_digest:
        return None
    addressed = {picture_page(picture_id): record for picture_id, record in records.items()}
    pictures = (
        each.saying(record.description, record.processing, memory) if (record := addressed.get(each.page)) else each
        for each in index.pictures
    )
    return replace(index, pictures=tuple(pictures))

"""A page kept as plain bytes, so that it can be set again without the archive that it was made from."""

from __future__ import annotations

from typing import Any

from noctuary.pages.page import Link, Page, Share
from noctuary.plain_record import plain_record
from noctuary.typed_values import from_json, to_json


@plain_record
class KeptPage:
    """A page whose context is JSON; the other fields are those of :class:`Page`."""

    path: str
    template: str
    context: bytes
    kind: str
    listed: bool
    data: tuple[Link, ...]
    share: Share | None
    top: str | None

    def page(self, context: type[Any]) -> Page:
        """The page, whose context is of this type; raises ValueError where it is not."""
        return Page(
            self.path, self.template, from_json(self.context, context), self.kind, self.listed, self.data,
            self.share, self.top,
        )  # fmt: skip


def kept(page: Page) -> KeptPage:
    """A page as it can be kept; raises ValueError where its context cannot."""
    return KeptPage(
        page.path, page.template, to_json(page.context), page.kind, page.listed, page.data, page.share, page.top
    )

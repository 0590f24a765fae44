"""One file of numbers that the site offers."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

from noctuary.plain_record import plain_record


@plain_record
class Export:
    """A file of numbers: its address, its format, the page it belongs to (``None``: the archive as a whole).

    ``made_of`` gives a digest of all that it is made from. ``tell`` gives what it holds, the same every time, so that
    nobody has to keep it meanwhile; ``write`` makes that into the file, in whatever process. ``told_from``: as
    :class:`noctuary.pages.page.PagePlan` has it.
    """

    path: str
    format: str
    page: str | None
    made_of: Callable[[], str]
    tell: Callable[[], Any]
    write: Callable[[Any], bytes]
    told_from: str | None = None

    def make(self) -> bytes:
        return self.write(self.tell())

    def in_worker(self) -> Callable[[], bytes]:
        """The work that is left for another process."""
        return partial(self.write, self.tell())

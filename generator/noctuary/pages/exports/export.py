"""One file of numbers that the site offers."""

from __future__ import annotations

from collections.abc import Callable

from noctuary.plain_record import plain_record


@plain_record
class Export:
    """A file of numbers: its address, its format, the page it belongs to (``None``: the archive as a whole).

    ``made_of`` is a digest of all that it is made from; ``make`` writes it.
    """

    path: str
    format: str
    page: str | None
    made_of: str
    make: Callable[[], bytes]

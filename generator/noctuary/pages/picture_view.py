"""A picture as a page shows it: its files in several sizes, and what replaces them until they arrive."""

from __future__ import annotations

from typing import Literal

from noctuary.plain_record import plain_record


@plain_record
class Source:
    """One file of a picture. ``file`` is relative to the site's root; ``width`` and ``height`` in pixels."""

    file: str
    width: int
    height: int
    format: Literal["jpeg", "webp"]


@plain_record
class Tiling:
    """The tiles of a large picture: their folder, the side of a tile in pixels, and how far each layer is reduced."""

    folder: str
    side: int
    scale_factors: tuple[int, ...]


@plain_record
class PictureView:
    """A picture that pages can show.

    ``width`` and ``height`` are the finished picture's own pixels, ``placeholder`` its mean colour as
    ``#rrggbb``, ``page`` the page about it relative to the site's root. ``sources`` are ordered by width;
    ``full`` is the largest JPEG. ``tiles`` are those of a large picture, which has in them the size of ``full``.
    """

    id: str
    title: str
    alt: str
    page: str
    width: int
    height: int
    placeholder: str
    sources: tuple[Source, ...]
    full: Source
    tiles: Tiling | None = None

    @property
    def ratio(self) -> float:
        """Width over height."""
        return self.width / self.height

    def of(self, format: str) -> tuple[Source, ...]:
        """The sources of one format, smallest first."""
        return tuple(s for s in self.sources if s.format == format)

    def about(self, width: int, format: str = "jpeg") -> Source:
        """The smallest file at least so wide, or the widest there is; of a format of which there is none the JPEG."""
        made = self.of(format)
        return next((s for s in made if s.width >= width), made[-1] if made else self.full)

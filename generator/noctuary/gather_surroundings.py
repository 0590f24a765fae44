"""What gathering asks beyond headers: names and places in the catalogue, and what can be seen in a frame."""

from __future__ import annotations

from functools import cached_property, lru_cache
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

from noctuary.archive.gather.frame_field import FrameField
from noctuary.archive.gather.frame_header import FrameHeader
from noctuary.archive.gather.frame_kinds import BLACK, Brightness
from noctuary.archive.gather.target_names import LikelyTarget
from noctuary.archive.records import Archive

if TYPE_CHECKING:
    from noctuary.images.frame_preview import FramePreview
    from noctuary.sky.catalogue import Catalogue

_SAME_SHAPE = 0.03
_STARS_VISIBLE_PX = 400


class CatalogueOfTargets:
    """The catalogue, with the archive's own objects, opened when the first name is asked for."""

    def __init__(self, archive: Archive | None) -> None:
        self._archive = archive
        self._called: dict[str, tuple[str, str] | None] = {}

    @cached_property
    def _catalogue(self) -> Catalogue:
        from noctuary.facts.objects import catalogue_of
        from noctuary.sky.catalogue import Catalogue

        return Catalogue() if self._archive is None else catalogue_of(self._archive)

    def called(self, written: str) -> tuple[str, str] | None:
        """(name made even, identity) of the object that a whole text names."""
        from noctuary.sky.names_in_text import object_called

        if written not in self._called:
            self._called[written] = object_called(written, self._catalogue.find)
        return self._called[written]

    def likely_target(self, ra_deg: float, dec_deg: float, field_deg: float | None) -> LikelyTarget | None:
        """The object that a field of that size, as its shorter side, was likely pointed at."""
        from noctuary.facts.likely_target import likely_target

        return likely_target(self._catalogue, ra_deg, dec_deg, field_deg)


class PreviewsOfFrames:
    """Frames as far as they can be seen: each preview is opened once and forgotten soon."""

    def __init__(self) -> None:
        self._preview_of = lru_cache(maxsize=2)(_preview)

    def brightness(self, header: FrameHeader) -> Brightness | None:
        """How bright the preview is, and how evenly."""
        preview = self._preview_of(header.path)
        if preview is None or (max(preview.size) < _STARS_VISIBLE_PX and preview.median <= BLACK):
            return None  # a thumbnail as black as a dark may be the sky, its stars too small to be seen
        return Brightness(preview.median, preview.unevenness, preview.has_stars)

    def preview(self, header: FrameHeader) -> bytes | None:
        """A small JPEG without any metadata."""
        preview = self._preview_of(header.path)
        return None if preview is None else preview.jpeg()

    def centre_from_stars(self, header: FrameHeader, field: FrameField) -> tuple[float, float] | None:
        """Right ascension and declination of the middle, in degrees, where the stars leave no doubt.

        Only of a preview that shows the whole sensor: one of other proportions was cut, nobody knows how.
        """
        if find_spec("sep") is None:
            return None  # placing is an extra of its own
        preview = self._preview_of(header.path)
        if preview is None:
            return None
        longer, whole = max(preview.size), max(field.pixels)
        if abs(longer / min(preview.size) * min(field.pixels) / whole - 1) > _SAME_SHAPE:
            return None
        from noctuary.plate_solve import frame_placement

        year = header.start.year + header.start.month / 12 if header.start else 2020.0
        solution = frame_placement(preview.luminance, field.arcsec_px * whole / longer, header.pointing, year)
        return None if solution is None else (solution.ra_deg, solution.dec_deg)


def _preview(path: str) -> FramePreview | None:
    from noctuary.images.frame_preview import frame_preview

    return frame_preview(Path(path))

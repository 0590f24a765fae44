"""What gathering asks beyond headers: names and places in the catalogue."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

from noctuary.archive.gather.target_names import LikelyTarget
from noctuary.archive.records import Archive

if TYPE_CHECKING:
    from noctuary.sky.catalogue import Catalogue


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

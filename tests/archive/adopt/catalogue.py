"""The real catalogue, as the command hands it to adopting."""

from __future__ import annotations

from functools import cache

from noctuary.adopt_command import CatalogueNames
from noctuary.sky.catalogue import Catalogue


@cache
def names() -> CatalogueNames:
    return CatalogueNames(Catalogue())

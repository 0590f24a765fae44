"""Every file of numbers that the site offers.

A new export is one module here whose name ends in ``_export``, with ``exports(model)``; it is found by itself.
"""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable, Iterator
from functools import cache

from noctuary.pages import exports
from noctuary.pages.exports.export import Export
from noctuary.pages.site_model import SiteModel


@cache
def _kinds() -> tuple[Callable[[SiteModel], Iterator[Export]], ...]:
    names = sorted(m.name for m in pkgutil.iter_modules(exports.__path__) if m.name.endswith("_export"))
    return tuple(importlib.import_module(f"{exports.__name__}.{name}").exports for name in names)


def site_exports(model: SiteModel) -> tuple[Export, ...]:
    """Every export of a site, of listed pictures alone."""
    return tuple(export for kind in _kinds() for export in kind(model))

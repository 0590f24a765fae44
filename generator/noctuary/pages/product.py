"""One file of the site, what it is made from, and how.

Pages, published pictures, styles, exports: a build treats them all alike. A product whose ingredients are
the same as last time is kept as it is; nothing else decides.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import orjson

from noctuary.diagnostic import Mark


@dataclass(frozen=True, slots=True)
class Product:
    """A file of the site. ``ingredients`` names each thing that it is made from, with a digest of it.

    ``in_worker`` gives work that comes to the same bytes as ``make`` and can be pickled, so that another process
    may do it.
    """

    path: str
    ingredients: Mapping[str, str]
    make: Callable[[], bytes]
    in_worker: Callable[[], Callable[[], bytes]] | None = None

    def changed(self, before: Mapping[str, str] | None) -> list[str]:
        """The ingredients that differ from those it was made from before; ``["new"]`` without any before."""
        if before is None:
            return ["new"]
        names = dict.fromkeys([*self.ingredients, *before])
        return [name for name in names if self.ingredients.get(name) != before.get(name)]


def digest(value: object) -> str:
    """A digest of bytes, of plain data, or of nested frozen dataclasses whose ``repr`` is complete.

    Data are written as JSON, which for the contexts of a thousand pages takes a tenth of the time of their ``repr``,
    and for dataclasses without ``slots`` a quarter of that with them.
    """
    return hashlib.sha256(value if isinstance(value, bytes) else _as_bytes(value)).hexdigest()[:24]


def _as_bytes(value: object) -> bytes:
    try:
        return orjson.dumps(value, default=_plainly, option=orjson.OPT_NON_STR_KEYS)
    except TypeError:  # half a surrogate pair, say, from the name of a file
        return repr(value).encode("utf-8", "surrogatepass")


def _plainly(value: object) -> object:
    """What JSON has no form for: tuples with names as tuples, all else as it is printed.

    Where in the records something was written is on no page, and pictures have fourteen such marks each.
    """
    if isinstance(value, Mark):
        return None
    return tuple(value) if isinstance(value, tuple) else repr(value)

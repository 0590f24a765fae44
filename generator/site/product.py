"""One file of the site, what it is made from, and how.

Pages, published pictures, styles, exports: a build treats them all alike. A product whose ingredients are
the same as last time is kept as it lies; nothing else decides.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields, is_dataclass
from typing import Any


@dataclass(frozen=True)
class Product:
    """A file of the site. ``ingredients`` names each thing that it is made from, with a digest of it."""

    path: str
    ingredients: Mapping[str, str]
    make: Callable[[], bytes]

    def changed(self, before: Mapping[str, str] | None) -> list[str]:
        """The ingredients that differ from those it was made from before; ``["new"]`` without any before."""
        if before is None:
            return ["new"]
        names = dict.fromkeys([*self.ingredients, *before])
        return [name for name in names if self.ingredients.get(name) != before.get(name)]


class Digests:
    """Digests of contexts: nested frozen dataclasses whose ``repr`` would be complete.

    Pages share most of what they say (the frame, the pictures, the links), so a part that several hold is looked
    at once: the same digests at a fifth of the time that the ``repr`` of every context takes. What has been looked
    at must not change while the object is in use.
    """

    def __init__(self) -> None:
        # The part is held beside its digest, or another could come to have its id.
        self._known: dict[int, tuple[object, str]] = {}
        self._fields: dict[type, tuple[str, ...]] = {}

    def of(self, *parts: object) -> str:
        return digest(self._text(parts).encode("utf-8", "surrogatepass"))

    def _text(self, value: Any) -> str:
        kind = type(value)
        if kind is str or kind is int or kind is float or value is None or kind is bool:
            return repr(value)
        if kind is tuple and len(value) > 3:
            return self._shared(value, lambda: ",".join(map(self._text, value)))
        if kind is tuple or kind is list:
            return f"[{','.join(map(self._text, value))}]"
        if kind is dict:
            return f"{{{','.join([f'{self._text(k)}:{self._text(v)}' for k, v in value.items()])}}}"
        names = self._fields.get(kind)
        if names is None:
            if not is_dataclass(kind):
                return repr(value)
            names = self._fields[kind] = tuple(f.name for f in fields(kind))
        return self._shared(value, lambda: ",".join([self._text(getattr(value, name)) for name in names]))

    def _shared(self, value: object, text: Callable[[], str]) -> str:
        known = self._known.get(id(value))
        if known is None:
            said = f"{type(value).__qualname__}({text()})"
            known = value, digest(said.encode("utf-8", "surrogatepass"))
            self._known[id(value)] = known
        return known[1]


def digest(value: object) -> str:
    """A digest of a plain value, by its ``repr``."""
    data = value if isinstance(value, bytes) else repr(value).encode("utf-8", "surrogatepass")
    return hashlib.blake2b(data, digest_size=12).hexdigest()

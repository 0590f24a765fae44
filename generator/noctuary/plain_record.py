"""Records of plain data, by the thousand: the facts, and all that pages say."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TypeVar, dataclass_transform

_T = TypeVar("_T")


@dataclass_transform(frozen_default=True, field_specifiers=(field,))
def plain_record(cls: type[_T]) -> type[_T]:
    """A dataclass that is not changed once it is made.

    The type checker holds to that; at run time nothing does, for a frozen dataclass takes twice as long to make, and
    a build after one edit makes a hundred thousand.
    """
    return dataclass(unsafe_hash=True)(cls)

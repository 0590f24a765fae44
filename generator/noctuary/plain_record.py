"""Records of plain data, by the thousand: the facts, and all that pages say."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from operator import attrgetter
from typing import Any, TypeVar, dataclass_transform

_T = TypeVar("_T")


@dataclass_transform(frozen_default=True, field_specifiers=(field,))
def plain_record(cls: type[_T]) -> type[_T]:
    """A dataclass that is not changed once it is made.

    The type checker holds to that; at run time nothing does, for a frozen dataclass takes twice as long to make, and
    a build after one edit makes a hundred thousand. What compares and prints records is not compiled for each of the
    three hundred classes either: that would be a tenth of the time of an edit.
    """
    made: Any = dataclass(eq=False, repr=False)(cls)
    names = [each.name for each in fields(made)]
    values = attrgetter(*names) if names else lambda record: ()

    def equal(self: Any, other: object) -> Any:
        return values(self) == values(other) if other.__class__ is self.__class__ else NotImplemented

    def as_text(self: Any) -> str:
        return f"{type(self).__qualname__}({', '.join(f'{name}={getattr(self, name)!r}' for name in names)})"

    made.__eq__, made.__repr__ = equal, as_text
    made.__hash__ = lambda self: hash(values(self))
    return made  # type: ignore[no-any-return]

"""How a key is declared, and what can be asked of the declaration.

A record is a frozen dataclass; each of its fields is a key, with the type of its value, its name as it is written,
its meaning and its default. Reading (:mod:`noctuary.archive.parse_file`), the JSON Schemas, the README's reference
and what the program writes into records itself come from there. pydantic is imported when something is read.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import MISSING, Field, dataclass, field, fields, is_dataclass
from functools import cache
from types import UnionType
from typing import (
    TYPE_CHECKING,
    Annotated,
    Any,
    ClassVar,
    Protocol,
    TypeVar,
    Union,
    cast,
    dataclass_transform,
    get_args,
    get_origin,
    get_type_hints,
)

if TYPE_CHECKING:
    from pydantic import GetCoreSchemaHandler
    from pydantic_core import CoreSchema

T = TypeVar("T")


class Writes(Protocol):
    """The type of a value that knows how its value is written."""

    def write(self, value: Any) -> str: ...


def key(
    meaning: str,
    *,
    written: str | None = None,
    default: Any = MISSING,
    default_factory: Any = MISSING,
    shown: str | None = None,
) -> Any:
    """A key: what it means, its name where that is not the field's (which may carry a unit), and its default.

    ``shown`` is the default as a person would write it, where that is not how it is kept.
    """
    metadata: dict[str, Any] = {"description": meaning}
    if written is not None:
        metadata["alias"] = written
    if shown is not None:
        metadata["json_schema_extra"] = {"default": shown}
    if default_factory is not MISSING:
        return field(default_factory=default_factory, metadata=metadata)
    return field(default=default, metadata=metadata)


@dataclass_transform(kw_only_default=True, frozen_default=True, field_specifiers=(key,))
def keys(record: type[T]) -> type[T]:
    """Declares a record."""
    return dataclass(frozen=True, kw_only=True, slots=True)(record)


class Keys:
    """A mapping that a person writes: a key that it does not know is a fault."""

    __slots__ = ()
    __pydantic_config__: ClassVar[Any] = {"extra": "forbid"}

    @classmethod
    def __get_pydantic_core_schema__(cls, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        from pydantic_core.core_schema import no_info_before_validator_function

        optional = {name for name, declared in declared_keys(cls).items() if not declared.required}

        def left_out(value: Any) -> Any:
            """A key without a value means the same as no key, where no key is fine."""
            if not isinstance(value, dict) or None not in value.values():
                return value
            return {name: inner for name, inner in value.items() if inner is not None or name not in optional}

        return no_info_before_validator_function(left_out, handler(source))


@dataclass(frozen=True, slots=True)
class Declared:
    """One key of a record; ``inside`` are the records that its value may hold, by name where ``by_name``."""

    field: Field[Any]
    annotation: Any

    @property
    def meaning(self) -> str:
        return str(self.field.metadata["description"])

    @property
    def required(self) -> bool:
        return self.field.default is MISSING and self.field.default_factory is MISSING

    @property
    def default(self) -> Any:
        """The default as a person would write it."""
        extra: Mapping[str, Any] = self.field.metadata.get("json_schema_extra", {})
        return extra.get("default", self.field.default)

    @property
    def by_name(self) -> bool:
        return get_origin(bare(self.annotation)) is dict

    @property
    def inside(self) -> tuple[type[Keys], ...]:
        return tuple(records_in(self.annotation))

    def write(self, value: Any) -> str:
        """The value as it is written."""
        writers = (part for part in get_args(_optional(self.annotation))[1:] if hasattr(part, "write"))
        writer: Writes | None = next(writers, None)
        return writer.write(value) if writer is not None else str(value)


def declared_keys(record: type[Keys]) -> dict[str, Declared]:
    """The keys of a record by the names under which they are written, in order."""
    return _declared_keys(cast(Any, record))


@cache
def _declared_keys(record: Any) -> dict[str, Declared]:
    hints = get_type_hints(record, include_extras=True)
    return {
        f.metadata.get("alias", f.name): Declared(f, hints[f.name])
        for f in fields(record)
        if "description" in f.metadata
    }


def written_entries(record: type[Keys], **values: Any) -> list[tuple[str, str]]:
    """Keys and values as they are written, in the order in which they are given, without those that are ``None``."""
    by_field = {declared.field.name: (name, declared) for name, declared in declared_keys(record).items()}
    return [
        (by_field[name][0], by_field[name][1].write(value)) for name, value in values.items() if value is not None
    ]


def written_line(record: type[Keys], **value: Any) -> str:
    """One key and its value as they are written: ``exposure: 60 s``."""
    ((name, text),) = written_entries(record, **value)
    return f"{name}: {text}"


def keys_of(record: Keys) -> dict[str, Any]:
    """What was written, by the fields' names: the part of a resolved record that needs no looking up."""
    return {f.name: getattr(record, f.name) for f in fields(record)}  # type: ignore[arg-type]


def records_in(annotation: Any) -> Iterator[type[Keys]]:
    """The records inside an annotation, in order."""
    if isinstance(annotation, type) and is_dataclass(annotation) and issubclass(annotation, Keys):
        yield annotation
        return
    for part in get_args(annotation):
        yield from records_in(part)


def annotation_at(annotation: Any, path: tuple[str | int, ...]) -> Any:
    """What is declared of the value at a path of written keys and indices."""
    for step in path:
        annotation = bare(annotation)
        if isinstance(annotation, type) and issubclass(annotation, Keys):
            annotation = declared_keys(annotation)[str(step)].annotation
        else:
            inside = [part for part in get_args(annotation) if part is not Ellipsis]
            annotation = inside[-1]
    return bare(annotation)


def bare(annotation: Any) -> Any:
    """An annotation without ``Annotated`` and ``| None`` around it."""
    while True:
        inner = _optional(annotation)
        if get_origin(inner) is Annotated:
            inner = get_args(inner)[0]
        if inner is annotation:
            return annotation
        annotation = inner


def _optional(annotation: Any) -> Any:
    """An annotation without ``| None``."""
    if isinstance(annotation, UnionType) or get_origin(annotation) is Union:
        others = [part for part in get_args(annotation) if part is not type(None)]
        if len(others) == 1:
            return others[0]
    return annotation

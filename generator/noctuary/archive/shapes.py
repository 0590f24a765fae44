"""The shapes in which values are written: by themselves, in lists, in mappings that a name or a text may replace.

Each is put beside a type by ``Annotated`` and tells pydantic how such a value is read and what JSON Schema has it.
pydantic is imported when something is read, so that records can be declared without it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, get_args

from noctuary.errors import NoctuaryError

if TYPE_CHECKING:
    from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
    from pydantic_core import CoreSchema, PydanticCustomError


def wrong(rule: str, message: str, hint: str) -> PydanticCustomError:
    from pydantic_core import PydanticCustomError

    # The message goes in as context: as a template, braces that a person wrote would be filled in.
    return PydanticCustomError("written", "{message}", {"rule": rule, "message": message, "hint": hint})


@dataclass(frozen=True, slots=True, eq=False)
class Scalar:
    """A single value: how its text reads and how it is written; ``what`` and ``example`` say what belongs here.

    ``tidy``: commas and quotes around it that a spreadsheet or a word processor left mean nothing.
    """

    read: Callable[[str], Any]
    what: str
    example: str
    schema: Mapping[str, Any]
    write: Callable[[Any], str] = str
    tidy: bool = True

    def validate(self, value: Any) -> Any:
        if value is None:
            hint = f"write {self.what}, such as {self.example}"
            raise wrong("missing-key", f"nothing is written where {self.what} belongs", hint)
        if not isinstance(value, str):
            shape = "a mapping" if isinstance(value, dict) else "a list"
            hint = f"write {self.what}, such as {self.example}"
            raise wrong("wrong-shape", f"{shape} stands where {self.what} belongs", hint)
        try:
            return self.read(without_spare_marks(value) if self.tidy else value)
        except NoctuaryError as error:
            raise wrong(error.rule, error.message, error.hint) from None

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        from pydantic_core.core_schema import no_info_plain_validator_function

        return no_info_plain_validator_function(self.validate)

    def __get_pydantic_json_schema__(self, core: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return dict(self.schema)


_QUOTES = {"“": "”“", "„": "“”", "«": "»", "»": "«", "‘": "’", "‚": "‘’", '"': '"', "'": "'"}


def without_spare_marks(text: str) -> str:
    """A value without the comma behind it and the quotes around it: ``“short refractor”,`` → ``short refractor``."""
    bare = text.strip().rstrip(",; ")
    if len(bare) > 2 and bare[-1] in _QUOTES.get(bare[0], "") and not set(bare[1:-1]) & {bare[0], bare[-1]}:
        bare = bare[1:-1].strip().rstrip(",; ")
    return bare or text


@dataclass(frozen=True, slots=True, eq=False)
class ListOf:
    """Marks a list; of an ``alone`` one a single entry may be written without brackets: ``objects: M 51``.

    Of ``apart`` ones several may be, parted by commas or semicolons: ``objects: M 51, M 101``.
    """

    item: Any
    least: int = 0
    most: int | None = None
    alone: bool = False
    apart: bool = False
    then: Callable[[list[Any]], Any] = tuple

    def write(self, values: tuple[Any, ...]) -> str:
        (writer,) = (part.write for part in get_args(self.item)[1:])
        return "[" + ", ".join(map(writer, values)) + "]"

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        from pydantic_core import core_schema

        inner = handler.generate_schema(self.item)
        several: CoreSchema = core_schema.list_schema(inner, min_length=self.least or None, max_length=self.most)
        if self.alone:
            split = parted if self.apart else _in_a_list
            several = core_schema.no_info_before_validator_function(split, several)
        return core_schema.no_info_after_validator_function(self.then, several)

    def __get_pydantic_json_schema__(self, core: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        several = handler(core)
        return {"anyOf": [several["items"], several]} if self.alone else several


@dataclass(frozen=True, slots=True, eq=False)
class OrNameAlone:
    """Marks a mapping of which the name may stand alone, with nothing after it: ``old compact:``."""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        from pydantic_core.core_schema import no_info_before_validator_function

        return no_info_before_validator_function(lambda value: {} if value is None else value, handler(source))

    def __get_pydantic_json_schema__(self, core: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {"anyOf": [handler(core), {"type": "null"}]}


@dataclass(frozen=True, slots=True, eq=False)
class OrTextAlone:
    """Marks a mapping of which one key's text may stand alone: ``placement: solved.fits``."""

    key: str

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        from pydantic_core.core_schema import no_info_before_validator_function

        def as_mapping(value: Any) -> Any:
            return {self.key: value} if isinstance(value, str) else value

        return no_info_before_validator_function(as_mapping, handler(source))

    def __get_pydantic_json_schema__(self, core: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {"anyOf": [handler(core), {"type": "string"}]}


def parted(value: Any) -> Any:
    """A text of several entries as a list; everything else as it is."""
    if not isinstance(value, str):
        return value
    return [part.strip() for part in re.split("[,;]", without_spare_marks(value)) if part.strip()] or [value]


def _in_a_list(value: Any) -> Any:
    return [value] if isinstance(value, str) else value


@dataclass(frozen=True, slots=True, eq=False)
class OneOrNamed:
    """Marks values by name, of which a single one may stand without a name: it gets the empty one."""

    name: Any
    item: Scalar

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        from pydantic_core import core_schema

        def read(value: Any, by_name: Callable[[Any], dict[str, Any]]) -> dict[str, Any]:
            return by_name(value) if isinstance(value, dict) else {"": self.item.validate(value)}

        item = core_schema.no_info_plain_validator_function(self.item.validate)
        named = core_schema.dict_schema(handler.generate_schema(self.name), item, min_length=1)
        return core_schema.no_info_wrap_validator_function(read, named)

    def __get_pydantic_json_schema__(self, core: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        named = {"type": "object", "minProperties": 1, "additionalProperties": dict(self.item.schema)}
        return {"anyOf": [dict(self.item.schema), named]}


@dataclass(frozen=True, slots=True, eq=False)
class AloneOrWith:
    """Marks a value alone, or with another after it: ``- rosette-2025`` or ``- rosette-2025: the better one``."""

    value: Scalar
    more: Scalar

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        from pydantic_core import core_schema

        def read(value: Any, pair: Callable[[Any], dict[Any, Any]]) -> tuple[Any, Any]:
            return next(iter(pair(value).items())) if isinstance(value, dict) else (self.value.validate(value), None)

        alone = core_schema.no_info_plain_validator_function(self.value.validate)
        more = core_schema.nullable_schema(core_schema.no_info_plain_validator_function(self.more.validate))
        pair = core_schema.dict_schema(alone, more, min_length=1, max_length=1)
        return core_schema.no_info_wrap_validator_function(read, pair)

    def __get_pydantic_json_schema__(self, core: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        inner = {"anyOf": [dict(self.more.schema), {"type": "null"}]}
        pair = {"type": "object", "minProperties": 1, "maxProperties": 1, "additionalProperties": inner}
        return {"anyOf": [dict(self.value.schema), pair]}

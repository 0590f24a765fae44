"""The single values that a person writes: texts, quantities, dates, ids; how each reads and what it may be.

Every value arrives as the text that was written and leaves as a number in the default unit, a date, a
truth value or clean text; what cannot be read names its rule and says what to type. Each type carries
its part of the JSON Schema.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date
from typing import Annotated, Any
from urllib.parse import urlsplit

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler, PlainValidator, WithJsonSchema
from pydantic_core import CoreSchema, PydanticCustomError
from pydantic_core.core_schema import no_info_before_validator_function

from noctuary import quantity, sexagesimal
from noctuary.archive.clock import NotAClock, read_clock, read_date, read_partial_date, zone_fault
from noctuary.archive.partial_date import PartialDate
from noctuary.archive.upload_address import NotADestination, read_address
from noctuary.quantity import Kind, NotAQuantity
from noctuary.text import hyphenated

ID = re.compile(r"[a-z0-9][a-z0-9-]{0,99}")
#: Pages offer a picture at least so wide.
LEAST_PUBLISHED = 480
_YES = {"yes", "true", "on", "y"}
_NO = {"no", "false", "off", "n"}


def wrong(rule: str, message: str, hint: str) -> PydanticCustomError:
    # The message goes in as context: as a template, braces that a person wrote would be filled in.
    return PydanticCustomError("written", "{message}", {"rule": rule, "message": message, "hint": hint})


def _scalar(
    read: Callable[[str], Any], what: str, example: str, schema: dict[str, Any] | None = None
) -> tuple[Any, Any]:
    """The validator of a scalar and its JSON Schema; ``what`` and ``example`` say what belongs here."""

    def validate(value: Any) -> Any:
        if value is None:
            raise wrong("missing-key", f"nothing is written where {what} belongs", f"write {what}, such as {example}")
        if not isinstance(value, str):
            shape = "a mapping" if isinstance(value, dict) else "a list"
            raise wrong("wrong-shape", f"{shape} stands where {what} belongs", f"write {what}, such as {example}")
        try:
            return read(value)
        except NotAQuantity as error:
            raise wrong(error.rule, error.message, error.hint) from None
        except NotAClock as error:
            raise wrong(error.rule, error.message, error.hint) from None

    return PlainValidator(validate), WithJsonSchema(
        {"type": ["string", "number", "boolean"]} if schema is None else schema
    )


def shown(text: str) -> str:
    return f"“{text if len(text) <= 60 else text[:57] + '…'}”"


def _line(text: str) -> str:
    line = " ".join(text.split())
    if not line:
        raise NotAQuantity("there is no text here", "write a text, or delete the key", "empty")
    return line


def _prose(text: str) -> str:
    return text.strip("\n").rstrip()


def _id(text: str) -> str:
    if not ID.fullmatch(text):
        raise NotAQuantity(
            f"{shown(text)} is not an id",
            f"ids are lower-case letters, digits and hyphens: {as_id(text)}",
            "not-an-id",
        )
    return text


def as_id(text: str) -> str:
    """The nearest id to a text: ``Rosette 2025`` → ``rosette-2025``."""
    return hyphenated(text, 100) or "picture"


def _yes_or_no(text: str) -> bool:
    word = text.strip().casefold()
    if word not in _YES | _NO:
        raise NotAQuantity(f"{shown(text)} is neither yes nor no", "write yes or no", "not-yes-or-no")
    return word in _YES


def _address(text: str) -> str:
    try:
        parts = urlsplit(text.strip())
        host, _ = parts.hostname, parts.port
    except ValueError:
        host, parts = None, urlsplit("")
    if not host or parts.scheme not in ("http", "https") or re.search(r"[\s<>\"'`\\?#]", text.strip()):
        raise NotAQuantity(
            f"{shown(text)} is not the address of a site", "write it such as https://example.org/", "not-an-address"
        )
    return text.strip().rstrip("/") + "/"


def _destination(text: str) -> str:
    try:
        read_address(text)
    except NotADestination as error:  # neither says what was written: it may be a secret
        raise NotAQuantity(error.message, error.hint, error.rule) from None
    return text.strip()


def _publish_size(text: str) -> int:
    found = re.fullmatch(r"\s*(\d{1,6})\s*(?:px|pixels?)?\s*", text)
    if found is None:
        raise NotAQuantity(f"{shown(text)} is no size in pixels", "write it such as 2048 px", "not-a-quantity")
    if not LEAST_PUBLISHED <= int(found[1]) <= 65_000:
        raise NotAQuantity(
            f"{shown(text)} is no size for a published picture",
            f"write {LEAST_PUBLISHED} px to 65000 px, for the longer side",
            "out-of-range",
        )
    return int(found[1])


def _language(text: str) -> str:
    if not re.fullmatch(r"[A-Za-z]{2,8}(-[A-Za-z0-9]{1,8})*", text.strip()):
        raise NotAQuantity(
            f"{shown(text)} is not a language tag", "write a tag such as en or pt-BR", "not-a-language"
        )
    return text.strip()


def _theme(text: str) -> str:
    cleaned = _line(text)
    if re.match(r"[/\\~]|[A-Za-z]:", cleaned) or ".." in re.split(r"[/\\]", cleaned):
        raise NotAQuantity(
            f"{shown(cleaned)} leads out of the archive",
            "name a theme, or a folder inside the archive",
            "outside-archive",
        )
    return cleaned


def _zone(text: str) -> str:
    name = text.strip()
    if found := zone_fault(name):
        raise NotAQuantity(*found, "unknown-time-zone")
    return name


def _number(
    kind: Kind | None,
    *,
    above: float | None = None,
    least: float | None = None,
    most: float | None = None,
    below: float | None = None,
    prefix: str = "",
    hint: str = "",
) -> tuple[Any, Any]:
    """A quantity of a kind (a bare number where ``None``) within its range."""
    example = kind.example if kind else "1.5"

    def read(text: str) -> float:
        bare = text.strip().removeprefix(prefix)
        try:
            value = quantity.read(bare, kind) if kind else quantity.read_number(bare)
        except NotAQuantity as error:
            raise NotAQuantity(error.message, hint or error.hint, error.rule) from None
        low = (above is not None and value <= above) or (least is not None and value < least)
        high = (most is not None and value > most) or (below is not None and value >= below)
        if low or high:
            ends = (("above", above), ("of at least", least), ("of at most", most), ("below", below))
            unit = f" {kind.default}" if kind else ""
            limits = " and ".join(f"{word} {end:g}{unit}" for word, end in ends if end is not None)
            raise NotAQuantity(
                f"{shown(text)} is out of range", f"write a value {limits}, such as {example}", "out-of-range"
            )
        return value

    return _scalar(
        read,
        _with_article(kind.name) if kind else "a number",
        example,
        {"type": ["string", "number"], "examples": [example]},
    )


def _with_article(noun: str) -> str:
    return f"{'an' if noun[0] in 'aeiou' else 'a'} {noun}"


def _binning(text: str) -> int:
    if text.strip() not in {"1", "2", "3", "4"}:
        raise NotAQuantity(f"{shown(text)} is not a binning", "write 1, 2, 3 or 4", "out-of-range")
    return int(text)


def _pixel_count(text: str) -> int:
    count = quantity.read_count(text)
    if not 1 <= count <= 1_000_000:
        raise NotAQuantity(
            f"{shown(text)} is no side of a sensor in pixels", "write a count such as 4656", "out-of-range"
        )
    return count


class OneOrMore:
    """Marks a list of which one may be written without brackets: ``objects: M 51``."""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return no_info_before_validator_function(_in_a_list, handler(source))

    def __get_pydantic_json_schema__(self, core: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        several = handler(core)
        return {"anyOf": [several["items"], several]}


class OrNameAlone:
    """Marks a mapping of which the name may stand alone, with nothing after it: ``old compact:``."""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return no_info_before_validator_function(_as_a_mapping, handler(source))

    def __get_pydantic_json_schema__(self, core: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {"anyOf": [handler(core), {"type": "null"}]}


def _as_a_mapping(value: Any) -> Any:
    return {} if value is None else value


def _in_a_list(value: Any) -> Any:
    return [value] if isinstance(value, str) else value


_TEXT = {"type": ["string", "number", "boolean"]}
Line = Annotated[str, *_scalar(_line, "a text", "The Rosette", _TEXT)]
Prose = Annotated[str, *_scalar(_prose, "a text", "Thin cloud after 23:00.", _TEXT)]
Id = Annotated[str, *_scalar(_id, "an id", "rosette-2025", {"type": "string", "pattern": f"^{ID.pattern}$"})]
YesNo = Annotated[bool, *_scalar(_yes_or_no, "yes or no", "yes", {"enum": [True, False, "yes", "no"]})]
Day = Annotated[
    date, *_scalar(read_date, "a date", "2025-01-18", {"type": "string", "pattern": r"^\d{4}-\d{2}-\d{2}$"})
]
DayMonthOrYear = Annotated[
    PartialDate,
    *_scalar(
        read_partial_date,
        "a date",
        "2009-09-14, 2009-09 or 2009",
        {"type": ["string", "integer"], "pattern": r"^\d{4}(-\d{2}(-\d{2})?)?$", "minimum": 1800, "maximum": 2200},
    ),
]
ClockTime = Annotated[
    Any, *_scalar(read_clock, "a clock time", "19:40", {"type": ["string", "number"], "examples": ["19:40"]})
]
Address = Annotated[
    str, *_scalar(_address, "an address", "https://example.org/", {"type": "string", "format": "uri"})
]
Destination = Annotated[str, *_scalar(_destination, "an address", "sftp://user@example.org/site", {"type": "string"})]
PublishSize = Annotated[
    int,
    *_scalar(_publish_size, "a size", "2048 px", {"type": ["string", "integer"], "examples": ["2048 px"]}),
]
Language = Annotated[str, *_scalar(_language, "a language tag", "en", {"type": "string"})]
Theme = Annotated[str, *_scalar(_theme, "the name of a theme", "umbra", {"type": "string"})]
TimeZone = Annotated[str, *_scalar(_zone, "an IANA time zone", "Europe/Berlin", {"type": "string"})]
Count = Annotated[int, *_scalar(quantity.read_count, "a count", "55", {"type": ["integer", "string"], "minimum": 0})]
Binning = Annotated[int, *_scalar(_binning, "a binning", "2", {"enum": [1, 2, 3, 4]})]
PixelCount = Annotated[int, *_scalar(_pixel_count, "a count", "4656", {"type": "integer", "minimum": 1})]
Coordinates = Annotated[
    tuple[float, float],
    *_scalar(
        sexagesimal.read_coordinates,
        "a position on the sky",
        sexagesimal.COORDINATES_EXAMPLE,
        {"type": "string", "examples": [sexagesimal.COORDINATES_EXAMPLE]},
    ),
]
Positive = Annotated[float, *_number(None, above=0)]
FRatio = Annotated[float, *_number(None, above=0, prefix="f/")]
NotNegative = Annotated[float, *_number(None, least=0)]
Exposure = Annotated[float, *_number(quantity.TIME, above=0)]
Length = Annotated[float, *_number(quantity.FOCAL, above=0)]
PixelSize = Annotated[float, *_number(quantity.PIXEL_SIZE, above=0)]
Elevation = Annotated[float, *_number(quantity.ELEVATION, least=-500, most=10_000)]
Latitude = Annotated[
    float,
    *_scalar(
        sexagesimal.read_latitude,
        "a latitude",
        sexagesimal.LATITUDE_EXAMPLE,
        {"type": ["string", "number"], "examples": ["51.2 deg", "51d12m30s N"]},
    ),
]
Longitude = Annotated[
    float,
    *_scalar(
        sexagesimal.read_longitude,
        "a longitude",
        sexagesimal.LONGITUDE_EXAMPLE,
        {"type": ["string", "number"], "examples": ["-3.1 deg", "3d06m20s W"]},
    ),
]
Horizon = Annotated[float, *_number(quantity.ANGLE, least=0, below=90)]
Angle = Annotated[float, *_number(quantity.ANGLE, least=-360, most=360)]
SmallAngle = Annotated[float, *_number(quantity.SMALL_ANGLE, above=0)]
ObjectSize = Annotated[float, *_number(quantity.OBJECT_SIZE, above=0)]
SkyBrightness = Annotated[float, *_number(quantity.BRIGHTNESS, least=-30, most=30)]
Temperature = Annotated[float, *_number(quantity.TEMPERATURE, least=-273.15, most=200)]
Humidity = Annotated[float, *_number(quantity.HUMIDITY, least=0, most=100)]
Wind = Annotated[float, *_number(quantity.WIND, least=0, most=200)]

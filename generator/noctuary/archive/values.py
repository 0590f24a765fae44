"""The single values that a person writes: texts, quantities, dates, ids; how each reads and what it may be.

Every value arrives as the text that was written and leaves as a number in the default unit, a date, a
truth value or clean text; what cannot be read names its rule and says what to type. Each type carries
its part of the JSON Schema.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from datetime import date
from typing import TYPE_CHECKING, Annotated
from urllib.parse import urlsplit

from noctuary import quantity, sexagesimal
from noctuary.archive.clock import Clock, read_clock, read_date, read_partial_date, zone_fault
from noctuary.archive.partial_date import PartialDate
from noctuary.archive.shapes import AloneOrWith, ListOf, OneOrNamed, Scalar
from noctuary.archive.upload_address import read_address
from noctuary.quantity import Kind, NotAQuantity
from noctuary.text import hyphenated

if TYPE_CHECKING:
    pass

ID = re.compile(r"[a-z0-9][a-z0-9-]{0,99}")
#: Pages offer a picture at least so wide.
LEAST_PUBLISHED = 480
#: More frames than a day of film at 1,000 a second holds.
_MOST_FRAMES = 100_000_000
_YES = {"yes", "true", "on", "y"}
_NO = {"no", "false", "off", "n"}


def shown(text: str) -> str:
    return f"“{text if len(text) <= 60 else text[:57] + '…'}”"


def _line(text: str) -> str:
    line = " ".join(text.split())
    if not line:
        raise NotAQuantity("there is no text here", "write a text, or delete the key", "empty")
    return line


def prose(text: str) -> str | None:
    """A text of several lines as it is kept: without the empty ones around it, ``None`` where nothing else is."""
    return text.strip("\n").rstrip() or None


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
    read_address(text)  # what it says against a text never repeats it: it may be a secret
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
    write: Callable[[float], str] | None = None,
) -> Scalar:
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
            limits = " and ".join(f"{word} {end:,.10g}{unit}" for word, end in ends if end is not None)
            raise NotAQuantity(
                f"{shown(text)} is out of range", f"write a value {limits}, such as {example}", "out-of-range"
            )
        return value

    def written(value: float) -> str:
        return f"{number_text(value)} {kind.default}" if kind else number_text(value)

    return Scalar(
        read,
        _with_article(kind.name) if kind else "a number",
        example,
        {"type": ["string", "number"], "examples": [example]},
        write or written,
    )


def number_text(value: float) -> str:
    """A number as a person would write it, to ten digits and without a needless point."""
    return f"{value:.10g}" if value != int(value) or abs(value) >= 1e15 else str(int(value))


def text_as_yaml(text: str) -> str:
    """Text as a YAML scalar, quoted only where YAML would read something else, in block and in flow."""
    plain = re.fullmatch(r"[^\W\d_](?:[\w .+/()°-]*[\w.+/)])?", text)
    if plain and text.casefold() not in {"yes", "no", "on", "off", "true", "false", "null", "y", "n", "none"}:
        return text
    return json.dumps(text, ensure_ascii=False)


def exposure_text(exposure_s: float) -> str:
    """An exposure in seconds, to six digits."""
    return f"{number_text(float(f'{exposure_s:.6g}'))} s"


def _coordinates_text(coordinates: tuple[float, float]) -> str:
    """Right ascension to 0.001 s and declination to 0.01″: finer than any picture, with no 60 in any place."""
    ra_deg, dec_deg = coordinates
    hours = sexagesimal.parts(ra_deg % 360.0 / 15.0, 3, 24)
    degrees = sexagesimal.parts(abs(dec_deg), 2)
    sign = "-" if dec_deg < 0 else "+"
    return '"{}h{}m{}s '.format(*hours) + sign + '{}d{}m{}s"'.format(*degrees)


def _with_article(noun: str) -> str:
    return f"{'an' if noun[0] in 'aeiou' else 'a'} {noun}"


def _binning(text: str) -> int:
    if text.strip() not in {"1", "2", "3", "4"}:
        raise NotAQuantity(f"{shown(text)} is not a binning", "write 1, 2, 3 or 4", "out-of-range")
    return int(text)


def _count(text: str) -> int:
    count = quantity.read_count(text)
    if count > _MOST_FRAMES:
        raise NotAQuantity(
            f"{shown(text)} is out of range", f"write a count of at most {_MOST_FRAMES:,}, such as 55", "out-of-range"
        )
    return count


def _pixel_count(text: str) -> int:
    count = quantity.read_count(text)
    if not 1 <= count <= 1_000_000:
        raise NotAQuantity(
            f"{shown(text)} is no side of a sensor in pixels", "write a count such as 4656", "out-of-range"
        )
    return count


def _colour(text: str) -> bool:
    if text not in {"colour", "mono"}:
        message = f"{shown(text)} is none of the words that may stand here"
        raise NotAQuantity(message, "write colour or mono", "wrong-word")
    return text == "colour"


def _longer_first(sides: list[float]) -> tuple[float, float]:
    return max(sides), min(sides)


_TEXT = {"type": ["string", "number", "boolean"]}
_WORD = {"type": "string"}
_ID = Scalar(_id, "an id", "rosette-2025", {"type": "string", "pattern": f"^{ID.pattern}$"})
_PROSE = Scalar(prose, "a text", "Thin cloud after 23:00.", _TEXT, tidy=False)
Line = Annotated[str, Scalar(_line, "a text", "The Rosette", _TEXT, text_as_yaml)]
#: Text of several lines; one without any words is none.
Prose = Annotated[str | None, _PROSE]
Id = Annotated[str, _ID]
Lines = Annotated[tuple[str, ...], ListOf(Line, alone=True, apart=True)]
Ids = Annotated[tuple[str, ...], ListOf(Id, alone=True, apart=True)]
YesNo = Annotated[
    bool,
    Scalar(
        _yes_or_no, "yes or no", "yes", {"enum": [True, False, "yes", "no"]}, lambda value: "yes" if value else "no"
    ),
]
Colour = Annotated[
    bool,
    Scalar(
        _colour,
        "colour or mono",
        "mono",
        {"type": "string", "enum": ["colour", "mono"]},
        lambda value: "colour" if value else "mono",
    ),
]
Day = Annotated[
    date, Scalar(read_date, "a date", "2025-01-18", {"type": "string", "pattern": r"^\d{4}-\d{2}-\d{2}$"})
]
DayMonthOrYear = Annotated[
    PartialDate,
    Scalar(
        read_partial_date,
        "a date",
        "2009-09-14, 2009-09 or 2009",
        {"type": ["string", "integer"], "pattern": r"^\d{4}(-\d{2}(-\d{2})?)?$", "minimum": 1800, "maximum": 2200},
    ),
]
ClockTime = Annotated[
    Clock,
    Scalar(
        read_clock, "a clock time", "19:40", {"type": ["string", "number"], "examples": ["19:40"]},
        lambda clock: f'"{clock.written}"',
    ),
]  # fmt: skip
Address = Annotated[str, Scalar(_address, "an address", "https://example.org/", {"type": "string", "format": "uri"})]
Destinations = Annotated[
    dict[str, str], OneOrNamed(Line, Scalar(_destination, "an address", "sftp://user@example.org/site", _WORD))
]
PublishSize = Annotated[
    int,
    Scalar(_publish_size, "a size", "2048 px", {"type": ["string", "integer"], "examples": ["2048 px"]}),
]
Language = Annotated[str, Scalar(_language, "a language tag", "en", _WORD)]
Theme = Annotated[str, Scalar(_theme, "the name of a theme", "umbra", _WORD)]
TimeZone = Annotated[str, Scalar(_zone, "an IANA time zone", "Europe/Berlin", _WORD)]
Count = Annotated[int, Scalar(_count, "a count", "55", {"type": ["integer", "string"], "minimum": 0})]
Binning = Annotated[int, Scalar(_binning, "a binning", "2", {"enum": [1, 2, 3, 4]})]
PixelCount = Annotated[int, Scalar(_pixel_count, "a count", "4656", {"type": "integer", "minimum": 1})]
SensorPixels = Annotated[tuple[int, int], ListOf(PixelCount, least=2, most=2)]
Coordinates = Annotated[
    tuple[float, float],
    Scalar(
        sexagesimal.read_coordinates,
        "a position on the sky",
        sexagesimal.COORDINATES_EXAMPLE,
        {"type": "string", "examples": [sexagesimal.COORDINATES_EXAMPLE]},
        _coordinates_text,
    ),
]
# The limits are far outside of anything that was built, so that none is a matter of taste: the longest focal lengths
# of telescopes are below 1 km, pixels of sensors lie between 0.5 and 100 µm, no lens is faster than f/0.5.
Factor = Annotated[float, _number(None, least=0.001, most=1000)]
Gain = Annotated[float, _number(None, least=0, most=1e6)]
Iso = Annotated[float, _number(None, above=0, most=1e8)]
FRatio = Annotated[float, _number(None, least=0.1, most=10_000, prefix="f/")]
Exposure = Annotated[float, _number(quantity.TIME, above=0, most=1e7, write=exposure_text)]
Length = Annotated[float, _number(quantity.FOCAL, least=0.1, most=1e6)]
PixelSize = Annotated[float, _number(quantity.PIXEL_SIZE, least=0.1, most=1000)]
Elevation = Annotated[float, _number(quantity.ELEVATION, least=-500, most=10_000)]
Latitude = Annotated[
    float,
    Scalar(
        sexagesimal.read_latitude,
        "a latitude",
        sexagesimal.LATITUDE_EXAMPLE,
        {"type": ["string", "number"], "examples": ["51.2 deg", "51d12m30s N"]},
    ),
]
Longitude = Annotated[
    float,
    Scalar(
        sexagesimal.read_longitude,
        "a longitude",
        sexagesimal.LONGITUDE_EXAMPLE,
        {"type": ["string", "number"], "examples": ["-3.1 deg", "3d06m20s W"]},
    ),
]
Horizon = Annotated[float, _number(quantity.ANGLE, least=0, below=90)]
Angle = Annotated[
    float, _number(quantity.ANGLE, least=-360, most=360, write=lambda angle: f"{round(angle, 3) % 360.0:.3f} deg")
]
SmallAngle = Annotated[
    float, _number(quantity.SMALL_ANGLE, least=1e-4, most=1e5, write=lambda angle: f"{angle:.6g} arcsec")
]
_OneSide = Annotated[float, _number(quantity.OBJECT_SIZE, least=1e-4, most=21_600)]
#: The longer and the shorter axis; a single size is both.
ObjectSize = Annotated[tuple[float, float], ListOf(_OneSide, least=1, most=2, alone=True, then=_longer_first)]
#: Pictures in order, each with its commentary or ``None``.
Slides = Annotated[
    tuple[tuple[str, str | None], ...],
    ListOf(Annotated[tuple[str, str | None], AloneOrWith(_ID, _PROSE)], least=1, alone=True),
]
SkyBrightness = Annotated[float, _number(quantity.BRIGHTNESS, least=-30, most=30)]
Temperature = Annotated[float, _number(quantity.TEMPERATURE, least=-273.15, most=200)]
Humidity = Annotated[float, _number(quantity.HUMIDITY, least=0, most=100)]
Wind = Annotated[float, _number(quantity.WIND, least=0, most=200)]

"""What a person may write, as pydantic models: the keys, what each value must be, and how it reads.

Every scalar arrives as the text that was written (see :mod:`generator.archive.marked_yaml`) and leaves
as a number in the default unit, a date, a truth value or clean text. The same models give the JSON
Schemas with which an editor completes keys. What spans several keys or files is judged elsewhere.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date
from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin
from urllib.parse import urlsplit

from pydantic import (
    BaseModel,
    ConfigDict,
    Discriminator,
    Field,
    PlainValidator,
    RootModel,
    Tag,
    WithJsonSchema,
    model_validator,
)
from pydantic_core import PydanticCustomError

from generator import quantity
from generator.archive.clock import NotAClock, read_clock, read_date, zone_fault
from generator.quantity import Kind, NotAQuantity

ID = re.compile(r"[a-z0-9][a-z0-9-]{0,99}")
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
    return re.sub(r"[^a-z0-9]+", "-", text.casefold()).strip("-")[:100] or "picture"


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
) -> tuple[Any, Any]:
    """A quantity of a kind (a bare number where ``None``) within its range."""
    example = kind.example if kind else "1.5"

    def read(text: str) -> float:
        bare = text.strip().removeprefix(prefix)
        value = quantity.read(bare, kind) if kind else quantity.read_number(bare)
        low = (above is not None and value <= above) or (least is not None and value < least)
        high = (most is not None and value > most) or (below is not None and value >= below)
        if low or high:
            ends = (("above", above), ("at least", least), ("at most", most), ("below", below))
            unit = f" {kind.default}" if kind else ""
            limits = " and ".join(f"{word} {end:g}{unit}" for word, end in ends if end is not None)
            raise NotAQuantity(
                f"{shown(text)} is out of range", f"write a value {limits}, such as {example}", "out-of-range"
            )
        return value

    return _scalar(
        read, f"a {kind.name}" if kind else "a number", example, {"type": ["string", "number"], "examples": [example]}
    )


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


_TEXT = {"type": ["string", "number", "boolean"]}
Line = Annotated[str, *_scalar(_line, "a text", "The Rosette", _TEXT)]
Prose = Annotated[str, *_scalar(_prose, "a text", "Thin cloud after 23:00.", _TEXT)]
Id = Annotated[str, *_scalar(_id, "an id", "rosette-2025", {"type": "string", "pattern": f"^{ID.pattern}$"})]
YesNo = Annotated[bool, *_scalar(_yes_or_no, "yes or no", "yes", {"enum": [True, False, "yes", "no"]})]
Day = Annotated[
    date, *_scalar(read_date, "a date", "2025-01-18", {"type": "string", "pattern": r"^\d{4}-\d{2}-\d{2}$"})
]
ClockTime = Annotated[
    Any, *_scalar(read_clock, "a clock time", "19:40", {"type": ["string", "number"], "examples": ["19:40"]})
]
Address = Annotated[
    str, *_scalar(_address, "an address", "https://example.org/", {"type": "string", "format": "uri"})
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
        quantity.read_coordinates,
        "a position on the sky",
        quantity.COORDINATES_EXAMPLE,
        {"type": "string", "examples": [quantity.COORDINATES_EXAMPLE]},
    ),
]
Positive = Annotated[float, *_number(None, above=0)]
FRatio = Annotated[float, *_number(None, above=0, prefix="f/")]
NotNegative = Annotated[float, *_number(None, least=0)]
Exposure = Annotated[float, *_number(quantity.TIME, above=0)]
Length = Annotated[float, *_number(quantity.FOCAL, above=0)]
PixelSize = Annotated[float, *_number(quantity.PIXEL_SIZE, above=0)]
Elevation = Annotated[float, *_number(quantity.ELEVATION, least=-500, most=10_000)]
Latitude = Annotated[float, *_number(quantity.ANGLE, least=-90, most=90)]
Longitude = Annotated[float, *_number(quantity.ANGLE, least=-180, most=180)]
Horizon = Annotated[float, *_number(quantity.ANGLE, least=0, below=90)]
Angle = Annotated[float, *_number(quantity.ANGLE, least=-360, most=360)]
SmallAngle = Annotated[float, *_number(quantity.SMALL_ANGLE, above=0)]
ObjectSize = Annotated[float, *_number(quantity.OBJECT_SIZE, above=0)]
SkyBrightness = Annotated[float, *_number(quantity.BRIGHTNESS, least=-30, most=30)]
Temperature = Annotated[float, *_number(quantity.TEMPERATURE, least=-273.15, most=200)]
Humidity = Annotated[float, *_number(quantity.HUMIDITY, least=0, most=100)]
Wind = Annotated[float, *_number(quantity.WIND, least=0, most=200)]


# The ways to write a value that has several are told apart by tags that no key can be mistaken for: they
# appear in the paths of pydantic's errors.
def _sizes(value: Any) -> str:
    return "=two" if isinstance(value, list) else "=one"


def _placements(value: Any) -> str:
    if isinstance(value, dict):
        return "=header" if "header" in value else "=numbers"
    return "=file"


def _slides(value: Any) -> str:
    return "=spoken" if isinstance(value, dict) else "=silent"


class Written(BaseModel):
    """A mapping that a person writes: a key that it does not know is a fault."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    @model_validator(mode="before")
    @classmethod
    def _left_out(cls, value: Any) -> Any:
        """A key without a value means the same as no key, where no key is fine."""
        if not isinstance(value, dict) or None not in value.values():
            return value
        optional = {name for name, info in cls.model_fields.items() if not info.is_required()}
        return {key: inner for key, inner in value.items() if inner is not None or key not in optional}


def _one_of(*keys: str) -> dict[str, Any]:
    """For the JSON Schema: one at least of these keys must be there."""
    return {"anyOf": [{"required": [key]} for key in keys]}


class WrittenArchive(Written):
    """archive.yaml"""

    title: Line = Field(description="name of the archive")
    author: Line = Field(description="who took the pictures")
    address: Address | None = Field(None, description="where the site will be published, https://…/")
    language: Language = Field("en", description="BCP 47 tag of the language you write in")
    licence: Line = Field("All rights reserved", description="text or SPDX id for the pictures")
    description: Prose | None = Field(None, description="one or two sentences")
    theme: Theme | None = Field(None, description="a theme's name, or a folder")
    horizon: Horizon = Field(30.0, description="altitude below which an object is not worth shooting")
    reference_rig: Line | None = Field(None, description="the rig that depth is compared with")


class WrittenCamera(Written):
    pixels: Annotated[list[PixelCount], Field(min_length=2, max_length=2)] = Field(description="[width, height]")
    pixel_size: PixelSize = Field(description="in µm, such as 3.76 um")
    colour: Literal["colour", "mono"] = Field("colour", description="colour or mono")
    note: Prose | None = None


class WrittenOptic(Written):
    model_config = ConfigDict(json_schema_extra=_one_of("aperture", "f_ratio"))

    focal_length: Length = Field(description="in mm")
    aperture: Length | None = Field(None, description="clear aperture in mm; or f_ratio instead")
    f_ratio: FRatio | None = Field(None, description="focal length / aperture; or aperture instead")
    note: Prose | None = None


class WrittenRig(Written):
    optic: Line = Field(description="a name under optics")
    camera: Line = Field(description="a name under cameras")
    focal_factor: Positive = Field(1.0, description="the reducer's or extender's factor, such as 0.8")
    f_ratio: FRatio | None = Field(None, description="working f-ratio of a lens stopped down")
    mount: Line | None = None
    guiding: Line | None = None
    note: Prose | None = None


class WrittenEquipment(Written):
    """equipment.yaml"""

    cameras: dict[Line, WrittenCamera] = Field(default_factory=dict)
    optics: dict[Line, WrittenOptic] = Field(default_factory=dict)
    rigs: dict[Line, WrittenRig] = Field(default_factory=dict)


class WrittenPlace(Written):
    latitude: Latitude = Field(description="north is positive, in degrees")
    longitude: Longitude = Field(description="east is positive, in degrees")
    elevation: Elevation = Field(0.0, description="above sea level, in m")
    time_zone: TimeZone = Field(description="IANA name, such as Europe/Berlin")
    sky_brightness: SkyBrightness | None = Field(None, description="in mag/arcsec2")
    publish: Literal["name", "rounded", "exact"] = Field("name", description="what the site may show of the position")
    note: Prose | None = None


class WrittenPlaces(RootModel[dict[Line, WrittenPlace]]):
    """places.yaml"""


class WrittenObject(Written):
    coordinates: Coordinates | None = Field(None, description="ICRS; leave it out for what has no fixed place")
    kind: Line | None = None
    size: (
        Annotated[
            Annotated[ObjectSize, Tag("=one")]
            | Annotated[list[ObjectSize], Field(min_length=1, max_length=2), Tag("=two")],
            Discriminator(_sizes),
        ]
        | None
    ) = Field(None, description="[30 arcmin, 20 arcmin]")
    also: list[Line] = Field(default_factory=list, description="other names")
    note: Prose | None = None


class WrittenObjects(RootModel[dict[Line, WrittenObject]]):
    """objects.yaml"""


class WrittenFrames(Written):
    model_config = ConfigDict(json_schema_extra={"not": {"required": ["gain", "iso"]}})

    exposure: Exposure = Field(description="one sub-exposure, in s")
    kept: Count = Field(description="subs in the picture")
    taken: Count | None = Field(None, description="subs shot; kept when left out")
    filter: Line | None = Field(None, description="left out: colour camera without one")
    gain: NotNegative | None = Field(None, description="gain or iso")
    iso: Positive | None = Field(None, description="gain or iso")
    binning: Binning = Field(1, description="1, 2, 3 or 4")
    sensor_temperature: Temperature | None = Field(None, description="in °C")


class WrittenCalibration(Written):
    darks: Count | None = None
    flats: Count | None = None
    bias: Count | None = None
    dark_flats: Count | None = None
    dark_exposure: Exposure | None = Field(None, description="of one dark, in s")
    dark_gain: NotNegative | None = Field(None, description="gain of the darks")
    dark_iso: Positive | None = Field(None, description="ISO of the darks")
    dark_temperature: Temperature | None = Field(None, description="sensor temperature of the darks, in °C")


class WrittenSession(Written):
    night: Day = Field(description="the date on which the evening began")
    rig: Line | None = None
    place: Line | None = None
    start: ClockTime | None = Field(None, description="clock time at the place; before noon is the next date")
    end: ClockTime | None = Field(None, description="clock time at the place; before noon is the next date")
    frames: Annotated[list[WrittenFrames], Field(min_length=1)]
    calibration: WrittenCalibration | None = None
    sky_brightness: SkyBrightness | None = Field(None, description="in mag/arcsec2")
    star_width: SmallAngle | None = Field(None, description="full width at half maximum, in arcsec")
    note: Prose | None = None


class NumbersOfPlacement(Written):
    centre: Coordinates = Field(description="ICRS position of the picture's centre")
    image_scale: SmallAngle = Field(description="per picture pixel, in arcsec")
    position_angle: Angle = Field(description="of the picture's up, from north through east")
    mirrored: YesNo = False


class HeaderOfPlacement(Written):
    header: Line = Field(description="a FITS header or a text header in FITS card format, beside the sidecar")
    rows: Literal["bottom", "top"] = Field("bottom", description="top: the header counts rows from the top")


class WrittenSidecar(Written):
    """The record of one picture, beside it, with the same stem"""

    model_config = ConfigDict(json_schema_extra=_one_of("sessions", "builds_on"))

    title: Line
    objects: Annotated[list[Line], Field(min_length=1)] = Field(description="the first is the target")
    finished: Day = Field(description="when the picture was finished")
    rig: Line | None = Field(None, description="of every session that does not say otherwise")
    place: Line | None = Field(None, description="of every session that does not say otherwise")
    sessions: list[WrittenSession] = Field(default_factory=list)
    builds_on: list[Id] = Field(default_factory=list, description="pictures whose sessions this one also contains")
    replaces: Id | None = Field(None, description="an older picture that this one supersedes")
    resampling: Positive = Field(1.0, description="picture pixels per sensor pixel, each way (drizzled ×2: 2)")
    placement: (
        Annotated[
            Annotated[NumbersOfPlacement, Tag("=numbers")]
            | Annotated[HeaderOfPlacement, Tag("=header")]
            | Annotated[Line, Tag("=file")],
            Discriminator(_placements),
        ]
        | None
    ) = Field(None, description="where on the sky the picture lies")
    description: Prose | None = None
    processing: Prose | None = None
    alt: Line | None = Field(None, description="what a person who cannot see the picture should be told")
    tags: list[Line] = Field(default_factory=list)
    credit: Line | None = None
    listed: YesNo = Field(True, description="no: the page is built, but linked from nowhere and marked noindex")
    draft: YesNo = Field(False, description="yes: not built at all")
    former_ids: list[Id] = Field(default_factory=list, description="ids that this picture had before")
    accepted_doubts: dict[Id, Line] = Field(
        default_factory=dict, description="rule-name: why this record is right all the same"
    )


class WrittenNight(Written):
    """Front matter of nights/YYYY-MM-DD.md"""

    place: Line | None = None
    title: Line | None = None
    temperature: Temperature | None = Field(None, description="in °C")
    humidity: Humidity | None = Field(None, description="in %")
    wind: Wind | None = Field(None, description="in m/s")
    sky_brightness: SkyBrightness | None = Field(None, description="in mag/arcsec2")


class WrittenExhibit(Written):
    """exhibits/NAME.yaml"""

    title: Line
    introduction: Prose | None = None
    pictures: Annotated[
        list[
            Annotated[
                Annotated[Id, Tag("=silent")]
                | Annotated[dict[Id, Prose | None], Field(min_length=1, max_length=1), Tag("=spoken")],
                Discriminator(_slides),
            ]
        ],
        Field(min_length=1),
    ]


class WrittenPage(Written):
    """Front matter of pages/NAME.md"""

    title: Line | None = None


MODELS: dict[str, type[BaseModel]] = {
    "archive": WrittenArchive,
    "equipment": WrittenEquipment,
    "places": WrittenPlaces,
    "objects": WrittenObjects,
    "sidecar": WrittenSidecar,
    "night": WrittenNight,
    "exhibit": WrittenExhibit,
    "page": WrittenPage,
}


def model_inside(annotation: Any, step: str | int) -> Any:
    """One step of an error's location further: the model, list or mapping of models that lies there."""
    if isinstance(annotation, type) and issubclass(annotation, RootModel):
        annotation = annotation.model_fields["root"].annotation
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return _unwrapped(annotation.model_fields[str(step)].annotation)
    if isinstance(step, str) and step.startswith("="):
        for variant in get_args(annotation):
            if any(isinstance(note, Tag) and note.tag == step for note in get_args(variant)[1:]):
                return _unwrapped(get_args(variant)[0])
    return _unwrapped(get_args(annotation)[-1])


def _unwrapped(annotation: Any) -> Any:
    """An annotation without ``Annotated`` and ``| None`` around it."""
    while True:
        if get_origin(annotation) is Annotated:
            annotation = get_args(annotation)[0]
        elif isinstance(annotation, UnionType) or get_origin(annotation) is Union:
            others = [part for part in get_args(annotation) if part is not type(None)]
            if len(others) != 1:
                return annotation
            annotation = others[0]
        else:
            return annotation

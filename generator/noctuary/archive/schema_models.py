"""What a person may write, as pydantic models: the keys of every record, and what each must be.

The same models give the JSON Schemas with which an editor completes keys. What spans several keys or
files is judged elsewhere.
"""

from __future__ import annotations

from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel, ConfigDict, Discriminator, Field, RootModel, Tag, model_validator

from noctuary.archive.values import (
    Address,
    Angle,
    Binning,
    ClockTime,
    Coordinates,
    Count,
    Day,
    DayMonthOrYear,
    Destination,
    Elevation,
    Exposure,
    FRatio,
    Horizon,
    Humidity,
    Id,
    Language,
    Latitude,
    Length,
    Line,
    Longitude,
    NotNegative,
    ObjectSize,
    OneOrMore,
    OrNameAlone,
    PixelCount,
    PixelSize,
    Positive,
    Prose,
    PublishSize,
    SkyBrightness,
    SmallAngle,
    Temperature,
    Theme,
    TimeZone,
    Wind,
    YesNo,
)


# The ways to write a value that has several are told apart by tags that no key can be mistaken for: they
# appear in the paths of pydantic's errors.
def _sizes(value: Any) -> str:
    return "=two" if isinstance(value, list) else "=one"


def _destinations(value: Any) -> str:
    return "=named" if isinstance(value, dict) else "=one"


def _placements(value: Any) -> str:
    if isinstance(value, dict):
        return "=header" if "header" in value else "=numbers"
    return "=file"


def _slides(value: Any) -> str:
    return "=spoken" if isinstance(value, dict) else "=silent"


# Lists of names: one alone may be written as a text.
_Lines = Annotated[list[Line], OneOrMore()]
_Ids = Annotated[list[Id], OneOrMore()]


class Written(BaseModel):
    """A mapping that a person writes: a key that it does not know is a fault."""

    # A run that reads one sidecar builds no more models than that one's.
    model_config = ConfigDict(extra="forbid", frozen=True, defer_build=True)

    @model_validator(mode="before")
    @classmethod
    def _left_out(cls, value: Any) -> Any:
        """A key without a value means the same as no key, where no key is fine."""
        if not isinstance(value, dict) or None not in value.values():
            return value
        optional = {name for name, info in cls.model_fields.items() if not info.is_required()}
        return {key: inner for key, inner in value.items() if inner is not None or key not in optional}


def _not_both(*keys: str) -> dict[str, Any]:
    """For the JSON Schema: these keys exclude each other."""
    return {"not": {"required": list(keys)}}


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
    gone: _Ids = Field(default_factory=list, description="ids of pictures that were published once and are let go")
    upload: (
        Annotated[
            Annotated[Destination, Tag("=one")]
            | Annotated[dict[Line, Destination], Field(min_length=1), Tag("=named")],
            Discriminator(_destinations),
        ]
        | None
    ) = Field(None, description="where the site is uploaded to: an address or a folder, or several by name")
    publish_size: PublishSize | None = Field(
        None, description="the longer side of the largest published picture, such as 2048 px"
    )


class WrittenCamera(Written):
    pixels: Annotated[list[PixelCount], Field(min_length=2, max_length=2)] | None = Field(
        None, description="[width, height]"
    )
    pixel_size: PixelSize | None = Field(None, description="in µm, such as 3.76 um")
    colour: Literal["colour", "mono"] = Field("colour", description="colour or mono")
    note: Prose | None = Field(None, description="whatever is worth knowing")


class WrittenOptic(Written):
    focal_length: Length | None = Field(None, description="in mm")
    aperture: Length | None = Field(None, description="clear aperture in mm; or f_ratio instead")
    f_ratio: FRatio | None = Field(None, description="focal length / aperture; or aperture instead")
    note: Prose | None = Field(None, description="whatever is worth knowing")


class WrittenRig(Written):
    optic: Line | None = Field(None, description="a name under optics")
    camera: Line | None = Field(None, description="a name under cameras")
    focal_factor: Positive = Field(1.0, description="the reducer's or extender's factor, such as 0.8")
    f_ratio: FRatio | None = Field(None, description="working f-ratio of a lens stopped down")
    mount: Line | None = Field(None, description="what carries and tracks")
    guiding: Line | None = Field(None, description="how the tracking is corrected")
    note: Prose | None = Field(None, description="whatever is worth knowing")


class WrittenEquipment(Written):
    """equipment.yaml"""

    cameras: dict[Line, Annotated[WrittenCamera, OrNameAlone()]] = Field(
        default_factory=dict, description="cameras by name"
    )
    optics: dict[Line, Annotated[WrittenOptic, OrNameAlone()]] = Field(
        default_factory=dict, description="lenses and telescopes by name"
    )
    rigs: dict[Line, Annotated[WrittenRig, OrNameAlone()]] = Field(
        default_factory=dict, description="an optic and a camera together, by name"
    )


class WrittenPlace(Written):
    latitude: Latitude = Field(description="51.2 deg or 51d12m30s N; north is positive")
    longitude: Longitude = Field(description="-3.1 deg or 3d06m20s W; east is positive")
    elevation: Elevation = Field(0.0, description="above sea level, in m")
    time_zone: TimeZone = Field(description="IANA name, such as Europe/Berlin")
    sky_brightness: SkyBrightness | None = Field(None, description="in mag/arcsec2")
    publish: Literal["name", "rounded", "exact", "hidden"] = Field(
        "name", description="what the site may show of the position; hidden: no number that depends on it either"
    )
    note: Prose | None = Field(None, description="whatever is worth knowing")


class WrittenPlaces(RootModel[dict[Line, WrittenPlace]]):
    """places.yaml"""


class WrittenObject(Written):
    coordinates: Coordinates | None = Field(None, description="ICRS; leave it out for what has no fixed place")
    kind: Line | None = Field(None, description="free text, such as emission nebula")
    size: (
        Annotated[
            Annotated[ObjectSize, Tag("=one")]
            | Annotated[list[ObjectSize], Field(min_length=1, max_length=2), Tag("=two")],
            Discriminator(_sizes),
        ]
        | None
    ) = Field(None, description="[30 arcmin, 20 arcmin]")
    also: _Lines = Field(default_factory=list, description="other names")
    called: Line | None = Field(None, description="what the pages call it; left out: what the newest record says")
    note: Prose | None = Field(None, description="whatever is worth knowing")


class WrittenObjects(RootModel[dict[Line, WrittenObject]]):
    """objects.yaml"""


class WrittenFrames(Written):
    model_config = ConfigDict(json_schema_extra=_not_both("gain", "iso"))

    exposure: Exposure = Field(description="one sub-exposure, in s")
    kept: Count = Field(description="subs in the picture")
    taken: Count | None = Field(None, description="subs shot; kept when left out")
    filter: Line | None = Field(None, description="left out: colour camera without one")
    gain: NotNegative | None = Field(None, description="gain or iso")
    iso: Positive | None = Field(None, description="gain or iso")
    binning: Binning = Field(1, description="1, 2, 3 or 4")
    sensor_temperature: Temperature | None = Field(None, description="in °C")


class WrittenCalibration(Written):
    darks: Count | None = Field(None, description="how many dark frames")
    flats: Count | None = Field(None, description="how many flat frames")
    bias: Count | None = Field(None, description="how many bias frames")
    dark_flats: Count | None = Field(None, description="how many darks for the flats")
    dark_exposure: Exposure | None = Field(None, description="of one dark, in s")
    dark_gain: NotNegative | None = Field(None, description="gain of the darks")
    dark_iso: Positive | None = Field(None, description="ISO of the darks")
    dark_temperature: Temperature | None = Field(None, description="sensor temperature of the darks, in °C")


class WrittenSession(Written):
    model_config = ConfigDict(json_schema_extra=_not_both("frames", "integration"))

    night: Day = Field(description="the date on which the evening began")
    rig: Line | None = Field(None, description="left out: the sidecar's")
    place: Line | None = Field(None, description="left out: the sidecar's")
    start: ClockTime | None = Field(None, description="clock time at the place; before noon is the next date")
    end: ClockTime | None = Field(None, description="clock time at the place; before noon is the next date")
    frames: Annotated[list[WrittenFrames], Field(min_length=1)] | None = Field(
        None, description="groups of sub-exposures; left out: not recorded"
    )
    integration: Exposure | None = Field(None, description="what the exposures came to, where frames are not known")
    calibration: WrittenCalibration | None = Field(None, description="what the lights were calibrated with")
    sky_brightness: SkyBrightness | None = Field(None, description="in mag/arcsec2")
    star_width: SmallAngle | None = Field(None, description="full width at half maximum, in arcsec")
    note: Prose | None = Field(None, description="whatever is worth knowing")


class NumbersOfPlacement(Written):
    centre: Coordinates = Field(description="ICRS position of the picture's centre")
    image_scale: SmallAngle = Field(description="per picture pixel, in arcsec")
    position_angle: Angle = Field(description="of the picture's up, from north through east")
    mirrored: YesNo = Field(False, description="yes: north up has east on the right")


class HeaderOfPlacement(Written):
    header: Line = Field(description="a FITS header or a text header in FITS card format, beside the sidecar")
    rows: Literal["bottom", "top"] = Field("bottom", description="top: the header counts rows from the top")


class WrittenSidecar(Written):
    """The record of one picture, beside it, with the same stem"""

    model_config = ConfigDict(json_schema_extra=_not_both("builds_on", "panels"))

    title: Line = Field(description="name of the picture")
    finished: DayMonthOrYear = Field(description="when the picture was finished: a day, a month or a year")
    objects: _Lines = Field(default_factory=list, description="the first is the target")
    rig: Line | None = Field(None, description="of every session that does not say otherwise")
    place: Line | None = Field(None, description="of every session that does not say otherwise")
    sessions: list[WrittenSession] = Field(
        default_factory=list, description="one for each night, rig and place; left out: not recorded"
    )
    builds_on: _Ids = Field(default_factory=list, description="pictures whose sessions this one also contains")
    panels: _Ids = Field(default_factory=list, description="a mosaic: pictures that lie side by side in this one")
    replaces: Id | None = Field(None, description="an older picture that this one supersedes")
    resampling: Positive | None = Field(
        None, description="picture pixels per sensor pixel, each way (drizzled ×2: 2)"
    )
    placement: (
        Annotated[
            Annotated[NumbersOfPlacement, Tag("=numbers")]
            | Annotated[HeaderOfPlacement, Tag("=header")]
            | Annotated[Line, Tag("=file")],
            Discriminator(_placements),
        ]
        | None
    ) = Field(None, description="where on the sky the picture lies")
    description: Prose | None = Field(None, description="Markdown, shown under the picture")
    processing: Prose | None = Field(None, description="Markdown, how the picture was made")
    alt: Line | None = Field(None, description="what a person who cannot see the picture should be told")
    tags: _Lines = Field(default_factory=list, description="words of your own")
    credit: Line | None = Field(None, description="left out: the author")
    listed: YesNo = Field(True, description="no: the page is built, but linked from nowhere and marked noindex")
    draft: YesNo = Field(False, description="yes: not built at all")
    former_ids: _Ids = Field(default_factory=list, description="ids that this picture had before")
    accepted_doubts: dict[Id, Line] = Field(
        default_factory=dict, description="rule-name: why this record is right all the same"
    )


class WrittenNight(Written):
    """Front matter of nights/YYYY-MM-DD.md"""

    place: Line | None = Field(None, description="where; left out: every place of that night")
    title: Line | None = Field(None, description="a few words for the night")
    temperature: Temperature | None = Field(None, description="in °C")
    humidity: Humidity | None = Field(None, description="in %")
    wind: Wind | None = Field(None, description="in m/s")
    sky_brightness: SkyBrightness | None = Field(None, description="in mag/arcsec2")


class WrittenExhibit(Written):
    """exhibits/NAME.yaml"""

    title: Line = Field(description="name of the exhibit")
    introduction: Prose | None = Field(None, description="Markdown")
    pictures: Annotated[
        list[
            Annotated[
                Annotated[Id, Tag("=silent")]
                | Annotated[dict[Id, Prose | None], Field(min_length=1, max_length=1), Tag("=spoken")],
                Discriminator(_slides),
            ]
        ],
        Field(min_length=1),
        OneOrMore(),
    ] = Field(description="ids in order, each alone or with its commentary (Markdown)")


class WrittenPage(Written):
    """Front matter of pages/NAME.md"""

    title: Line | None = Field(None, description="left out: the first heading")


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

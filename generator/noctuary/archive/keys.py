"""What a person may write: every key of every record, each declared here and nowhere else.

A field is named for what it holds, with its unit, and gives the key's own name where that is another. The types of
the values are those of :mod:`noctuary.archive.values`; what spans several keys or files is judged elsewhere.
"""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal

from noctuary.archive.declaration import Keys, key, keys
from noctuary.archive.shapes import ListOf, OrNameAlone, OrTextAlone
from noctuary.archive.values import (
    Address,
    Angle,
    Binning,
    ClockTime,
    Colour,
    Coordinates,
    Count,
    Day,
    DayMonthOrYear,
    Destinations,
    Elevation,
    Exposure,
    Factor,
    FRatio,
    Gain,
    Horizon,
    Humidity,
    Id,
    Ids,
    Iso,
    Language,
    Latitude,
    Length,
    Line,
    Lines,
    Longitude,
    ObjectSize,
    PixelSize,
    Prose,
    PublishSize,
    SensorPixels,
    SkyBrightness,
    Slides,
    SmallAngle,
    Temperature,
    Theme,
    TimeZone,
    Wind,
    YesNo,
)

Publish = Literal["name", "rounded", "exact", "hidden"]


def _not_both(*names: str) -> dict[str, Any]:
    """For the JSON Schema: these keys exclude each other."""
    return {"extra": "forbid", "json_schema_extra": {"not": {"required": list(names)}}}


@keys
class ArchiveKeys(Keys):
    """archive.yaml"""

    title: Line = key("name of the archive")
    author: Line = key("who took the pictures")
    address: Address | None = key("where the site will be published, https://…/", default=None)
    language: Language = key("BCP 47 tag of the language you write in", default="en")
    licence: Line = key("text or SPDX id for the pictures", default="All rights reserved")
    description: Prose | None = key("one or two sentences", default=None)
    theme: Theme | None = key("a theme's name, or a folder", default=None)
    horizon_deg: Horizon = key(
        "altitude below which an object is not worth shooting", written="horizon", default=30.0
    )
    reference_rig_name: Line | None = key(
        "the rig that depth is compared with", written="reference_rig", default=None
    )
    gone: Ids = key("ids of pictures that were published once and are let go: their pages say so", default=())
    upload: Destinations | None = key(
        "where the site is uploaded to: an address or a folder, or several by name", default=None
    )
    publish_size_px: PublishSize | None = key(
        "the longer side of the largest published picture, such as 2048 px", written="publish_size", default=None
    )


@keys
class CameraKeys(Keys):
    pixels: SensorPixels | None = key("[width, height]", default=None)
    pixel_size_um: PixelSize | None = key("in µm, such as 3.76 um", written="pixel_size", default=None)
    colour: Colour | None = key("colour or mono; colour where the table of cameras knows nothing else", default=None)
    note: Prose | None = key("whatever is worth knowing", default=None)


@keys
class OpticKeys(Keys):
    focal_length_mm: Length | None = key("in mm", written="focal_length", default=None)
    aperture_mm: Length | None = key("clear aperture in mm; or f_ratio instead", written="aperture", default=None)
    f_ratio: FRatio | None = key("focal length / aperture; or aperture instead", default=None)
    note: Prose | None = key("whatever is worth knowing", default=None)


@keys
class RigKeys(Keys):
    optic_name: Line | None = key("a name under optics", written="optic", default=None)
    camera_name: Line | None = key("a name under cameras", written="camera", default=None)
    focal_factor: Factor = key("the reducer's or extender's factor, such as 0.8", default=1.0)
    working_f_ratio: FRatio | None = key("working f-ratio of a lens stopped down", written="f_ratio", default=None)
    mount: Line | None = key("what carries and tracks", default=None)
    guiding: Line | None = key("how the tracking is corrected", default=None)
    note: Prose | None = key("whatever is worth knowing", default=None)


@keys
class EquipmentKeys(Keys):
    """equipment.yaml"""

    cameras: dict[Line, Annotated[CameraKeys, OrNameAlone()]] = key("cameras by name", default_factory=dict)
    optics: dict[Line, Annotated[OpticKeys, OrNameAlone()]] = key(
        "lenses and telescopes by name", default_factory=dict
    )
    rigs: dict[Line, Annotated[RigKeys, OrNameAlone()]] = key(
        "an optic and a camera together, by name", default_factory=dict
    )


@keys
class PlaceKeys(Keys):
    latitude_deg: Latitude = key("51.2 deg or 51d12m30s N; north is positive", written="latitude")
    longitude_deg: Longitude = key("-3.1 deg or 3d06m20s W; east is positive", written="longitude")
    elevation_m: Elevation = key("above sea level, in m", written="elevation", default=0.0)
    time_zone: TimeZone = key("IANA name, such as Europe/Berlin")
    sky_brightness: SkyBrightness | None = key("in mag/arcsec2", default=None)
    publish: Publish = key(
        "what the site may show of the position; hidden: no number that depends on it either", default="name"
    )
    note: Prose | None = key("whatever is worth knowing", default=None)


@keys
class ObjectKeys(Keys):
    coordinates: Coordinates | None = key("ICRS; leave it out for what has no fixed place", default=None)
    kind: Line | None = key("free text, such as emission nebula", default=None)
    size_arcmin: ObjectSize | None = key("[30 arcmin, 20 arcmin]", written="size", default=None)
    also: Lines = key("other names", default=())
    called: Line | None = key("what the pages call it; left out: what the newest record says", default=None)
    note: Prose | None = key("whatever is worth knowing", default=None)


@keys
class FrameKeys(Keys):
    __pydantic_config__: ClassVar[Any] = _not_both("gain", "iso")

    exposure_s: Exposure = key("one sub-exposure, in s", written="exposure")
    kept: Count = key("subs in the picture")
    taken: Count | None = key("subs shot; kept when left out", default=None)
    filter: Line | None = key("left out: colour camera without one", default=None)
    gain: Gain | None = key("gain or iso", default=None)
    iso: Iso | None = key("gain or iso", default=None)
    binning: Binning = key("1, 2, 3 or 4", default=1)
    sensor_temperature_c: Temperature | None = key("in °C", written="sensor_temperature", default=None)


@keys
class Calibration(Keys):
    """Counts of calibration frames: left out is not known, 0 is none."""

    darks: Count | None = key("how many dark frames", default=None)
    flats: Count | None = key("how many flat frames", default=None)
    bias: Count | None = key("how many bias frames", default=None)
    dark_flats: Count | None = key("how many darks for the flats", default=None)
    dark_exposure_s: Exposure | None = key("of one dark, in s", written="dark_exposure", default=None)
    dark_gain: Gain | None = key("gain of the darks", default=None)
    dark_iso: Iso | None = key("ISO of the darks", default=None)
    dark_temperature_c: Temperature | None = key(
        "sensor temperature of the darks, in °C", written="dark_temperature", default=None
    )


@keys
class SessionKeys(Keys):
    __pydantic_config__: ClassVar[Any] = _not_both("frames", "integration")

    night: Day = key("the date on which the evening began")
    rig_name: Line | None = key("left out: the sidecar's", written="rig", default=None)
    place_name: Line | None = key("left out: the sidecar's", written="place", default=None)
    start_clock: ClockTime | None = key(
        "clock time at the place; before noon is the next date", written="start", default=None
    )
    end_clock: ClockTime | None = key(
        "clock time at the place; before noon is the next date", written="end", default=None
    )
    frames: Annotated[tuple[FrameKeys, ...], ListOf(FrameKeys, least=1)] = key(
        "groups of sub-exposures; left out: not recorded", default=()
    )
    stated_integration_s: Exposure | None = key(
        "what the exposures came to, where frames are not known", written="integration", default=None
    )
    calibration: Calibration | None = key("what the lights were calibrated with", default=None)
    sky_brightness: SkyBrightness | None = key("in mag/arcsec2", default=None)
    star_width_arcsec: SmallAngle | None = key(
        "full width at half maximum, in arcsec", written="star_width", default=None
    )
    note: Prose | None = key("whatever is worth knowing", default=None)


@keys
class PlacementKeys(Keys):
    """In numbers (centre, image_scale and position_angle are needed then), or in a header file."""

    __pydantic_config__: ClassVar[Any] = {
        "extra": "forbid",
        "json_schema_extra": {
            "oneOf": [{"required": ["centre", "image_scale", "position_angle"]}, {"required": ["header"]}]
        },
    }

    centre: Coordinates | None = key(
        "ICRS position of the picture's centre; needed unless a header is named", default=None
    )
    image_scale_arcsec: SmallAngle | None = key(
        "per picture pixel, in arcsec; needed unless a header is named", written="image_scale", default=None
    )
    position_angle_deg: Angle | None = key(
        "of the picture's up, from north through east; needed unless a header is named",
        written="position_angle",
        default=None,
    )
    mirrored: YesNo = key("yes: north up has east on the right", default=False)
    header: Line | None = key(
        "instead: a FITS header or a text header in FITS card format, beside the sidecar", default=None
    )
    rows: Literal["bottom", "top"] = key("top: the header counts rows from the top", default="bottom")


@keys
class SidecarKeys(Keys):
    """The record of one picture, beside it, with the same stem"""

    __pydantic_config__: ClassVar[Any] = _not_both("builds_on", "panels")

    title: Line = key("name of the picture")
    finished: DayMonthOrYear = key("when the picture was finished: a day, a month or a year")
    objects: Lines = key("the first is the target", default=())
    rig_name: Line | None = key("of every session that does not say otherwise", written="rig", default=None)
    place_name: Line | None = key("of every session that does not say otherwise", written="place", default=None)
    written_sessions: Annotated[tuple[SessionKeys, ...], ListOf(SessionKeys)] = key(
        "one for each night, rig and place; left out: not recorded", written="sessions", default=()
    )
    builds_on: Ids = key("pictures whose sessions this one also contains", default=())
    panels: Ids = key("a mosaic: pictures that lie side by side in this one", default=())
    replaces: Id | None = key("an older picture that this one supersedes", default=None)
    resampling: Factor | None = key("picture pixels per sensor pixel, each way (drizzled ×2: 2)", default=None)
    placement_keys: Annotated[PlacementKeys, OrTextAlone("header")] | None = key(
        "where on the sky the picture lies", written="placement", default=None
    )
    description: Prose | None = key("Markdown, shown under the picture", default=None)
    processing: Prose | None = key("Markdown, how the picture was made", default=None)
    alt: Line | None = key("what a person who cannot see the picture should be told", default=None)
    tags: Lines = key("words of your own", default=())
    credit: Line | None = key("left out: the author", default=None)
    listed: YesNo = key("no: the page is built, but linked from nowhere and marked noindex", default=True)
    draft: YesNo = key("yes: not built at all", default=False)
    former_ids: Ids = key("ids that this picture had before", default=())
    accepted_doubts: dict[Id, Line] = key("rule-name: why this record is right all the same", default_factory=dict)


@keys
class NightKeys(Keys):
    """Front matter of nights/YYYY-MM-DD.md"""

    place: Line | None = key("where; left out: every place of that night", default=None)
    title: Line | None = key("a few words for the night", default=None)
    temperature_c: Temperature | None = key("in °C", written="temperature", default=None)
    humidity_percent: Humidity | None = key("in %", written="humidity", default=None)
    wind_m_s: Wind | None = key("in m/s", written="wind", default=None)
    sky_brightness: SkyBrightness | None = key("in mag/arcsec2", default=None)


@keys
class ExhibitKeys(Keys):
    """exhibits/NAME.yaml"""

    title: Line = key("name of the exhibit")
    introduction: Prose | None = key("Markdown", default=None)
    pictures: Slides = key("ids in order, each alone or with its commentary (Markdown)")


@keys
class PageKeys(Keys):
    """Front matter of pages/NAME.md"""

    title: Line | None = key("left out: the first heading", default=None)


#: The keys of a sidecar that hold texts for its readers and nothing that a fact or a rule is made of.
TEXTS = ("description", "processing")


#: What each kind of file holds.
MODELS: dict[str, Any] = {
    "archive": ArchiveKeys,
    "equipment": EquipmentKeys,
    "places": dict[Line, PlaceKeys],
    "objects": dict[Line, ObjectKeys],
    "sidecar": SidecarKeys,
    "night": NightKeys,
    "exhibit": ExhibitKeys,
    "page": PageKeys,
}

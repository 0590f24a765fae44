"""What one source says of one finished picture: its own header, its name, or a row of a table."""

from __future__ import annotations

import re
from dataclasses import dataclass, fields
from datetime import date
from typing import Protocol

from noctuary.archive.partial_date import PartialDate
from noctuary.archive.records import FrameGroup


class ObjectNames(Protocol):
    """The catalogue, as far as adopting needs it; it is in a room that the archive does not import."""

    def called(self, written: str) -> tuple[str, str] | None:
        """(name made even, identity) of the object that a whole text names."""
        ...

    def within(self, text: str) -> list[tuple[str, str]]:
        """The same for every object that a text names."""
        ...


@dataclass(frozen=True, slots=True)
class Evidence:
    """What one source says. What it does not say, or says impossibly, is empty.

    ``night`` is the date on which the evening began, ``likely_night`` what it is if the picture was taken at one
    of the archive's places. ``frames`` have both exposure and count; a sub-exposure without a count is ``sub``,
    with a count of 0. ``likely_frames`` are what the count and the exposure of a header come to if the exposure
    is that of one frame. ``telescope`` is what a FITS header calls it, often the driver of a mount: it serves to
    find a rig and names none. ``site`` is latitude and longitude in degrees; it picks a known place and is
    written nowhere. ``source`` ends a sentence: “from …”.
    """

    source: str
    title: str | None = None
    objects: tuple[str, ...] = ()
    night: date | None = None
    likely_night: date | None = None
    finished: PartialDate | None = None
    captured: PartialDate | None = None
    camera: str | None = None
    optic: str | None = None
    telescope: str | None = None
    focal_length_mm: float | None = None
    f_ratio: float | None = None
    pixel_size_um: float | None = None
    rig: str | None = None
    place: str | None = None
    site: tuple[float, float] | None = None
    filter: str | None = None
    frames: tuple[FrameGroup, ...] = ()
    sub: FrameGroup | None = None
    likely_frames: tuple[FrameGroup, ...] = ()
    integration_s: float | None = None
    sky_brightness: float | None = None
    description: str | None = None
    tags: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    def over(self, other: Evidence) -> Evidence:
        """Both in one, this one's word first; ``source`` is this one's."""
        values = {f.name: getattr(self, f.name) or getattr(other, f.name) for f in fields(self)}
        return Evidence(**values)


def frame_group(
    exposure_s: float,
    kept: int,
    *,
    filter_name: str | None = None,
    gain: float | None = None,
    iso: float | None = None,
    binning: int = 1,
    temperature_c: float | None = None,
) -> FrameGroup:
    """A group of sub-exposures of which all are in the picture, as far as a source knows them."""
    gain = gain if iso is None else None
    binning = binning if 1 <= binning <= 4 else 1
    return FrameGroup(
        exposure_s=exposure_s,
        kept=kept,
        taken=kept,
        filter=filter_name,
        gain=gain,
        iso=iso,
        binning=binning,
        sensor_temperature_c=temperature_c,
    )


_EMPTY_TITLE = re.compile(
    r"untitled.*|olympus digital camera|sony dsc|samsung|digital camera|default|none|null|image|picture|new image|"
    r"created with .*|screenshot.*|(?:img|dsc[nf]?|p|pict|_mg)[ _-]?\d+",
    re.IGNORECASE,
)


def one_line_text(value: object, longest: int = 200) -> str | None:
    """A line a person wrote, without control characters; ``None`` where there is none."""
    if not isinstance(value, str):
        return None
    text = " ".join("".join(c if c.isprintable() else " " for c in value).split())[:longest].strip()
    return text if any(c.isalnum() for c in text) else None


def title_text(value: object) -> str | None:
    """A title that somebody meant, not one that a camera or a program puts everywhere."""
    text = one_line_text(value)
    return None if text is None or _EMPTY_TITLE.fullmatch(text) else text

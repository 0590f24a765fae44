"""What EXIF leaves to a maker's own notes: the sensitivity of cameras before 2005 or so, and the names of lenses.

As exifread names the entries. Their meanings are common practice of readers of these notes.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from noctuary.archive.gather.frame_header import finite, words

#: First words of makers whose notes are looked at.
MAKERS = ("Canon", "NIKON")


def iso_in_notes(tags: Mapping[str, Any]) -> float | None:
    """The sensitivity: as a number, else of one maker in steps of 1/32 of a doubling."""
    setting = _values(tags, "ISOSetting")
    plain = finite(_printed(tags, "ISO"), 1, 1e7) or (finite(setting[-1], 1, 1e7) if setting else None)
    base, automatic = finite(_printed(tags, "BaseISO"), 1, 1000), finite(_printed(tags, "AutoISO"), 0, 1000)
    if plain is None and base is not None and automatic is not None:
        return float(round(2 ** (automatic / 32) * 2 ** (base / 32) * 100 / 32))
    return plain


def lens_in_notes(tags: Mapping[str, Any]) -> str | None:
    """The lens by its name, else by the range of its focal lengths."""
    name = words(_printed(tags, "LensModel"))
    if name is not None:
        return name
    units = finite(_printed(tags, "FocalUnitsPerMM"), 1, 1000) or 1.0
    ends = ("ShortFocalLengthOfLensInFocalUnits", "LongFocalLengthOfLensInFocalUnits")
    short, long = (finite(_printed(tags, end), 1, 65534) for end in ends)
    return f"{focal_range(short / units, long / units)} mm" if short and long else None


def focal_range(least: float, most: float) -> str:
    """“18-55”, or “50” where both ends are the same."""
    return f"{least:.3g}" if least == most else f"{least:.3g}-{most:.3g}"


def _printed(tags: Mapping[str, Any], name: str) -> str | None:
    tag = tags.get(f"MakerNote {name}")
    return None if tag is None else str(tag).strip("\0 ")


def _values(tags: Mapping[str, Any], name: str) -> list[Any]:
    values = getattr(tags.get(f"MakerNote {name}"), "values", None)
    return list(values) if isinstance(values, list | tuple) else []

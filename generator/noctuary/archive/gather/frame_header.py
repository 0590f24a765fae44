"""What one raw frame's header says, whatever kind of header it was."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import datetime
from pathlib import PurePath
from typing import Literal

from noctuary.archive.gather.frame_names import sorts_frames
from noctuary.errors import NoctuaryError

FrameKind = Literal["light", "dark", "flat", "bias", "dark flat"]
Evidence = Literal["header", "folder", "file name", "exposure"]


class NoHeader(NoctuaryError, ValueError):
    """A file without a header that can be read; the text says why, for the person."""


class TornFile(NoHeader):
    """A file that ends too early, or whose header never does: no other reader finds more in it."""


@dataclass(frozen=True, slots=True)
class StackTotals:
    """Frames of a stack, the exposure of one in seconds where that is sure, and seconds in all where that is."""

    count: int | None
    exposure_s: float | None
    total_s: float | None


@dataclass(frozen=True, slots=True)
class FrameHeader:
    """One frame. What the header does not say, or says impossibly, is ``None``.

    ``start`` is the beginning of the exposure: with its time zone where the header tells universal time
    or an offset, naive where a camera's clock is all there is. ``pixel_size_um`` is as written, which
    may or may not include binning; ``pixels`` are the frame's own columns and rows. ``site`` is latitude
    and longitude in degrees, north and east positive; it serves to pick a known place and goes nowhere else.
    ``pointing`` is right ascension and declination in degrees. ``impossible``: in words, what the header says and
    what cannot be. ``stack``: the totals of a finished stack.
    """

    path: str
    kind: FrameKind | None = None
    kind_from: Evidence | None = None
    combined: bool = False
    target: str | None = None
    target_from: Evidence | None = None
    start: datetime | None = None
    exposure_s: float | None = None
    filter: str | None = None
    gain: float | None = None
    iso: float | None = None
    binning: int = 1
    sensor_temperature_c: float | None = None
    set_temperature_c: float | None = None
    pixel_size_um: float | None = None
    pixels: tuple[int, int] | None = None
    focal_length_mm: float | None = None
    f_ratio: float | None = None
    optic: str | None = None
    camera: str | None = None
    colour: bool | None = None
    site: tuple[float, float] | None = None
    pointing: tuple[float, float] | None = None
    impossible: tuple[str, ...] = ()
    missing_bytes: int = 0
    is_fits: bool = False
    stack: StackTotals | None = None


def finite(value: object, low: float, high: float) -> float | None:
    """A number between two bounds, from a number or from text that begins with one; else ``None``."""
    if isinstance(value, bool) or value is None:
        return None
    if isinstance(value, str):
        match = re.match(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eEdD][+-]?\d+)?)", value)
        if match is None:
            return None
        value = match[1].upper().replace("D", "E")
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, OverflowError, ZeroDivisionError):
        return None
    return number if math.isfinite(number) and low <= number <= high else None


def words(value: object) -> str | None:
    """Text on one line without control characters, at most 80 characters; ``None`` where there is none."""
    if not isinstance(value, str):
        return None
    text = " ".join("".join(c if c.isprintable() else " " for c in value).split())[:80].strip()
    return text if any(c.isalnum() for c in text) else None


_FILTERS = {
    "ha": "halpha", "h": "halpha", "hα": "halpha", "hydrogenalpha": "halpha",
    "o3": "oiii", "o": "oiii", "oxygen": "oiii", "s2": "sii", "s": "sii", "sulfur": "sii", "sulphur": "sii",
    "n2": "nii", "hβ": "hbeta", "hb": "hbeta",
    "l": "luminance", "lum": "luminance", "r": "red", "g": "green", "b": "blue",
}  # fmt: skip


def filter_key(name: str) -> str:
    """A filter's name without what spelling leaves free: ``Ha``, ``H-alpha`` and ``H Alpha`` are one."""
    text = "".join(c for c in name.casefold() if c.isalnum())
    return _FILTERS.get(text, text)


_KIND_WORDS: dict[str, FrameKind] = {
    "light": "light", "lights": "light", "object": "light", "science": "light",
    "dark": "dark", "darks": "dark",
    "flat": "flat", "flats": "flat", "flatfield": "flat", "skyflat": "flat", "domeflat": "flat",
    "bias": "bias", "biases": "bias", "zero": "bias", "zeros": "bias", "offset": "bias", "offsets": "bias",
    "darkflat": "dark flat", "darkflats": "dark flat", "flatdark": "dark flat", "flatdarks": "dark flat",
}  # fmt: skip
_PLURAL = {"lights", "darks", "flats", "biases", "zeros", "offsets", "darkflats", "flatdarks"}
_BESIDE = {
    "frame", "frames", "field", "sky", "dome", "sub", "subs", "raw", "raws", "s", "sec", "secs", "min", "iso",
    "gain", "c", "deg", "bin", "x", "temp", "g", "exp", "fits", "calibration", "cal", "master", "img", "image",
    "l", "r", "b", "h", "ha", "oiii", "sii", "lum", "red", "green", "blue", "m", "bin1", "bin2",
}  # fmt: skip


def kind_in_words(text: str, *, strict: bool) -> FrameKind | None:
    """The kind of frame that a header's word or a folder's name gives.

    ``strict`` is for names that people choose freely: a name counts only when it has the plural or nothing
    else that means something, so that a folder called after the “Dark Shark” holds no darks.
    """
    found = [w for w in re.split(r"[^a-z]+", text.casefold()) if w]
    kinds = {_KIND_WORDS[w] for w in found if w in _KIND_WORDS}
    if not kinds:
        return None
    plain = any(w in _PLURAL for w in found) or all(w in _KIND_WORDS or w in _BESIDE for w in found)
    if strict and not plain:
        return None
    if kinds >= {"dark", "flat"} or "dark flat" in kinds:
        return "dark flat"
    calibration = kinds - {"light"}
    return next(iter(sorted(calibration))) if calibration else "light"


def kind_of_place(path: str) -> tuple[FrameKind | None, Evidence | None]:
    """The kind of frame by the nearest folder that names one, else by the file's own name."""
    pure = PurePath(path)
    for folder in list(pure.parents)[:4]:
        if kind := kind_in_words(folder.name, strict=True):
            return kind, "folder"
    first = re.split(r"[^A-Za-z]+", pure.stem)
    named = next((kind_in_words(w, strict=True) for w in first if w.casefold() in _KIND_WORDS), None)
    return (named, "file name") if named else (None, None)


_DESIGNATION = re.compile(
    r"(?:messier|m|ngc|ic|caldwell|c|barnard|b|sh2|sh 2|sharpless|ldn|lbn|vdb|abell|ugc|pgc|arp|melotte|mel|"
    r"collinder|cr|cl|rcw|gum|hickson|hcg)[ _-]*\d{1,5}(?![0-9])",
    re.IGNORECASE,
)
_SAYS_NOTHING = re.compile(
    r"\d*|(?:dcim|\d{3}[a-z0-9_]{5}|img|raws?|subs?|frames?|captures?|night|session|new folder|untitled|photos?|"
    r"pictures?|images?|data|tmp|temp|home|mnt|media|cards?|cam(?:era)?|sd|astro|fits|work|calibration|cal)"
    r"[ _\-\d]*[a-z]?",
    re.IGNORECASE,
)


def target_of_place(path: str) -> str | None:
    """The object after which a frame's folder is called, where it is called after one.

    A catalogue designation in one of the three nearest folders; else the words of the nearest folder that is
    not called after a kind of frame, a filter or a date, unless they say nothing (a camera card's own folders).
    """
    free: str | None = None
    nearest = True
    for folder in list(PurePath(path).parents)[:3]:
        name = " ".join(folder.name.replace("_", " ").split())
        if match := _DESIGNATION.search(name):
            before = name[: match.start()]
            if not before or not before[-1].isalnum():
                return words(match[0].replace("-", " "))
        bare = re.sub(r"\d{4}[-. ]?\d{2}[-. ]?\d{2}", "", name).strip(" -")
        if nearest and not _sorts_only(bare):
            nearest = False
            if len(bare) >= 3 and not _SAYS_NOTHING.fullmatch(bare) and any(c.isalpha() for c in bare):
                free = words(name)
    return free


def _sorts_only(name: str) -> bool:
    """Whether a folder's name is a kind of frame, a filter, an exposure, a stage of work or nothing but a date."""
    if sorts_frames(name):
        return True
    letters = [w for w in re.split(r"[^a-z]+", name.casefold()) if w]
    return kind_in_words(name, strict=True) is not None or all(w in _BESIDE or len(w) < 2 for w in letters)


def frame_of_camera(path: str, start: datetime | None, exposure_s: float | None) -> FrameHeader:
    """A camera's frame as far as its clock, its exposure and its folder describe it.

    Raises :class:`NoHeader` without clock and exposure: such a header is of no use.
    """
    if start is None and exposure_s is None:
        raise NoHeader("its camera header tells neither the time nor the exposure")
    kind, evidence = kind_of_place(path)
    target = target_of_place(path)
    return FrameHeader(
        path=path,
        kind=kind,
        kind_from=evidence,
        target=target,
        target_from="folder" if target else None,
        start=start,
        exposure_s=exposure_s,
        colour=True,
    )

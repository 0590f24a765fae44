"""FITS headers, with the usual spellings of each keyword.

The cards are read here, from the blocks of 2880 bytes that the FITS Standard 4.0 (section 3.3) prescribes,
and by :mod:`astropy.io.fits` only where that is not enough (compressed files, cards that do not parse): a
night has a thousand headers of one to three blocks each, which take 0.1 ms this way and some milliseconds,
after an import of a third of a second in every process, the other way. No pixel is read.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path

from noctuary.archive.gather.fits_coordinates import pointing_of, site_of
from noctuary.archive.gather.frame_header import (
    Evidence,
    FrameHeader,
    FrameKind,
    NoHeader,
    TornFile,
    finite,
    kind_in_words,
    kind_of_place,
    target_of_place,
    words,
)
from noctuary.archive.gather.stack_totals import stack_totals
from noctuary.quiet import quiet

Cards = Mapping[str, str | float | bool]

_BLOCK = 2880
_MOST_BLOCKS = 400  # more than a megabyte of cards is no header of a raw frame
_STRING = re.compile(r"\s*'((?:[^']|'')*)'")

_KIND = ("IMAGETYP", "FRAME", "FRAMETYP", "OBSTYPE", "IMGTYPE", "IMAGETYPE", "EXPTYPE")
_TARGET = ("OBJECT", "OBJNAME", "TARGET", "TARGNAME")
_NO_TARGET = {"unknown", "none", "n/a", "na", "object", "target", "light", "lights", "untitled", "no object"}
_EXPOSURE = ("EXPTIME", "EXPOSURE", "EXP_TIME", "EXPOSTIM", "XPOSURE", "ITIME")
_FILTER = ("FILTER", "FILTNAME", "FILTER1", "FILTERID", "INSFILTE", "FILT")
_GAIN = ("GAIN", "CAMGAIN", "GAINSET")
_ISO = ("ISOSPEED", "ISO", "ISOSPD", "ISO-SPEE")
_TEMPERATURE = ("CCD-TEMP", "CCDTEMP", "CCD_TEMP", "SENSTEMP", "DET-TEMP", "DETTEMP", "CAMTEMP", "TEMPERAT")
_SET_POINT = ("SET-TEMP", "SETTEMP", "SET_TEMP", "CCD-SET", "TEMPSET")
_BINNING = ("XBINNING", "BINX", "CCDXBIN", "XBIN", "BINNING", "CCDBIN1", "CCDSUM")
_PIXEL_SIZE = ("XPIXSZ", "PIXSIZE1", "PIXSIZE", "XPIXELSZ", "PIXSCL_U", "PIXELSZ")
_FOCAL_LENGTH = ("FOCALLEN", "FOCAL", "FOCALLEN1", "FOCLEN", "TELFOCAL")
_F_RATIO = ("FOCRATIO", "FOCALRAT", "F-RATIO", "FNUMBER")
_APERTURE = ("APTDIA", "APERTUR", "DIAMETER")
_OPTIC = ("TELESCOP", "LENS", "OPTICS")
_CAMERA = ("INSTRUME", "CAMERA", "DETECTOR", "DETNAM")
_COLOUR = ("BAYERPAT", "CFA-PAT", "COLORTYP", "XBAYROFF")

# Seconds by which other scales run ahead of UTC: the leap seconds since 2017 (IERS Bulletin C 52) and TT − TAI.
_AHEAD_OF_UTC_S = {"TAI": 37.0, "TT": 69.184, "TDB": 69.184, "ET": 69.184, "GPS": 18.0}


def read(path: str) -> FrameHeader:
    """The header of a FITS file, compressed or not.

    Raises :class:`NoHeader` when there is none that can be read, :class:`OSError` when the file cannot.
    """
    try:
        cards, missing = _own_reading(Path(path))
    except TornFile:
        raise
    except NoHeader:
        cards, missing = _by_astropy(path), 0
    return from_cards(path, cards, missing)


def from_cards(path: str, cards: Cards, missing_bytes: int = 0) -> FrameHeader:
    """What the keywords of one frame mean."""
    kind, combined = _kind(cards)
    exposure = _number(cards, _EXPOSURE, 0, 1e6)
    stack = stack_totals(cards, exposure)
    combined = combined or any((finite(cards.get(n), 2, 1e6) or 0) >= 2 for n in ("NCOMBINE", "STACKCNT", "NSTACK"))
    combined = combined or bool(stack and stack.total_s and exposure and stack.total_s > 1.5 * exposure)
    evidence: Evidence | None = "header" if kind else None
    if kind is None:
        kind, evidence = kind_of_place(path)
    target = words(_first(cards, _TARGET))
    if target is not None and target.casefold() in _NO_TARGET:
        target = None
    focal_length = _number(cards, _FOCAL_LENGTH, 1, 1e6)
    f_ratio = _number(cards, _F_RATIO, 0.3, 100)
    aperture = _number(cards, _APERTURE, 5, 1e5)
    if f_ratio is None and focal_length and aperture:
        f_ratio = finite(focal_length / aperture, 0.3, 100)
    from_folder = None if target else target_of_place(path)
    site, wrong_site = site_of(cards)
    pointing, wrong_pointing = pointing_of(cards)
    return FrameHeader(
        path=path,
        kind=kind,
        kind_from=evidence,
        combined=combined,
        target=target or from_folder,
        target_from="header" if target else "folder" if from_folder else None,
        start=_start(cards),
        exposure_s=exposure,
        filter=_filter(cards),
        gain=_number(cards, _GAIN, 0, 1e5),
        iso=_number(cards, _ISO, 1, 1e7),
        binning=_binning(cards),
        sensor_temperature_c=_number(cards, _TEMPERATURE, -200, 100),
        set_temperature_c=_number(cards, _SET_POINT, -200, 100),
        pixel_size_um=_number(cards, _PIXEL_SIZE, 0.3, 200),
        pixels=_pixels(cards),
        focal_length_mm=focal_length,
        f_ratio=f_ratio,
        optic=words(_first(cards, _OPTIC)),
        camera=words(_first(cards, _CAMERA)),
        colour=_colour(cards),
        site=site,
        pointing=pointing,
        impossible=tuple(filter(None, (wrong_site, wrong_pointing))),
        missing_bytes=missing_bytes,
        is_fits=True,
        stack=stack if combined else None,
    )


def _own_reading(path: Path) -> tuple[dict[str, str | float | bool], int]:
    """The cards of the first header, and of the second where the first holds no picture; bytes missing."""
    with path.open("rb") as file:
        first, _ = _header(file.read)
        if first.get("SIMPLE") is not True:
            raise NoHeader("it does not begin like a FITS file")
        length = _data_bytes(first)
        if length == 0 and first.get("EXTEND") is not False:
            try:
                second, _ = _header(file.read)
            except NoHeader:
                second = {}
            if second:
                held = {k.removeprefix("Z") if k.startswith("ZNAXIS") else k: v for k, v in second.items()}
                first = first | {k: v for k, v in held.items() if k not in first or k.startswith("NAXIS")}
            return first, 0
        present = path.stat().st_size - file.tell()
        if 0 < present < length:
            raise TornFile("the file ends within its pixels")
        return first, max(0, length - present)


def _header(read_bytes: object) -> tuple[dict[str, str | float | bool], int]:
    cards: dict[str, str | float | bool] = {}
    continued: str | None = None
    for number in range(_MOST_BLOCKS):
        block = read_bytes(_BLOCK)  # type: ignore[operator]
        if number == 0 and not block.startswith((b"SIMPLE  =", b"XTENSION=")):
            if not block:
                raise TornFile("the file ends before any header")
            raise NoHeader("it does not begin like a FITS file")
        text = block.decode("latin-1")
        for at in range(0, len(text), 80):
            card = text[at : at + 80]
            keyword = card[:8].rstrip()
            if keyword == "END" and not card[3:].strip() and len(block) == _BLOCK:
                return cards, number + 1
            if keyword == "CONTINUE" and continued:
                more = _STRING.match(card[8:])
                if more and isinstance(cards[continued], str):
                    cards[continued] = str(cards[continued]).removesuffix("&") + more[1].replace("''", "'").rstrip()
                continue
            continued = None
            if card[8:10] == "= " and keyword not in cards:
                value = _value(card[10:])
                if value is not None:
                    cards[keyword] = value
                    continued = keyword
        if len(block) < _BLOCK:
            raise TornFile("the file ends within its header")
    raise TornFile("its header never ends")


def _value(text: str) -> str | float | bool | None:
    """The value of a card (FITS Standard 4.0, section 4.2); numbers as floats, ``None`` where undefined."""
    if match := _STRING.match(text):
        return match[1].replace("''", "'").rstrip()
    bare = text.split("/", 1)[0].strip()
    if bare in ("T", "F"):
        return bare == "T"
    try:
        return float(bare.replace("D", "E").replace("d", "e"))
    except ValueError:
        return bare or None


def _data_bytes(cards: Cards) -> int:
    axes = finite(cards.get("NAXIS"), 0, 999)
    bits = finite(cards.get("BITPIX"), -64, 64)
    if not axes or not bits:
        return 0
    length = abs(int(bits)) // 8
    for axis in range(1, int(axes) + 1):
        length *= int(finite(cards.get(f"NAXIS{axis}"), 0, 1e9) or 0)
    return length


def _by_astropy(path: str) -> dict[str, str | float | bool]:
    from astropy.io import fits

    with quiet():
        try:
            with fits.open(path, mode="readonly", memmap=False, lazy_load_hdus=True) as units:
                merged: dict[str, str | float | bool] = {}
                for unit in units[:2]:
                    for card in unit.header.cards:
                        if card.keyword not in merged and isinstance(card.value, str | float | int | bool):
                            merged[card.keyword] = card.value
                    if unit.header.get("NAXIS"):
                        merged |= {k: unit.header[k] for k in ("NAXIS", "NAXIS1", "NAXIS2") if k in unit.header}
                        break
        except OSError as trouble:
            raise NoHeader("it is no FITS file, or a damaged one") from trouble
        except Exception as trouble:  # whatever a damaged header makes of astropy, it is a damaged header
            raise NoHeader("its header is damaged") from trouble
    if not merged:
        raise NoHeader("its header is empty")
    return merged


def _first(cards: Cards, names: tuple[str, ...]) -> str | float | bool | None:
    return next((cards[n] for n in names if n in cards and cards[n] != ""), None)


def _number(cards: Cards, names: tuple[str, ...], low: float, high: float) -> float | None:
    numbers = (finite(cards[n], low, high) for n in names if n in cards)
    return next((n for n in numbers if n is not None), None)


def _kind(cards: Cards) -> tuple[FrameKind | None, bool]:
    for name in _KIND:
        text = words(cards.get(name))
        if text and (kind := kind_in_words(text, strict=False)):
            return kind, "master" in text.casefold() or "stack" in text.casefold()
    return None, False


_NO_FILTER = {"none", "no filter", "nofilter", "empty", "open", "clear", "no", "n/a", "-", "null"}


def _filter(cards: Cards) -> str | None:
    text = words(_first(cards, _FILTER))
    return None if text is None or text.casefold() in _NO_FILTER else text


def _binning(cards: Cards) -> int:
    for name in _BINNING:
        number = finite(cards.get(name), 1, 16)
        if number is not None and number == int(number):
            return int(number)
    return 1


def _pixels(cards: Cards) -> tuple[int, int] | None:
    columns, rows = (finite(cards.get(n), 2, 1e6) for n in ("NAXIS1", "NAXIS2"))
    return (int(columns), int(rows)) if columns and rows else None


def _colour(cards: Cards) -> bool | None:
    pattern = words(_first(cards, _COLOUR[:3]))
    if pattern:
        return pattern.casefold() not in {"mono", "monochrome", "none", "grey", "gray"}
    if "XBAYROFF" in cards or finite(cards.get("NAXIS3"), 3, 3):
        return True
    return None


def _start(cards: Cards) -> datetime | None:
    """The beginning of the exposure in UTC (FITS Standard 4.0, section 9.5: UTC unless TIMESYS says otherwise).

    Where local time alone is written, it has no time zone.
    """
    for name in ("DATE-BEG", "DATE-OBS", "DATE_OBS", "DATE-STA", "UTSTART"):
        text = cards.get(name)
        if isinstance(text, str) and (moment := _moment(text, cards)):
            return _to_utc(moment, cards)
    for name, zero in (("MJD-BEG", 0.0), ("MJD-OBS", 0.0), ("JD", 2400000.5), ("JD-OBS", 2400000.5)):
        days = finite(cards.get(name), zero + 1, zero + 200000)
        if days is not None:
            return _to_utc(datetime(1858, 11, 17, tzinfo=UTC) + timedelta(days=days - zero), cards)
    if isinstance(text := cards.get("DATE-AVG"), str) and (moment := _moment(text, cards)):
        half = timedelta(seconds=(_number(cards, _EXPOSURE, 0, 1e6) or 0) / 2)
        return _to_utc(moment - half, cards)
    if isinstance(text := cards.get("DATE-LOC"), str) and (moment := _moment(text, cards)):
        return moment.replace(tzinfo=None)  # the computer's own clock, like a camera's
    return None


def _to_utc(moment: datetime, cards: Cards) -> datetime | None:
    scale = str(cards.get("TIMESYS", "UTC")).split("(")[0].strip().upper()
    try:
        return moment - timedelta(seconds=_AHEAD_OF_UTC_S.get(scale, 0.0))
    except OverflowError:
        return None


_ISO_DATE = re.compile(
    r"\s*(\d{4})-(\d{2})-(\d{2})(?:[T ](\d{2}):(\d{2}):(\d{2})(\.\d+)?)?\s*(?:Z|UTC|([+-])(\d{2}):?(\d{2}))?\s*"
)
_OLD_DATE = re.compile(r"\s*(\d{2})/(\d{2})/(\d{2})\s*")  # before 2000: day/month/year of the 20th century
_CLOCK = re.compile(r"\s*(\d{1,2}):(\d{2}):(\d{2})(\.\d+)?\s*")


def _moment(text: str, cards: Cards) -> datetime | None:
    ahead = timedelta()
    if match := _ISO_DATE.fullmatch(text):
        year, month, day = int(match[1]), int(match[2]), int(match[3])
        clock = match.groups()[3:7]
        if match[8]:  # no standard spelling, but no doubt about what it means
            ahead = timedelta(hours=int(match[9]), minutes=int(match[10])) * (1 if match[8] == "+" else -1)
    elif old := _OLD_DATE.fullmatch(text):
        year, month, day = 1900 + int(old[3]), int(old[2]), int(old[1])
        clock = (None,) * 4
    else:
        return None
    if clock[0] is None:
        beside = next((cards[n] for n in ("TIME-OBS", "UT", "UTC", "UTC-OBS", "TIME-BEG") if n in cards), None)
        found = _CLOCK.fullmatch(beside) if isinstance(beside, str) else None
        if found is None:
            return None
        clock = found.groups()
    try:
        base = datetime(year, month, day, int(clock[0] or 0), int(clock[1] or 0), tzinfo=UTC)
        return base + timedelta(seconds=int(clock[2] or 0) + float(clock[3] or 0)) - ahead
    except (ValueError, OverflowError):
        return None

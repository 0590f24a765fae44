"""What a finished FITS picture says of itself: the header of a stack.

The usual keywords are read as gather reads them. What a stack adds are counts and totals, and the conventions differ:
NCOMBINE counts the pictures that were combined, and the exposure beside it is their mean for an average and their sum
for a sum (the help pages of IRAF's imcombine). STACKCNT counts the frames of a stack whose EXPTIME stays that of one
frame and whose LIVETIME is the whole (common practice). So exposures are stated where count, exposure and total
agree,
or where the convention leaves one reading, and are proposed otherwise.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from pathlib import Path

from noctuary.archive.adopt.clock_night import night_of_universal_time
from noctuary.archive.adopt.evidence import Evidence, ObjectNames, frame_group, one_line_text, title_text
from noctuary.archive.adopt.raster_blocks import DamagedHeader
from noctuary.archive.gather.fits_header import from_cards
from noctuary.archive.gather.frame_header import FrameHeader, finite
from noctuary.archive.partial_date import PartialDate
from noctuary.archive.records import FrameGroup
from noctuary.quiet import quiet

Cards = dict[str, str | float | bool]

_COUNTS = ("STACKCNT", "NCOMBINE", "NSTACK", "NFRAMES", "NIMAGES", "NSUBS", "SNAPSHOT", "NUMFRAME")
_TOTALS = ("LIVETIME", "TOTEXP", "EXPTOTAL", "TOTALEXP", "EXP_TOT", "TEXPTIME", "INTEGRAT")
_MOST_FRAMES = 100_000
_LONGEST_SUB_S = 3600.0


def of_fits(path: Path, names: ObjectNames, longitudes_deg: Sequence[float] = ()) -> Evidence:
    """Raises :class:`~noctuary.archive.adopt.raster_blocks.NotReadable` and OSError."""
    cards, history = _cards(path)
    return of_cards(str(path), cards, history, names, longitudes_deg)


def of_cards(
    path: str,
    cards: Cards,
    history: Iterable[str],
    names: ObjectNames,
    longitudes_deg: Sequence[float] = (),
    source: str = "its FITS header",
) -> Evidence:
    """The meaning of a header's keywords and of the lines of its HISTORY and COMMENT."""
    header = from_cards(path, cards)
    target = header.target if header.target_from == "header" else None
    known = names.called(target) if target else None
    count = next((int(n) for key in _COUNTS if (n := finite(cards.get(key), 1, _MOST_FRAMES))), None)
    total = next((n for key in _TOTALS if (n := finite(cards.get(key), 1, 1e8))), None)
    stated_as_one = "STACKCNT" in cards
    lines = list(history)
    if count is None:
        count = _count_in(lines)
    frames, sub, notes = _exposures(header, count, total, stated_as_one)
    night = likely = None
    if header.start is not None:
        night = night_of_universal_time(header.start, [header.site[1]] if header.site else ())
        if night is None and longitudes_deg:
            likely = night_of_universal_time(header.start, longitudes_deg)
    elif plain := re.match(r"\s*\d{4}-\d{2}-\d{2}", str(cards.get("DATE-OBS", ""))):
        notes = (*notes, f"DATE-OBS is {plain[0].strip()}, without the time of day")
    start = header.start
    if start is not None and night is None:
        notes = (*notes, f"DATE-OBS is {start:%Y-%m-%d %H:%M} UT; which evening that was depends on the place")
    return Evidence(
        source=source,
        title=title_text(cards.get("TITLE")),
        objects=(known[0],) if known else (),
        night=night,
        likely_night=likely,
        finished=_written_day(cards),
        captured=PartialDate.of(start.date()) if start is not None and 1960 <= start.year < 2200 else None,
        camera=header.camera,
        telescope=header.optic,
        focal_length_mm=header.focal_length_mm,
        f_ratio=header.f_ratio,
        pixel_size_um=_pixel_size(header),
        site=header.site,
        filter=header.filter,
        frames=frames,
        sub=sub if sub is None or not sub.kept else None,
        likely_frames=(sub,) if sub is not None and sub.kept else (),
        integration_s=total if not frames and total is not None else None,
        notes=notes if known or not target else (*notes, f"OBJECT is {one_line_text(target, 60)}"),
    )


def _exposures(
    header: FrameHeader, count: int | None, total: float | None, one_frame: bool
) -> tuple[tuple[FrameGroup, ...], FrameGroup | None, tuple[str, ...]]:
    """Groups with their counts, else one exposure without its count or with one that may be its own, and what to tell
    the person."""
    exposure = header.exposure_s
    if exposure is None or exposure <= 0:
        return (), None, (f"{count} frames were combined",) if count and count > 1 else ()

    def group(exposure_s: float, kept: int) -> FrameGroup:
        return frame_group(
            exposure_s,
            kept,
            filter_name=header.filter,
            gain=header.gain,
            iso=header.iso,
            binning=header.binning,
            temperature_c=header.sensor_temperature_c,
        )

    if count is not None and count > 1:
        if total is not None:
            if math.isclose(count * exposure, total, rel_tol=0.02):
                return (group(exposure, count),), None, ()
            if math.isclose(exposure, total, rel_tol=0.001) and exposure / count >= 0.001:
                # A total in both: one frame is what a frame's share of it is.
                return (group(float(f"{exposure / count:.6g}"), count),), None, ()
            return (), None, (f"{count} frames, {exposure:g} s and {total:g} s in all do not agree",)
        if one_frame and exposure <= _LONGEST_SUB_S:
            return (group(exposure, count),), None, ()
        return (), group(exposure, count), ()
    if count == 1:
        return (group(exposure, 1),), None, ()
    return (), group(exposure, 0), ()


_COUNT_LINE = re.compile(
    r"(?<![\d.])(\d{2,5})\s*(?:frames?|images?|subs?|exposures?|lights?|light frames?)\b|"
    r"\b(?:stack|combin|averag|integrat)\w*(?:\s+of)?\s+(\d{2,5})\s*(?:frames?|images?|subs?|exposures?|lights?)\b",
    re.IGNORECASE,
)


_LEFT_OUT = re.compile(
    r"\d+\s*(?:frames?|images?|subs?|lights?)?\s*(?:were\s+)?(?:reject|discard|remov|skipp)|"
    r"(?:reject|discard|remov|skipp)\w*:?\s+\d+|\d+\s+of\s+\d+",
    re.IGNORECASE,
)


def _count_in(lines: Iterable[str]) -> int | None:
    """The number of frames that HISTORY states, where all lines that state one agree."""
    counts = set()
    for line in lines:
        stacking = re.search(r"stack|combin|averag|integrat|mean|median|\bsum", line, re.IGNORECASE)
        if stacking and not _LEFT_OUT.search(line) and (match := _COUNT_LINE.search(line)):
            counts.add(int(match[1] or match[2]))
    return counts.pop() if len(counts) == 1 else None


def _pixel_size(header: FrameHeader) -> float | None:
    """Of the sensor's own pixels; with binning a header may count it in or not, so nothing is said."""
    return header.pixel_size_um if header.binning == 1 else None


def _written_day(cards: Cards) -> PartialDate | None:
    """The day on which the file was written (DATE, FITS Standard 4.0, section 4.4.2.1)."""
    match = re.match(r"\s*(\d{4})-(\d{2})-(\d{2})", str(cards.get("DATE", "")))
    if match is None or not 1970 <= int(match[1]) < 2200:
        return None
    try:
        found = PartialDate(int(match[1]), int(match[2]), int(match[3]))
        return found if found.first else None
    except ValueError:
        return None


def _cards(path: Path) -> tuple[Cards, list[str]]:
    from astropy.io import fits

    with quiet("astropy"):
        try:
            with fits.open(
                path, mode="readonly", memmap=False, lazy_load_hdus=True, ignore_missing_simple=True
            ) as units:
                cards: Cards = {}
                history: list[str] = []
                for unit in [units[0], *([units[1]] if not units[0].header.get("NAXIS") and len(units) > 1 else [])]:
                    for card in unit.header.cards:
                        if card.keyword in ("HISTORY", "COMMENT"):
                            history.append(str(card.value))
                        elif card.keyword not in cards and isinstance(card.value, str | float | int | bool):
                            cards[card.keyword] = card.value
        except FileNotFoundError:
            raise
        except Exception as trouble:  # whatever a damaged header makes of astropy, it is a damaged header
            raise DamagedHeader("its FITS header is damaged") from trouble
    return cards, history

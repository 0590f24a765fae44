"""What a header says and cannot be: dates before there were digital cameras or to come, exposures without end."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from noctuary.archive.gather.frame_header import FrameHeader

LONGEST_EXPOSURE_S = 12 * 3600.0
"""No night is longer in which one exposure could be made away from the poles."""
_FIRST_DIGITAL_FRAME = 1975
_FIRST_CAMERA_WITH_A_CLOCK = 1990  # a clock that shows less was reset: many begin with 1980
_TOMORROW = timedelta(days=1)


def without_impossible(header: FrameHeader) -> FrameHeader:
    """The header without an exposure that cannot be, which is named in ``impossible``."""
    exposure = header.exposure_s
    if exposure is None or exposure <= LONGEST_EXPOSURE_S:
        return header
    return replace(
        header, exposure_s=None, impossible=(*header.impossible, f"an exposure of {exposure:.6g} s")
    )


def impossible_date(start: datetime, now: datetime) -> str | None:
    """Why a frame cannot have been begun at this moment; ``None`` where it can. ``now`` has a time zone."""
    first = _FIRST_CAMERA_WITH_A_CLOCK if start.tzinfo is None else _FIRST_DIGITAL_FRAME
    claim = f"its header says that it was taken on {start:%Y-%m-%d}" if start.year > 999 else "its header has no date"
    if start.year < first:
        return f"{claim}, before there were such cameras; the clock was not set (--clock-shift puts it right)"
    moment = start.replace(tzinfo=UTC) if start.tzinfo is None else start
    try:
        to_come = moment > now + _TOMORROW
    except OverflowError:
        to_come = True
    return f"{claim}, a day to come; if the clock was wrong, --clock-shift puts it right" if to_come else None

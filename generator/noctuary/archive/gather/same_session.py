"""Whether a session, a group of frames or a value that a sidecar has is one that was gathered."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, datetime, timedelta

from noctuary.archive.clock import NotAClock, moment, read_clock, read_date
from noctuary.archive.gather.frame_header import filter_key
from noctuary.archive.gather.sessions import GatheredSession, Group
from noctuary.archive.yaml_node import Node
from noctuary.quantity import TEMPERATURE, TIME, Kind, NotAQuantity, read, read_number

CLOCK_TOLERANCE = timedelta(minutes=5)


def same_session(root: Node, existing: Sequence[Node], session: GatheredSession, used: set[int]) -> int | None:
    """The written session that these frames belong to: its night, rig and place, and its hours if several."""
    candidates = []
    for index, node in enumerate(existing):
        if index in used or not _may_be_night(node, session):
            continue
        overlap = _overlap_s(node, session)
        rig = node.text("rig") or root.text("rig")
        place = node.text("place") or root.text("place")
        alike = texts_agree(rig, session.kit.rig) + texts_agree(place, session.place)
        # Another rig or place makes another session, unless the frames are the very same.
        if (overlap is None or overlap > 0) and (alike == 2 or _same_frames(node, session)):
            candidates.append((alike == 2, overlap or 0.0, -index, index))
    return max(candidates)[3] if candidates else None


def _may_be_night(node: Node, session: GatheredSession) -> bool:
    """Whether the night is the session's, or the one that universal time gave before the place was known."""
    night = _night(node)
    if night is None or night == session.night:
        return night is not None
    undated = node.get("start") is None and node.get("end") is None and session.clock == "place"
    return undated and abs((night - session.night).days) == 1 and _same_frames(node, session)


def _same_frames(node: Node, session: GatheredSession) -> bool:
    frames = node.get("frames")
    items = frames.items() if frames is not None else []
    return len(items) == len(session.groups) and all(
        any(same_group(item, group, strict=True) and _number(item.text("taken")) == group.taken for item in items)
        for group in session.groups
    )


def texts_agree(written: str | None, gathered: str | None) -> bool:
    return written is None or gathered is None or written == gathered


def _night(node: Node) -> date | None:
    try:
        return read_date(node.text("night") or "")
    except NotAClock:
        return None


def session_span(node: Node, session: GatheredSession) -> tuple[datetime | None, datetime | None]:
    moments: list[datetime | None] = []
    for key in ("start", "end"):
        text = node.text(key)
        try:
            if text is None or session.zone is None:
                moments.append(None)
            else:
                moments.append(moment(read_clock(text), session.night, session.zone))
        except NotAClock:
            moments.append(None)
    return moments[0], moments[1]


def _overlap_s(node: Node, session: GatheredSession) -> float | None:
    start, end = session_span(node, session)
    if start is None or end is None:
        return None
    return min(end.timestamp(), session.end.timestamp()) - max(start.timestamp(), session.start.timestamp())


def same_group(item: Node, group: Group, *, strict: bool) -> bool:
    if not isinstance(item.value, dict):
        return False
    exposure = _quantity(item.text("exposure"), TIME)
    if exposure is not None and group.exposure_s and not math.isclose(exposure, group.exposure_s, rel_tol=0.01):
        return False
    written_filter = item.text("filter")
    if written_filter and group.filter and filter_key(written_filter) != filter_key(group.filter):
        return False
    if not strict:
        return True
    pairs = (
        (_number(item.text("gain")), group.gain),
        (_number(item.text("iso")), group.iso),
        (_number(item.text("binning")) or 1.0, float(group.binning)),
    )
    return all(a is None or b is None or math.isclose(a, b, rel_tol=1e-6) for a, b in pairs)


def same_value(key: str, written: str, gathered: str) -> bool:
    if key in ("exposure", "dark_exposure"):
        a, b = _quantity(written, TIME), _quantity(gathered, TIME)
        return a is not None and b is not None and math.isclose(a, b, rel_tol=0.01)
    if key == "sensor_temperature":
        a, b = _quantity(written, TEMPERATURE), _quantity(gathered, TEMPERATURE)
        return a is not None and b is not None and abs(a - b) <= 2
    if key == "filter":
        return filter_key(written) == filter_key(gathered)
    a, b = _number(written), _number(gathered)
    return a is not None and b is not None and math.isclose(a, b, rel_tol=1e-6)


def _quantity(text: str | None, kind: Kind) -> float | None:
    try:
        return None if text is None else read(text, kind)
    except NotAQuantity:
        return None


def _number(text: str | None) -> float | None:
    try:
        return None if text is None else read_number(text)
    except NotAQuantity:
        return None

"""The beginning and end of sessions as a sidecar writes them: the clock of the place, unambiguous for its night."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime, timedelta
from itertools import pairwise

from noctuary.archive.clock import NotAClock, moment, read_clock
from noctuary.archive.gather.sessions import GatheredSession


def clock_texts(sessions: Sequence[GatheredSession]) -> list[tuple[str, str]]:
    """``start`` and ``end`` of each session as a sidecar writes them.

    To the minute, the beginning rounded down and the end up, so that the shutter was not open for longer than
    the session; to the second where sessions of one rig would overlap by the rounding. With the offset where
    a change of clocks showed the time twice, with the date where the night's rule would give another.
    """
    ends: dict[tuple[object, ...], list[tuple[float, float, int]]] = {}
    for index, session in enumerate(sessions):
        ends.setdefault(session.rig_key, []).append((session.start.timestamp(), session.end.timestamp(), index))
    exact: set[int] = set()
    for spans in ends.values():
        spans.sort()
        for (_, end, before), (start, _, after) in pairwise(spans):
            if math.ceil(end / 60) > math.floor(start / 60):
                exact |= {before, after}
    texts = []
    for index, session in enumerate(sessions):
        step = 1 if index in exact else 60
        begins = _rounded(session.start, step, up=False)
        finishes = _rounded(session.end, step, up=True)
        if finishes <= begins:
            finishes = begins + timedelta(seconds=step)
        texts.append((clock_text(begins, session), clock_text(finishes, session)))
    return texts


def _rounded(moment_of: datetime, step_s: int, *, up: bool) -> datetime:
    # By the timestamp, since arithmetic on local times ignores a change of clocks.
    seconds = moment_of.timestamp() / step_s
    whole = (math.ceil(seconds - 1e-6) if up else math.floor(seconds + 1e-6)) * step_s
    return datetime.fromtimestamp(whole, moment_of.tzinfo)


def clock_text(local: datetime, session: GatheredSession) -> str:
    """A moment as the place's clock showed it, unambiguous for the night it belongs to."""
    shown = f"{local:%H:%M:%S}" if local.second else f"{local:%H:%M}"
    day = session.night if local.hour >= 12 else session.night + timedelta(days=1)
    dated = shown if day == local.date() else f"{local:%Y-%m-%d} {shown}"
    if session.zone is None:
        return dated
    try:
        moment(read_clock(dated), session.night, session.zone)
    except NotAClock:
        offset = local.strftime("%z")
        return f"{dated}{offset[:3]}:{offset[3:5]}"
    return dated

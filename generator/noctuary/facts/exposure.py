"""How much light was gathered for how long: integration, kept share, nights.

A session is counted once however many pictures build on it: every function here takes distinct
sessions, as :meth:`noctuary.archive.records.Archive.sessions_of` gives them.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from noctuary.archive.records import FrameGroup, Session
from noctuary.plain_record import plain_record

UNFILTERED = "unfiltered"


@plain_record
class Integration:
    """Totals over a set of distinct sessions; seconds, counts, and evenings.

    ``span_years`` runs from the first evening to the last, in years of 365.25 days.
    """

    total_s: float
    by_filter_s: dict[str, float]
    by_year_s: dict[int, float]
    kept: int
    taken: int
    kept_share: float | None
    nights: int
    first_night: date | None
    last_night: date | None
    span_years: float | None


def group_integration_s(group: FrameGroup) -> float:
    """Seconds of kept exposure in one frame group: kept × exposure."""
    return group.kept * group.exposure_s


def session_integration_s(session: Session) -> float:
    """Seconds of kept exposure in one session."""
    return sum(group_integration_s(g) for g in session.frames)


def shutter_open_share(session: Session) -> float | None:
    """Σ taken × exposure / (end − start); ``None`` without clock times. Above 1 cannot be."""
    if session.start is None or session.end is None:
        return None
    length_s = session.end.timestamp() - session.start.timestamp()
    if length_s <= 0:
        return None
    return sum(g.taken * g.exposure_s for g in session.frames) / length_s


def distinct(sessions: Iterable[Session]) -> list[Session]:
    """Each session once, in the order of first appearance."""
    return list({s.identity: s for s in sessions}.values())


def integration(sessions: Iterable[Session]) -> Integration:
    """Totals over sessions, each counted once."""
    once = distinct(sessions)
    by_filter: dict[str, float] = {}
    by_year: dict[int, float] = {}
    kept = taken = 0
    for session in once:
        for group in session.frames:
            light_s = group_integration_s(group)
            by_filter[group.filter or UNFILTERED] = by_filter.get(group.filter or UNFILTERED, 0.0) + light_s
            by_year[session.night.year] = by_year.get(session.night.year, 0.0) + light_s
            kept += group.kept
            taken += group.taken
    nights = {s.night for s in once}
    first, last = (min(nights), max(nights)) if nights else (None, None)
    return Integration(
        total_s=sum(by_filter.values()),
        by_filter_s=by_filter,
        by_year_s=dict(sorted(by_year.items())),
        kept=kept,
        taken=taken,
        kept_share=kept / taken if taken else None,
        nights=len(nights),
        first_night=first,
        last_night=last,
        span_years=(last - first).days / 365.25 if first and last else None,
    )

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
NOT_RECORDED = "not recorded"
"""What is written instead of a filter for exposures of which nobody wrote down how they were made."""
#: Sub-exposures below this make a film: what is said of it is its frames, not the moments that they add up to.
FILM_BELOW_S = 1.0


@plain_record
class Integration:
    """Totals over a set of distinct sessions; seconds, counts, and evenings.

    ``total_s`` is what the sessions with recorded exposures come to, ``None`` where none has any;
    ``sessions_not_recorded`` counts the others, so that with one of them the total is a lower bound. ``kept`` and
    ``taken`` are ``None`` where the frames of some session were not counted; ``kept_share`` is over those that were.
    ``span_years`` runs from the first evening to the last, in years of 365.25 days.
    """

    total_s: float | None
    by_filter_s: dict[str, float]
    by_year_s: dict[int, float]
    kept: int | None
    taken: int | None
    kept_share: float | None
    sessions_not_recorded: int
    nights: int
    first_night: date | None
    last_night: date | None
    span_years: float | None


@plain_record
class Frames:
    """Frames of one exposure in seconds: how many are in the picture, of how many taken."""

    exposure_s: float
    kept: int
    taken: int


@plain_record
class Kept:
    """What was kept over many sessions, a year's or a rig's.

    ``kept_s`` of ``taken_s`` seconds exposed on deep-sky objects, ``share`` (0…1) of that, ``None`` without any; by
    time, so that a thousand frames of a film weigh nothing. ``solar_kept`` of ``solar_taken`` frames of the Sun, the
    Moon and planets are counted by themselves.
    """

    kept_s: float
    taken_s: float
    share: float | None
    solar_kept: int
    solar_taken: int


def group_integration_s(group: FrameGroup) -> float:
    """Seconds of kept exposure in one frame group: kept × exposure."""
    return group.kept * group.exposure_s


def session_integration_s(session: Session) -> float | None:
    """Seconds of kept exposure in one session; ``None`` where nobody recorded it."""
    if session.frames:
        return sum(group_integration_s(g) for g in session.frames)
    return session.stated_integration_s


def shutter_open_share(session: Session) -> float | None:
    """Σ taken × exposure / (end − start); ``None`` without clock times or frames. Above 1 cannot be."""
    if session.start is None or session.end is None or not session.frames:
        return None
    length_s = session.end.timestamp() - session.start.timestamp()
    if length_s <= 0:
        return None
    return sum(g.taken * g.exposure_s for g in session.frames) / length_s


def total_of(parts: Iterable[float | None]) -> float | None:
    """What is known of a sum; ``None`` where nothing is."""
    known = [part for part in parts if part is not None]
    return sum(known) if known else None


def distinct(sessions: Iterable[Session]) -> list[Session]:
    """Each session once, in the order of first appearance."""
    return list({s.identity: s for s in sessions}.values())


def by_filter_s(session: Session) -> list[tuple[str, float]]:
    """What one session gave through each filter, in seconds, frame group by frame group."""
    if session.frames:
        return [(group.filter or UNFILTERED, group_integration_s(group)) for group in session.frames]
    stated = session.stated_integration_s
    return [] if stated is None else [(NOT_RECORDED, stated)]


def film(sessions: Iterable[Session]) -> tuple[Frames, ...]:
    """The frames of a film by exposure, in order of first use; nothing where a sub-exposure is 1 s or longer.

    Where the exposures of some session are not recorded, nobody can tell.
    """
    by_exposure: dict[float, list[int]] = {}
    for session in distinct(sessions):
        if not session.frames or any(g.exposure_s >= FILM_BELOW_S for g in session.frames):
            return ()
        for group in session.frames:
            counts = by_exposure.setdefault(group.exposure_s, [0, 0])
            counts[0] += group.kept
            counts[1] += group.taken
    return tuple(Frames(exposure, kept, taken) for exposure, (kept, taken) in by_exposure.items())


def kept_of(deep_sky: Iterable[Session], solar_system: Iterable[Session]) -> Kept:
    """What was kept of the light of deep-sky sessions, and of the frames of the Sun, the Moon and planets."""
    groups = [g for s in distinct(deep_sky) for g in s.frames]
    frames = [g for s in distinct(solar_system) for g in s.frames]
    kept_s = sum(group_integration_s(g) for g in groups)
    taken_s = sum(g.taken * g.exposure_s for g in groups)
    share = kept_s / taken_s if taken_s else None
    return Kept(kept_s, taken_s, share, sum(g.kept for g in frames), sum(g.taken for g in frames))


def integration(sessions: Iterable[Session]) -> Integration:
    """Totals over sessions, each counted once."""
    once = distinct(sessions)
    by_filter: dict[str, float] = {}
    by_year: dict[int, float] = {}
    for session in once:
        for name, light_s in by_filter_s(session):
            by_filter[name] = by_filter.get(name, 0.0) + light_s
            by_year[session.night.year] = by_year.get(session.night.year, 0.0) + light_s
    groups = [group for session in once for group in session.frames]
    kept, taken = sum(g.kept for g in groups), sum(g.taken for g in groups)
    counted = all(session.frames for session in once) and bool(once)
    nights = {s.night for s in once}
    first, last = (min(nights), max(nights)) if nights else (None, None)
    return Integration(
        total_s=sum(by_filter.values()) if by_filter else None,
        by_filter_s=by_filter,
        by_year_s=dict(sorted(by_year.items())),
        kept=kept if counted else None,
        taken=taken if counted else None,
        kept_share=kept / taken if taken else None,
        sessions_not_recorded=sum(session_integration_s(s) is None for s in once),
        nights=len(nights),
        first_night=first,
        last_night=last,
        span_years=(last - first).days / 365.25 if first and last else None,
    )

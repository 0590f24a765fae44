"""How a session, a night and a year went: what became of the time there was.

A record says when a session began and ended and how much was exposed in between, not when each frame was. So the
exposures of a session are taken to lie evenly between its start and its end, wherever a part of it is asked for.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from itertools import pairwise

from noctuary.archive.records import Session
from noctuary.plain_record import plain_record

Darkness = tuple[datetime, datetime] | None
"""From when to when it is astronomically dark (aware), or ``None`` where a night has no darkness."""


@plain_record
class SessionUse:
    """What became of the time between a session's start and its end.

    ``length_s`` = ``kept_s`` + ``rejected_s`` + ``paused_s``, in seconds: exposures that were kept, exposures that
    were not, and the shutter closed. ``open_share`` (0…1) is the exposures taken over the length, ``kept_share``
    (0…1) the frames kept over the frames taken, ``None`` without frames. ``dark_s`` is the part of the length in
    astronomical darkness, ``None`` where that is not known or not to be published.
    """

    identity: tuple[str, int]
    length_s: float
    kept_s: float
    rejected_s: float
    paused_s: float
    dark_s: float | None
    kept_share: float | None

    @property
    def open_share(self) -> float:
        return (self.kept_s + self.rejected_s) / self.length_s


@plain_record
class DarkUse:
    """What became of the astronomical darkness of a night at a place, or of several such, in seconds.

    ``dark_s`` = ``kept_s`` + ``rejected_s`` + ``paused_s`` + ``unused_s``: darkness exposed and kept, exposed and not
    kept, within a session but with the shutter closed, and outside of every session. ``place`` is ``None`` for a sum
    over places; ``nights`` counts evenings, each at each place.

    Where sessions run at the same time (several rigs), a moment counts once, as it does in the session that has
    the greatest share of it: two rigs that expose for the same hour use one hour of darkness.
    """

    place: str | None
    nights: int
    dark_s: float
    kept_s: float
    rejected_s: float
    paused_s: float
    unused_s: float

    @property
    def used_s(self) -> float:
        """Darkness with a shutter open, in seconds."""
        return self.kept_s + self.rejected_s

    @property
    def used_share(self) -> float:
        """Darkness with a shutter open over the darkness there was, 0…1."""
        return self.used_s / self.dark_s


@plain_record
class NightUse:
    """How a night went: its sessions that have clock times, and its darkness at each place that is known.

    ``darkness`` leaves out a place where some session has no clock times, where the night has no darkness, and where
    nobody exposed in it (a day at the Sun is no lost night).
    """

    sessions: tuple[SessionUse, ...]
    darkness: tuple[DarkUse, ...]


@plain_record
class _Run:
    """A session as a stretch of time, seconds of the epoch, with its shares of exposure, 0…1."""

    start: float
    end: float
    taken: float
    kept: float


def session_use(session: Session, darkness: Darkness, darkness_known: bool = True) -> SessionUse | None:
    """How a session went; ``None`` without clock times or frames, or with an end that is not after the start.

    More exposed than there was time cannot be (:mod:`noctuary.facts.plausibility` says so); here it is cut to the
    length.
    """
    run = _run(session)
    if run is None:
        return None
    length = run.end - run.start
    taken = sum(g.taken for g in session.frames)
    return SessionUse(
        identity=session.identity,
        length_s=length,
        kept_s=run.kept * length,
        rejected_s=(run.taken - run.kept) * length,
        paused_s=(1.0 - run.taken) * length,
        dark_s=_common(run, darkness) if darkness_known else None,
        kept_share=sum(g.kept for g in session.frames) / taken if taken else None,
    )


def night_use(sessions: Sequence[Session], darkness: Mapping[tuple[str, date], Darkness]) -> NightUse:
    """How the sessions of one evening went; ``darkness`` by the place's name and the evening."""
    used = []
    for session in sessions:
        key = (session.place.name, session.night) if session.place is not None else None
        used.append(session_use(session, darkness.get(key) if key else None, key in darkness))
    places: dict[tuple[str, date], list[Session]] = {}
    for session in sessions:
        if session.place is not None:
            places.setdefault((session.place.name, session.night), []).append(session)
    accounts = (_dark_use(place[0], group, darkness.get(place)) for place, group in places.items())
    return NightUse(
        sessions=tuple(u for u in used if u is not None), darkness=tuple(a for a in accounts if a is not None)
    )


def dark_sum(accounts: Iterable[DarkUse]) -> DarkUse | None:
    """Several accounts of darkness added up; ``None`` where there is none."""
    every = list(accounts)
    if not every:
        return None
    return DarkUse(
        place=None,
        nights=sum(a.nights for a in every),
        dark_s=sum(a.dark_s for a in every),
        kept_s=sum(a.kept_s for a in every),
        rejected_s=sum(a.rejected_s for a in every),
        paused_s=sum(a.paused_s for a in every),
        unused_s=sum(a.unused_s for a in every),
    )


def _dark_use(place: str, sessions: Sequence[Session], darkness: Darkness) -> DarkUse | None:
    runs = [_run(s) for s in sessions]
    timed = [r for r in runs if r is not None]
    if darkness is None or len(timed) < len(runs) or not any(_common(r, darkness) > 0 and r.taken > 0 for r in timed):
        return None
    dusk, dawn = (t.timestamp() for t in darkness)
    edges = {min(max(t, dusk), dawn) for r in timed for t in (r.start, r.end)}
    kept = opened = covered = 0.0
    for begin, end in pairwise(sorted(edges)):
        running = [r for r in timed if r.start < end and r.end > begin]
        if running:
            covered += end - begin
            opened += max(r.taken for r in running) * (end - begin)
            kept += max(r.kept for r in running) * (end - begin)
    return DarkUse(
        place=place,
        nights=1,
        dark_s=dawn - dusk,
        kept_s=kept,
        rejected_s=opened - kept,
        paused_s=covered - opened,
        unused_s=(dawn - dusk) - covered,
    )


def _run(session: Session) -> _Run | None:
    if session.start is None or session.end is None or not session.frames:
        return None
    start, end = session.start.timestamp(), session.end.timestamp()
    if end <= start:
        return None
    taken = min(sum(g.taken * g.exposure_s for g in session.frames) / (end - start), 1.0)
    kept = min(sum(g.kept * g.exposure_s for g in session.frames) / (end - start), taken)
    return _Run(start, end, taken, kept)


def _common(run: _Run, darkness: Darkness) -> float:
    """Seconds of a session in the darkness."""
    if darkness is None:
        return 0.0
    return max(0.0, min(run.end, darkness[1].timestamp()) - max(run.start, darkness[0].timestamp()))

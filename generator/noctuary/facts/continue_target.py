"""What to set to add to a target: the rig, where to point it, what to expose, and what is still wanting.

Common practice throughout: new frames go with old ones when focal length, field and angle are the same, and darks go
with lights when exposure, gain or ISO, binning and temperature are the same.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from datetime import date

from noctuary.archive.records import FrameGroup, Place, Rig, Session
from noctuary.facts.depth import hours_to_half_magnitude
from noctuary.facts.exposure import distinct, group_integration_s
from noctuary.facts.picture import PictureFacts
from noctuary.plain_record import plain_record

#: What passes the whole of the visible light, by its letters: these gather the picture's light, and the others divide
#: it. How much of each there is, is a person's choice and is kept; within each kind hours are made even.
WHOLE_LIGHT = frozenset({"l", "lum", "luminance", "clear", "uvir", "uvircut", "iruvcut", "ircut"})
#: Darks within so many degrees of the lights are taken for the same: what a cooled sensor holds.
SAME_TEMPERATURE_C = 1.0


@plain_record
class Pointing:
    """Where to point: ICRS degrees, and the position angle of the picture's up where a picture says so."""

    ra_deg: float
    dec_deg: float
    position_angle_deg: float | None
    mirrored: bool
    picture_id: str | None


@plain_record
class Setting:
    """One filter (``None``: none) as it was last used, and what it still lacks.

    ``have_s``: seconds through it with this rig; ``lacks``: the share (0 to 1) by which that is less than what the
    filter of its kind with most has (:data:`WHOLE_LIGHT`); ``next_s``: its part of the hours to come: the two kinds
    keep the balance that they have, and within each the filters end as even as they can;
    ``next_subs``: that in whole sub-exposures, rounded up.
    """

    filter: str | None
    exposure_s: float
    gain: float | None
    iso: float | None
    binning: int
    sensor_temperature_c: float | None
    have_s: float
    lacks: float
    next_s: float | None
    next_subs: int | None


@plain_record
class Darks:
    """Darks that the settings ask for, and the latest that match: how many, of which night; ``None``: none yet."""

    exposure_s: float
    gain: float | None
    iso: float | None
    binning: int
    sensor_temperature_c: float | None
    frames: int | None
    night: date | None


@plain_record
class Continuation:
    """``half_magnitude_h``: hours with this rig until everything together goes half a magnitude deeper."""

    rig: Rig
    place: Place | None
    pointing: Pointing | None
    half_magnitude_h: float | None
    settings: tuple[Setting, ...]
    darks: tuple[Darks, ...]


def continuation(
    sessions: Sequence[Session],
    pictures: Iterable[PictureFacts],
    centre: tuple[float, float] | None,
    darks: Sequence[Session],
    fields: Sequence[Sequence[Session]] | None = None,
) -> Continuation | None:
    """What to set to add to a target with the rig that was last turned to it; ``None`` without a session of which the
    rig is known.

    ``sessions`` are the target's, ``pictures`` its pictures, ``centre`` its own ICRS place in degrees, and
    ``darks`` what :func:`with_darks` found, whatever the target. ``fields`` are the sessions by the piece of sky that
    they were for, one unless said otherwise.
    """
    once = sorted(distinct(sessions), key=_clock)
    rigged = [(s, s.rig) for s in once if s.rig is not None]
    if not rigged:
        return None
    latest, rig = rigged[-1]
    hours = hours_to_half_magnitude(fields or [once])
    settings = _settings([s for s, its in rigged if its.name == rig.name], hours)
    return Continuation(
        rig=rig,
        place=latest.place,
        pointing=_pointing(rig, tuple(pictures), centre),
        half_magnitude_h=hours,
        settings=settings,
        darks=_darks(settings, rig.camera.name, darks) if rig.camera is not None else (),
    )


def with_darks(sessions: Iterable[Session]) -> tuple[Session, ...]:
    """The sessions that darks were made for, each once, newest first."""
    made = (s for s in distinct(sessions) if s.calibration is not None and s.calibration.darks)
    return tuple(sorted(made, key=_clock, reverse=True))


def evenly(have: Sequence[float], more: float) -> tuple[float, ...]:
    """How ``more`` is shared out so that what there is ends as even as it can: the least is filled up first.

    All values 0 or more, in one unit; the parts sum to ``more``, and none is taken away from.
    """
    if not have:
        return ()
    rising = sorted(have)
    # The level that the first n values reach when they alone share it out; the right n is the last that is reached.
    level = next(
        value
        for n in range(len(rising), 0, -1)
        if (value := (sum(rising[:n]) + more) / n) >= rising[n - 1] or n == 1
    )
    return tuple(max(0.0, level - value) for value in have)


def _settings(sessions: Sequence[Session], hours: float | None) -> tuple[Setting, ...]:
    """The filters of one rig in the order of first use; ``sessions`` oldest first."""
    have: dict[str | None, float] = {}
    latest: dict[str | None, FrameGroup] = {}
    for session in sessions:
        most: dict[str | None, FrameGroup] = {}
        for group in session.frames:
            have[group.filter] = have.get(group.filter, 0.0) + group_integration_s(group)
            known = most.get(group.filter)
            if known is None or group_integration_s(group) > group_integration_s(known):
                most[group.filter] = group
        latest |= most
    if not have:  # the frames of no session were recorded
        return ()
    total = sum(have.values())
    top: dict[str | None, float] = {}
    parts: dict[str | None, float] = {}
    for whole in (True, False):
        kind = {name: light for name, light in have.items() if _passes_all(name) == whole}
        top |= dict.fromkeys(kind, max(kind.values(), default=0.0))
        if hours is not None:
            # Where this rig has no light yet there is no balance to keep: all of it is one kind.
            share = sum(kind.values()) / total if total > 0 else len(kind) / len(have)
            parts |= zip(kind, evenly(tuple(kind.values()), share * hours * 3600), strict=True)
    return tuple(
        Setting(
            filter=name,
            exposure_s=latest[name].exposure_s,
            gain=latest[name].gain,
            iso=latest[name].iso,
            binning=latest[name].binning,
            sensor_temperature_c=latest[name].sensor_temperature_c,
            have_s=light,
            lacks=1 - light / top[name] if top[name] > 0 else 0.0,
            next_s=parts.get(name),
            # What is a millionth of a sub over a whole number is rounding, not another sub.
            next_subs=math.ceil(parts[name] / latest[name].exposure_s - 1e-6) if name in parts else None,
        )
        for name, light in have.items()
    )


def _passes_all(name: str | None) -> bool:
    return name is None or "".join(c for c in name.casefold() if c.isalnum()) in WHOLE_LIGHT


def _pointing(rig: Rig, pictures: tuple[PictureFacts, ...], centre: tuple[float, float] | None) -> Pointing | None:
    """The newest placed picture with the rig, else the newest placed, else the target's own place."""
    newest_first = sorted(pictures, key=lambda f: (f.picture.finished, f.picture.id), reverse=True)
    placed = [f for f in newest_first if f.placement is not None]
    own = [f for f in placed if f.optics is not None and f.optics.rig == rig.name]
    for facts in (*own, *placed):
        if facts.placement is not None:
            p = facts.placement
            return Pointing(*p.centre, p.position_angle_deg, p.mirrored, facts.picture.id)
    return Pointing(*centre, None, False, None) if centre is not None else None


def _darks(settings: Iterable[Setting], camera: str, newest_first: Sequence[Session]) -> tuple[Darks, ...]:
    """What darks the settings ask for, each once, with the latest of one camera's that match."""
    wanted = dict.fromkeys((s.exposure_s, s.gain, s.iso, s.binning, s.sensor_temperature_c) for s in settings)
    darks = []
    for exposure, gain, iso, binning, temperature in wanted:
        recorded = next(
            (
                s
                for s in newest_first
                if _camera(s) == camera and _match(s, exposure, gain, iso, binning, temperature)
            ),
            None,
        )
        frames = recorded.calibration.darks if recorded and recorded.calibration else None
        darks.append(Darks(exposure, gain, iso, binning, temperature, frames, recorded.night if recorded else None))
    return tuple(darks)


def _camera(session: Session) -> str | None:
    return session.rig.camera.name if session.rig is not None and session.rig.camera is not None else None


def _match(
    session: Session, exposure: float, gain: float | None, iso: float | None, binning: int, temperature: float | None
) -> bool:
    """Whether a session's darks go with such lights. What its record does not say of them is as its lights were."""
    made = session.calibration
    if made is None or not made.darks:
        return False
    exposures = {made.dark_exposure_s} if made.dark_exposure_s is not None else {g.exposure_s for g in session.frames}
    gains = {made.dark_gain} if made.dark_gain is not None else {g.gain for g in session.frames}
    isos = {made.dark_iso} if made.dark_iso is not None else {g.iso for g in session.frames}
    held = {made.dark_temperature_c} if made.dark_temperature_c is not None else {
        g.sensor_temperature_c for g in session.frames
    }  # fmt: skip
    # Of lights of several kinds nobody can say which the darks were made for.
    if max(map(len, (exposures, gains, isos, held))) > 1 or {g.binning for g in session.frames} != {binning}:
        return False
    (its_exposure,), (its_gain,), (its_iso,), (its_temperature,) = exposures, gains, isos, held
    if its_temperature is None or temperature is None:
        same = its_temperature is temperature
    else:
        same = abs(its_temperature - temperature) <= SAME_TEMPERATURE_C
    return same and math.isclose(its_exposure, exposure) and (its_gain, its_iso) == (gain, iso)


def _clock(session: Session) -> tuple[date, float, tuple[str, int]]:
    return session.night, session.start.timestamp() if session.start else 0.0, session.identity

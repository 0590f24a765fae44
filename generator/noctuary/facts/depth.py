"""How deep a picture goes: light gathered, depth against a reference, what half a magnitude costs.

Under a sky-limited exposure the square of signal to noise adds up over sessions, as light over the brightness of the
sky. A source just above the noise is fainter by 1.25·log10 of the ratio of that sum (2.5 · ½).

Every function takes distinct sessions on deep-sky objects. On the Sun, the Moon and planets nothing is limited by
the sky, and depth says nothing. A mosaic has several fields, each with the sessions that shine on it; what is said
of the whole is what its least field has.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

from noctuary.archive.records import Rig, Session
from noctuary.facts.exposure import distinct, group_integration_s, session_integration_s, total_of
from noctuary.facts.filters import narrowband
from noctuary.facts.optics import collecting_area_m2, sky_brightness
from noctuary.plain_record import plain_record

REFERENCE_SKY = 21.0
HALF_MAGNITUDE = 10**0.4


@plain_record
class Depth:
    """How deep the light of some sessions goes, and what counts in it.

    ``mag``: mag/arcsec² against one hour with the reference rig under a sky of 21.0, ``None`` where no session's
    sky is known, without light and without a reference. ``hours``, ``light_m2_h`` and ``weighed_m2_h`` (each
    session's light times 10^(0.4·(its sky − 21.0))) are those of the sessions that count; ``narrowband_h`` is the
    part of the hours through narrowband filters. ``sessions_without_sky`` were under a sky that nobody recorded, and
    of ``sessions_without_light`` the aperture or the exposures are not known: they add nothing, and with one of them
    the depth is a lower bound.
    """

    mag: float | None
    hours: float
    light_m2_h: float
    weighed_m2_h: float
    narrowband_h: float
    sessions_without_sky: int
    sessions_without_light: int

    @property
    def at_least(self) -> bool:
        """Whether the depth is a lower bound."""
        return self.mag is not None and self.sessions_without_sky + self.sessions_without_light > 0


def light_m2_h(sessions: Iterable[Session]) -> float | None:
    """Σ π/4 · D² × integration in m²·h over distinct sessions, each with its own rig.

    A session whose aperture or integration is not known adds nothing; ``None`` where that holds of all.
    """
    return total_of(_light_m2_h(s) for s in distinct(sessions))


def _light_m2_h(session: Session) -> float | None:
    area, light_s = collecting_area_m2(session.rig), session_integration_s(session)
    return area * light_s / 3600 if area is not None and light_s is not None else None


def depth_of(sessions: Iterable[Session], reference: Rig | None) -> Depth:
    """The depth of everything that distinct sessions gathered together.


    ``1.25 · log10( Σ light_i · 10^(0.4·(sky_i − 21.0)) / reference light )``, each session with its own rig and its
    own sky. It never falls when light is added.
    """
    hours = light = weighed = narrow = 0.0
    without_sky = without_light = 0
    for session in distinct(sessions):
        its_light, sky = _light_m2_h(session), sky_brightness(session)
        if its_light == 0:
            continue
        if sky is None:
            without_sky += 1
        elif its_light is None:
            without_light += 1
        else:
            hours += (session_integration_s(session) or 0.0) / 3600
            narrow += sum(group_integration_s(g) for g in session.frames if narrowband(g.filter)) / 3600
            light += its_light
            weighed += its_light * _darker(sky)
    area = collecting_area_m2(reference)
    mag = 1.25 * math.log10(weighed / area) if area is not None and weighed > 0 else None
    return Depth(mag, hours, light, weighed, narrow, without_sky, without_light)


def light_of_fields(fields: Iterable[Sequence[Session]]) -> float | None:
    """The light in m²·h that every field has: the least of theirs; ``None`` where that of one is not known."""
    lights = [light_m2_h(sessions) for sessions in fields]
    known = [light for light in lights if light is not None]
    return min(known) if known and len(known) == len(lights) else None


def depth_of_fields(fields: Sequence[Sequence[Session]], reference: Rig | None) -> Depth:
    """The depth that every field has: the least of theirs, unknown where one of them is."""
    depths = [depth_of(sessions, reference) for sessions in fields]
    if not depths:
        return depth_of((), reference)
    everything = depth_of((s for sessions in fields for s in sessions), reference)
    return replace(
        min(depths, key=lambda d: (d.mag is not None, d.mag or 0.0)),
        sessions_without_sky=everything.sessions_without_sky,
        sessions_without_light=everything.sessions_without_light,
    )


def hours_to_half_magnitude(fields: Sequence[Sequence[Session]]) -> float | None:
    """Hours still needed on the latest rig until every field is 0.5 mag deeper than the least is now.

    For one field: what it has × (10^0.4 − 1) over what an hour of the latest rig adds, under the sky of the latest
    session where all skies are known, else as if all were alike. ``None`` where some field has no light.
    """
    lit = [[s for s in distinct(sessions) if (_light_m2_h(s) or 0.0) > 0] for sessions in fields]
    if not lit or not all(lit):
        return None
    latest = max((s for part in lit for s in part), key=lambda s: (s.night, _clock(s), s.identity))
    known = all(sky_brightness(s) is not None for part in lit for s in part)

    def worth(session: Session) -> float:
        sky = sky_brightness(session)
        return _darker(sky) if known and sky is not None else 1.0

    have = [sum((_light_m2_h(s) or 0.0) * worth(s) for s in part) for part in lit]
    goal = min(have) * HALF_MAGNITUDE
    an_hour = (collecting_area_m2(latest.rig) or 0.0) * worth(latest)
    return sum(max(0.0, goal - amount) for amount in have) / an_hour


def _clock(session: Session) -> float:
    return session.start.timestamp() if session.start else 0.0


def _darker(sky: float) -> float:
    """How much darker a sky is than the reference, as a ratio of brightness."""
    return float(10 ** (0.4 * (sky - REFERENCE_SKY)))

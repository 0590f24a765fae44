"""Rules about the sky of a session: the Sun, the Moon, the altitude of the target, the brightness of the sky.

Places that are not published exactly are known to half a degree each way, which moves altitudes by up to
0.75°: so much is granted before the Sun or a target counts as too high or too low.
"""

from __future__ import annotations

from collections.abc import Iterator

from noctuary.archive.records import Picture, Session
from noctuary.facts.filters import narrowband
from noctuary.facts.rules.rule import Case, Sighting, at, rule

SUN_DEG = -12.0
COARSE_PLACE_DEG = 0.75
MOON_BRIGHT = 0.5
MOON_NEAR_DEG = 40.0
SKY_BRIGHTEST, SKY_DARKEST = 16.0, 22.1


def _leeway_deg(session: Session) -> float:
    return 0.0 if session.place is not None and session.place.publish == "exact" else COARSE_PLACE_DEG


@rule(
    "sun-up", "doubt",
    "With the Sun above −12° the sky is too bright for a deep-sky object.",
    "frames of a galaxy until 05:40 in June",
    "−12° is the beginning of nautical night by definition of the almanac offices",
)  # fmt: skip
def sun_up(case: Case) -> Iterator[Sighting]:
    for picture, session in case.sessions:
        facts = case.session_facts.get(session.identity)
        if facts is None or facts.sky is None or not case.deep_sky(session):
            continue
        heights = {"start": facts.sky.sun_altitude_start_deg, "end": facts.sky.sun_altitude_end_deg}
        key = max(heights, key=lambda k: heights[k])
        # A session over the whole of a day is dark at both ends.
        height = max(heights[key], facts.sky.sun_altitude_middle_deg)
        if height > SUN_DEG + _leeway_deg(session):
            yield Sighting(
                at(picture, session, key),
                f"the Sun stood at {height:.0f}° during the session",
                "correct the times, or the place and its time zone",
                (picture,),
            )


@rule(
    "target-under-ground", "doubt",
    "What is below the horizon cannot be photographed.",
    "the Southern Cross from 51° north",
)  # fmt: skip
def target_under_ground(case: Case) -> Iterator[Sighting]:
    for picture, session, least, key in _lowest(case):
        if least < -_leeway_deg(session):
            yield Sighting(
                at(picture, session, *key),
                f"{session.target} stood at {least:.0f}°, below the horizon",
                "correct the times, the place, or the object",
                (picture,),
            )


@rule(
    "target-low", "doubt",
    "Below the archive's own horizon limit an object is not worth shooting.",
    "Lagoon Nebula at 9° with a limit of 30°",
    "the limit is the archive's, 30° unless archive.yaml says otherwise",
)  # fmt: skip
def target_low(case: Case) -> Iterator[Sighting]:
    for picture, session, least, key in _lowest(case):
        leeway = _leeway_deg(session)
        if case.deep_sky(session) and -leeway <= least < case.archive.horizon_deg - leeway:
            yield Sighting(
                at(picture, session, *key),
                f"{session.target} stood at {least:.0f}°, below the limit of {case.archive.horizon_deg:g}°",
                "correct the times or the place, or lower horizon: in archive.yaml",
                (picture,),
            )


def _lowest(case: Case) -> Iterator[tuple[Picture, Session, float, tuple[str, ...]]]:
    """The least altitude of each session's target, and what to look at: an end, or both where it was in between."""
    for picture, session in case.sessions:
        facts = case.session_facts.get(session.identity)
        if facts is None or facts.sky is None or facts.sky.target_altitude_least_deg is None:
            continue
        least = facts.sky.target_altitude_least_deg
        ends = {"start": facts.sky.target_altitude_start_deg, "end": facts.sky.target_altitude_end_deg}
        key = next((key for key, altitude in ends.items() if altitude == least), None)
        yield picture, session, least, (key,) if key else ()


@rule(
    "moon-bright-and-near", "doubt",
    "Moonlight near the target drowns it in a broadband filter.",
    "a full Moon 20° from the galaxy, luminance",
    "common practice: broadband away from a Moon more than half lit, within 40° of it narrowband",
)  # fmt: skip
def moon_bright_and_near(case: Case) -> Iterator[Sighting]:
    for picture, session in case.sessions:
        facts = case.session_facts.get(session.identity)
        if facts is None or facts.sky is None or not case.deep_sky(session):
            continue
        sky, apart = facts.sky, facts.sky.moon_separation_deg
        broadband = any(not narrowband(g.filter) for g in session.frames)
        bright = sky.moon_illuminated_fraction >= MOON_BRIGHT and sky.moon_altitude_middle_deg > 0
        if broadband and bright and apart is not None and apart < MOON_NEAR_DEG:
            yield Sighting(
                at(picture, session),
                f"the Moon, {100 * sky.moon_illuminated_fraction:.0f} % lit, was {apart:.0f}° from {session.target}",
                "correct the night, or answer the doubt with what was gained all the same",
                (picture,),
            )


@rule(
    "sky-brightness", "doubt",
    "No sky over land is darker than 22.1 mag/arcsec², and at 16 nobody photographs nebulae.",
    "sky_brightness: 12.1",
    "common practice: natural sky about 22, centre of a large town about 17",
)  # fmt: skip
def sky_brightness(case: Case) -> Iterator[Sighting]:
    hint = "write mag/arcsec2: about 22 on a dark mountain, 18 in a town"
    for picture, session in case.sessions:
        if (message := _odd_sky(session.sky_brightness)) is not None:
            yield Sighting(at(picture, session, "sky_brightness"), message, hint, (picture,))
    for place in case.archive.places.values():
        if (message := _odd_sky(place.sky_brightness)) is not None:
            yield Sighting(place.mark, f"{place.name}: {message}", hint)
    for night in case.archive.nights:
        if (message := _odd_sky(night.sky_brightness)) is not None:
            yield Sighting(night.mark, message, hint)


def _odd_sky(sky: float | None) -> str | None:
    if sky is None or SKY_BRIGHTEST <= sky <= SKY_DARKEST:
        return None
    return f"a sky of {sky:g} mag/arcsec² is {'brighter than 16' if sky < SKY_BRIGHTEST else 'darker than 22.1'}"

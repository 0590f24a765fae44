"""The rules by which a readable record cannot be true (a fault) or is unlikely (a doubt).

One function a rule, registered in :data:`RULES` with its reason and an example, from which the README's list is
made; the rules about optics are in :mod:`noctuary.facts.rules.optics`. A rule looks at a :class:`Case` and yields
sightings; it never prints and never changes anything. A doubt that its sidecar answers in ``accepted_doubts`` is no
finding; a fault cannot be answered away.

Places that are not published exactly are known to half a degree each way, which moves altitudes by up to
0.75°: so much is granted before the Sun or a target counts as too high or too low.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import date
from itertools import combinations

from noctuary.archive.records import Archive, FrameGroup, Picture, Session
from noctuary.diagnostic import Diagnostic, Mark, in_order
from noctuary.facts.archive_facts import ArchiveFacts
from noctuary.facts.exposure import shutter_open_share
from noctuary.facts.filters import narrowband
from noctuary.facts.optics import focal_length_mm, image_scale_arcsec_px
from noctuary.facts.picture import PictureFacts
from noctuary.facts.rules import optics  # noqa: F401 — its rules register themselves
from noctuary.facts.rules.rule import RULES, Case, Sighting
from noctuary.facts.rules.rule import rule as _rule
from noctuary.geometry import separation_deg
from noctuary.text import hours_and_minutes

__all__ = ["RULES", "judge", "narrowband", "untracked"]

FIRST_PHOTOGRAPH = 1826
"""Niépce's view from the window at Le Gras, the oldest photograph that survives, is dated to 1826 or 1827."""

SUN_DEG = -12.0
COARSE_PLACE_DEG = 0.75
MOON_BRIGHT = 0.5
MOON_NEAR_DEG = 40.0
DARKS_EXPOSURE = 0.01
DARKS_TEMPERATURE_C = 2.0
SKY_BRIGHTEST, SKY_DARKEST = 16.0, 22.1
SIDEREAL_ARCSEC_S = 15.04
TRAIL_MOST_PX = 10.0
DUTY_LEAST = 0.40
PAUSE_TIMER_S, PAUSE_GAIN_S = 5.0, 2.0
PAUSED_FROM_S = 10.0
SENSOR_WARM_C = 2.0
VERSION_MOST, VERSION_LEAST = 10.0, 1 / 3
NAMED_AT_MOST = 3


def judge(archive: Archive, facts: ArchiveFacts, today: date) -> list[Diagnostic]:
    """Everything that cannot be or is unlikely, in order; doubts that their sidecars answer are left out."""
    case = Case(archive, facts, today)
    findings = []
    for rule in RULES.values():
        for sighting in rule.sightings(case):
            answered = any(rule.name in picture.accepted_doubts for picture in sighting.answered_by)
            if rule.level == "fault" or not answered:
                findings.append(Diagnostic(sighting.mark, rule.level, rule.name, sighting.message, sighting.hint))
    return in_order(findings)


def _at(picture: Picture, session: Session, *path: str | int) -> Mark:
    return picture.marks.at("sessions", session.index, *path)


def _leeway_deg(session: Session) -> float:
    return 0.0 if session.place is not None and session.place.publish == "exact" else COARSE_PLACE_DEG


def _length_s(session: Session) -> float | None:
    if session.start is None or session.end is None:
        return None
    return session.end.timestamp() - session.start.timestamp()


# Faults: what cannot be.


@_rule(
    "shutter-open-too-long", "fault",
    "The exposures taken add up to more than the time between start and end.",
    "eleven hours of exposure between 19:00 and 04:00",
)  # fmt: skip
def shutter_open_too_long(case: Case) -> Iterator[Sighting]:
    for picture, session in case.sessions:
        share, length = shutter_open_share(session), _length_s(session)
        if share is not None and length is not None and share > 1 + 1e-9:
            yield Sighting(
                _at(picture, session),
                f"the shutter was open for {hours_and_minutes(share * length)} in a session of "
                f"{hours_and_minutes(length)}",
                "correct start and end, or the number and length of the exposures",
                (picture,),
            )


@_rule(
    "sessions-overlap", "fault",
    "One rig cannot point at two targets at once.",
    "a session of the same rig ends at 23:30, the next begins at 23:10",
    "common practice: several targets in one night are ordinary, one after the other",
)  # fmt: skip
def sessions_overlap(case: Case) -> Iterator[Sighting]:
    by_rig: dict[str, list[tuple[float, float, Picture, Session]]] = {}
    for picture, session in case.sessions:
        if session.rig is not None and session.start is not None and session.end is not None:
            span = session.start.timestamp(), session.end.timestamp()
            by_rig.setdefault(session.rig.name, []).append((*span, picture, session))
    for rig, spans in by_rig.items():
        spans.sort(key=lambda s: (s[0], s[1], s[2].finished, s[2].id, s[3].index))
        running: list[tuple[float, float, Picture, Session]] = []
        for begun in spans:
            start, _, picture, session = begun
            running = [r for r in running if r[1] > start]
            for _, _, other_picture, other in running:
                if _same_session(case, other_picture, other, picture, session):
                    continue
                # Of a draft and a finished record it is the draft that is wrong.
                told = [(picture, session), (other_picture, other)]
                (here, its), (there, at) = told[::-1] if other_picture.draft and not picture.draft else told
                yield Sighting(
                    _at(here, its, "start"),
                    f"{rig} was {_on(at.target)} until {at.end:%H:%M} ({there.sidecar})",
                    "correct the times, or name the rig that was used",
                    (here,),
                )
            running.append(begun)


def _on(target: str | None) -> str:
    return f"on {target}" if target is not None else "at work"


@_rule(
    "kept-over-taken", "fault",
    "No more exposures can be in the picture than were taken.",
    "kept: 62, taken: 55",
)  # fmt: skip
def kept_over_taken(case: Case) -> Iterator[Sighting]:
    for picture, session in case.sessions:
        for row, group in enumerate(session.frames):
            if group.kept > group.taken:
                yield Sighting(
                    _at(picture, session, "frames", row, "kept"),
                    f"{group.kept} frames were kept of {group.taken} taken",
                    "correct one of the two; they may have changed places",
                    (picture,),
                )


@_rule(
    "night-in-future", "fault",
    "A night that has not come yet has no frames.",
    "night: 2205-01-18",
)  # fmt: skip
def night_in_future(case: Case) -> Iterator[Sighting]:
    for picture, session in case.sessions:
        if session.night > case.today:
            yield Sighting(
                _at(picture, session, "night"),
                f"the night of {session.night} is still to come",
                f"correct the date; today is {case.today}",
                (picture,),
            )


@_rule(
    "night-before-photography", "fault",
    "There was no camera before 1826.",
    "night: 1825-01-18",
    "the oldest surviving photograph, the view from the window at Le Gras, 1826 or 1827 (from memory)",
)  # fmt: skip
def night_before_photography(case: Case) -> Iterator[Sighting]:
    for picture, session in case.sessions:
        if session.night.year < FIRST_PHOTOGRAPH:
            yield Sighting(
                _at(picture, session, "night"),
                f"the night of {session.night} is before the first photograph",
                "correct the year",
                (picture,),
            )


# Doubts: what is unlikely.


@_rule(
    "sun-up", "doubt",
    "With the Sun above −12° the sky is too bright for a deep-sky object.",
    "frames of a galaxy until 05:40 in June",
    "−12° is the beginning of nautical night by definition of the almanac offices",
)  # fmt: skip
def sun_up(case: Case) -> Iterator[Sighting]:
    for picture, session in case.sessions:
        facts = case.seen.get(session.identity)
        if facts is None or facts.sky is None or not case.deep_sky(session):
            continue
        heights = {"start": facts.sky.sun_altitude_start_deg, "end": facts.sky.sun_altitude_end_deg}
        key = max(heights, key=lambda k: heights[k])
        # A session over the whole of a day is dark at both ends.
        height = max(heights[key], facts.sky.sun_altitude_middle_deg)
        if height > SUN_DEG + _leeway_deg(session):
            yield Sighting(
                _at(picture, session, key),
                f"the Sun stood at {height:.0f}° during the session",
                "correct the times, or the place and its time zone",
                (picture,),
            )


@_rule(
    "target-under-ground", "doubt",
    "What is below the horizon cannot be photographed.",
    "the Southern Cross from 51° north",
)  # fmt: skip
def target_under_ground(case: Case) -> Iterator[Sighting]:
    for picture, session, least, key in _lowest(case):
        if least < -_leeway_deg(session):
            yield Sighting(
                _at(picture, session, *key),
                f"{session.target} stood at {least:.0f}°, below the horizon",
                "correct the times, the place, or the object",
                (picture,),
            )


@_rule(
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
                _at(picture, session, *key),
                f"{session.target} stood at {least:.0f}°, below the limit of {case.archive.horizon_deg:g}°",
                "correct the times or the place, or lower horizon: in archive.yaml",
                (picture,),
            )


def _lowest(case: Case) -> Iterator[tuple[Picture, Session, float, tuple[str, ...]]]:
    """The least altitude of each session's target, and what to look at: an end, or both where it was in between."""
    for picture, session in case.sessions:
        facts = case.seen.get(session.identity)
        if facts is None or facts.sky is None or facts.sky.target_altitude_least_deg is None:
            continue
        least = facts.sky.target_altitude_least_deg
        ends = {"start": facts.sky.target_altitude_start_deg, "end": facts.sky.target_altitude_end_deg}
        key = next((key for key, altitude in ends.items() if altitude == least), None)
        yield picture, session, least, (key,) if key else ()


@_rule(
    "moon-bright-and-near", "doubt",
    "Moonlight near the target drowns it in a broadband filter.",
    "a full Moon 20° from the galaxy, luminance",
    "common practice: broadband away from a Moon more than half lit, within 40° of it narrowband",
)  # fmt: skip
def moon_bright_and_near(case: Case) -> Iterator[Sighting]:
    for picture, session in case.sessions:
        facts = case.seen.get(session.identity)
        if facts is None or facts.sky is None or not case.deep_sky(session):
            continue
        sky, apart = facts.sky, facts.sky.moon_separation_deg
        broadband = any(not narrowband(g.filter) for g in session.frames)
        bright = sky.moon_illuminated_fraction >= MOON_BRIGHT and sky.moon_altitude_middle_deg > 0
        if broadband and bright and apart is not None and apart < MOON_NEAR_DEG:
            yield Sighting(
                _at(picture, session),
                f"the Moon, {100 * sky.moon_illuminated_fraction:.0f} % lit, was {apart:.0f}° from {session.target}",
                "correct the night, or answer the doubt with what was gained all the same",
                (picture,),
            )


@_rule(
    "darks-differ", "doubt",
    "Darks only match lights of the same exposure, gain or ISO and temperature.",
    "dark_exposure: 30 s with lights of 60 s",
    "common practice: 60 s darks for 60 s lights; sensors double their dark current every 6 °C or so",
)  # fmt: skip
def darks_differ(case: Case) -> Iterator[Sighting]:
    for picture, session in case.sessions:
        darks = session.calibration
        if darks is None or darks.darks == 0:
            continue
        groups = session.frames
        for key, dark, lights, unit, share, apart in (
            ("dark_exposure", darks.dark_exposure_s, [g.exposure_s for g in groups], " s", DARKS_EXPOSURE, 0.0),
            ("dark_gain", darks.dark_gain, [g.gain for g in groups], "", 1e-6, 0.0),
            ("dark_iso", darks.dark_iso, [g.iso for g in groups], "", 1e-6, 0.0),
            ("dark_temperature", darks.dark_temperature_c, [g.sensor_temperature_c for g in groups], " °C",
             0.0, DARKS_TEMPERATURE_C),
        ):  # fmt: skip
            known = [v for v in lights if v is not None]
            if dark is None or not known:
                continue
            if not any(math.isclose(dark, v, rel_tol=share, abs_tol=apart) for v in known):
                told = " and ".join(f"{v:g}{unit}" for v in dict.fromkeys(known))
                yield Sighting(
                    _at(picture, session, "calibration", key),
                    f"{key} is {dark:g}{unit}, the lights have {told}",
                    "correct it, or take darks that match; darks that differ add what they should remove",
                    (picture,),
                )


@_rule(
    "no-flats", "doubt",
    "Without flats, dust and vignetting stay in the picture.",
    "calibration: {darks: 30, flats: 0}",
    "common practice",
)  # fmt: skip
def no_flats(case: Case) -> Iterator[Sighting]:
    for picture, session in case.sessions:
        calibration = session.calibration
        if calibration is not None and not calibration.flats and case.deep_sky(session):
            yield Sighting(
                _at(picture, session, "calibration"),
                f"the session of {session.night} has no flats",
                "write flats: with their number, or answer the doubt",
                (picture,),
            )


@_rule(
    "target-outside-picture", "doubt",
    "The first object lies outside the placed field, with all of its extent.",
    "objects: [M 42] on a picture placed on M 31",
)  # fmt: skip
def target_outside_picture(case: Case) -> Iterator[Sighting]:
    for facts in case.shown:
        target = facts.target
        if facts.placement is None or facts.pixels is None or target is None or target.moves:
            continue
        if target.ra_deg is None or target.dec_deg is None:
            continue
        radius = (target.size_arcmin[0] / 120) if target.size_arcmin else 0.0
        apart = _outside_deg(facts, target.ra_deg, target.dec_deg)
        if apart > radius:
            yield Sighting(
                facts.picture.marks.at("objects"),
                f"{target.name} lies {apart:.1f}° outside the picture",
                "correct the placement, or name what is in the picture first",
                (facts.picture,),
            )


def _outside_deg(facts: PictureFacts, ra_deg: float, dec_deg: float) -> float:
    """How far a position lies from the picture's nearest pixel, in degrees; 0 inside."""
    assert facts.placement is not None
    assert facts.pixels is not None
    centre_apart = separation_deg(*facts.placement.centre, ra_deg, dec_deg)
    placement = facts.placement.placement()
    wide, high = facts.pixels
    x, y = (float(v) for v in placement.pixel(ra_deg, dec_deg))
    if not (math.isfinite(x) and math.isfinite(y)) or centre_apart > 85:
        return max(0.0, centre_apart - facts.placement.field_deg[2] / 2)
    near_x, near_y = min(max(x, -0.5), wide - 0.5), min(max(y, -0.5), high - 0.5)
    if (near_x, near_y) == (x, y):
        return 0.0
    ra, dec = (float(v) for v in placement.sky(near_x, near_y))
    return separation_deg(ra, dec, ra_deg, dec_deg)


@_rule(
    "sky-brightness", "doubt",
    "No sky over land is darker than 22.1 mag/arcsec², and at 16 nobody photographs nebulae.",
    "sky_brightness: 12.1",
    "common practice: natural sky about 22, centre of a large town about 17",
)  # fmt: skip
def sky_brightness(case: Case) -> Iterator[Sighting]:
    hint = "write mag/arcsec2: about 22 on a dark mountain, 18 in a town"
    for picture, session in case.sessions:
        if (told := _odd_sky(session.sky_brightness)) is not None:
            yield Sighting(_at(picture, session, "sky_brightness"), told, hint, (picture,))
    for place in case.archive.places.values():
        if (told := _odd_sky(place.sky_brightness)) is not None:
            yield Sighting(place.mark, f"{place.name}: {told}", hint)
    for night in case.archive.nights:
        if (told := _odd_sky(night.sky_brightness)) is not None:
            yield Sighting(night.mark, told, hint)


def _odd_sky(sky: float | None) -> str | None:
    if sky is None or SKY_BRIGHTEST <= sky <= SKY_DARKEST:
        return None
    return f"a sky of {sky:g} mag/arcsec² is {'brighter than 16' if sky < SKY_BRIGHTEST else 'darker than 22.1'}"


_FIXED = ("untracked", "not tracked", "no tracking", "without tracking", "fixed", "static", "tripod", "undriven")
_TRACKED = ("tracker", "tracking head", "tracking mount", "star track", "equatorial", "driven", "motor", "guided")


def untracked(mount: str | None) -> bool:
    """Whether a mount's description says that it does not follow the sky."""
    text = (mount or "").casefold()
    if any(word in text for word in _FIXED[:4]) or "undriven" in text:
        return True
    return any(word in text for word in _FIXED) and not any(word in text for word in _TRACKED)


@_rule(
    "exposure-untracked", "doubt",
    "On a mount that does not follow the sky, stars trail over more than ten pixels.",
    "60 s with a 50 mm lens on a fixed tripod",
    "the sky turns by 15.04″/s · cos δ; ten pixels is what the old rule of 500 over the focal length allows",
)  # fmt: skip
def exposure_untracked(case: Case) -> Iterator[Sighting]:
    for picture, session in case.sessions:
        target, rig = case.target(session), session.rig
        if rig is None or not untracked(rig.mount) or target is None or target.dec_deg is None:
            continue
        focal, pixel = focal_length_mm(rig), rig.camera.pixel_size_um if rig.camera is not None else None
        if focal is None or pixel is None:
            continue
        for row, group in enumerate(session.frames):
            scale = image_scale_arcsec_px(pixel * group.binning, focal)
            trail = SIDEREAL_ARCSEC_S * math.cos(math.radians(target.dec_deg)) * group.exposure_s / scale
            if trail > TRAIL_MOST_PX:
                yield Sighting(
                    _at(picture, session, "frames", row, "exposure"),
                    f"without tracking, stars trail over {trail:.0f} pixels in {group.exposure_s:g} s",
                    "correct the exposure, or say in equipment.yaml what mount the rig has",
                    (picture,),
                )


@_rule(
    "same-session-twice", "doubt",
    "Two sidecars write out the same session, so that its light counts twice.",
    "both versions of a picture list the frames of 18 January",
)  # fmt: skip
def same_session_twice(case: Case) -> Iterator[Sighting]:
    by_night: dict[date, list[tuple[Picture, Session]]] = {}
    for picture, session in case.sessions:
        by_night.setdefault(session.night, []).append((picture, session))
    for group in by_night.values():
        ordered = sorted(group, key=lambda pair: (pair[0].finished, pair[0].id, pair[1].index))
        for (first, one), (second, other) in combinations(ordered, 2):
            if _same_session(case, first, one, second, other):
                yield Sighting(
                    _at(second, other),
                    f"the session of {other.night} on {other.target} is written out in {first.sidecar}, too",
                    f"write builds_on: [{first.id}] instead, or name what sets the two apart",
                    (first, second),
                )


def _same_session(case: Case, picture: Picture, one: Session, other_picture: Picture, other: Session) -> bool:
    """Same night, place, rig, target and a frame group of the same filter and exposure, in two sidecars.

    Sessions whose clock times do not touch are plainly two; of one whose rig or place is not known nobody can say.
    """
    if picture.id == other_picture.id or None in (one.target, one.rig, one.place) or one.night != other.night:
        return False
    if (one.rig, one.place) != (other.rig, other.place):
        return False
    a, b = case.target(one), case.target(other)
    same_target = a.name == b.name if a and b else _folded(one.target) == _folded(other.target)
    if not same_target or not {_kind(g) for g in one.frames} & {_kind(g) for g in other.frames}:
        return False
    if one.start and one.end and other.start and other.end:
        return one.start < other.end and other.start < one.end
    return True


def _folded(name: str | None) -> str | None:
    return name.casefold() if name is not None else None


def _kind(group: FrameGroup) -> tuple[str | None, float]:
    return group.filter.casefold() if group.filter else None, group.exposure_s


@_rule(
    "finished-too-early", "doubt",
    "A picture is finished after its last night.",
    "finished: 2025-01-10 with a night of 2025-01-18",
)  # fmt: skip
def finished_too_early(case: Case) -> Iterator[Sighting]:
    for picture in case.archive.pictures.values():
        last = max((s.night for s in case.archive.sessions_of(picture)), default=None)
        when = f"{'on' if picture.finished.exact else 'in'} {picture.finished}"
        if last is not None and picture.finished.last < last:
            yield Sighting(
                picture.marks.at("finished"),
                f"finished {when}, before the last night of {last}",
                "correct one of the two dates",
                (picture,),
            )


@_rule(
    "duty-low", "doubt",
    "The shutter was open for less than 40 % of the session, and no note says why.",
    "62 minutes of exposure between 19:40 and 23:55",
    "common practice: with a pause of 5–10 s, 60 s exposures fill 86–92 % of the time at best",
)  # fmt: skip
def duty_low(case: Case) -> Iterator[Sighting]:
    for picture, session in case.sessions:
        share = shutter_open_share(session)
        if share is not None and share < DUTY_LEAST and not session.note and case.deep_sky(session):
            yield Sighting(
                _at(picture, session),
                f"the shutter was open for {100 * share:.0f} % of the session",
                "correct the times or taken:, or write in note: what was lost",
                (picture,),
            )


@_rule(
    "no-pause", "doubt",
    "The exposures leave no time for the pause between them.",
    "120 exposures of 60 s in two hours",
    "common practice: 5–10 s between frames with a camera's own timer; 2 s are granted to cameras with a gain",
)  # fmt: skip
def no_pause(case: Case) -> Iterator[Sighting]:
    for picture, session in case.sessions:
        share, length = shutter_open_share(session), _length_s(session)
        if share is None or length is None or share > 1 + 1e-9:
            continue
        # Nobody times the pauses of a film of the Sun; the last frame needs none. Times are to the minute.
        paused = [g for g in session.frames if g.exposure_s >= PAUSED_FROM_S]
        pauses = sum(g.taken * (PAUSE_TIMER_S if g.gain is None else PAUSE_GAIN_S) for g in paused)
        least = min((PAUSE_TIMER_S if g.gain is None else PAUSE_GAIN_S for g in paused if g.taken), default=0.0)
        if share * length + pauses - least > length + 60:
            yield Sighting(
                _at(picture, session),
                f"the shutter was open for {100 * share:.0f} % of the session, more than pauses allow",
                "correct the times, or taken:",
                (picture,),
            )


@_rule(
    "sensor-warm", "doubt",
    "A cooled sensor stood more than 2 °C above its set point, the coldest of its session.",
    "one filter at -10 °C, the next at -4 °C",
)  # fmt: skip
def sensor_warm(case: Case) -> Iterator[Sighting]:
    for picture, session in case.sessions:
        cooled = {
            row: g.sensor_temperature_c
            for row, g in enumerate(session.frames)
            if g.sensor_temperature_c is not None and g.iso is None
        }
        set_point = min(cooled.values(), default=0.0)
        for row, warm in cooled.items():
            if warm - set_point > SENSOR_WARM_C:
                yield Sighting(
                    _at(picture, session, "frames", row, "sensor_temperature"),
                    f"the sensor stood at {warm:g} °C, in the same session at {set_point:g} °C",
                    "correct the temperature; darks of one temperature do not fit both",
                    (picture,),
                )


@_rule(
    "no-alt", "doubt",
    "Who cannot see the picture learns nothing of it.",
    "a sidecar without alt:",
    "WCAG 2.2, success criterion 1.1.1: text alternatives",
)  # fmt: skip
def no_alt(case: Case) -> Iterator[Sighting]:
    # One doubt for all of them: twenty alike would bury the others. Who answers it does so picture by picture.
    pictures = [facts.picture for facts in case.shown if "no-alt" not in facts.picture.accepted_doubts]
    silent = [picture for picture in pictures if not (picture.alt or "").strip()]
    if not silent:
        return
    message = "the picture has no alternative text"
    if silent[1:]:
        named = ", ".join(picture.id for picture in silent[:NAMED_AT_MOST])
        more = f" and {len(silent) - NAMED_AT_MOST} more" if silent[NAMED_AT_MOST:] else ""
        message = f"{len(silent)} pictures have no alternative text: {named}{more}"
    yield Sighting(
        silent[0].marks.at("alt"), message, "write alt: what a person who cannot see the picture should be told"
    )


@_rule(
    "integration-jumps", "doubt",
    "A version has more than ten times the integration of the one it replaces, or less than a third.",
    "3 h in the old version, 40 h in the new one",
)  # fmt: skip
def integration_jumps(case: Case) -> Iterator[Sighting]:
    for facts in case.shown:
        old = case.facts.pictures.get(facts.picture.replaces or "")
        if old is None or not old.integration.total_s or not facts.integration.total_s:
            continue
        ratio = facts.integration.total_s / old.integration.total_s
        if not VERSION_LEAST <= ratio <= VERSION_MOST:
            yield Sighting(
                facts.picture.marks.at("replaces"),
                f"{hours_and_minutes(facts.integration.total_s)} here, "
                f"{hours_and_minutes(old.integration.total_s)} in the older one",
                "check kept: and exposure:, or builds_on: if the older sessions are in this one, too",
                (facts.picture,),
            )

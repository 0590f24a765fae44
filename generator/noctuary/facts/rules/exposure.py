"""Rules about exposures: how many, how long, and whether they fit into their session."""

from __future__ import annotations

import math
from collections.abc import Iterator

from noctuary.facts.exposure import shutter_open_share
from noctuary.facts.optics import focal_length_mm, image_scale_arcsec_px
from noctuary.facts.rules.rule import Case, Sighting, at, length_s, rule
from noctuary.text import hours_and_minutes

SIDEREAL_ARCSEC_S = 15.04
TRAIL_MOST_PX = 10.0
DUTY_LEAST = 0.40
PAUSE_TIMER_S, PAUSE_GAIN_S = 5.0, 2.0
PAUSED_FROM_S = 10.0


@rule(
    "shutter-open-too-long", "fault",
    "The exposures taken add up to more than the time between start and end.",
    "eleven hours of exposure between 19:00 and 04:00",
)  # fmt: skip
def shutter_open_too_long(case: Case) -> Iterator[Sighting]:
    for picture, session in case.sessions:
        share, length = shutter_open_share(session), length_s(session)
        if share is not None and length is not None and share > 1 + 1e-9:
            yield Sighting(
                at(picture, session),
                f"the shutter was open for {hours_and_minutes(share * length)} in a session of "
                f"{hours_and_minutes(length)}",
                "correct start and end, or the number and length of the exposures",
                (picture,),
            )


@rule(
    "kept-over-taken", "fault",
    "No more exposures can be in the picture than were taken.",
    "kept: 62, taken: 55",
)  # fmt: skip
def kept_over_taken(case: Case) -> Iterator[Sighting]:
    for picture, session in case.sessions:
        for row, group in enumerate(session.frames):
            if group.kept > group.taken:
                yield Sighting(
                    at(picture, session, "frames", row, "kept"),
                    f"{group.kept} frames were kept of {group.taken} taken",
                    "correct one of the two; they may have changed places",
                    (picture,),
                )


@rule(
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
                at(picture, session),
                f"the shutter was open for {100 * share:.0f} % of the session",
                "correct the times or taken:, or write in note: what was lost",
                (picture,),
            )


@rule(
    "no-pause", "doubt",
    "The exposures leave no time for the pause between them.",
    "120 exposures of 60 s in two hours",
    "common practice: 5–10 s between frames with a camera's own timer; 2 s are granted to cameras with a gain",
)  # fmt: skip
def no_pause(case: Case) -> Iterator[Sighting]:
    for picture, session in case.sessions:
        share, length = shutter_open_share(session), length_s(session)
        if share is None or length is None or share > 1 + 1e-9:
            continue
        # Nobody times the pauses of a film of the Sun; the last frame needs none. Times are to the minute.
        paused = [g for g in session.frames if g.exposure_s >= PAUSED_FROM_S]
        pauses = sum(g.taken * (PAUSE_TIMER_S if g.gain is None else PAUSE_GAIN_S) for g in paused)
        least = min((PAUSE_TIMER_S if g.gain is None else PAUSE_GAIN_S for g in paused if g.taken), default=0.0)
        if share * length + pauses - least > length + 60:
            yield Sighting(
                at(picture, session),
                f"the shutter was open for {100 * share:.0f} % of the session, more than pauses allow",
                "correct the times, or taken:",
                (picture,),
            )


_FIXED = ("untracked", "not tracked", "no tracking", "without tracking", "fixed", "static", "tripod", "undriven")
_TRACKED = ("tracker", "tracking head", "tracking mount", "star track", "equatorial", "driven", "motor", "guided")


def untracked(mount: str | None) -> bool:
    """Whether a mount's description says that it does not follow the sky."""
    text = (mount or "").casefold()
    if any(word in text for word in _FIXED[:4]) or "undriven" in text:
        return True
    return any(word in text for word in _FIXED) and not any(word in text for word in _TRACKED)


@rule(
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
                    at(picture, session, "frames", row, "exposure"),
                    f"without tracking, stars trail over {trail:.0f} pixels in {group.exposure_s:g} s",
                    "correct the exposure, or say in equipment.yaml what mount the rig has",
                    (picture,),
                )

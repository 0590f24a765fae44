"""Rules about a picture as a whole: what is in it, what is said of it, how it follows an older one."""

from __future__ import annotations

import math
from collections.abc import Iterator

from noctuary.facts.picture import PictureFacts
from noctuary.facts.rules.rule import Case, Sighting, rule
from noctuary.geometry import separation_deg
from noctuary.text import hours_and_minutes

VERSION_MOST, VERSION_LEAST = 10.0, 1 / 3
NAMED_AT_MOST = 3


@rule(
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
                f"{case.target_of(facts)} lies {apart:.1f}° outside the picture",
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


@rule(
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


@rule(
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

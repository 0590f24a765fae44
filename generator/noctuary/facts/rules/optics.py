"""Rules about optics: whether scale, field and size of a picture agree with the rig."""

from __future__ import annotations

from collections.abc import Iterator

from noctuary.facts.optics import main_rig
from noctuary.facts.picture import PictureFacts
from noctuary.facts.rules.rule import Case, Sighting, rule

FOCAL_LENGTH_SHARE = 0.03
SENSOR_SHARE = 0.02


@rule(
    "focal-length-disagrees", "doubt",
    "The focal length that the placement shows and the stated one differ by more than 3 %.",
    "480 mm stated, 384 mm seen: a reducer without its focal_factor",
    "plate scale: 206.2648 × pixel / focal length",
)  # fmt: skip
def focal_length_disagrees(case: Case) -> Iterator[Sighting]:
    for facts in case.shown:
        optics = facts.optics
        if optics is None or optics.focal_length_seen_mm is None:
            continue
        seen, stated = optics.focal_length_seen_mm, optics.focal_length_mm
        if abs(seen / stated - 1) > FOCAL_LENGTH_SHARE:
            yield Sighting(
                facts.picture.marks.at("placement"),
                f"the placement shows a focal length of {seen:.0f} mm, {optics.rig} has {stated:.0f} mm",
                f"a focal_factor of {_factor(case, facts, seen):.2f}, another resampling or rig would explain it",
                (facts.picture,),
            )


def _factor(case: Case, facts: PictureFacts, seen_mm: float) -> float:
    rig = main_rig(facts.picture.rig, (f.session for f in facts.sessions))
    return seen_mm / rig.optic.focal_length_mm if rig else 1.0


@rule(
    "object-larger-than-field", "doubt",
    "The target is larger than the field, so the picture can show only a part.",
    "the Andromeda Galaxy, 3° long, in a field of 0.7°",
)  # fmt: skip
def object_larger_than_field(case: Case) -> Iterator[Sighting]:
    for facts in case.shown:
        target, optics = facts.target, facts.optics
        if target is None or optics is None or target.size_arcmin is None or target.moves:
            continue
        long = target.size_arcmin[0] / 60
        sides = sorted((optics.field_width_deg, optics.field_height_deg))
        if long > sides[1]:
            yield Sighting(
                facts.picture.marks.at("objects"),
                f"{target.name} is {long:.2g}° long, the field {sides[1]:.2g}° by {sides[0]:.2g}°",
                "check the rig, or name first the part that the picture shows",
                (facts.picture,),
            )


@rule(
    "picture-larger-than-sensor", "doubt",
    "The picture is longer than its sensor times the resampling.",
    "8000 pixels from a sensor of 6000 without resampling",
)  # fmt: skip
def picture_larger_than_sensor(case: Case) -> Iterator[Sighting]:
    for facts, sides, most in _against_sensor(case):
        if sides[1] > most[1] * (1 + SENSOR_SHARE):
            yield Sighting(
                facts.picture.marks.at("resampling"),
                f"the picture is {sides[1]} pixels long, the sensor gives {most[1]:.0f}",
                "write resampling: (drizzled ×2: 2), correct the rig, or say in accepted_doubts that it is a mosaic",
                (facts.picture,),
            )


@rule(
    "aspect-unexplained", "doubt",
    "The picture is wider across than any crop of its sensor.",
    "5000 × 5000 pixels from a sensor of 6000 × 4000",
)  # fmt: skip
def aspect_unexplained(case: Case) -> Iterator[Sighting]:
    for facts, sides, most in _against_sensor(case):
        if sides[1] <= most[1] * (1 + SENSOR_SHARE) and sides[0] > most[0] * (1 + SENSOR_SHARE):
            yield Sighting(
                facts.picture.marks.at("resampling"),
                f"no crop of {most[1]:.0f} × {most[0]:.0f} pixels has {sides[1]} × {sides[0]}",
                "write resampling:, correct the rig, or say in accepted_doubts that it is a mosaic",
                (facts.picture,),
            )


def _against_sensor(case: Case) -> Iterator[tuple[PictureFacts, tuple[int, int], tuple[float, float]]]:
    """Shown pictures with their sides and those that their sensor gives, the shorter first."""
    for facts in case.shown:
        rig = main_rig(facts.picture.rig, (f.session for f in facts.sessions))
        if facts.pixels is None or rig is None:
            continue
        binning = min((g.binning for f in facts.sessions for g in f.session.frames), default=1)
        short, long = sorted(n / binning * facts.picture.resampling for n in rig.camera.pixels)
        yield facts, (min(facts.pixels), max(facts.pixels)), (short, long)

"""Rules about optics: whether scale, field and size of a picture agree with its rig, and on whose word they rest.

A hint gives the very line to write. Where the resampling of a picture would explain a disagreement, it says so: a
finished picture is more often a reduction than its record says.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from noctuary.facts.optics import (
    Optics,
    aperture_mm,
    focal_length_mm,
    image_scale_arcsec_px,
    rayleigh_limit_arcsec,
    smallest_binning,
)
from noctuary.facts.picture import PictureFacts
from noctuary.facts.resampling import LARGER_SHARE, Resampling
from noctuary.facts.rules.rule import Case, Sighting, rule

if TYPE_CHECKING:
    from noctuary.archive.records import Session

FOCAL_LENGTH_SHARE = 0.03
MOST_BINNING = 4
STAR_WIDTH_MOST_ARCSEC, STAR_WIDTH_MOST_PX = 10.0, 4.0


@rule(
    "resampling-inferred", "doubt",
    "A picture with the proportions of its sensor and fewer pixels is taken to be the whole of it made smaller.",
    "1600 × 1067 pixels from a sensor of 3456 × 2304, without resampling",
    "the same field on fewer pixels: each spans as much more of the sky",
)  # fmt: skip
def resampling_inferred(case: Case) -> Iterator[Sighting]:
    for facts, made in _unsettled(case, "whole sensor"):
        yield Sighting(
            facts.picture.marks.at("resampling"),
            f"the picture has {_size(facts.pixels)} pixels and its sensor {_sensor_size(made)}, in the same "
            "proportions: it is taken for the whole sensor made smaller",
            f"write resampling: {made.factor:.4g} if it is, resampling: 1 if it is a crop at full size",
            (facts.picture,),
        )


@rule(
    "scale-unsure", "doubt",
    "A picture smaller than its sensor and of other proportions may be a crop, or a crop made smaller.",
    "1600 × 1600 pixels from a sensor of 3456 × 2304, without resampling",
)  # fmt: skip
def scale_unsure(case: Case) -> Iterator[Sighting]:
    for facts, made in _unsettled(case, "crop"):
        yield Sighting(
            facts.picture.marks.at("resampling"),
            f"the picture has {_size(facts.pixels)} pixels of a sensor of {_sensor_size(made)}: its scale and field "
            "are those of a crop at full size",
            f"write resampling: 1 if it is a crop, resampling: {made.least:.4g} if it was made smaller and one side "
            "of it spans the sensor, or what lies between",
            (facts.picture,),
        )


def _unsettled(case: Case, basis: str) -> Iterator[tuple[PictureFacts, Resampling]]:
    """Shown pictures whose scale rests on their size alone: nobody wrote it, and no placement measures it."""
    for facts in case.shown:
        if facts.optics is not None and facts.optics.inferred and facts.optics.resampling.basis == basis:
            yield facts, facts.optics.resampling


def _sensor_size(made: Resampling) -> str:
    """As makers write it, the longer side first, whichever way up the picture is."""
    return _size(made.sensor and (made.sensor[1], made.sensor[0]))


def _size(sides: tuple[float, float] | None) -> str:
    return " × ".join(f"{n:.0f}" for n in sides) if sides else "unknown"


@rule(
    "header-of-another-size", "doubt",
    "A placement made for a picture of another size is right if that was only made smaller, and wrong if it was cut.",
    "a header of 6000 × 4000 pixels beside a picture of 3000 × 2000",
)  # fmt: skip
def header_of_another_size(case: Case) -> Iterator[Sighting]:
    for facts in case.shown:
        placed = facts.placement
        if placed is None or placed.made_for is None or facts.pixels is None or _confirmed(facts):
            continue
        factor = max(facts.pixels) / max(placed.made_for)
        yield Sighting(
            facts.picture.marks.at("placement"),
            f"the placement was made for {_size(placed.made_for)} pixels, and the picture has {_size(facts.pixels)}, "
            "in the same proportions: it is placed as though it had only been resampled",
            f"if that is so, write resampling: {_implied(facts.optics) or factor:.4g}; if it was cut, make the "
            "placement from the finished picture",
            (facts.picture,),
        )


def _confirmed(facts: PictureFacts) -> bool:
    """Whether a written resampling says how the picture came to its size, and the rig, where known, agrees."""
    written, implied = facts.picture.resampling, _implied(facts.optics)
    return written is not None and (implied is None or abs(implied / written - 1) <= FOCAL_LENGTH_SHARE)


def _implied(optics: Optics | None) -> float | None:
    """The resampling with which a placed picture has the focal length that its rig states."""
    if optics is None or optics.image_scale_arcsec_px is None or optics.sensor_scale_arcsec_px is None:
        return None
    return optics.sensor_scale_arcsec_px / optics.image_scale_arcsec_px


@rule(
    "focal-length-disagrees", "doubt",
    "The focal length that the placement shows and the stated one differ by more than 3 %.",
    "480 mm stated, 384 mm seen: a reducer without its focal_factor",
    "plate scale: 206.2648 × pixel / focal length",
)  # fmt: skip
def focal_length_disagrees(case: Case) -> Iterator[Sighting]:
    for facts in case.shown:
        optics = facts.optics
        if optics is None or optics.measured_focal_length_mm is None:
            continue
        measured, stated = optics.measured_focal_length_mm, optics.focal_length_mm
        if stated is not None and abs(measured / stated - 1) > FOCAL_LENGTH_SHARE:
            yield Sighting(
                facts.picture.marks.at("placement"),
                f"the placement shows a focal length of {measured:.0f} mm, {optics.rig} has {stated:.0f} mm",
                _what_explains(case, facts, optics, measured / stated),
                (facts.picture,),
            )


def _what_explains(case: Case, facts: PictureFacts, optics: Optics, ratio: float) -> str:
    """What to write for a focal length that is ``ratio`` times the stated one."""
    rig = case.archive.rigs.get(optics.rig or "")
    lines = [f"focal_factor: {(rig.focal_factor if rig else 1.0) * ratio:.2f} if the rig has a reducer or extender"]
    made, implied = optics.resampling, _implied(optics)
    if implied is not None and (made.least is None or implied >= made.least / (1 + LARGER_SHARE)):
        lines.append(f"resampling: {implied:.4g} if the picture was resampled by that")
    binning = round(1 / ratio) if ratio < 1 else 1
    if 1 < binning <= MOST_BINNING and abs(binning * ratio - 1) <= FOCAL_LENGTH_SHARE:
        lines.append(f"binning: {binning} if its frames were binned")
    hint = f"write {', or '.join(lines)}; or name another rig"
    if facts.placement is not None and facts.placement.from_header:
        hint += "; or make the placement anew, if its header is from before a crop or a reduction"
    return hint


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
        if optics.field_width_deg is None or optics.field_height_deg is None:
            continue
        long = target.size_arcmin[0] / 60
        sides = sorted((optics.field_width_deg, optics.field_height_deg))
        if long > sides[1]:
            hint = "check the rig, or name first the part that the picture shows"
            made = optics.resampling
            if facts.placement is None and made.factor and made.least and made.least * 1.1 < made.factor:
                hint += f"; or write resampling: {made.least:.4g} if it was made smaller and spans the sensor"
            if facts.placement is not None and facts.placement.from_header:
                hint += "; or make the placement anew, if its header is from before the picture was made smaller"
            yield Sighting(
                facts.picture.marks.at("objects"),
                f"{case.target_of(facts)} is {long:.2g}° long, the field {sides[1]:.2g}° by {sides[0]:.2g}°",
                hint,
                (facts.picture,),
            )


@rule(
    "picture-larger-than-sensor", "doubt",
    "The picture is longer than its sensor times the resampling.",
    "8000 pixels from a sensor of 6000 without resampling",
)  # fmt: skip
def picture_larger_than_sensor(case: Case) -> Iterator[Sighting]:
    for facts, sides, most in _against_sensor(case):
        if sides[1] > most[1] * (1 + LARGER_SHARE):
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
        if sides[1] <= most[1] * (1 + LARGER_SHARE) and sides[0] > most[0] * (1 + LARGER_SHARE):
            yield Sighting(
                facts.picture.marks.at("resampling"),
                f"no crop of {most[1]:.0f} × {most[0]:.0f} pixels has {sides[1]} × {sides[0]}",
                "write resampling:, correct the rig, or say in accepted_doubts that it is a mosaic",
                (facts.picture,),
            )


def _against_sensor(case: Case) -> Iterator[tuple[PictureFacts, tuple[int, int], tuple[float, float]]]:
    """Shown pictures with their sides and those that their sensor gives, the shorter first."""
    for facts in case.shown:
        made = facts.optics.resampling if facts.optics is not None else None
        if made is None or made.sensor is None:
            continue
        # What is merely taken for the whole sensor made smaller, or for a crop, is smaller by that.
        factor = made.factor if made.basis == "written" and made.factor is not None else 1.0
        yield facts, made.pixels, (made.sensor[0] * factor, made.sensor[1] * factor)


@rule(
    "star-width", "doubt",
    "Stars are no narrower than diffraction allows, and no wider than 10″ or, through a short lens, four pixels.",
    "star_width: 0.8 arcsec with 80 mm of aperture",
    "Rayleigh: 1.22 λ/D at 550 nm; common practice: a star in focus spans two to four pixels of a wide field",
)  # fmt: skip
def star_width(case: Case) -> Iterator[Sighting]:
    for picture, session in case.sessions:
        width = session.star_width_arcsec
        if width is None:
            continue
        diameter = aperture_mm(session.rig) if session.rig is not None else None
        least = rayleigh_limit_arcsec(diameter) if diameter is not None else 0.0
        most = max(STAR_WIDTH_MOST_ARCSEC, STAR_WIDTH_MOST_PX * (_sensor_scale(session) or 0.0))
        if width < least or width > most:
            why = f"below the diffraction limit of {least:.1f}″" if width < least else f"above {most:.0f}″"
            yield Sighting(
                picture.marks.at("sessions", session.index, "star_width"),
                f"a star width of {width:g}″ is {why}",
                "measure the full width at half maximum in arcseconds, not in pixels",
                (picture,),
            )


def _sensor_scale(session: Session) -> float | None:
    """Arcseconds per pixel of the frames as they were read out."""
    rig = session.rig
    focal = focal_length_mm(rig) if rig is not None else None
    pixel_um = rig.camera.pixel_size_um if rig is not None and rig.camera is not None else None
    if focal is None or pixel_um is None:
        return None
    return image_scale_arcsec_px(pixel_um * smallest_binning([session]), focal)

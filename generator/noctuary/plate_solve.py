"""``noctuary place``: from a picture's own stars to where it lies."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from noctuary.facts.picture import PictureFacts
from noctuary.facts.placement_summary import PlacementSummary
from noctuary.facts.resampling import Resampling
from noctuary.geometry import separation_deg
from noctuary.images.decode import open_picture
from noctuary.images.decoded import PictureFault
from noctuary.sky.solve import FEWEST_STARS, Refusal, Solution, solve
from noctuary.sky.star_table import NoCatalogue, from_file, shipped

#: How far the picture's centre may lie from its target: half the picture's diagonal, and so much more (degrees).
_MARGIN_DEG = 0.5


@dataclass(frozen=True)
class Search:
    """What was looked for: the scale expected from the rig (″/px), around which point, among how many stars."""

    expected_scale_arcsec: float
    rough_centre: tuple[float, float]
    found: Solution | Refusal


def find_place(folder: Path, facts: PictureFacts, stars: Path | None) -> Search | Refusal:
    """The placement of a picture, found among the packaged stars or those of the table ``stars``.

    Every trouble is a :class:`Refusal` with what to do about it.
    """
    import numpy as np

    from noctuary.images.stars import detect

    if facts.optics is None or facts.optics.rig is None:
        return Refusal("the picture has no rig to tell its image scale", "name the rig in the sidecar")
    if facts.optics.sensor_scale_arcsec_px is None:
        return Refusal(
            f"the focal length or the pixel size of {facts.optics.rig} is not known",
            "write focal_length: of the optic and pixel_size: of the camera in equipment.yaml",
        )
    target = next((o for o in facts.objects if o.ra_deg is not None and o.dec_deg is not None), None)
    if target is None or target.ra_deg is None or target.dec_deg is None:
        return Refusal(
            "none of the picture's objects has a fixed place on the sky",
            "add one that lies in the picture to objects",
        )
    made = facts.optics.resampling
    if made.basis == "mosaic":
        return Refusal(
            "the picture is a mosaic, and nothing says how it came to its size",
            "write resampling:, its pixels per pixel of the sensor, into the sidecar",
        )
    if made.factor is None:
        return Refusal(
            f"the camera of {facts.optics.rig} has no pixels written, so the picture's scale is not known",
            "write pixels: into equipment.yaml, or resampling: into the sidecar",
        )
    scale = facts.optics.sensor_scale_arcsec_px / made.factor
    try:
        opened = open_picture(folder / facts.picture.file)
    except PictureFault as error:
        return Refusal(error.message, error.hint)
    pixels = np.asarray(opened.pixels, dtype=np.float32)
    luminance = pixels.mean(axis=2) if pixels.ndim == 3 else pixels
    seen = detect(luminance)
    radius = (opened.width**2 + opened.height**2) ** 0.5 * scale / 3600 / 2
    search = radius + _MARGIN_DEG
    night = facts.integration.last_night or facts.picture.finished.first
    try:
        if stars is None:
            table = shipped(target.ra_deg, target.dec_deg, min(search + radius, 90.0), night.year + night.month / 12)
        else:
            table = from_file(stars)
    except NoCatalogue as error:
        return Refusal(str(error), "or name a table of stars with --stars FILE")
    found = solve(
        (seen.x, seen.y, seen.flux),
        opened.width,
        opened.height,
        scale,
        (target.ra_deg, target.dec_deg),
        search,
        table,
    )
    # With too few stars in the picture no other scale would help.
    if isinstance(found, Refusal) and len(seen.x) >= FEWEST_STARS:
        found = Refusal(found.reason, found.hint + _other_scale(made))
    return Search(scale, (target.ra_deg, target.dec_deg), found)


def _other_scale(made: Resampling) -> str:
    """What to write where the scale that was looked for rests on the picture's size alone; else nothing."""
    if made.basis == "whole sensor":
        return "; the picture was taken for the whole sensor made smaller: if it is a crop, write resampling: 1"
    if made.basis == "crop":
        return (
            "; the picture was taken for a crop at full size: if it was made smaller, write what resampling: it has, "
            f"at least {made.least:.4g}"
        )
    return ""


def differs_deg(found: Solution, before: PlacementSummary) -> float:
    """How far the centre that was found lies from the one that the record has, degrees."""
    return separation_deg(found.ra_deg, found.dec_deg, *before.centre)

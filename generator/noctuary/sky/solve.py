"""Where on the sky a picture lies, from the stars in it.

The caller gives the scale to within a band and the centre to about a field. Patterns of four stars in the picture and
in the catalogue are compared by their six distances, whose ratios do not change with rotation, mirroring or scale.
Two patterns that are alike suggest a placement; the suggestions are ranked by how many of the brightest stars agree.
All of this works with directions in space, not on a map, so that a field of 30° whose centre is a field away is no
special case. The best suggestions are refined by least squares (gnomonic projection, FITS WCS standard's TAN, with a
radial distortion), and one is accepted only when chance is excluded. ``star_search`` chooses scales and positions.

**Chance.** On a wrong part of the sky, each catalogue star in the frame lies within the matching radius of a star of
the picture with a probability that follows from how densely the picture's stars lie. The chance that as many do as
were counted, without the four that the suggestion was made from, is a binomial tail; times the number of suggestions
that were compared, it is the chance that any of them looks so good. A placement is refused unless that is below 10⁻⁶.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from noctuary.geometry import lon_lat_deg, unit_vectors
from noctuary.sky.placement_fit import OF_A_GUESS, PlacementFit, fitted_placement
from noctuary.sky.solve_frame import Floats, SolveFrame, expected_stars
from noctuary.sky.star_patterns import Level, pattern_matches, single_stars
from noctuary.sky.star_table import StarTable

FEWEST_STARS = 8
"""Stars that a picture must have before a placement is looked for."""
FEWEST_CATALOGUE_STARS = 12
"""Catalogue stars that the field must be expected to hold."""
GREATEST_CHANCE = -6.0
"""log₁₀ of the chance above which a placement is refused."""
NEARLY = -2.0
"""log₁₀ of the chance below which a refused likeness is worth telling of."""
LEVELS = (
    Level(16, 24, 6, 8, 0.012),
    Level(30, 36, 6, 8, 0.015),
    Level(30, 70, 6, 10, 0.015),
    Level(70, 80, 6, 8, 0.018),
    Level(90, 200, 5, 10, 0.02),
)
"""Depths at which patterns are compared, one after the other: as deep as the sky, and deeper."""
SPARSE_LEVELS = (Level(30, 40, 8, 14, 0.012), Level(30, 80, 8, 16, 0.012))
"""More of them where few catalogue stars lie among many others, and none must be missed."""
SPARSE = 30
_MOST_STARS = 12_000
_ARCSEC = math.degrees(1.0) * 3600.0


@dataclass(frozen=True, slots=True)
class Solution:
    """A placement and how sure it is.

    ``ra_deg`` and ``dec_deg`` (ICRS) are the centre of the picture, pixel ((width − 1)/2, (height − 1)/2);
    ``position_angle_deg`` is that of the picture's up from north through east, 0 ≤ angle < 360; ``mirrored`` is
    false when east is on the left with north up. ``image_scale_arcsec`` is that of the undistorted picture which
    fits the whole frame best. ``rms_px`` is the scatter of the ``matched`` stars about the fit with ``distortion``,
    the fraction by which the corners are drawn outwards (negative: inwards) against that scale's centre; 0 where
    there were too few stars to tell. ``verified`` are the stars that agree beyond the four of the guess;
    ``log10_chance`` is the chance that a wrong sky would agree so well.
    """

    ra_deg: float
    dec_deg: float
    image_scale_arcsec: float
    position_angle_deg: float
    mirrored: bool
    rms_px: float
    matched: int
    verified: int
    log10_chance: float
    distortion: float
    bends: tuple[float, float]
    middle_scale_arcsec: float
    tried: int


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why there is no placement, and what can be done."""

    reason: str
    hint: str
    tried: int = 0
    log10_chance: float = 0.0
    expected_stars: float | None = None


def frame_of_stars(
    stars_xy_flux: tuple[ArrayLike, ArrayLike, ArrayLike],
    width: int,
    height: int,
    expected_scale_arcsec: float,
    scale_tolerance: float,
) -> SolveFrame | Refusal:
    """The star list as a :class:`SolveFrame`, or a refusal where it has too few stars."""
    x, y, flux = (np.asarray(part, dtype=np.float64).ravel() for part in stars_xy_flux)
    whole = np.isfinite(x) & np.isfinite(y) & np.isfinite(flux)
    order = np.flatnonzero(whole)[np.argsort(-flux[whole], kind="stable")]
    if len(order) < FEWEST_STARS:
        return Refusal(
            f"the picture has {len(order)} stars, and fewer than {FEWEST_STARS} cannot be told from chance",
            "use a picture with more stars in it, or write the placement yourself",
        )
    return SolveFrame(
        x[order] - (width - 1) / 2,
        y[order] - (height - 1) / 2,
        width,
        height,
        expected_scale_arcsec / _ARCSEC,
        scale_tolerance,
    )


def brightest_singles(catalogue: StarTable, frame: SolveFrame) -> Floats:
    """Directions of a catalogue's 12,000 brightest stars, brightest first, close pairs joined."""
    faint = np.argsort(catalogue.mag, kind="stable")[:_MOST_STARS]
    sky, magnitude = single_stars(
        StarTable(catalogue.ra[faint], catalogue.dec[faint], catalogue.mag[faint]), 3.0 * frame.scale
    )
    return sky[np.argsort(magnitude, kind="stable")]


def solve(
    stars_xy_flux: tuple[ArrayLike, ArrayLike, ArrayLike],
    width: int,
    height: int,
    expected_scale_arcsec: float,
    rough_centre: tuple[float, float],
    search_radius_deg: float,
    catalogue: StarTable,
    scale_tolerance: float = 0.05,
    tried_before: int = 0,
) -> Solution | Refusal:
    """The placement of a picture from its stars, or why none was found.

    ``stars_xy_flux`` are pixels from the centre of the top-left pixel = (0, 0), x right, y down, and fluxes in any
    unit (their order is all that counts). ``expected_scale_arcsec`` is right to ``scale_tolerance``; the picture's
    centre lies within ``search_radius_deg`` of ``rough_centre`` (ICRS, degrees). ``catalogue`` should reach half
    the picture's diagonal further. Any rotation and mirroring, fields up to some 60°. Raises :class:`ValueError`
    for numbers that cannot be (sizes, scale or radius not above 0).
    """
    if width < 1 or height < 1 or not expected_scale_arcsec > 0 or not search_radius_deg > 0:
        raise ValueError("size, scale and search radius must be above 0")
    frame = frame_of_stars(stars_xy_flux, width, height, expected_scale_arcsec, scale_tolerance)
    if isinstance(frame, Refusal):
        return replace(frame, tried=tried_before)
    half_diagonal = math.atan(frame.diagonal / 2 * frame.scale)
    centre = unit_vectors(*rough_centre)
    sky = brightest_singles(catalogue, frame)
    reach = math.radians(search_radius_deg) + 1.05 * half_diagonal
    sky = sky[np.linalg.norm(sky - centre, axis=1) <= 2.0 * math.sin(min(reach, math.pi) / 2.0)]
    in_frame = expected_stars(frame, sky)
    if in_frame < FEWEST_CATALOGUE_STARS / 2:
        return Refusal(
            f"the table has about {in_frame:.0f} stars for a field of this size here, and some "
            f"{FEWEST_CATALOGUE_STARS} are needed",
            "give a deeper table of stars with --stars FILE, exported from any catalogue as CSV or VOTable",
            tried_before,
            expected_stars=in_frame,
        )
    tried = tried_before
    best: PlacementFit | None = None
    for level in (*LEVELS, *(SPARSE_LEVELS if in_frame < SPARSE else ())):
        guesses, tests = pattern_matches(frame, sky, in_frame, level, centre, math.radians(search_radius_deg))
        tried += tests
        for guess in guesses:
            fit = fitted_placement(frame, sky, guess, max(tried, 1))
            if fit is not None and (best is None or fit.log10_chance < best.log10_chance):
                best = fit
                if best.log10_chance < 2.0 * GREATEST_CHANCE:
                    break
        if best is not None and best.log10_chance < GREATEST_CHANCE:
            return as_solution(frame, best, tried)
    if best is None or best.log10_chance > NEARLY:
        reason = f"the pattern of the picture's {len(frame.x)} stars is nowhere in that part of the sky"
    else:
        reason = (
            f"the best likeness brings {best.agreeing} of {best.looked_at} catalogue stars onto stars of the "
            f"picture; the chance that a wrong sky would is one in {10**-best.log10_chance:,.0f}, and only one "
            f"below one in {10**-GREATEST_CHANCE:,.0f} is believed"
        )
    return Refusal(
        reason,
        "check the target, and the focal length and pixel size of the rig; a picture of few stars or small field "
        "needs a deeper table of stars (--stars FILE)",
        tried,
        best.log10_chance if best is not None else 0.0,
        in_frame,
    )


def as_solution(frame: SolveFrame, fit: PlacementFit, tried: int) -> Solution:
    """The fit as a solution: centre, angle and the scale that fits the whole frame best."""
    ra, dec = lon_lat_deg(fit.turn[:, 2].tolist())
    ra_rad, dec_rad = math.radians(ra), math.radians(dec)
    up = fit.turn[:, 1]
    east = np.array([-math.sin(ra_rad), math.cos(ra_rad), 0.0])
    north = np.array(
        [-math.sin(dec_rad) * math.cos(ra_rad), -math.sin(dec_rad) * math.sin(ra_rad), math.cos(dec_rad)]
    )
    angle = math.degrees(math.atan2(float(up @ east), float(up @ north))) % 360.0
    # The linear scale that fits a distorted frame best: the mean of the stretch, weighted by r².
    x = np.linspace(-frame.width / 2, frame.width / 2, 61)[:, None]
    y = np.linspace(-frame.height / 2, frame.height / 2, 61)[None, :]
    square = (x**2 + y**2) / (frame.diagonal / 2) ** 2
    mean = float((square * (1.0 + fit.bends[0] * square + fit.bends[1] * square**2)).sum() / square.sum())
    return Solution(
        ra_deg=ra,
        dec_deg=dec,
        image_scale_arcsec=fit.scale / mean * _ARCSEC,
        position_angle_deg=angle if angle < 360.0 else 0.0,
        mirrored=fit.mirrored,
        rms_px=fit.rms,
        matched=fit.matched,
        verified=fit.matched - OF_A_GUESS,
        log10_chance=fit.log10_chance,
        distortion=float(fit.bends[0] + fit.bends[1]),
        bends=fit.bends,
        middle_scale_arcsec=fit.scale * _ARCSEC,
        tried=tried,
    )

"""Where on the sky a picture lies, from the stars in it.

The scale is known to a few per cent and the centre to about a field. Triangles of stars in the picture and in the
catalogue are compared by their longest side on the sky and the ratios of the other two, which no rotation or
mirroring changes; each likeness is a guess of a placement, and the guesses are counted out on the brightest stars.
Everything happens with directions in space, not on a map, so that a field of 30° whose centre is a field away is no
special case. The best guesses are refined by least squares (gnomonic projection, FITS WCS standard's TAN, with a
radial distortion), and one is believed only when chance is excluded.

**Chance.** Were the sky a wrong one, each catalogue star in the frame would meet a star of the picture within the
radius of the match with a probability known from how densely the picture's stars lie. The chance that as many meet
one as did, leaving out the three that the guess was made from, is a binomial tail; times the number of guesses
tried, it is the chance that any of them would look so good. A placement is refused unless that is below 10⁻⁹.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from noctuary.geometry import unit_vectors
from noctuary.sky.star_table import StarTable

Floats = NDArray[np.float64]
Whole = NDArray[np.intp]

FEWEST_STARS = 8
"""Stars that a picture must have before a placement is tried."""
FEWEST_CATALOGUE_STARS = 12
"""Catalogue stars that the field must be expected to hold."""
GREATEST_CHANCE = -9.0
"""log₁₀ of the chance above which a placement is refused."""

_ARCSEC = math.degrees(1.0) * 3600.0
_MOST_TRIANGLES = 80_000  # in the catalogue; a triangle of the picture is like some ten of them
_MOST_OWN_TRIANGLES = 4_000
_MOST_GUESSES = 12_000
_COUNTED = 40  # brightest stars on which a guess is counted out
_REFINED = 12  # guesses that are worth a fit
_UNTURNED = np.eye(3)


@dataclass(frozen=True, slots=True)
class Solution:
    """A placement and how far it can be trusted.

    ``ra_deg`` and ``dec_deg`` (ICRS) are the centre of the picture, pixel ((width − 1)/2, (height − 1)/2);
    ``position_angle_deg`` is that of the picture's up from north through east, 0 ≤ angle < 360; ``mirrored`` is
    false when east is on the left with north up. ``image_scale_arcsec`` is that of the undistorted picture which
    fits the whole frame best. ``rms_px`` is the scatter of the ``matched`` stars about the fit with ``distortion``,
    the fraction by which the corners are drawn outwards (negative: inwards) against that scale's centre; 0 where
    there were too few stars to tell. ``verified`` are the stars that agree beyond the three of the guess;
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


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why there is no placement, and what can be done."""

    reason: str
    hint: str


@dataclass(frozen=True)
class _Frame:
    """The picture: star positions from its centre in pixels (x right, y down), brightest first, and its size."""

    x: Floats
    y: Floats
    width: int
    height: int
    scale: float  # radians per pixel, as expected
    tolerance: float

    @property
    def diagonal(self) -> float:
        return math.hypot(self.width, self.height)

    def directions(self, number: int, scale: ArrayLike, mirrored: bool) -> Floats:
        """Unit vectors (east, north, towards the centre) of the first stars were up north; (…, number, 3)."""
        side = np.asarray(scale, dtype=np.float64)[..., None]
        east = (1.0 if mirrored else -1.0) * side * self.x[:number]
        north = -side * self.y[:number]
        length = np.sqrt(1.0 + east**2 + north**2)
        return np.stack([east / length, north / length, 1.0 / length], axis=-1)


@dataclass(frozen=True)
class _Guess:
    turn: Floats  # 3 × 3, from the picture's axes (east, north, centre) to the sky's
    scale: float
    mirrored: bool
    votes: int


@dataclass(frozen=True)
class _Fit:
    turn: Floats
    scale: float
    mirrored: bool
    bends: tuple[float, float]
    rms: float
    matched: int
    agreeing: int
    looked_at: int
    log10_chance: float


def solve(
    stars_xy_flux: tuple[ArrayLike, ArrayLike, ArrayLike],
    width: int,
    height: int,
    expected_scale_arcsec: float,
    rough_centre: tuple[float, float],
    search_radius_deg: float,
    catalogue: StarTable,
    scale_tolerance: float = 0.05,
) -> Solution | Refusal:
    """The placement of a picture from its stars, or why there is none.

    ``stars_xy_flux`` are pixels from the centre of the top-left pixel = (0, 0), x right, y down, and fluxes in any
    unit (their order is all that counts). ``expected_scale_arcsec`` is right to ``scale_tolerance``; the picture's
    centre lies within ``search_radius_deg`` of ``rough_centre`` (ICRS, degrees). ``catalogue`` should reach half
    the picture's diagonal further. Any rotation and mirroring, fields up to some 60°. Raises :class:`ValueError`
    for numbers that cannot be (sizes, scale or radius not above 0).
    """
    if width < 1 or height < 1 or not expected_scale_arcsec > 0 or not search_radius_deg > 0:
        raise ValueError("size, scale and search radius must be above 0")
    x, y, flux = (np.asarray(part, dtype=np.float64).ravel() for part in stars_xy_flux)
    whole = np.isfinite(x) & np.isfinite(y) & np.isfinite(flux)
    order = np.flatnonzero(whole)[np.argsort(-flux[whole], kind="stable")]
    frame = _Frame(
        x[order] - (width - 1) / 2,
        y[order] - (height - 1) / 2,
        width,
        height,
        expected_scale_arcsec / _ARCSEC,
        scale_tolerance,
    )
    if len(order) < FEWEST_STARS:
        return Refusal(
            f"the picture has {len(order)} stars, and fewer than {FEWEST_STARS} cannot be told from chance",
            "use a picture with more stars in it, or write the placement yourself",
        )
    half_diagonal = math.atan(frame.diagonal / 2 * frame.scale)
    centre = unit_vectors(*rough_centre)
    sky, magnitude = _singles(catalogue, 3.0 * frame.scale)
    reach = math.radians(search_radius_deg) + 1.05 * half_diagonal
    near = np.linalg.norm(sky - centre, axis=1) <= 2.0 * math.sin(min(reach, math.pi) / 2.0)
    bright_first = np.flatnonzero(near)[np.argsort(magnitude[near], kind="stable")]
    sky = sky[bright_first]
    in_frame = _expected_in_frame(frame, sky)
    if in_frame < FEWEST_CATALOGUE_STARS / 2:
        return Refusal(
            f"the table has about {in_frame:.0f} stars for a field of this size here, and some "
            f"{FEWEST_CATALOGUE_STARS} are needed",
            "give a deeper table of stars with --stars FILE, exported from any catalogue as CSV or VOTable",
        )
    tried = 0
    best: _Fit | None = None
    for number, tolerance in ((20, 0.008), (36, 0.006), (60, 0.012), (110, 0.006)):
        guesses, tests = _guesses(frame, sky, in_frame, number, tolerance, centre, math.radians(search_radius_deg))
        tried += tests
        for guess in guesses:
            fit = _refined(frame, sky, guess, max(tried, 1))
            if fit is not None and (best is None or fit.log10_chance < best.log10_chance):
                best = fit
                if best.log10_chance < 2.0 * GREATEST_CHANCE:
                    break
        if best is not None and best.log10_chance < GREATEST_CHANCE:
            return _solution(frame, best)
        if number >= len(order) and number >= in_frame:
            break
    if best is None or best.log10_chance > -2.0:
        reason = f"the pattern of the picture's {len(order)} stars is nowhere in that part of the sky"
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
    )


def _solid_angle(frame: _Frame) -> float:
    """Steradians of the frame: of a pyramid with flat faces."""
    a, b = frame.width / 2 * frame.scale, frame.height / 2 * frame.scale
    return 4.0 * math.atan(a * b / math.sqrt(1.0 + a * a + b * b))


def _expected_in_frame(frame: _Frame, sky: Floats) -> float:
    """Catalogue stars to be expected in the frame: the median over the stars of how many lie as near as that.

    Not their number by the area searched: a table that a person exported may reach no further than the picture.
    """
    from scipy.spatial import cKDTree

    if not len(sky):
        return 0.0
    radius = 2.0 * math.sin(0.5 * math.acos(max(1.0 - _solid_angle(frame) / (2.0 * math.pi), -1.0)))
    some = sky[np.linspace(0, len(sky) - 1, min(len(sky), 300)).astype(int)]
    return float(np.median(cKDTree(sky).query_ball_point(some, radius, return_length=True)))


def _singles(catalogue: StarTable, apart: float) -> tuple[Floats, Floats]:
    """Directions and magnitudes, stars closer than ``apart`` radians put together as the picture shows them."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    whole = np.isfinite(catalogue.ra) & np.isfinite(catalogue.dec) & np.isfinite(catalogue.mag)
    vectors = unit_vectors(catalogue.ra[whole], catalogue.dec[whole])
    magnitude = np.asarray(catalogue.mag, dtype=np.float64)[whole]
    if not len(vectors):
        return vectors.reshape(0, 3), magnitude
    pairs = cKDTree(vectors).query_pairs(apart, output_type="ndarray")
    if not len(pairs):
        return vectors, magnitude
    links = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(vectors),) * 2)
    number, group = connected_components(links, directed=False)
    light = 10.0 ** (-0.4 * magnitude)
    total: Floats = np.bincount(group, light, number).astype(np.float64)
    moments = [np.bincount(group, light * vectors[:, axis], number) for axis in range(3)]
    joined: Floats = np.stack(moments, axis=1).astype(np.float64)
    joined /= np.linalg.norm(joined, axis=1, keepdims=True)
    return joined, -2.5 * np.log10(total)


def _guesses(
    frame: _Frame,
    sky: Floats,
    in_frame: float,
    number: int,
    tolerance: float,
    centre: Floats,
    radius: float,
) -> tuple[list[_Guess], int]:
    """Likely placements from triangles of the ``number`` brightest stars, the likeliest first; and how many tried."""
    from scipy.spatial import cKDTree

    number = min(number, len(frame.x))
    # The catalogue a little deeper than the picture: colours and cut-off tops shuffle the order of brightness.
    deep = max(int(1.5 * number / max(in_frame, 1e-9) * len(sky)), 12)
    stars = sky[: min(deep, len(sky), 4000)]
    if len(stars) < 3:
        return [], 0
    ours = frame.directions(number, frame.scale, mirrored=False)
    longest = 2.0 * math.sin(math.atan(frame.diagonal / 2 * frame.scale))
    ours_three = _triangles(ours, longest, _MOST_OWN_TRIANGLES)
    sky_three = _triangles(stars, (1.0 + frame.tolerance) * longest, _MOST_TRIANGLES)
    if not len(ours_three) or not len(sky_three):
        return [], 0
    ours_three, ours_shape, ours_hand = _shapes(ours, ours_three, 0.04 * longest)
    sky_three, sky_shape, sky_hand = _shapes(stars, sky_three, 0.03 * longest)
    if not len(ours_three) or not len(sky_three):
        return [], 0
    stretch = np.array([tolerance / math.log1p(frame.tolerance), 1.0, 1.0])
    tree = cKDTree(sky_shape * stretch)
    lists = tree.query_ball_point(ours_shape * stretch, tolerance, p=np.inf)
    counts = np.array([len(found) for found in lists])
    if not counts.sum():
        return [], 0
    left = np.repeat(np.arange(len(lists)), counts)
    right = np.concatenate([np.asarray(found, dtype=np.intp) for found in lists if found])
    if len(left) > _MOST_GUESSES:
        # The most telling triangles are those with few likenesses.
        keep = np.argsort(counts[left], kind="stable")[:_MOST_GUESSES]
        left, right = left[keep], right[keep]
    tests = len(left)
    mirrored = ours_hand[left] != sky_hand[right]
    scale = frame.scale * np.exp(sky_shape[right, 0] - ours_shape[left, 0])
    votes, turns = _counted(frame, stars, number, ours_three[left], sky_three[right], scale, mirrored, centre, radius)
    order = np.argsort(-votes, kind="stable")
    chosen: list[_Guess] = []
    for index in order[:2000]:
        if votes[index] < 4 or len(chosen) >= _REFINED:
            break
        guess = _Guess(turns[index], float(scale[index]), bool(mirrored[index]), int(votes[index]))
        if not any(_alike(guess, other, longest) for other in chosen):
            chosen.append(guess)
    return chosen, tests


def _alike(one: _Guess, other: _Guess, longest: float) -> bool:
    same_hand = one.mirrored == other.mirrored
    return same_hand and bool(np.abs(one.turn - other.turn).max() < 0.02 * max(longest, 0.02))


def _triangles(points: Floats, longest: float, most: int) -> Whole:
    """Triples of points, each a point with two of its neighbours no further off than ``longest``; (n, 3).

    All triples where that is few enough, else those of as many nearest neighbours as ``most`` allows.
    """
    from scipy.spatial import cKDTree

    count = len(points)
    neighbours = int((1.0 + math.sqrt(1.0 + 8.0 * 2.5 * most / count)) / 2.0)
    neighbours = max(4, min(neighbours, count - 1, 60))
    if count < 3:
        return np.empty((0, 3), dtype=np.intp)
    distance, index = cKDTree(points).query(points, min(neighbours + 1, count), distance_upper_bound=longest)
    distance, index = distance[:, 1:], index[:, 1:]
    first, second = np.triu_indices(index.shape[1], 1)
    both = np.isfinite(distance[:, first]) & np.isfinite(distance[:, second])
    own, pair = np.nonzero(both)
    triples = np.stack([own, index[own, first[pair]], index[own, second[pair]]], axis=1)
    triples.sort(axis=1)
    key = (triples[:, 0] * count + triples[:, 1]) * count + triples[:, 2]
    return np.asarray(triples[np.unique(key, return_index=True)[1]], dtype=np.intp)


def _shapes(points: Floats, triples: Whole, shortest: float) -> tuple[Whole, Floats, NDArray[np.bool_]]:
    """Triples with corners put in the order of the sides opposite to them (longest first), shapes and hands.

    A shape is (ln longest side, middle ÷ longest, shortest ÷ longest); the hand is on which side of the first two
    corners the third lies. Triangles with a side too short to measure, or too flat for a sure hand, are left out.
    """
    corners = points[triples]
    sides = np.stack([np.linalg.norm(corners[:, (n + 1) % 3] - corners[:, (n + 2) % 3], axis=1) for n in range(3)], 1)
    order = np.argsort(-sides, axis=1)
    sides = np.take_along_axis(sides, order, axis=1)
    triples = np.take_along_axis(triples, order, axis=1)
    corners = points[triples]
    volume = np.einsum("ni,ni->n", corners[:, 0], np.cross(corners[:, 1], corners[:, 2]))
    good = (sides[:, 2] > shortest) & (np.abs(volume) > 0.02 * sides[:, 0] ** 2)
    # Two sides alike could be taken for each other, which turns the hand round.
    ratios = sides[:, 1:] / np.maximum(sides[:, :1], 1e-12)
    good &= (ratios[:, 0] < 0.985) & (ratios[:, 1] < 0.985 * ratios[:, 0])
    shape = np.stack([np.log(np.maximum(sides[:, 0], 1e-12)), ratios[:, 0], ratios[:, 1]], axis=1)
    return triples[good], shape[good], volume[good] > 0


def _counted(
    frame: _Frame,
    stars: Floats,
    number: int,
    ours_three: Whole,
    sky_three: Whole,
    scale: Floats,
    mirrored: NDArray[np.bool_],
    centre: Floats,
    radius: float,
) -> tuple[Whole, Floats]:
    """For each guess, how many bright stars of the picture have a catalogue star at hand; and its turn (n, 3, 3)."""
    from scipy.spatial import cKDTree

    tree = cKDTree(stars)
    number = min(max(number, 25), _COUNTED, len(frame.x))
    near_px = 0.006 * frame.diagonal
    votes = np.zeros(len(scale), dtype=np.intp)
    turns = np.zeros((len(scale), 3, 3))
    for hand in (False, True):
        for which in _slices(np.flatnonzero(mirrored == hand), 4000):
            # The corners may be deeper than the stars that are counted.
            deepest = int(ours_three[which].max()) + 1
            ours = frame.directions(max(number, deepest), scale[which], hand)
            corners = np.take_along_axis(ours, ours_three[which][:, :, None], axis=1)
            turn = _turns(corners, stars[sky_three[which]])
            turns[which] = turn
            towards = turn[:, :, 2]
            within = np.linalg.norm(towards - centre, axis=1) <= 2.0 * math.sin(min(radius, math.pi) / 2.0) * 1.02
            if not within.any():
                continue
            on_sky = np.einsum("hij,hkj->hki", turn[within], ours[within][:, :number])
            limit = near_px * frame.scale
            distance, _ = tree.query(on_sky.reshape(-1, 3), distance_upper_bound=limit)
            votes[which[within]] = np.isfinite(distance).reshape(-1, number).sum(axis=1)
    return votes, turns


def _slices(indices: Whole, size: int) -> Iterator[Whole]:
    for start in range(0, len(indices), size):
        yield indices[start : start + size]


def _turns(ours: Floats, theirs: Floats) -> Floats:
    """The rotations that bring directions (n, k, 3) onto others best (Kabsch 1976, Acta Cryst. A32, 922)."""
    product = np.einsum("nki,nkj->nij", theirs, ours)
    left, _, right = np.linalg.svd(product)
    left[:, :, 2] *= (np.linalg.det(left) * np.linalg.det(right))[:, None]
    return np.asarray(left @ right)


def _projected(
    turn: Floats, scale: float, mirrored: bool, bends: tuple[float, float], half: float, sky: Floats
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Pixels from the picture's centre of catalogue directions, and whether they lie on the visible half."""
    local = sky @ turn
    depth = np.maximum(local[:, 2], 1e-3)
    x = (1.0 if mirrored else -1.0) * local[:, 0] / depth / scale
    y = -local[:, 1] / depth / scale
    square = np.minimum((x**2 + y**2) / half**2, 2.0)
    outwards = 1.0 + bends[0] * square + bends[1] * square**2
    return x * outwards, y * outwards, local[:, 2] > 0.2


def _refined(frame: _Frame, sky: Floats, guess: _Guess, tried: int) -> _Fit | None:
    """The guess fitted to all stars it explains, and the chance that it explains them by accident."""
    from scipy.spatial import cKDTree

    half = frame.diagonal / 2
    turn, scale, bends = guess.turn, guess.scale, (0.0, 0.0)
    ours_all = np.stack([frame.x, frame.y], axis=1)
    limits = [0.008 * frame.diagonal, 0.006 * frame.diagonal, 0.004 * frame.diagonal, 0.0025 * frame.diagonal]
    limits += [0.0015 * frame.diagonal] * 2
    rms, matched = 0.0, 0
    ours, theirs = np.empty((0, 2)), np.empty((0, 3))
    shown = len(sky)
    limit = limits[0]
    for step in range(len(limits) + 3):
        # Bright stars first: they find the place; the faint ones then sharpen it.
        shown = min(60 * 4**step, len(sky))
        x, y, front = _projected(turn, scale, guess.mirrored, bends, half, sky)
        inside = front & (np.abs(x) < frame.width / 2) & (np.abs(y) < frame.height / 2)
        candidates = np.flatnonzero(inside)[:shown]
        if len(candidates) < 4:
            return None
        listed = ours_all[: _listed(len(candidates))]
        places = np.stack([x[candidates], y[candidates]], axis=1)
        limit = limits[step] if step < len(limits) else max(1.5, min(limits[-1], 3.5 * rms))
        ours_index, sky_index = _mutual(cKDTree(listed), listed, places, limit)
        matched = len(ours_index)
        if matched < 4:
            return None
        ours, theirs = listed[ours_index], sky[candidates[sky_index]]
        turn, scale, bends, rms = _least_squares(turn, scale, bends, guess.mirrored, half, ours, theirs)
        if abs(math.log(scale / frame.scale)) > 1.3 * math.log1p(frame.tolerance) or max(map(abs, bends)) > 0.3:
            return None
        # A wrong guess is seen for one before all the faint stars are fitted to it.
        if step == 3 and _log10_accident(frame, matched, len(candidates), len(listed), limit) > -2.0:
            return None
    x, y, front = _projected(turn, scale, guess.mirrored, bends, half, sky)
    inside = front & (np.abs(x) < frame.width / 2) & (np.abs(y) < frame.height / 2)
    candidates = np.flatnonzero(inside)[:400]
    listed = ours_all[: _listed(len(candidates))]
    ours_index, _ = _mutual(cKDTree(listed), listed, np.stack([x[candidates], y[candidates]], axis=1), limit)
    agreeing = len(ours_index)
    chance = _log10_accident(frame, agreeing, len(candidates), len(listed), limit) + math.log10(tried)
    return _Fit(
        turn, scale, guess.mirrored, bends, rms, matched, agreeing, len(candidates), min(chance, 0.0)
    )


def _log10_accident(frame: _Frame, agreeing: int, candidates: int, listed: int, limit: float) -> float:
    """log₁₀ of the chance that so many of the candidates, without the guess's three, meet a listed star."""
    # Twice the mean density, because stars and false stars come in clumps.
    accident = -math.expm1(-2.0 * listed * math.pi * limit**2 / (frame.width * frame.height))
    return _log10_tail(agreeing - 3, candidates - 3, accident)


def _listed(candidates: int) -> int:
    """How many of the picture's brightest stars are compared with so many catalogue stars."""
    return max(2 * candidates + 10, 30)


def _mutual(tree: Any, listed: Floats, places: Floats, limit: float) -> tuple[Whole, Whole]:
    """Pairs that are each other's nearest within ``limit``."""
    from scipy.spatial import cKDTree

    distance, nearest = tree.query(places, distance_upper_bound=limit)
    back = cKDTree(places).query(listed)[1]
    found = np.flatnonzero(np.isfinite(distance))
    found = found[back[nearest[found]] == found]
    return np.asarray(nearest[found], dtype=np.intp), np.asarray(found, dtype=np.intp)


def _least_squares(
    turn: Floats, scale: float, bends: tuple[float, float], mirrored: bool, half: float, ours: Floats, theirs: Floats
) -> tuple[Floats, float, tuple[float, float], float]:
    """A small turn, the scale and as much distortion as the number of stars can carry; and the scatter in pixels.

    Gauss and Newton's steps with slopes by differences. Strays are damped: a miss counts less the further it is above
    twice the typical one.
    """
    from scipy.spatial.transform import Rotation

    count = len(ours)
    free = 4 + (count >= 10) + (count >= 40)
    unit = scale * half

    def misses(numbers: Floats, local: Floats, size: float) -> Floats:
        # A turn too small for its order to matter is a cross product.
        turned = local - np.cross(numbers[:3] * unit, local) if numbers[:3].any() else local
        x, y, _ = _projected(_UNTURNED, size * math.exp(numbers[3]), mirrored, (numbers[4], numbers[5]), half, turned)
        return np.concatenate([x - ours[:, 0], y - ours[:, 1]])

    rest = np.zeros(2 * count)
    for _ in range(6):
        local = theirs @ turn
        now = np.array([0.0, 0.0, 0.0, 0.0, *bends])
        rest = misses(now, local, scale)
        typical = 2.0 * max(float(np.median(np.abs(rest))), 0.2)
        weight = (1.0 + (rest / typical) ** 2) ** -0.25
        moved = [misses(now + 1e-4 * axis, local, scale) for axis in np.eye(6)[:free]]
        slopes = (np.stack(moved, axis=1) - rest[:, None]) / 1e-4
        step = np.zeros(6)
        step[:free] = np.linalg.lstsq(slopes * weight[:, None], -rest * weight, rcond=None)[0]
        step = np.clip(step, -0.2, 0.2)
        turn = turn @ Rotation.from_rotvec(step[:3] * unit).as_matrix()
        scale *= math.exp(step[3])
        bends = (float(bends[0] + step[4]), float(bends[1] + step[5]))
        if float(np.abs(step).max()) * half < 0.01:
            break
    rest = misses(np.array([0.0, 0.0, 0.0, 0.0, *bends]), theirs @ turn, scale)
    return turn, scale, bends, float(math.sqrt((rest**2).sum() / count))


def _log10_tail(hits: int, tries: int, probability: float) -> float:
    """log₁₀ of the chance of at least ``hits`` in ``tries``, each of the given probability."""
    from scipy.stats import binom

    if hits <= 0 or tries <= 0:
        return 0.0
    hits, probability = min(hits, tries), min(probability, 1.0)
    tail = float(binom.logsf(hits - 1, tries, probability))
    if not math.isfinite(tail):
        # Below what a float can hold: Chernoff's bound is above the tail, so it is the careful side.
        share = hits / tries
        rest = (1.0 - share) * math.log((1.0 - share) / (1.0 - probability)) if hits < tries else 0.0
        tail = -tries * (share * math.log(share / probability) + rest)
    return tail / math.log(10.0)


def _solution(frame: _Frame, fit: _Fit) -> Solution:
    towards = fit.turn[:, 2]
    ra = math.degrees(math.atan2(towards[1], towards[0])) % 360.0
    dec = math.degrees(math.atan2(towards[2], math.hypot(towards[0], towards[1])))
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
        ra_deg=ra if ra < 360.0 else 0.0,
        dec_deg=dec,
        image_scale_arcsec=fit.scale / mean * _ARCSEC,
        position_angle_deg=angle if angle < 360.0 else 0.0,
        mirrored=fit.mirrored,
        rms_px=fit.rms,
        matched=fit.matched,
        verified=fit.matched - 3,
        log10_chance=fit.log10_chance,
        distortion=float(fit.bends[0] + fit.bends[1]),
    )

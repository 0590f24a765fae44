"""Which targets of an archive lie near each other on the sky."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator

from noctuary.facts.target import TargetFacts
from noctuary.geometry import position_angle_deg, separation_deg
from noctuary.plain_record import plain_record

#: Targets further apart are no neighbours: what the outstretched hand covers of the sky (common practice), degrees.
WITHIN_DEG = 20.0
#: So many neighbours are named at most.
MOST = 6


@plain_record
class Neighbour:
    """A target near another, ``separation_deg`` away (0 to 20), towards ``position_angle_deg`` (0 ≤ angle < 360).

    The angle is that of the great circle from the other to this one, from north through east (ICRS).
    """

    target: TargetFacts
    separation_deg: float
    position_angle_deg: float


def neighbours(targets: Iterable[TargetFacts]) -> dict[str, tuple[Neighbour, ...]]:
    """For each of these targets, by identity, the nearest of the others: six at most within 20°, nearest first.

    What has no fixed position (a comet, the Sun) is nobody's neighbour and has none, and is left out.
    """
    # By declination: whoever is near is near in it too, so that few pairs of a large archive are measured.
    placed = sorted(_placed(targets), key=lambda entry: (entry[1], entry[0], entry[2].identity))
    declinations = [dec for _, dec, _ in placed]
    found = {}
    for ra, dec, target in placed:
        near = placed[bisect_left(declinations, dec - WITHIN_DEG) : bisect_right(declinations, dec + WITHIN_DEG)]
        apart = (
            (separation_deg(ra, dec, other_ra, other_dec), other.name, other.identity, other_ra, other_dec, other)
            for other_ra, other_dec, other in near
            if other.identity != target.identity
        )
        nearest = sorted(entry for entry in apart if entry[0] <= WITHIN_DEG)[:MOST]
        found[target.identity] = tuple(
            Neighbour(other, distance, position_angle_deg(ra, dec, other_ra, other_dec))
            for distance, _, _, other_ra, other_dec, other in nearest
        )
    return found


def _placed(targets: Iterable[TargetFacts]) -> Iterator[tuple[float, float, TargetFacts]]:
    for target in targets:
        ra, dec = target.object.ra_deg, target.object.dec_deg
        if target.fixed and ra is not None and dec is not None:
            yield ra, dec, target

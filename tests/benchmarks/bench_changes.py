"""How often a comparison sees changes that are none, and which changes it finds.

    python -m tests.benchmarks.bench_changes --pairs 60

Pairs as tests/images/simulated_pairs.py draws them (linear, stretched by an inverse hyperbolic sine or a gamma of
2.2, half of the stretched ones saved as JPEG of quality 80, limits 0.3–2.5 mag apart, other scales, seeing and
angles), placed with an error of 0.4 px and, star by star, brighter or fainter by 0.05 mag as colours are through two
cameras. In each pair nothing changes, or three stars fade or brighten by 1 mag, or three are new, or two bodies move.

Found is told by how far a star lies above the limit of the worse picture: the magnitude at which that picture finds
a star, as its own stars show it. Of changes only those count that lie in both pictures.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable

import numpy as np
from noctuary.images.changes import changes
from noctuary.images.common_sky import CannotTell, Side, both_sides
from noctuary.images.faint_stars import FOUND_FROM
from numpy.random import Generator, default_rng

from tests.images.simulated_changes import (
    Changed,
    Injected,
    missed_by,
    moved_bodies,
    new_stars,
    star_by_star,
    variables,
)
from tests.images.simulated_pairs import FieldStars, random_pair

COLOURS_MAG, MISSED_PX = 0.05, 0.4
ABOVE_MAG = (0.5, 1.0, 1.5, 2.0, 2.5, 3.0)
KINDS: dict[str, Callable[[Generator, Injected], Changed]] = {
    "unchanged": lambda rng, _: star_by_star(rng, COLOURS_MAG),
    "1 mag": lambda rng, injected: variables(rng, injected, 3, 1.0, COLOURS_MAG),
    "new": lambda rng, injected: new_stars(rng, injected, 3, COLOURS_MAG),
    "moved": lambda rng, injected: moved_bodies(rng, injected, 2, COLOURS_MAG),
}


def limit_of(side: Side, ra: np.ndarray, dec: np.ndarray, mag: np.ndarray) -> float:
    """The magnitude of a star that a picture just finds, from those of its stars that are faint and known."""
    x, y = side.places(ra, dec)
    limits = []
    for star in np.flatnonzero(side.stars.signal < 40.0)[:300]:
        apart = np.hypot(x - side.stars.x[star], y - side.stars.y[star])
        near = apart < 0.7 * side.stars.fwhm_px
        if near.any():
            limits.append(float(mag[near].min()) + 2.5 * np.log10(side.stars.signal[star] / FOUND_FROM))
    return float(np.median(limits))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--pairs", type=int, default=60, help="of each kind")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kind", choices=list(KINDS), action="append", help="these kinds only")
    asked = parser.parse_args()
    for kind in asked.kind or KINDS:
        measure(kind, asked.pairs, asked.seed)


def measure(kind: str, pairs: int, seed: int) -> None:
    """Draw pairs with changes of one kind and print what is found of them."""
    above: list[float] = []
    found: list[bool] = []
    spent, alarmed, false, compared, tried = 0.0, 0, 0, 0, 0
    for number in range(pairs):
        rng = default_rng([seed, list(KINDS).index(kind), number])
        injected = Injected()
        whole: list[FieldStars] = []
        change = KINDS[kind](rng, injected)

        def noted(
            stars: FieldStars, change: Changed = change, whole: list[FieldStars] = whole
        ) -> tuple[FieldStars, FieldStars]:
            whole.append(stars)
            return change(stars)

        pair = random_pair(rng, noted, missed_by(rng, MISSED_PX))
        begun = time.process_time()
        try:
            result = changes(pair.older.plane, pair.newer.plane)
        except CannotTell as why:
            print(f"  {kind} {number}: {why}", flush=True)
            continue
        spent += time.process_time() - begun
        compared += 1
        tried += result.tried
        wrong = injected.false(result.candidates)
        alarmed += wrong > 0
        false += wrong
        if not injected.ra:
            continue
        stars = whole[0]
        sides = both_sides(pair.older.plane, pair.newer.plane)
        limit = min(limit_of(side, stars.ra, stars.dec, stars.mag) for side in sides)
        for here, shared, mag in zip(
            injected.found(result.candidates), injected.shared(pair), injected.mag, strict=True
        ):
            if shared:
                above.append(limit - mag)
                found.append(here)
    print(
        f"{kind}: {compared} pairs of {pairs}, {tried / max(compared, 1):.0f} stars tried in each, "
        f"{false} false candidates in {alarmed} pairs, processor {spent / max(compared, 1):.2f} s a pair"
    )
    for low, high in zip(ABOVE_MAG, (*ABOVE_MAG[1:], 9.0), strict=True):
        some = [hit for hit, mag in zip(found, above, strict=True) if low <= mag < high]
        if some:
            print(f"  {low:.1f}–{high:.1f} mag above the limit: {sum(some)} of {len(some)} found", flush=True)


if __name__ == "__main__":
    main()

"""By how much two pictures differ in reach, measured on pairs whose limits are known.

    python -m tests.benchmarks.bench_reach --pairs 200

Pairs as tests/images/simulated_pairs.py draws them: limits 0.3–2.5 mag apart, either of them the deeper, linear,
stretched by an inverse hyperbolic sine or a gamma of 2.2, half of the stretched ones saved as JPEG of quality 80,
with scales of 1.2–2.6″/px and stars of 2.3–5″, turned, mirrored and shifted. A pair with fewer than 50 stars in
common is refused, which is right, and counted by itself.
"""

from __future__ import annotations

import argparse
import time

import numpy as np
from noctuary.images.common_sky import CannotTell
from noctuary.images.reach import pair_reach
from numpy.random import default_rng

from tests.images.simulated_pairs import random_pair


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--pairs", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    errors, within, widths, spent, refused = [], 0, [], [], 0
    for number in range(asked.pairs):
        pair = random_pair(default_rng([asked.seed, number]))
        begun = time.process_time()
        try:
            result = pair_reach(pair.older.plane, pair.newer.plane)
        except CannotTell as why:
            refused += 1
            print(f"  number {number}, {pair.deeper_mag:+.2f} mag: {why}", flush=True)
            continue
        finally:
            spent.append(time.process_time() - begun)
        error = result.deeper_mag - pair.deeper_mag
        errors.append(abs(error))
        within += abs(error) <= result.uncertainty_mag
        for side, width in ((pair.older, result.fwhm_older_arcsec), (pair.newer, result.fwhm_newer_arcsec)):
            widths.append(width / side.fwhm_arcsec)
        if abs(error) > result.uncertainty_mag:
            finishes = f"{pair.older.finish}, {pair.newer.finish}"
            print(f"  number {number}, {finishes}: {result}, truth {pair.deeper_mag:+.2f}", flush=True)
    print(f"{within} of {len(errors)} within the stated uncertainty, {refused} refused")
    print(f"error {np.median(errors):.3f} mag in the median, {np.percentile(errors, 90):.2f} in nine of ten")
    low, middle, high = np.percentile(widths, (10, 50, 90))
    print(f"FWHM {middle:.2f} times the true one in the median, {low:.2f}–{high:.2f} in eight of ten")
    print(f"processor: {np.median(spent):.2f} s in the median")


if __name__ == "__main__":
    main()

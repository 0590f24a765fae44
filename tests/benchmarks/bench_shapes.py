"""How often the five patterns of star shapes are told apart, and how far nine zones are off their truth.

    python -m tests.benchmarks.bench_shapes              # 20 frames of each pattern
    python -m tests.benchmarks.bench_shapes --frames 100

Frames are simulated: profiles integrated over every pixel, photon and read noise. Wanted: 95 of 100 patterns; at 100
stars a zone, widths to 5 %, elongations to 0.05 and directions to 10 degrees. Exit status 1 where that is missed.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter

from noctuary.images.star_shapes import measure
from numpy.random import default_rng

from tests.images import simulated_stars
from tests.images.test_star_shapes import PATTERNS, _drawn, _same


def told_apart(frames: int, first: int = 1000) -> tuple[int, Counter[tuple[str, str]], float]:
    """How many frames got their own pattern, (pattern, told) of the others, and seconds a frame."""
    right, wrong, spent = 0, Counter[tuple[str, str]](), 0.0
    for pattern in PATTERNS:
        for number in range(frames):
            rng = default_rng(first + number)
            shape = _drawn(pattern, rng)
            frame = simulated_stars.frame(rng, 1200, 800, 25, shape, moffat=float(rng.uniform(2.5, 5)))
            began = time.process_time()
            told = measure(frame).pattern
            spent += time.process_time() - began
            if told == pattern:
                right += 1
            else:
                wrong[pattern, told] += 1
    return right, wrong, spent / (frames * len(PATTERNS))


def worst_errors(frames: int, first: int = 2000) -> tuple[float, float, float]:
    """The greatest error of any zone: width (share), elongation, direction (degrees; of elongations above 1.1)."""
    width = long = turned = 0.0
    for number in range(frames):
        rng = default_rng(first + number)
        truth = float(rng.uniform(1.8, 4)), float(rng.uniform(1, 2)), float(rng.uniform(0, 180))
        frame = simulated_stars.frame(rng, 1800, 1200, 100, _same(*truth), moffat=float(rng.uniform(2.5, 5)))
        for zone in measure(frame).zones:
            assert zone.width_px is not None
            assert zone.elongation is not None
            assert zone.direction_deg is not None
            width = max(width, abs(zone.width_px / truth[0] - 1))
            long = max(long, abs(zone.elongation - truth[1]))
            if truth[1] > 1.1:
                turned = max(turned, abs((zone.direction_deg - truth[2] + 90) % 180 - 90))
    return width, long, turned


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--frames", type=int, default=20, help="frames of each pattern")
    frames = parser.parse_args().frames
    right, wrong, seconds = told_apart(frames)
    total = frames * len(PATTERNS)
    print(f"patterns told apart: {right} of {total}; {seconds:.2f} s of processor a frame of 1 megapixel")
    for (truth, told), count in wrong.most_common():
        print(f"  {count} × {truth!r} was called {told!r}")
    width, long, turned = worst_errors(max(5, frames // 2))
    print(f"worst zone at 100 stars: width {width:.1%}, elongation {long:.3f}, direction {turned:.1f} degrees")
    return 0 if right >= 0.95 * total and width < 0.05 and long < 0.05 and turned < 10 else 1


if __name__ == "__main__":
    sys.exit(main())

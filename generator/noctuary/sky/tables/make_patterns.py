"""Write patterns.bin, the index of patterns of four stars by which a picture is found anywhere on the sky.

Run: python -m noctuary.sky.tables.make_patterns

It is made of tycho2.bin alone, the shipped table of stars, and has to be made again whenever that is; its head holds
that file's SHA-256.

**Stars.** A star has a reach: the distance to the fourth nearest star that is brighter. The step for fields of one
size has the stars whose reach is above a share of that size, so that its stars are as evenly spread as a picture's
brightest ones in each of its parts, and every step's stars are among those of the step before. Of stars less than
20″ apart, which are one in a picture of 3°, the brightest is taken.

**Patterns.** Each star with every three of its five nearest neighbours of the step.

**Format.** Little-endian. A head of 48 bytes: ``b"NOCTPAT1"``, the SHA-256 of tycho2.bin, the number of steps, the
number of stars (uint32 each). For each step the number of its stars, of its patterns and of the bits
of its buckets (uint32 each). The stars, those of the greatest reach first: right ascension in turns and declination
from the south pole in half turns, times 2²⁴ (24 bits each). Then step by step the number of patterns in each bucket
(uint8) and the patterns, bucket by bucket: a star's number times ten and the number of the three neighbours, 24 bits.
See ``pattern_index`` and ``four_stars`` for the numbers.
"""

from __future__ import annotations

import hashlib
import math
from pathlib import Path

import numpy as np

from noctuary.geometry import lons_lats_deg, unit_vectors
from noctuary.sky import star_cells
from noctuary.sky.four_stars import all_fours, nearest, shapes
from noctuary.sky.pattern_index import (
    BRIGHTER,
    HEAD,
    MAGIC,
    NEIGHBOURS,
    STEP,
    STEPS,
    bits_for,
    buckets,
    cells_of,
    directions,
    field_deg,
    packed,
    packed_directions,
    reach_of_field,
)
from noctuary.sky.solve_frame import Floats

HERE = Path(__file__).parent
TABLE = HERE / "tycho2.bin"
_OF_A_CELL = 10  # brightest stars of each square degree that are looked at: more than twice as many as are taken
_ONE_STAR_DEG = 20.0 / 3600.0
_LOOKED_AT = 24


def reaches(stars: Floats) -> tuple[Floats, Floats]:
    """Distances (chords) of directions (n, 3), brightest first, to the fourth nearest brighter one, and to the first.

    Twice the radius where there are none so many.
    """
    from scipy.spatial import cKDTree

    count = len(stars)
    fourth, first = np.full(count, 2.0), np.full(count, 2.0)
    end = 64
    done = 0
    while done < count:
        # Among as many brighter stars again as there were, few neighbours have to be looked at.
        end = min(end, count)
        tree = cKDTree(stars[:end])
        looked_at = _LOOKED_AT
        open_ones = np.arange(done, end)
        while len(open_ones):
            distance, index = tree.query(stars[open_ones], min(looked_at, end))
            brighter = index < open_ones[:, None]
            rank = brighter.cumsum(axis=1)
            for wanted, answer in ((1, first), (BRIGHTER, fourth)):
                has = rank[:, -1] >= wanted
                answer[open_ones[has]] = distance[has, (rank[has] == wanted).argmax(axis=1)]
            open_ones = open_ones[rank[:, -1] < BRIGHTER] if looked_at < end else open_ones[:0]
            looked_at *= 4
        done, end = end, 2 * end
    return fourth, first


def chord(degrees: float) -> float:
    return 2.0 * math.sin(math.radians(degrees) / 2.0)


def spread_stars() -> tuple[Floats, Floats]:
    """Directions of the stars of all steps, those of the greatest reach first, and their reaches (chords)."""
    every = star_cells.brightest_everywhere(_OF_A_CELL)
    bright = np.argsort(every.mag, kind="stable")
    stars = unit_vectors(every.ra[bright], every.dec[bright])
    fourth, first = reaches(stars)
    kept = (fourth >= chord(reach_of_field(field_deg(0)))) & (first > chord(_ONE_STAR_DEG))
    stars, fourth = stars[kept], fourth[kept]
    order = np.argsort(-fourth, kind="stable")
    return stars[order], fourth[order]


def step_bytes(stars: Floats, step: int) -> tuple[int, int, bytes]:
    """Number of patterns, bits of the buckets, and the bytes of a step of such stars."""
    fours, numbers = all_fours(nearest(stars, NEIGHBOURS, math.radians(field_deg(step))))
    kept, _, shape, _ = shapes(stars, fours, 0.0)
    numbers = numbers[kept]
    bits = bits_for(len(numbers))
    bucket = buckets(cells_of(shape), bits)
    order = np.lexsort((numbers, bucket))
    counts = np.bincount(bucket, minlength=1 << bits)
    if counts.max() > 255 or numbers.max() >= 1 << 24:
        raise SystemExit(f"step {step} does not fit: {counts.max()} patterns in a bucket, {len(stars)} stars")
    return len(numbers), bits, counts.astype("u1").tobytes() + packed(numbers[order]).tobytes()


def main(folder: Path = HERE) -> None:
    """Write the index into a folder."""
    stars, fourth = spread_stars()
    places = packed_directions(*lons_lats_deg(stars))
    stars = directions(places)
    heads, bodies = [], []
    for step in range(STEPS):
        some = int((fourth >= chord(reach_of_field(field_deg(step)))).sum())
        patterns, bits, body = step_bytes(stars[:some], step)
        heads.append(STEP.pack(some, patterns, bits))
        bodies.append(body)
    table = hashlib.sha256(TABLE.read_bytes()).digest()
    (folder / "patterns.bin").write_bytes(
        b"".join([HEAD.pack(MAGIC, table, STEPS, len(stars)), *heads, places.tobytes(), *bodies])
    )


if __name__ == "__main__":
    main()

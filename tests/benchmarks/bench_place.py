"""How often a placement is found, and whether a wrong sky is ever taken for the right one.

    python -m tests.benchmarks.bench_place                   200 pictures drawn and detected, 1,000 wrong skies
    python -m tests.benchmarks.bench_place --pictures 40 --wrong 100 --seed 5

Fields lie at random positions on the sphere, at 1–20″/px, turned at random, half of them mirrored, with photon and
read noise, hot pixels, nebulosity, a tenth of false stars and scale and centre off as a rig and a target leave them.
Truth is drawn with astropy's WCS. Success is a centre within 2 px, the right hand, and an angle and a scale that put
the corners within 3 px.
"""

from __future__ import annotations

import argparse
import math
import time
from collections import defaultdict

import numpy as np
from noctuary.geometry import unit_vectors
from noctuary.images.stars import detect
from noctuary.sky import star_table
from noctuary.sky.solve import Refusal, Solution, solve
from numpy.random import Generator, default_rng

from tests.sky import simulated_sky
from tests.sky.drawn_picture import drawn
from tests.sky.simulated_sky import Field

SIZES = (1.0, 1.6, 2.5, 5.0, 10.0, 20.0, 30.1)


def random_field(rng: Generator, megapixels: float) -> Field:
    """A field of 1 to 30° across its diagonal, with at least 12 catalogue stars, of at most so many megapixels."""
    while True:
        diagonal = math.exp(rng.uniform(0, math.log(30)))
        across = 2 * math.tan(math.radians(diagonal / 2))
        most = math.hypot(3, 2) * math.sqrt(megapixels * 1e6 / 6)
        scale = math.degrees(across / rng.uniform(0.3, 1) / most) * 3600
        if not 1 <= scale <= 20:
            continue
        pixels = across / math.radians(scale / 3600)
        width, height = int(pixels * 3 / math.sqrt(13)), int(pixels * 2 / math.sqrt(13))
        field = simulated_sky.field(
            rng, scale, width, height, distortion=rng.uniform(-0.02, 0.02) if diagonal > 8 else 0
        )
        if len(field.x) >= 12:
            return field


def rough(rng: Generator, field: Field) -> tuple[float, float]:
    off, way = rng.uniform(0, 0.6) * math.radians(field.diagonal_deg / 2), rng.uniform(0, 2 * math.pi)
    centre = unit_vectors(field.ra, field.dec)
    east = np.cross([0, 0, 1], centre)
    east /= np.linalg.norm(east)
    v = centre + math.tan(off) * (math.sin(way) * east + math.cos(way) * np.cross(centre, east))
    v /= np.linalg.norm(v)
    return float(np.degrees(np.arctan2(v[1], v[0])) % 360), float(np.degrees(np.arcsin(v[2])))


def search(
    rng: Generator, field: Field, seen: tuple[np.ndarray, np.ndarray, np.ndarray], centre: tuple[float, float]
) -> Solution | Refusal:
    radius = 0.5 * field.diagonal_deg
    catalogue = star_table.shipped(*centre, radius + 0.55 * field.diagonal_deg, 2016.0)
    guess = field.scale * rng.uniform(0.955, 1.045)
    return solve(seen, field.width, field.height, guess, centre, radius, catalogue)


def right(field: Field, found: Solution) -> bool:
    off = np.degrees(np.linalg.norm(unit_vectors(found.ra_deg, found.dec_deg) - unit_vectors(field.ra, field.dec)))
    half = math.hypot(field.width, field.height) / 2
    turned = math.radians((found.position_angle_deg - field.angle + 180) % 360 - 180)
    distorted = field.diagonal_deg > 8
    scaled = abs(found.image_scale_arcsec / field.scale - 1) * half
    return bool(
        off * 3600 < 2 * field.scale
        and found.mirrored == field.mirrored
        and abs(turned) * half < 3
        # A distorted picture has no one scale: the centre and the angle tell.
        and (distorted or scaled < 3)
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--pictures", type=int, default=200)
    parser.add_argument("--wrong", type=int, default=1000)
    parser.add_argument("--megapixels", type=float, default=4.0)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    tally: dict[int, list[int]] = defaultdict(lambda: [0, 0, 0])
    spent = []
    for number in range(asked.pictures):
        rng = default_rng([asked.seed, number])
        field = random_field(rng, asked.megapixels)
        pixels = drawn(rng, field)
        begun = time.perf_counter()
        stars = detect(pixels)
        found = search(rng, field, (stars.x, stars.y, stars.flux), rough(rng, field))
        spent.append(time.perf_counter() - begun)
        row = tally[int(np.searchsorted(SIZES, field.diagonal_deg, side="right")) - 1]
        row[0] += 1
        if isinstance(found, Solution):
            row[1 if right(field, found) else 2] += 1
        if not isinstance(found, Solution) or not right(field, found):
            print(f"  number {number}: {field.diagonal_deg:.2f}°, {len(field.x)} catalogue stars: {found}")
    print("diagonal        tries  found  wrong")
    for size in sorted(tally):
        tries, good, bad = tally[size]
        print(f"{SIZES[size]:5.1f}°–{SIZES[size + 1]:4.1f}°  {tries:6d} {good:6d} {bad:6d}")
    if spent:
        print(f"detection and search: {np.median(spent):.2f} s in the median, {max(spent):.2f} s at most")
    accepted, luckiest = 0, 0.0
    for number in range(asked.wrong):
        rng = default_rng([asked.seed, 1, number])
        field = random_field(rng, asked.megapixels)
        elsewhere = simulated_sky.random_place(rng)
        apart = np.linalg.norm(unit_vectors(*elsewhere) - unit_vectors(field.ra, field.dec))
        if np.degrees(apart) < 2.5 * field.diagonal_deg:
            elsewhere = ((field.ra + 180) % 360, -field.dec)
        x, y, flux = simulated_sky.observed(rng, field)
        top = np.argsort(-flux)[:150]  # the rest only costs time here
        found = search(rng, field, (x[top], y[top], flux[top]), elsewhere)
        if isinstance(found, Solution):
            accepted += 1
            luckiest = min(luckiest, found.log10_chance)
            print(f"  wrong sky {number} accepted: {found}")
    print(f"wrong skies: {accepted} of {asked.wrong} accepted")


if __name__ == "__main__":
    main()

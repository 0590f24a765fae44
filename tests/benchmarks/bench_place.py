"""How often a placement is found, and whether a wrong sky is ever taken for the right one.

    python -m tests.benchmarks.bench_place --pictures 198              drawn pictures, detected and placed
    python -m tests.benchmarks.bench_place --blind 20                  drawn ones of 3° and 10°, no target, no scale
    python -m tests.benchmarks.bench_place --nowhere 3                 points without a sky, looked for all over it
    python -m tests.benchmarks.bench_place --wrong 300                 star lists searched for in a wrong sky
    python -m tests.benchmarks.bench_place --photographs FOLDER        real ones, see photographs.py
    python -m tests.benchmarks.bench_place --photographs FOLDER --elsewhere 2    each in two wrong skies
    python -m tests.benchmarks.bench_place --large 20                  time and memory of pictures of 20 megapixels

Drawn fields are 0.7–30° across their diagonal, at random positions, turned at random, half of them mirrored, with
photon and read noise, hot pixels, nebulosity and a tenth of false stars, 3 : 2, 800 px wide or wider, saved as JPEG
of quality 70; in each of the kinds of hard_pictures.py in turn, or only those of ``--kinds``. The scale is off by up
to 30 %, the target anywhere in the inner field. Truth is drawn with astropy's WCS; success is a centre within 2 px,
the right hand, and an angle and a scale that put the corners within 3 px. For photographs the scale is off by a
factor of 0.8–1.25, the target is the catalogue's object nearest to the middle that is at most half a degree outside,
and success is a scale right to 2 % and a middle to 2 % of the side.
"""

from __future__ import annotations

import argparse
import math
import time
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from noctuary.geometry import lon_lat_deg, separations_deg, unit_vectors
from noctuary.plate_solve import SeenStars
from noctuary.sky import star_table
from noctuary.sky.catalogue import Catalogue
from noctuary.sky.solve import Solution
from noctuary.sky.star_search import Outcome, scale_bands, search_everywhere, search_near
from noctuary.sky.star_table import StarTable
from numpy.random import Generator, default_rng

from tests.benchmarks import large_pictures
from tests.benchmarks.photographs import Photograph, photographs
from tests.sky import simulated_sky
from tests.sky.hard_pictures import KINDS, hard_picture
from tests.sky.simulated_sky import Field

BLIND_SIZES = (3.0, 3.3), (9.5, 10.5)
SIZES = (0.45, 1.0, 1.5, 3.0, 10.0, 30.1)


def stars_near(ra: float, dec: float, radius: float) -> StarTable:
    return star_table.shipped(ra, dec, radius, 2010.0)


def random_field(rng: Generator, megapixels: float, narrowest: float = 0.7, widest: float = 30.0) -> Field:
    """A field of so much to so much across its diagonal, with at least 12 catalogue stars."""
    while True:
        diagonal = math.exp(rng.uniform(math.log(narrowest), math.log(widest)))
        pixels = math.hypot(3, 2) * max(math.sqrt(megapixels * 1e6 / 6) * rng.uniform(0.3, 1), 800 / 3)
        scale = math.degrees(2 * math.tan(math.radians(diagonal / 2)) / pixels) * 3600
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
    return lon_lat_deg(v.tolist())


def centre_off_px(field: Field, found: Solution) -> float:
    return float(separations_deg(found.ra_deg, found.dec_deg, field.ra, field.dec)) * 3600 / field.scale


def right(field: Field, found: Solution) -> bool:
    half = math.hypot(field.width, field.height) / 2
    turned = math.radians((found.position_angle_deg - field.angle + 180) % 360 - 180)
    distorted = field.diagonal_deg > 8
    scaled = abs(found.image_scale_arcsec / field.scale - 1) * half
    return bool(
        centre_off_px(field, found) < 2
        and found.mirrored == field.mirrored
        and abs(turned) * half < 3
        # A distorted picture has no one scale: the centre and the angle tell.
        and (distorted or scaled < 3)
    )


class Tally:
    """Tries, right and wrong ones by what they have in common; how far centres are off; the processor's time."""

    def __init__(self) -> None:
        self.rows: dict[str, list[int]] = defaultdict(lambda: [0, 0, 0])
        self.spent: list[float] = []
        self.off_px: list[float] = []

    def add(self, groups: tuple[str, ...], outcome: Outcome, off_px: float | None, seconds: float, name: str) -> None:
        """Count a try in each of its groups; ``off_px`` is ``None`` where what was found is not right."""
        found, good = isinstance(outcome.found, Solution), off_px is not None
        for group in groups:
            row = self.rows[group]
            row[0] += 1
            row[1] += good
            row[2] += found and not good
        self.spent.append(seconds)
        if off_px is not None:
            self.off_px.append(off_px)
        else:
            print(f"  {name}, {', '.join(groups)}: {outcome.found}", flush=True)

    def print(self) -> None:
        print(f"{'':20} tries  found  wrong")
        for group, (tries, good, bad) in sorted(self.rows.items()):
            print(f"{group:20} {tries:5d} {good:6d} {bad:6d}")
        if self.off_px:
            off = np.percentile(self.off_px, (50, 90))
            print(f"centre off by {off[0]:.2f} px in the median, {off[1]:.2f} px in nine of ten")
        print(f"processor: {np.median(self.spent):.2f} s in the median, {max(self.spent):.2f} s at most", flush=True)


def size_group(degrees: float) -> str:
    number = int(np.searchsorted(SIZES, degrees, side="right"))
    return f"{SIZES[number - 1]:5.2f}°–{SIZES[number]:5.2f}°"


def drawn_pictures(
    numbers: range, kinds: Sequence[str], seed: int, megapixels: float, blind_deg: tuple[float, float] | None
) -> None:
    tally = Tally()
    for index in numbers:
        kind = list(KINDS)[index % len(KINDS)]
        if kind not in kinds:
            continue
        rng = default_rng([seed, index])
        field = random_field(rng, megapixels, *(blind_deg or (0.7, 30.0)))
        pixels = hard_picture(rng, field, kind)
        stated = field.scale * rng.uniform(0.77, 1.3)
        begun = time.process_time()
        seen, diagonal = SeenStars(pixels), math.hypot(field.width, field.height)
        if blind_deg is not None:
            bands = scale_bands(None, diagonal)
            outcome = search_everywhere(seen.loose_lists(), field.width, field.height, bands, stars_near)
        else:
            bands = scale_bands(stated, diagonal)
            outcome = search_near(seen.lists(), field.width, field.height, bands, rough(rng, field), stars_near)
        spent, found = time.process_time() - begun, outcome.found
        off = centre_off_px(field, found) if isinstance(found, Solution) and right(field, found) else None
        tally.add((size_group(field.diagonal_deg), kind), outcome, off, spent, f"number {index}")
    tally.print()


def nowhere(count: int, seed: int) -> None:
    """Look on the whole sky, at every scale, for points at random, half of them in clumps."""
    tally, width, height = Tally(), 1500, 1000
    for number in range(count):
        rng = default_rng([seed, 13, number])
        middle = rng.integers(0, 6, 100)
        x = np.concatenate([rng.uniform(0, width, 100), rng.uniform(0, width, 6)[middle] + rng.normal(0, 60, 100)])
        y = np.concatenate([rng.uniform(0, height, 100), rng.uniform(0, height, 6)[middle] + rng.normal(0, 60, 100)])
        points = x, y, rng.pareto(1.5, 200)
        begun = time.process_time()
        bands = scale_bands(None, math.hypot(width, height))
        outcome = search_everywhere([points, points], width, height, bands, stars_near)
        tally.add(("nowhere",), outcome, None, time.process_time() - begun, f"number {number}")
    tally.print()


def target_near(picture: Photograph, catalogue: Catalogue) -> tuple[float, float]:
    objects = [o for o in catalogue.around(picture.ra, picture.dec, picture.side / 2 + 0.5) if o.ra_deg is not None]
    if not objects:
        return picture.ra, picture.dec
    apart = [float(separations_deg(o.ra_deg, o.dec_deg, picture.ra, picture.dec)) for o in objects]
    target = objects[int(np.argmin(apart))]
    assert target.ra_deg is not None
    assert target.dec_deg is not None
    return target.ra_deg, target.dec_deg


def real_pictures(folder: Path, seed: int) -> None:
    tally, catalogue = Tally(), Catalogue()
    rng = default_rng(seed)
    for picture in photographs(folder):
        height, width = picture.pixels.shape[:2]
        stated = picture.scale * math.exp(rng.uniform(math.log(0.8), math.log(1.25)))
        begun = time.process_time()
        lists, bands = SeenStars(picture.pixels).lists(), scale_bands(stated, math.hypot(width, height))
        outcome = search_near(lists, width, height, bands, target_near(picture, catalogue), stars_near)
        spent, found, good, off = time.process_time() - begun, outcome.found, False, 0.0
        if isinstance(found, Solution):
            off = float(separations_deg(found.ra_deg, found.dec_deg, picture.ra, picture.dec))
            good = off < 0.02 * picture.side and abs(math.log(found.image_scale_arcsec / picture.scale)) < 0.02
        off_px = off * 3600 / picture.scale if good else None
        tally.add((size_group(picture.side),), outcome, off_px, spent, picture.file.name)
    tally.print()


@dataclass(frozen=True)
class WrongSky:
    """Star lists of a picture, its size and scale, and a position that it does not show."""

    name: str
    lists: list[Any]
    size: tuple[int, int]
    scale: float
    position: tuple[float, float]


def wrong_skies(cases: Iterator[WrongSky]) -> None:
    accepted, tried = 0, 0
    closest: list[float] = []
    for case in cases:
        bands = scale_bands(case.scale, math.hypot(*case.size))
        outcome = search_near(case.lists, *case.size, bands, case.position, stars_near)
        tried += 1
        if isinstance(outcome.found, Solution):
            accepted += 1
            print(f"  wrong sky accepted, {case.name}: {outcome.found}", flush=True)
        else:
            closest.append(outcome.found.log10_chance)
        if tried % 50 == 0:
            print(f"  so far {accepted} of {tried}", flush=True)
    luckiest = ", ".join(f"10^{chance:.1f}" for chance in sorted(closest)[:5])
    print(f"wrong skies: {accepted} of {tried} accepted; the luckiest of the others {luckiest}", flush=True)


def elsewhere_than(rng: Generator, ra: float, dec: float, apart_deg: float) -> tuple[float, float]:
    while True:
        position = simulated_sky.random_place(rng)
        if separations_deg(*position, ra, dec) > min(apart_deg, 120.0):
            return position


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--pictures", type=int, default=0)
    parser.add_argument("--blind", type=int, default=0)
    parser.add_argument("--kinds", nargs="+", choices=list(KINDS), default=list(KINDS))
    parser.add_argument("--nowhere", type=int, default=0)
    parser.add_argument("--wrong", type=int, default=0)
    parser.add_argument("--first", type=int, default=0, help="the number of the first drawn one, to go on from there")
    parser.add_argument("--photographs", type=Path)
    parser.add_argument("--elsewhere", type=int, default=0)
    parser.add_argument("--large", type=float, default=0.0, help="megapixels of pictures whose cost is measured")
    parser.add_argument("--megapixels", type=float, default=2.0)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    rng = default_rng([asked.seed, 7])

    def numbers(count: int) -> range:
        return range(asked.first, asked.first + count)

    if asked.pictures:
        drawn_pictures(numbers(asked.pictures), asked.kinds, asked.seed, asked.megapixels, None)
    for size in BLIND_SIZES if asked.blind else ():
        drawn_pictures(numbers(asked.blind), asked.kinds, asked.seed, asked.megapixels, size)
    if asked.nowhere:
        nowhere(asked.nowhere, asked.seed)
    if asked.wrong:
        wrong_skies(_wrong_lists(asked.seed, numbers(asked.wrong), asked.megapixels))
    if asked.photographs and asked.elsewhere:
        wrong_skies(_photographs_elsewhere(rng, asked.photographs, asked.elsewhere))
    elif asked.photographs:
        real_pictures(asked.photographs, asked.seed)
    if asked.large:
        large_pictures.measured(asked.seed, asked.large)


def _wrong_lists(seed: int, numbers: range, megapixels: float) -> Iterator[WrongSky]:
    for index in numbers:
        rng = default_rng([seed, 7, index])
        field = random_field(rng, megapixels)
        position = elsewhere_than(rng, field.ra, field.dec, 10 * field.diagonal_deg + 5)
        lists = [simulated_sky.observed(rng, field)]
        yield WrongSky(f"number {index}", lists, (field.width, field.height), field.scale, position)


def _photographs_elsewhere(rng: Generator, folder: Path, each: int) -> Iterator[WrongSky]:
    for picture in photographs(folder):
        lists, (height, width) = list(SeenStars(picture.pixels).lists()), picture.pixels.shape[:2]
        for _ in range(each):
            position = elsewhere_than(rng, picture.ra, picture.dec, 10 * picture.side + 5)
            yield WrongSky(picture.file.name, lists, (width, height), picture.scale, position)


if __name__ == "__main__":
    main()

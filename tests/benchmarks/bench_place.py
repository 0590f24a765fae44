"""How often a placement is found, and whether a wrong sky is ever taken for the right one.

    python -m tests.benchmarks.bench_place --pictures 200              drawn pictures, detected and placed
    python -m tests.benchmarks.bench_place --blind 20                  drawn pictures of 3° and more, no target
    python -m tests.benchmarks.bench_place --wrong 300                 star lists searched for in a wrong sky
    python -m tests.benchmarks.bench_place --photographs FOLDER        real ones, see photographs.py
    python -m tests.benchmarks.bench_place --photographs FOLDER --elsewhere 2    each in two wrong skies

Drawn fields are 0.7–30° across, at random positions, turned at random, half of them mirrored, with photon and read
noise, hot pixels, nebulosity and a tenth of false stars, saved as JPEG of quality 70; a third has trailed stars, a
third black corners. The scale is off by up to 30 %, the target anywhere in the inner field. Truth is drawn with
astropy's WCS; success is a centre within 2 px, the right hand, and an angle and a scale that put the corners within
3 px. For photographs the scale is off by a factor of 0.8–1.25, the target is the catalogue's object nearest to the
middle that is at most half a degree outside, and success is a scale right to 2 % and a middle to 2 % of the side.
"""

from __future__ import annotations

import argparse
import io
import math
import time
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from noctuary.geometry import separations_deg, unit_vectors
from noctuary.plate_solve import SeenStars
from noctuary.sky import star_table
from noctuary.sky.catalogue import Catalogue
from noctuary.sky.solve import Solution
from noctuary.sky.star_search import Outcome, scale_bands, search_everywhere, search_near
from noctuary.sky.star_table import StarTable
from numpy.random import Generator, default_rng
from PIL import Image

from tests.benchmarks.photographs import Photograph, photographs
from tests.sky import simulated_sky
from tests.sky.drawn_picture import drawn
from tests.sky.simulated_sky import Field

SIZES = (0.45, 1.0, 1.5, 3.0, 10.0, 30.1)


def stars_near(ra: float, dec: float, radius: float) -> StarTable:
    return star_table.shipped(ra, dec, radius, 2010.0)


def random_field(rng: Generator, megapixels: float, narrowest: float = 0.7) -> Field:
    """A field of so much to 30° across its diagonal, with at least 12 catalogue stars."""
    while True:
        diagonal = math.exp(rng.uniform(math.log(narrowest), math.log(30)))
        pixels = math.hypot(3, 2) * math.sqrt(megapixels * 1e6 / 6) * rng.uniform(0.3, 1)
        scale = math.degrees(2 * math.tan(math.radians(diagonal / 2)) / pixels) * 3600
        width, height = int(pixels * 3 / math.sqrt(13)), int(pixels * 2 / math.sqrt(13))
        field = simulated_sky.field(
            rng, scale, width, height, distortion=rng.uniform(-0.02, 0.02) if diagonal > 8 else 0
        )
        if len(field.x) >= 12:
            return field


def hard(rng: Generator, field: Field) -> np.ndarray:
    """The field drawn as a finished picture, with what often goes wrong."""
    pixels = drawn(rng, field).astype(np.float32)
    kind = rng.integers(3)
    if kind == 1:
        pixels = np.mean([np.roll(pixels, step, axis=1) for step in range(-3, 4)], axis=0)
    if kind == 2:
        down, right = np.mgrid[0 : field.height, 0 : field.width]
        pixels[right / field.width + down / field.height < 0.35] = 0
        pixels[right / field.width + down / field.height > 1.7] = 0
    stream = io.BytesIO()
    Image.fromarray(np.clip(pixels, 0, 255).astype(np.uint8)).save(stream, "JPEG", quality=70)
    return np.asarray(Image.open(stream))


def rough(rng: Generator, field: Field) -> tuple[float, float]:
    off, way = rng.uniform(0, 0.6) * math.radians(field.diagonal_deg / 2), rng.uniform(0, 2 * math.pi)
    centre = unit_vectors(field.ra, field.dec)
    east = np.cross([0, 0, 1], centre)
    east /= np.linalg.norm(east)
    v = centre + math.tan(off) * (math.sin(way) * east + math.cos(way) * np.cross(centre, east))
    v /= np.linalg.norm(v)
    return float(np.degrees(np.arctan2(v[1], v[0])) % 360), float(np.degrees(np.arcsin(v[2])))


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


class Tally:
    """Tries, right and wrong ones by the size of the field, and the processor's time for each."""

    def __init__(self) -> None:
        self.rows: dict[int, list[int]] = defaultdict(lambda: [0, 0, 0])
        self.spent: list[float] = []

    def add(self, size: float, outcome: Outcome, good: bool, seconds: float, name: str) -> None:
        row = self.rows[int(np.searchsorted(SIZES, size, side="right")) - 1]
        row[0] += 1
        found = isinstance(outcome.found, Solution)
        row[1] += found and good
        row[2] += found and not good
        self.spent.append(seconds)
        if not (found and good):
            print(f"  {name}, {size:.2f}°: {outcome.found}", flush=True)

    def print(self) -> None:
        print("field           tries  found  wrong")
        for size, (tries, good, bad) in sorted(self.rows.items()):
            print(f"{SIZES[size]:5.2f}°–{SIZES[size + 1]:5.2f}°  {tries:6d} {good:6d} {bad:6d}")
        print(f"processor: {np.median(self.spent):.2f} s in the median, {max(self.spent):.2f} s at most", flush=True)


def drawn_pictures(number: int, seed: int, megapixels: float, blind: bool) -> None:
    tally = Tally()
    for index in range(number):
        rng = default_rng([seed, index])
        field = random_field(rng, megapixels, 3.0 if blind else 0.7)
        pixels = hard(rng, field)
        stated = field.scale * rng.uniform(0.77, 1.3)
        begun = time.process_time()
        seen, bands = SeenStars(pixels), scale_bands(stated, math.hypot(field.width, field.height))
        if blind:
            outcome = search_everywhere(seen.lists(), field.width, field.height, bands, stars_near)
        else:
            outcome = search_near(seen.lists(), field.width, field.height, bands, rough(rng, field), stars_near)
        spent = time.process_time() - begun
        good = isinstance(outcome.found, Solution) and right(field, outcome.found)
        tally.add(field.diagonal_deg, outcome, good, spent, f"number {index}")
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
        spent, found, good = time.process_time() - begun, outcome.found, False
        if isinstance(found, Solution):
            off = float(separations_deg(found.ra_deg, found.dec_deg, picture.ra, picture.dec))
            good = off < 0.02 * picture.side and abs(math.log(found.image_scale_arcsec / picture.scale)) < 0.02
        tally.add(picture.side, outcome, good, spent, picture.file.name)
    tally.print()


@dataclass(frozen=True)
class WrongSky:
    """Star lists of a picture, its size and scale, and a place that it does not show."""

    name: str
    lists: list[Any]
    size: tuple[int, int]
    scale: float
    place: tuple[float, float]


def wrong_skies(cases: Iterator[WrongSky]) -> None:
    accepted, tried = 0, 0
    closest: list[float] = []
    for case in cases:
        bands = scale_bands(case.scale, math.hypot(*case.size))
        outcome = search_near(case.lists, *case.size, bands, case.place, stars_near)
        tried += 1
        if isinstance(outcome.found, Solution):
            accepted += 1
            print(f"  wrong sky accepted, {case.name}: {outcome.found}", flush=True)
        else:
            closest.append(outcome.found.log10_chance)
    luckiest = ", ".join(f"10^{chance:.1f}" for chance in sorted(closest)[:5])
    print(f"wrong skies: {accepted} of {tried} accepted; the luckiest of the others {luckiest}", flush=True)


def elsewhere_than(rng: Generator, ra: float, dec: float, apart_deg: float) -> tuple[float, float]:
    while True:
        place = simulated_sky.random_place(rng)
        if separations_deg(*place, ra, dec) > min(apart_deg, 120.0):
            return place


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--pictures", type=int, default=0)
    parser.add_argument("--blind", type=int, default=0)
    parser.add_argument("--wrong", type=int, default=0)
    parser.add_argument("--photographs", type=Path)
    parser.add_argument("--elsewhere", type=int, default=0)
    parser.add_argument("--megapixels", type=float, default=2.0)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    rng = default_rng([asked.seed, 7])
    if asked.pictures:
        drawn_pictures(asked.pictures, asked.seed, asked.megapixels, False)
    if asked.blind:
        drawn_pictures(asked.blind, asked.seed, asked.megapixels, True)
    if asked.wrong:
        wrong_skies(_wrong_lists(rng, asked.wrong, asked.megapixels))
    if asked.photographs and asked.elsewhere:
        wrong_skies(_photographs_elsewhere(rng, asked.photographs, asked.elsewhere))
    elif asked.photographs:
        real_pictures(asked.photographs, asked.seed)


def _wrong_lists(rng: Generator, number: int, megapixels: float) -> Iterator[WrongSky]:
    for index in range(number):
        field = random_field(rng, megapixels)
        place = elsewhere_than(rng, field.ra, field.dec, 10 * field.diagonal_deg + 5)
        lists = [simulated_sky.observed(rng, field)]
        yield WrongSky(f"number {index}", lists, (field.width, field.height), field.scale, place)


def _photographs_elsewhere(rng: Generator, folder: Path, each: int) -> Iterator[WrongSky]:
    for picture in photographs(folder):
        lists, (height, width) = list(SeenStars(picture.pixels).lists()), picture.pixels.shape[:2]
        for _ in range(each):
            place = elsewhere_than(rng, picture.ra, picture.dec, 10 * picture.side + 5)
            yield WrongSky(picture.file.name, lists, (width, height), picture.scale, place)


if __name__ == "__main__":
    main()

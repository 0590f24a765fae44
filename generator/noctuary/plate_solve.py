"""The placement of a picture from its own stars, or the likeliest reason why none is found.

Three tables of stars are used in turn: one that the person names, or that the archive keeps from the last time; the
program's own; and the stars of the archive's other pictures, where one with a placement shows the same sky and goes
deeper than the program's table.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import chain
from pathlib import Path
from typing import Any

import numpy as np

from noctuary.facts.picture import PictureFacts
from noctuary.facts.placement_summary import PlacementSummary
from noctuary.facts.record_scale import stated_scale
from noctuary.files import write_whole
from noctuary.geometry import separation_deg
from noctuary.images.decode import open_picture
from noctuary.images.decoded import PictureFault
from noctuary.images.stars import Stars, detect_points, detect_small, detect_spots, starlike
from noctuary.sky.pattern_index import NARROWEST_DEG
from noctuary.sky.placement import from_plain
from noctuary.sky.solve import FEWEST_CATALOGUE_STARS, FEWEST_STARS, NEARLY, Refusal, Solution
from noctuary.sky.star_cells import DamagedTable
from noctuary.sky.star_query import star_query
from noctuary.sky.star_search import (
    MARGIN_DEG,
    StarsNear,
    half_diagonal_deg,
    scale_bands,
    search_everywhere,
    search_near,
)
from noctuary.sky.star_table import NoCatalogue, StarTable, from_file, shipped

STAR_TABLES = "star_tables"
"""Folder of an archive in which tables of stars are kept that a person once gave."""
_DETECTION_PIXELS = 6_000_000
_STRIP_ROWS = 32
_SMALLEST_SIDE_PX = 100
_FEW_STARS = 15
_OUTNUMBERED = 3  # so many times fewer stars than a catalogue of the brighter ones has: somebody took them out
_WITH_STARS = "place the version with its stars and copy its placement: to this record"


@dataclass(frozen=True)
class Search:
    """What was looked for and found: the scale that the record states (″/px), the position and the size."""

    stated_scale_arcsec: float | None
    centre: tuple[float, float] | None
    width: int
    height: int
    found: Solution | Refusal


class SeenStars:
    """The stars of a picture in several lists: the certain ones, points in nebulosity, and small and faint spots."""

    def __init__(self, pixels: Any) -> None:
        """``pixels`` are not held: what is searched is a quarter of them or less where there are many."""
        self.bin = max(1, round((math.prod(_size(pixels)) / _DETECTION_PIXELS) ** 0.5))
        self._binned = _binned(pixels, self.bin)

    def _luminance(self) -> Any:
        """A copy, which a detection may overwrite."""
        return self._binned.copy()

    @cached_property
    def spots(self) -> Stars:
        return detect_spots(self._luminance(), in_place=True)

    @cached_property
    def sure(self) -> Stars:
        return starlike(self.spots)

    @cached_property
    def points(self) -> Stars:
        return detect_points(self._luminance(), in_place=True)

    @cached_property
    def small(self) -> Stars:
        return detect_small(self._luminance(), in_place=True)

    def lists(self) -> Iterator[tuple[Any, Any, Any]]:
        """Positions in pixels of the picture as it is, and fluxes."""
        if len(self.sure) >= FEWEST_STARS:
            yield self._listed(self.sure)
        if len(self.points) >= FEWEST_STARS:
            yield self._listed(self.points)
        yield self._listed(self.small)

    def loose_lists(self) -> Iterator[tuple[Any, Any, Any]]:
        """The same for a search on the whole sky, which wants the brightest stars even where halos hide them."""
        yield self._listed(self.spots)
        yield self._listed(self.points)
        yield self._listed(self.small)

    def _listed(self, stars: Stars) -> tuple[Any, Any, Any]:
        shift = (self.bin - 1) / 2
        return stars.x * self.bin + shift, stars.y * self.bin + shift, stars.flux


def fixed_target(facts: PictureFacts) -> tuple[float, float] | None:
    """The place, ICRS in degrees, of the first of a picture's objects that has one."""
    places = ((o.ra_deg, o.dec_deg) for o in facts.objects if o.ra_deg is not None and o.dec_deg is not None)
    return next(places, None)


def shows_no_stars(facts: PictureFacts) -> bool:
    """Whether a picture is of the Sun, the Moon or a planet alone, and too narrow to be found without its target."""
    if fixed_target(facts) is not None or not facts.objects or any(o.body is None for o in facts.objects):
        return False
    scale, (width, height) = stated_scale(facts), facts.pixels or (1, 1)
    return scale is not None and 2.0 * half_diagonal_deg(width, height, scale) < NARROWEST_DEG


def shows_target(other: PictureFacts, facts: PictureFacts) -> bool:
    """Whether another picture has a placement, and the target of ``facts`` in it."""
    centre = fixed_target(facts)
    if centre is None or other.placement is None or other.picture.id == facts.picture.id:
        return False
    placement = from_plain(other.placement.plain)
    return bool(placement.contains(*placement.pixel(*centre)))


def find_placement(
    folder: Path, facts: PictureFacts, stars: Path | None, others: Iterable[PictureFacts] = ()
) -> Search | Refusal:
    """Look for a picture's placement with a table of stars given, kept or shipped, or with the stars of ``others``.

    Every trouble is a :class:`Refusal` with what to do about it.
    """
    centre = fixed_target(facts)
    if shows_no_stars(facts):
        return Refusal(
            f"the picture shows no stars to be placed by: its object ({facts.object_names[0]}) moves among them",
            "leave it without a placement; one with stars needs an object among them in objects",
        )
    try:
        opened = open_picture(folder / facts.picture.file)
    except PictureFault as error:
        return Refusal(error.message, error.hint)
    width, height = opened.width, opened.height
    if min(width, height) < _SMALLEST_SIDE_PX:
        return Refusal(
            f"the picture is too small: {width} × {height} pixels, and stars run together below "
            f"{_SMALLEST_SIDE_PX} a side",
            "place the picture at its full size and use that",
        )
    detected = SeenStars(opened.take())
    scale = stated_scale(facts)
    night = facts.integration.last_night or facts.picture.finished.first
    year = night.year + night.month / 12

    def shipped_stars(ra: float, dec: float, radius: float) -> StarTable:
        return shipped(ra, dec, radius, year)

    try:
        found = _search_tables(folder, facts, stars, others, detected, (width, height), scale, centre, shipped_stars)
    except (DamagedTable, NoCatalogue) as error:
        return Refusal(str(error), "or name a table of stars with --stars FILE")
    return Search(scale, centre, width, height, found)


def _search_tables(
    folder: Path,
    facts: PictureFacts,
    stars: Path | None,
    others: Iterable[PictureFacts],
    detected: SeenStars,
    size: tuple[int, int],
    scale: float | None,
    centre: tuple[float, float] | None,
    shipped_stars: StarsNear,
) -> Solution | Refusal:
    bands = scale_bands(scale, float(np.hypot(*size)))
    tried = 0
    refusal: Refusal | None = None
    if centre is not None:
        tables = [_everywhere(table) for table in given_tables(folder, facts, stars)]
        tables += [] if stars is not None else [shipped_stars]
        for stars_near in chain(tables, map(_everywhere, _tables_of_others(folder, facts, others))):
            outcome = search_near(detected.lists(), *size, bands, centre, stars_near, tried)
            if isinstance(outcome.found, Solution):
                return outcome.found
            tried = outcome.tried
            if refusal is None or stars_near is shipped_stars:
                refusal = outcome.found
    if stars is None:
        # Where a target is known only its own word can be wrong, not the scale as well.
        some = bands if centre is None or scale is None else bands[:1]
        outcome = search_everywhere(detected.loose_lists(), *size, some, shipped_stars, tried)
        if isinstance(outcome.found, Solution):
            return outcome.found
        refusal = refusal or outcome.found
    return _explained(refusal or _no_object(), detected, facts, centre, scale)


def frame_placement(
    luminance: Any, arcsec_px: float, near: tuple[float, float] | None, year: float
) -> Solution | None:
    """The placement of a single frame whose scale is known to a few percent, around a position or anywhere.

    ``luminance`` is (height, width) in any unit, ``near`` ICRS in degrees. Only the shipped table is used; ``None``
    where nothing is certain, and for fields below 3° without a position.
    """
    height, width = luminance.shape
    if min(height, width) < _SMALLEST_SIDE_PX:
        return None
    detected = SeenStars(luminance)
    bands = scale_bands(arcsec_px, float(np.hypot(width, height)))[:2]

    def stars_near(ra: float, dec: float, radius: float) -> StarTable:
        return shipped(ra, dec, radius, year)

    try:
        tried = 0
        if near is not None:
            outcome = search_near(detected.lists(), width, height, bands, near, stars_near)
            if isinstance(outcome.found, Solution):
                return outcome.found
            tried = outcome.tried
        found = search_everywhere(detected.loose_lists(), width, height, bands, stars_near, tried).found
    except (DamagedTable, NoCatalogue):
        return None
    return found if isinstance(found, Solution) else None


def _everywhere(table: StarTable) -> StarsNear:
    return lambda ra, dec, radius: table


def keep_star_table(folder: Path, picture_id: str, stars: Path) -> str:
    """Copy a table of stars into the archive, so that it need not be named again; returns its name there."""
    name = f"{STAR_TABLES}/{picture_id}{stars.suffix.lower() or '.csv'}"
    (folder / STAR_TABLES).mkdir(exist_ok=True)
    if (folder / name).resolve() != stars.resolve():
        write_whole(folder / name, stars.read_bytes(), flush=True)
    return name


def differs_deg(found: Solution, before: PlacementSummary) -> float:
    """How far the centre that was found lies from the one that the record has, degrees."""
    return separation_deg(found.ra_deg, found.dec_deg, *before.centre)


def _size(pixels: Any) -> tuple[int, int]:
    """Width and height of a Pillow picture or an array."""
    return pixels.size if hasattr(pixels, "crop") else (pixels.shape[1], pixels.shape[0])


def _binned(pixels: Any, by: int) -> Any:
    """The mean of the colours and of squares of ``by`` pixels; strip by strip, for a strip needs little memory."""
    width, height = _size(pixels)
    wide, high = width // by, height // by
    luminance = np.empty((high, wide), dtype=np.float32)
    for top in range(0, high, _STRIP_ROWS):
        below = min(top + _STRIP_ROWS, high)
        box = (0, top * by, width, below * by)
        strip = pixels.crop(box) if hasattr(pixels, "crop") else pixels[box[1] : box[3]]
        rows = np.asarray(strip, dtype=np.float32)
        rows = rows.mean(axis=2) if rows.ndim == 3 else rows
        luminance[top:below] = rows[:, : wide * by].reshape(below - top, by, wide, by).mean(axis=(1, 3))
    return luminance


def given_tables(folder: Path, facts: PictureFacts, stars: Path | None) -> Iterator[StarTable]:
    """The table that a person names, or those that the archive keeps for a picture. Raises NoCatalogue."""
    if stars is not None:
        yield from_file(stars)
        return
    for path in sorted((folder / STAR_TABLES).glob(f"{facts.picture.id}.*")):
        if path.is_file() and not path.is_symlink():
            yield from_file(path)


def _tables_of_others(folder: Path, facts: PictureFacts, others: Iterable[PictureFacts]) -> Iterator[StarTable]:
    """Stars of the archive's pictures that have a placement and show the target, as tables of their own."""
    for other in others:
        if other.placement is None or not shows_target(other, facts):
            continue
        try:
            detected = SeenStars(open_picture(folder / other.picture.file).take())
        except PictureFault:
            continue
        x, y, flux = next(iter(detected.lists()))
        ra, dec = from_plain(other.placement.plain).sky(x, y)
        yield StarTable(ra, dec, -2.5 * np.log10(flux))


def _no_object() -> Refusal:
    return Refusal(
        "none of the picture's objects has a fixed place on the sky", "add one that lies in the picture to objects"
    )


def _explained(
    found: Refusal, detected: SeenStars, facts: PictureFacts, centre: tuple[float, float] | None, scale: float | None
) -> Refusal:
    """The likeliest cause of a refusal, from what was seen in the picture."""
    sure, small = len(detected.sure), len(detected.small)
    in_table = None if centre is None or scale is None else found.expected_stars
    if sure < _FEW_STARS and in_table is not None and in_table > _OUTNUMBERED * max(sure, FEWEST_STARS):
        return Refusal(
            f"there are no stars left in the picture, or next to none: the table of stars has about {in_table:.0f} "
            f"for a field of this size here, and the picture shows {sure}",
            _WITH_STARS,
            found.tried,
        )
    if sure < FEWEST_STARS:
        if small < FEWEST_STARS or sure < 3:
            return Refusal(f"there are no stars left in the picture (sure ones: {sure})", _WITH_STARS, found.tried)
        return Refusal(
            f"the picture has {sure} stars that are surely stars, and fewer than {FEWEST_STARS} cannot be told "
            "from chance",
            "use a version with more stars in it, or write the placement yourself",
            found.tried,
        )
    pixels = facts.pixels or (1, 1)
    field = None if scale is None else 2.0 * half_diagonal_deg(*pixels, scale)
    few = in_table is not None and in_table < 2 * FEWEST_CATALOGUE_STARS
    if centre is not None and field is not None and (few or field < 1.2):
        return Refusal(
            f"the stars of this field of {field:.2g}° are too faint for the program's table"
            + (f", which has about {in_table:.0f} of them" if in_table is not None else ""),
            star_query(*centre, field / 2 + MARGIN_DEG, field),
            found.tried,
        )
    if sure < _FEW_STARS:
        return Refusal(
            f"the picture has few stars ({sure}), and their pattern was found at no scale",
            "use a version with more stars in it, or write the placement yourself",
            found.tried,
        )
    where = "anywhere on the sky" if centre is None else f"within reach of {facts.object_names[0]}"
    at = "at any scale" if scale is None else f"at {scale / 4:.3g}–{scale * 4:.3g}″/px"
    nearly = f"; {found.reason}" if found.log10_chance < NEARLY else ""
    return Refusal(
        f"the pattern of the picture's {sure} stars was not found {where} {at}{nearly}",
        "check that the object lies in the picture; a field of few stars needs a deeper table (--stars FILE)"
        if centre is not None
        else "add an object that lies in the picture to objects; without one only fields of "
        f"{NARROWEST_DEG:.0f}° and more across their diagonal are found",
        found.tried,
    )

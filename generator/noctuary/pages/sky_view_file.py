"""What the view of the sky asks for: the sky itself and every placed picture, as scripts that hand over a value.

They are scripts, since a page opened as a file may not read other files. The first has all that is needed before the
view is moved; where the files of the pictures lie, and the fainter stars of each piece of the sky, come when they are
wanted.
"""

from __future__ import annotations

import json
import math
from collections import Counter
from collections.abc import Sequence
from functools import partial

from noctuary.facts.picture import PictureFacts
from noctuary.geometry import unit_vector
from noctuary.pages.addresses import picture_page
from noctuary.pages.picture_view import Source
from noctuary.pages.product import Product, digest
from noctuary.pages.site_model import SiteModel
from noctuary.plain_record import plain_record
from noctuary.sky import sky_view
from noctuary.sky.atlas import constellations
from noctuary.sky.shipped_objects import named_stars

#: Folder of the site in which these files lie.
FOLDER = "sky"
#: The faintest star that has its name beside it.
NAMED_MAG = 3.1
#: How near one can come where no picture has finer pixels, in pixels of the window per degree.
LEAST_CLOSEST = 600.0
#: At the closest one pixel of a picture is so many of the window.
PIXELS_AT_CLOSEST = 3.0


@plain_record
class SkyPicture:
    """A picture in the view. ``right`` and ``down`` lead from its middle to the middles of its right and lower edge,
    (east, north) in degrees of the plane that touches the sky at its middle. ``files``: address and width, sorted."""

    title: str
    page: str
    year: int
    ra_deg: float
    dec_deg: float
    right: tuple[float, float]
    down: tuple[float, float]
    files: tuple[tuple[str, int], ...]


def products(model: SiteModel, program: str) -> list[Product]:
    """The files as products of the site; none where no picture is placed and no target has a place."""
    listed = [p for p in model.facts.listed if p.picture.id in model.shown and p.placement is not None]
    pictures = [picture for p in listed if (picture := _sky_picture(p, model)) is not None]
    weights = Counter(p.target.name for p in model.facts.listed if p.target is not None)
    targets = [
        [t.name, model.addresses.targets[t.identity], round(t.object.ra_deg, 3), round(t.object.dec_deg, 3), weight]
        for t in model.facts.targets
        if t.object.ra_deg is not None and t.object.dec_deg is not None
        for weight in [weights[t.identity]]
    ]
    if not pictures and not targets:
        return []
    facts = digest((pictures, targets))
    ingredients = {"pictures and targets": facts, "program": digest(program)}
    found = [
        Product(f"{FOLDER}/view.js", ingredients, partial(_view, tuple(pictures), targets)),
        Product(f"{FOLDER}/pictures.js", ingredients, partial(_files, tuple(pictures))),
    ]
    for number in range(len(sky_view.CELLS)):
        stars = {"program": ingredients["program"]}
        found.append(Product(f"{FOLDER}/stars-{number}.js", stars, partial(_stars, number)))
    return found


def _sky_picture(facts: PictureFacts, model: SiteModel) -> SkyPicture | None:
    """A placed picture, or ``None`` for one so wide that no plane holds it."""
    if facts.placement is None:
        return None
    shown, centre = model.shown[facts.picture.id], facts.placement.centre
    corners = [_tangent(corner, centre) for corner in facts.placement.corners_deg]
    if len(corners) != 4 or any(corner is None for corner in corners):
        return None
    (ax, ay), (bx, by), (cx, cy), (dx, dy) = (corner for corner in corners if corner is not None)
    return SkyPicture(
        title=facts.picture.title,
        page=picture_page(facts.picture.id),
        year=facts.picture.finished.year,
        ra_deg=centre[0],
        dec_deg=centre[1],
        right=((bx + cx - ax - dx) / 4, (by + cy - ay - dy) / 4),
        down=((cx + dx - ax - bx) / 4, (cy + dy - ay - by) / 4),
        files=tuple(sorted(_one_of_each_width(shown.sources), key=lambda file: file[1])),
    )


def _one_of_each_width(sources: Sequence[Source]) -> list[tuple[str, int]]:
    """One file a width: WebP where there is one."""
    by_width: dict[int, str] = {}
    for source in sources:
        if source.format == "webp" or source.width not in by_width:
            by_width[source.width] = source.file
    return [(file, width) for width, file in by_width.items()]


def _tangent(point: tuple[float, float], centre: tuple[float, float]) -> tuple[float, float] | None:
    """Gnomonic projection (Calabretta & Greisen 2002, TAN): degrees to the east and to the north of the centre."""
    ra, dec = math.radians(centre[0]), math.radians(centre[1])
    x, y, z = unit_vector(*point)
    towards = x * math.cos(dec) * math.cos(ra) + y * math.cos(dec) * math.sin(ra) + z * math.sin(dec)
    if towards < 0.1:
        return None
    east = -x * math.sin(ra) + y * math.cos(ra)
    north = -x * math.sin(dec) * math.cos(ra) - y * math.sin(dec) * math.sin(ra) + z * math.cos(dec)
    return math.degrees(east / towards), math.degrees(north / towards)


def _view(pictures: tuple[SkyPicture, ...], targets: list[list[object]]) -> bytes:
    arcs, points = sky_view.boundary_lines()
    finest = [LEAST_CLOSEST]
    finest += [PIXELS_AT_CLOSEST * p.files[-1][1] / 2 / max(1e-6, math.hypot(*p.right)) for p in pictures if p.files]
    value = {
        "stars": sky_view.whole_sky_stars(),
        "figures": sky_view.figure_lines(),
        "arcs": arcs,
        "boundaries": points,
        "constellations": [[c.name, c.label_ra_deg, c.label_dec_deg] for c in constellations()],
        "named": [
            [star.name, round(star.ra_deg or 0.0, 2), round(star.dec_deg or 0.0, 2), round(star.magnitude, 1)]
            for star in named_stars()
            if star.magnitude is not None and star.magnitude <= NAMED_MAG
        ],
        "cells": [[c.ra_deg, c.dec_deg, c.ra_wide_deg, c.dec_high_deg] for c in sky_view.CELLS],
        "targets": targets,
        "pictures": [
            [p.title, p.page, p.year, *(round(n, 5) for n in (p.ra_deg, p.dec_deg, *p.right, *p.down))]
            for p in pictures
        ],
        "closest": round(math.degrees(max(finest))),
    }
    return _script("skyView", value)


def _files(pictures: tuple[SkyPicture, ...]) -> bytes:
    return _script("skyPictures", [p.files for p in pictures])


def _stars(number: int) -> bytes:
    return f"skyStars({number}, '{sky_view.cell_stars(number)}');\n".encode()


def _script(function: str, value: object) -> bytes:
    plain = json.dumps(value, ensure_ascii=False, separators=(",", ":"))
    # JSON is JavaScript but for two line ends.
    safe = plain.replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")
    return f"{function}({safe});\n".encode("utf-8", "replace")

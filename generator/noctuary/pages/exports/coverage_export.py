"""Which piece of the sky the placed pictures cover, as a map of HEALPix cells (IVOA MOC 2.0).

Every picture is drawn at a depth of its own, so that its edge is known to a fraction of its field and a wide one
costs no more cells than a narrow one. A cell counts as covered where a picture touches it.
"""

from __future__ import annotations

import io
import json
import math
from collections.abc import Iterator, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

from noctuary.facts.placement_summary import PlacementSummary
from noctuary.pages.exports.export import Export
from noctuary.pages.exports.outline import outline_deg
from noctuary.pages.product import digest
from noctuary.pages.site_model import SKY, SiteModel

if TYPE_CHECKING:
    from noctuary.sky.projection import Floats

#: A cell's side is at most this part of a field's shorter side.
EDGE = 1 / 32
#: The side of one of the twelve cells of order 0, degrees: the root of a twelfth of the sphere. Górski et al. 2005.
FIRST_CELL_DEG = math.degrees(math.sqrt(math.pi / 3))
#: The finest cells that MOC 2.0 knows.
DEEPEST = 29
#: Points on each edge of a picture whose projection bends it; that of a gnomonic one is a great circle.
_BENT_STEPS = 16


def exports(model: SiteModel) -> Iterator[Export]:
    """The coverage of the archive's listed pictures, as FITS and as JSON; none where no picture is placed."""
    placements = [
        facts.placement
        for facts in model.facts.listed
        if facts.picture.id in model.shown and facts.placement is not None and outline_deg(facts.placement)
    ]
    if not placements:
        return
    # The order of the pictures and what they are called leave the coverage as it is.
    several = tuple(sorted({p.key: p for p in placements}.values(), key=lambda p: p.key))
    made_of = partial(digest, [p.key for p in several])
    yield Export("data/coverage.fits", "MOC (FITS)", SKY, made_of, lambda: several, _as_fits)
    yield Export("data/coverage.json", "MOC (JSON)", SKY, made_of, lambda: several, _as_json)


def cell_order(field_deg: float) -> int:
    """The order of the HEALPix cells, 0…29, whose side is at most :data:`EDGE` of a field.

    >>> cell_order(32 * FIRST_CELL_DEG), cell_order(4.0)
    (0, 9)
    """
    return max(0, min(DEEPEST, math.ceil(math.log2(FIRST_CELL_DEG / (EDGE * max(field_deg, 1e-9))) - 1e-9)))


def _as_fits(placements: Sequence[PlacementSummary]) -> bytes:
    file = io.BytesIO()
    _coverage(placements).serialize("fits", optional_kw_dict={"MOCTYPE": "IMAGE"}).writeto(file)
    return file.getvalue()


def _as_json(placements: Sequence[PlacementSummary]) -> bytes:
    return json.dumps(_coverage(placements).serialize("json"), separators=(",", ":")).encode() + b"\n"


def _coverage(placements: Sequence[PlacementSummary]) -> Any:
    from mocpy import MOC

    pieces = [piece for summary in placements if (piece := _piece(summary)) is not None]
    return MOC.new_empty(0).union(*pieces) if pieces else MOC.new_empty(0)


def _piece(summary: PlacementSummary) -> Any:
    """What one picture covers; ``None`` where a point of its edge lies outside what the projection can say."""
    import numpy as np
    from astropy.coordinates import Latitude, Longitude
    from mocpy import MOC

    ra, dec = _edge(summary)
    if not (np.isfinite(ra).all() and np.isfinite(dec).all()):
        return None
    order = cell_order(min(summary.field_deg[:2]))
    piece = MOC.from_polygon(Longitude(ra, "deg"), Latitude(dec, "deg"), max_depth=order)
    middle = Longitude([summary.centre[0]], "deg"), Latitude([summary.centre[1]], "deg")
    # A closed line has two sides, and the smaller one is not the picture where it sees more than half of the sky.
    return piece if piece.contains_lonlat(*middle).all() else piece.complement()


def _edge(summary: PlacementSummary) -> tuple[Floats, Floats]:
    """Points on the outer edge, once around: right ascension and declination, degrees."""
    import numpy as np

    from noctuary.sky.projection import Gnomonic

    placement = summary.placement()
    along = np.linspace(0, 1, 1 if isinstance(placement.projection, Gnomonic) else _BENT_STEPS, endpoint=False)
    none, all_ = np.zeros_like(along), np.ones_like(along)
    x = np.concatenate([along, all_, 1 - along, none]) * placement.width_px - 0.5
    y = np.concatenate([none, along, all_, 1 - along]) * placement.height_px - 0.5
    return placement.sky(x, y)

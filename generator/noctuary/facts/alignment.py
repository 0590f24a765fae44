"""One picture of a target over another: where its pixels fall, and how well one sheet of numbers says so."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal

from noctuary.plain_record import plain_record

if TYPE_CHECKING:
    from noctuary.facts.placement_summary import PlacementSummary

Which = Literal["older", "newer"]


@plain_record
class Alignment:
    """The newer and the older of two pictures on one ground.

    ``base`` is the picture that keeps its shape, the one of less sky; the other is drawn over or under it by
    ``matrix``: a 3 × 3 matrix, row by row, that takes (u, v, 1) of the other picture, in units of its width from its
    top left corner, to those of the base. ``miss`` is the greatest misfit over the sky that they share, as a part
    of the base's width. ``turn_deg`` (−180 < turn ≤ 180) is how far the newer picture's up lies from the older one's,
    ``finer`` how many pixels of the newer fit along one of the older, ``mirrored`` whether their parity differs.
    """

    base: Which
    matrix: tuple[float, ...]
    kind: Literal["affine", "projective"]
    miss: float
    turn_deg: float
    finer: float
    mirrored: bool

    @property
    def other(self) -> Which:
        return "newer" if self.base == "older" else "older"

    def misses_px(self, width_px: int) -> float:
        """The greatest misfit in pixels where the base is shown ``width_px`` wide."""
        return self.miss * width_px


def alignment(older: PlacementSummary, newer: PlacementSummary) -> Alignment | None:
    """How two placed pictures lie over each other; ``None`` where they share no sky."""
    import numpy as np

    from noctuary.sky.picture_transform import transform

    sky = [p.field_deg[0] * p.field_deg[1] for p in (older, newer)]
    base: Which = "older" if sky[0] <= sky[1] else "newer"
    below, above = (older, newer) if base == "older" else (newer, older)
    to, of = below.placement(), above.placement()
    fit = transform(to, of)
    if fit is None:
        return None

    def to_pixels(width: int) -> np.ndarray:
        # A pixel's centre lies half a pixel from the corner that widths are counted from.
        return np.array([[width, 0, -0.5], [0, width, -0.5], [0, 0, 1.0]])

    matrix = np.linalg.inv(to_pixels(to.width_px)) @ np.array(fit.matrix) @ to_pixels(of.width_px)
    matrix = matrix / matrix[2, 2]
    turn = math.remainder(newer.position_angle_deg - older.position_angle_deg, 360)
    return Alignment(
        base=base,
        matrix=tuple(float(f"{value:.12g}") for value in matrix.ravel()),
        kind=fit.kind,
        miss=float(f"{fit.max_px / to.width_px:.6g}"),
        turn_deg=180.0 if turn == -180 else turn,
        finer=older.image_scale_arcsec_px / newer.image_scale_arcsec_px,
        mirrored=older.mirrored != newer.mirrored,
    )

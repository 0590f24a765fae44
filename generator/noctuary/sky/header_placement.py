"""The placement that a FITS header gives: in a file, in a header of cards, for a picture of this size."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path
from typing import Any, Literal

from noctuary.sky.placement import Placement, Source
from noctuary.sky.projection import (
    Gnomonic,
    HeaderProjection,
    NoSky,
    PlacementError,
    cards_text,
    celestial,
    error_text,
    frame_of,
    gnomonic_of,
    headers_in,
    quiet_header,
    tables_text,
    unreadable,
)

ASPECT_TOLERANCE = 0.005
"""How much the proportions of a header's picture may differ from this picture's before it is refused."""


def from_header(
    header: str | Path,
    width_px: int,
    height_px: int,
    rows: Literal["bottom", "top"] = "bottom",
    source: Source = "header",
) -> Placement:
    """The placement in a FITS file (its path), or in a header of FITS cards (a path, or the text itself).

    In a file of several images the first with celestial axes and the picture's size counts. A header of a cube
    is taken by its celestial axes. A header made for another size is scaled when the proportions agree to
    0.5 %, and ``made_for`` says so. Raises :class:`PlacementError` where there is nothing to use.
    """
    refused: PlacementError | None = None
    with closing(headers_in(header)) as each:
        for cards, tables in each:
            try:
                with quiet_header():
                    wcs = celestial(cards, tables)
                return placement_of_wcs(wcs, cards, width_px, height_px, rows, source)
            except PlacementError as error:
                # What a celestial header lacks says more than that some table beside it has no sky at all.
                if refused is None or isinstance(refused, NoSky):
                    refused = error
    raise refused or NoSky()


def placement_of_wcs(
    wcs: Any, cards: Any, width_px: int, height_px: int, rows: Literal["bottom", "top"], source: Source
) -> Placement:
    """A placement from a WCS of two axes whose picture may have had another size."""
    wide, high = _size(wcs, cards) or (width_px, height_px)
    if abs(width_px * high / (height_px * wide) - 1) > ASPECT_TOLERANCE and (wide, high) != (width_px, height_px):
        raise PlacementError(
            f"the placement is of a picture of {wide} × {high} pixels, and this one has {width_px} × {height_px}",
            "make the header from the finished picture itself: a crop or a turn after it moves every pixel",
        )
    kx, ky = wide / width_px, high / height_px
    scale_x, offset_x = kx, 0.5 * kx + 0.5
    # Our pixel y has its centre y + 0.5 below the top edge; the header's rows start at 0.5 on its own edge.
    scale_y, offset_y = (ky, 0.5 * ky + 0.5) if rows == "top" else (-ky, high - 0.5 * ky + 0.5)
    with quiet_header():
        frame = frame_of(wcs)
        plain = gnomonic_of(wcs, frame, width_px, height_px, scale_x, offset_x, scale_y, offset_y)
        projection: Gnomonic | HeaderProjection
        if plain is not None:
            projection = plain
        else:
            tables = any(t is not None for t in (wcs.cpdis1, wcs.cpdis2, wcs.det2im1, wcs.det2im2))
            text = tables_text(wcs) if tables else cards_text(cards)
            projection = HeaderProjection(text, tables, scale_x, offset_x, scale_y, offset_y)
    made_for = (wide, high) if (wide, high) != (width_px, height_px) else None
    placement = Placement(width_px, height_px, source, projection, made_for)
    try:
        if not isinstance(projection, Gnomonic):
            placement.sky([0.0, width_px / 2], [0.0, height_px / 2])
    except Exception as error:
        raise unreadable(error_text(error)) from None
    return placement


def _size(wcs: Any, cards: Any) -> tuple[int, int] | None:
    """The picture's size that a header states: its NAXISn, else IMAGEW and IMAGEH."""
    shape = wcs.pixel_shape
    if shape is not None and len(shape) > 1 and all(shape):
        if not all(isinstance(n, int) and n > 0 for n in shape):
            raise unreadable("its NAXIS1 or NAXIS2 is not a number of pixels")
        return int(shape[0]), int(shape[1])
    try:
        wide, high = int(cards.get("IMAGEW", 0)), int(cards.get("IMAGEH", 0))
    except (TypeError, ValueError):
        return None
    return (wide, high) if wide > 0 and high > 0 else None

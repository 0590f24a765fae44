"""Which piece of the sky a picture is: pixels to sky and back, corners, scale, angle.

Pixels are the finished picture's own: (0, 0) is the centre of the top-left pixel, x grows to the right and y
*down*; the outer edges are −0.5, W − 0.5 and H − 0.5. FITS and AVM count pixels from 1 and rows from the
bottom; the turn from one to the other, half pixels included, is made here and nowhere else. Sky positions are
ICRS, in degrees.

A placement written in numbers is gnomonic and costs no more than numpy; see ``projection`` for the others.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from noctuary.geometry import separations_deg, unit_vectors
from noctuary.sky.projection import (
    Floats,
    Gnomonic,
    HeaderProjection,
)

Source = Literal["sidecar", "header", "picture header", "AVM", "found"]
ARCSEC_PER_RADIAN = math.degrees(1) * 3600


@dataclass(frozen=True)
class Placement:
    """A picture of ``width_px`` × ``height_px`` on the sky. See the module for pixels and coordinates.

    ``made_for`` is the size (width, height) that a header or an AVM record states, where it is another than this
    picture's: then the placement was scaled, which is right for a reduction and wrong for a crop.
    """

    width_px: int
    height_px: int
    source: Source
    projection: Gnomonic | HeaderProjection
    made_for: tuple[int, int] | None = None

    def sky(self, x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats]:
        """RA (0…360) and Dec in degrees at pixels, arrays of any one shape; nan outside the projection."""
        fx, fy = np.broadcast_arrays(np.asarray(x, dtype=float), np.asarray(y, dtype=float))
        ra, dec = self.projection.sky(fx, fy)
        return np.asarray(ra), np.asarray(dec)

    def pixel(self, ra_deg: ArrayLike, dec_deg: ArrayLike) -> tuple[Floats, Floats]:
        """Pixels at RA and Dec in degrees, in the picture or beyond it; nan behind the projection."""
        ra, dec = np.broadcast_arrays(np.asarray(ra_deg, dtype=float), np.asarray(dec_deg, dtype=float))
        x, y = self.projection.pixel(ra, dec)
        return np.asarray(x), np.asarray(y)

    def contains(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.bool_]:
        """Whether pixels lie within the picture's outer edges; nan does not."""
        fx, fy = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
        inside = (fx >= -0.5) & (fx <= self.width_px - 0.5) & (fy >= -0.5) & (fy <= self.height_px - 0.5)
        return np.asarray(inside)

    @property
    def middle_px(self) -> tuple[float, float]:
        return (self.width_px - 1) / 2, (self.height_px - 1) / 2

    @cached_property
    def centre(self) -> tuple[float, float]:
        """RA and Dec of the picture's middle, degrees."""
        ra, dec = self.sky(*self.middle_px)
        return float(ra), float(dec)

    @cached_property
    def _local(self) -> tuple[float, float, float, float]:
        """Radians on the sky per pixel at the middle: east and north along x, east and north along y (down)."""
        (x, y), h = self.middle_px, 0.5
        ra, dec = self.sky([x - h, x + h, x, x], [y, y, y - h, y + h])
        ra0, dec0 = (math.radians(c) for c in self.centre)
        v = unit_vectors(ra, dec)
        east = np.array([-math.sin(ra0), math.cos(ra0), 0.0])
        north = np.array([-math.sin(dec0) * math.cos(ra0), -math.sin(dec0) * math.sin(ra0), math.cos(dec0)])
        along, down = v[1] - v[0], v[3] - v[2]
        return float(along @ east), float(along @ north), float(down @ east), float(down @ north)

    @property
    def image_scale_arcsec_px(self) -> float:
        """Arcseconds per pixel at the middle (the root of the area of a pixel there)."""
        ex, nx, ey, ny = self._local
        return math.sqrt(abs(ex * ny - ey * nx)) * ARCSEC_PER_RADIAN

    @property
    def position_angle_deg(self) -> float:
        """Position angle of the picture's up at its middle, from north through east, 0 ≤ angle < 360."""
        _, _, ey, ny = self._local
        return round(math.degrees(math.atan2(-ey, -ny)) % 360, 7) % 360

    @property
    def mirrored(self) -> bool:
        """False where north up has east on the left, as the eye sees the sky."""
        ex, nx, ey, ny = self._local
        return ex * ny - ey * nx < 0

    @cached_property
    def corners_deg(self) -> tuple[tuple[float, float], ...]:
        """RA and Dec of the outer corners, top left first, clockwise as seen on the picture."""
        right, bottom = self.width_px - 0.5, self.height_px - 0.5
        ra, dec = self.sky([-0.5, right, right, -0.5], [-0.5, -0.5, bottom, bottom])
        return tuple((float(a), float(d)) for a, d in zip(ra, dec, strict=True))

    @cached_property
    def field_deg(self) -> tuple[float, float, float]:
        """Width, height and diagonal as great circles: between midpoints of opposite edges, between corners.

        The longer of the two diagonals counts.
        """
        (x, y), right, bottom = self.middle_px, self.width_px - 0.5, self.height_px - 0.5
        ra, dec = self.sky(
            [-0.5, right, x, x, -0.5, right, right, -0.5], [y, y, -0.5, bottom, -0.5, bottom, -0.5, bottom]
        )
        apart = separations_deg(ra[::2], dec[::2], ra[1::2], dec[1::2])
        return float(apart[0]), float(apart[1]), float(np.max(apart[2:]))

    def to_plain(self) -> dict[str, Any]:
        """The placement as numbers and text, for a cache; :func:`from_plain` reads it."""
        p = self.projection
        held: dict[str, Any]
        if isinstance(p, Gnomonic):
            held = {"ra_deg": p.ra_deg, "dec_deg": p.dec_deg, "x": p.x, "y": p.y, "matrix": list(p.matrix)}
        else:
            held = {
                "header": p.header, "tables": p.tables, "scale_x": p.scale_x, "offset_x": p.offset_x,
                "scale_y": p.scale_y, "offset_y": p.offset_y,
            }  # fmt: skip
        held |= {"made_for": list(self.made_for)} if self.made_for else {}
        return {"width_px": self.width_px, "height_px": self.height_px, "source": self.source, **held}


def from_plain(plain: Mapping[str, Any]) -> Placement:
    """The placement that :meth:`Placement.to_plain` wrote down."""
    projection: Gnomonic | HeaderProjection
    if "matrix" in plain:
        a, b, c, d = (float(m) for m in plain["matrix"])
        projection = Gnomonic(plain["ra_deg"], plain["dec_deg"], plain["x"], plain["y"], (a, b, c, d))
    else:
        projection = HeaderProjection(
            plain["header"], plain["tables"], plain["scale_x"], plain["offset_x"], plain["scale_y"], plain["offset_y"]
        )
    wide, high = plain.get("made_for") or (0, 0)
    made_for = (wide, high) if wide else None
    return Placement(plain["width_px"], plain["height_px"], plain["source"], projection, made_for)


def from_centre(
    ra_deg: float,
    dec_deg: float,
    image_scale_arcsec: float,
    position_angle_deg: float,
    mirrored: bool,
    width_px: int,
    height_px: int,
    source: Source = "sidecar",
) -> Placement:
    """A gnomonic placement from the middle of the picture, its scale and the position angle of its up."""
    step, angle = image_scale_arcsec / 3600, math.radians(position_angle_deg)
    up_east, up_north = math.sin(angle), math.cos(angle)
    right_east, right_north = (up_north, -up_east) if mirrored else (-up_north, up_east)
    matrix = (step * right_east, -step * up_east, step * right_north, -step * up_north)
    middle = (width_px - 1) / 2, (height_px - 1) / 2
    return Placement(width_px, height_px, source, Gnomonic(ra_deg % 360, dec_deg, *middle, matrix))


def scaled(placement: Placement, width_px: int, height_px: int) -> Placement:
    """The placement of a rendition: the same piece of sky on another number of pixels."""
    kx, ky = placement.width_px / width_px, placement.height_px / height_px
    p = placement.projection
    projection: Gnomonic | HeaderProjection
    if isinstance(p, Gnomonic):
        a, b, c, d = p.matrix
        x, y = (p.x + 0.5) / kx - 0.5, (p.y + 0.5) / ky - 0.5
        projection = replace(p, x=x, y=y, matrix=(a * kx, b * ky, c * kx, d * ky))
    else:
        projection = replace(
            p,
            scale_x=p.scale_x * kx,
            offset_x=p.offset_x + p.scale_x * 0.5 * (kx - 1),
            scale_y=p.scale_y * ky,
            offset_y=p.offset_y + p.scale_y * 0.5 * (ky - 1),
        )
    return Placement(width_px, height_px, placement.source, projection)


def focal_length_mm(pixel_size_um: float, image_scale_arcsec: float) -> float:
    """The focal length that a pixel of this size under this scale implies: 206.2648 · p / scale."""
    return ARCSEC_PER_RADIAN / 1000 * pixel_size_um / image_scale_arcsec

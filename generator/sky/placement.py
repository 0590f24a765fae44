"""Which piece of the sky a picture is: pixels to sky and back, corners, scale, angle, one picture over another.

Pixels are the finished picture's own: (0, 0) is the centre of the top-left pixel, x grows to the right and y
*down*; the outer edges are −0.5, W − 0.5 and H − 0.5. FITS and AVM count pixels from 1 and rows from the
bottom; the turn from one to the other, half pixels included, is made here and nowhere else. Sky positions are
ICRS, in degrees.

A plain gnomonic placement (TAN) is four numbers and a matrix and is computed with numpy alone; anything else
keeps its header and goes through ``astropy.wcs`` (Greisen & Calabretta 2002, A&A 395, 1061; Calabretta &
Greisen 2002, A&A 395, 1077).
"""

from __future__ import annotations

import base64
import io
import math
import re
import warnings
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any, Literal, Protocol, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Source = Literal["sidecar", "header", "picture header", "AVM", "found"]

ARCSEC_PER_RADIAN = math.degrees(1) * 3600
ASPECT_TOLERANCE = 0.005
"""How much the proportions of a header's picture may differ from this picture's before it is refused."""


class PlacementError(ValueError):
    """A placement that cannot be used: what is wrong with it, and what to do instead."""

    def __init__(self, message: str, hint: str) -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint

    def __reduce__(self) -> tuple[type[PlacementError], tuple[str, str]]:
        return type(self), (self.message, self.hint)


@dataclass(frozen=True, slots=True)
class Gnomonic:
    """A tangent-plane projection: the tangent point (ICRS degrees) at pixel (x, y), and degrees per pixel.

    ``matrix`` is (east per x, east per y, north per x, north per y), with y down.
    """

    ra_deg: float
    dec_deg: float
    x: float
    y: float
    matrix: tuple[float, float, float, float]

    def sky(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        a, b, c, d = (math.radians(m) for m in self.matrix)
        dx, dy = x - self.x, y - self.y
        east, north = a * dx + b * dy, c * dx + d * dy
        sine, cosine = math.sin(math.radians(self.dec_deg)), math.cos(math.radians(self.dec_deg))
        towards = cosine - north * sine
        ra = math.radians(self.ra_deg) + np.arctan2(east, towards)
        dec = np.arctan2(sine + north * cosine, np.hypot(east, towards))
        return np.degrees(ra) % 360, np.degrees(dec)

    def pixel(self, ra: Floats, dec: Floats) -> tuple[Floats, Floats]:
        a, b, c, d = (math.radians(m) for m in self.matrix)
        sine, cosine = math.sin(math.radians(self.dec_deg)), math.cos(math.radians(self.dec_deg))
        turn, high = np.radians(ra - self.ra_deg), np.radians(dec)
        along = sine * np.sin(high) + cosine * np.cos(high) * np.cos(turn)
        along = np.where(along > 1e-9, along, np.nan)  # the half of the sky behind the tangent plane
        east = np.cos(high) * np.sin(turn) / along
        north = (cosine * np.sin(high) - sine * np.cos(high) * np.cos(turn)) / along
        area = a * d - b * c
        return self.x + (d * east - b * north) / area, self.y + (a * north - c * east) / area


@dataclass(frozen=True, slots=True)
class Headed:
    """Any other projection: the header that describes it, and the way from our pixels to the header's.

    ``header`` holds FITS cards, or a whole FITS file in base64 where the distortion needs tables. Pixel of the
    header, counted from 1, on the axes in ``axes``: (``scale_x`` · x + ``offset_x``, ``scale_y`` · y + ``offset_y``).
    """

    header: str
    tables: bool
    scale_x: float
    offset_x: float
    scale_y: float
    offset_y: float

    def sky(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        wcs, frame = _wcs_of(self.header, self.tables)
        shape, x, y = x.shape, x.ravel(), y.ravel()
        with _quiet():
            out = wcs.all_pix2world(self.scale_x * x + self.offset_x, self.scale_y * y + self.offset_y, 1)
        ra, dec = _to_icrs(frame, np.asarray(out[wcs.wcs.lng]), np.asarray(out[wcs.wcs.lat]))
        return ra.reshape(shape), dec.reshape(shape)

    def pixel(self, ra: Floats, dec: Floats) -> tuple[Floats, Floats]:
        wcs, frame = _wcs_of(self.header, self.tables)
        shape = ra.shape
        lon, lat = _from_icrs(frame, ra.ravel(), dec.ravel())
        world = [lat, lat]
        world[wcs.wcs.lng], world[wcs.wcs.lat] = lon, lat
        fx, fy = np.full(lon.shape, np.nan), np.full(lon.shape, np.nan)
        known = np.isfinite(lon) & np.isfinite(lat)
        with _quiet():
            if known.any():
                fx[known], fy[known] = wcs.wcs_world2pix(world[0][known], world[1][known], 1)
                if not wcs.has_distortion:
                    # A projection has one inverse, but some (SIN, ZPN) let the far side through, degrees away;
                    # CSC is its own inverse to 0.01° only.
                    back = wcs.wcs_pix2world(fx[known], fy[known], 1)
                    off = _separation(back[wcs.wcs.lng], back[wcs.wcs.lat], lon[known], lat[known])
                    wrong = np.flatnonzero(known)[~(off < 0.02)]
                    fx[wrong] = fy[wrong] = np.nan
                else:
                    # Distortion is only fitted to the picture: outside it polynomials run wild and can fold the
                    # whole sky into the frame, so far from it the undistorted place stands.
                    x, y = (fx - self.offset_x) / self.scale_x, (fy - self.offset_y) / self.scale_y
                    near = np.flatnonzero(known & self._near(wcs, x, y))
                    if len(near):
                        fx[near], fy[near] = wcs.all_world2pix(world[0][near], world[1][near], 1, quiet=True)
        x, y = (fx - self.offset_x) / self.scale_x, (fy - self.offset_y) / self.scale_y
        return x.reshape(shape), y.reshape(shape)

    def _near(self, wcs: Any, x: Floats, y: Floats) -> Any:
        """Within about one picture's size of the picture, as far as the header tells the size."""
        size = wcs.pixel_shape or (2 * abs(wcs.wcs.crpix[0]), 2 * abs(wcs.wcs.crpix[1]))
        wide, high = max(size[0], 64) / abs(self.scale_x), max(size[1], 64) / abs(self.scale_y)
        return (x > -wide) & (x < 2 * wide) & (y > -high) & (y < 2 * high)


@dataclass(frozen=True)
class Placement:
    """A picture of ``width_px`` × ``height_px`` on the sky. See the module for pixels and coordinates."""

    width_px: int
    height_px: int
    source: str
    projection: Gnomonic | Headed

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
        v = _vectors(ra, dec)
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
        apart = _separation(ra[::2], dec[::2], ra[1::2], dec[1::2])
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
        return {"width_px": self.width_px, "height_px": self.height_px, "source": self.source, **held}


def from_plain(plain: Mapping[str, Any]) -> Placement:
    """The placement that :meth:`Placement.to_plain` wrote down."""
    projection: Gnomonic | Headed
    if "matrix" in plain:
        a, b, c, d = (float(m) for m in plain["matrix"])
        projection = Gnomonic(plain["ra_deg"], plain["dec_deg"], plain["x"], plain["y"], (a, b, c, d))
    else:
        projection = Headed(
            plain["header"], plain["tables"], plain["scale_x"], plain["offset_x"], plain["scale_y"], plain["offset_y"]
        )
    return Placement(plain["width_px"], plain["height_px"], plain["source"], projection)


def from_centre(
    ra_deg: float,
    dec_deg: float,
    image_scale_arcsec: float,
    position_angle_deg: float,
    mirrored: bool,
    width_px: int,
    height_px: int,
    source: str = "sidecar",
) -> Placement:
    """A gnomonic placement from the middle of the picture, its scale and the position angle of its up."""
    step, angle = image_scale_arcsec / 3600, math.radians(position_angle_deg)
    up_east, up_north = math.sin(angle), math.cos(angle)
    right_east, right_north = (up_north, -up_east) if mirrored else (-up_north, up_east)
    matrix = (step * right_east, -step * up_east, step * right_north, -step * up_north)
    middle = (width_px - 1) / 2, (height_px - 1) / 2
    return Placement(width_px, height_px, source, Gnomonic(ra_deg % 360, dec_deg, *middle, matrix))


def from_header(
    header: str | Path,
    width_px: int,
    height_px: int,
    rows: Literal["bottom", "top"] = "bottom",
    source: str = "header",
) -> Placement:
    """The placement in a FITS file (its path), or in a header of FITS cards (a path, or the text itself).

    In a file of several images the first with celestial axes and the picture's size counts. A header of a cube
    is taken by its celestial axes. A header made for another size is scaled when the proportions agree to
    0.5 %. Raises :class:`PlacementError` where there is nothing to use.
    """
    refused: PlacementError | None = None
    for cards, tables in _headers(header):
        try:
            with _quiet():
                wcs = _celestial(cards, tables)
            return _placed(wcs, cards, width_px, height_px, rows, source)
        except PlacementError as error:
            # What a celestial header lacks says more than that some table beside it has no sky at all.
            if refused is None or isinstance(refused, _NoSky):
                refused = error
    raise refused or _NoSky()


def from_avm(path: str | Path, width_px: int, height_px: int) -> Placement | None:
    """The placement that Astronomy Visualization Metadata in a JPEG, PNG or TIFF gives, or None without one.

    Raises :class:`PlacementError` for a record that cannot be right.
    """
    from pyavm import AVM

    with _quiet():
        try:
            avm = AVM.from_image(str(path))
            if repr(avm.Spatial) == "":
                avm = _avm_in_tag(Path(path)) or avm
        except Exception:  # pyavm raises whatever its parser does; no record is the usual case
            avm = _avm_in_tag(Path(path))
    return None if avm is None else from_avm_record(avm, width_px, height_px)


def from_avm_record(avm: Any, width_px: int, height_px: int) -> Placement | None:
    """As :func:`from_avm`, from a record that ``pyavm.AVM`` has read. A mere position is no placement."""
    spatial = avm.Spatial
    if repr(spatial) == "" or spatial.ReferenceValue is None or spatial.ReferencePixel is None:
        return None
    if (spatial.Scale is None and spatial.CDMatrix is None) or spatial.Quality == "Position":
        return None
    hint = "write `placement` with centre, image_scale and position_angle into the sidecar instead"
    try:
        with _quiet():
            wcs = avm.to_wcs()
            wcs.wcs.set()
            size = spatial.ReferenceDimension
            if size is not None:
                wcs.pixel_shape = (round(float(size[0])), round(float(size[1])))
            cards = wcs.to_header(relax=True)
            # Cards keep too few digits for a scale of microdegrees: the numbers themselves go in their place.
            for axis in (1, 2):
                cards[f"CRPIX{axis}"] = float(wcs.wcs.crpix[axis - 1])
                cards[f"CRVAL{axis}"] = float(wcs.wcs.crval[axis - 1])
    except Exception as error:
        raise PlacementError(f"the AVM record in the picture is damaged: {_said(error)}", hint) from None
    return _placed(wcs, cards, width_px, height_px, "bottom", "AVM")


def scaled(placement: Placement, width_px: int, height_px: int) -> Placement:
    """The placement of a rendition: the same piece of sky on another number of pixels."""
    kx, ky = placement.width_px / width_px, placement.height_px / height_px
    p = placement.projection
    projection: Gnomonic | Headed
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


# --------------------------------------------------------------------------- one picture over another


@dataclass(frozen=True, slots=True)
class Transform:
    """A matrix that takes pixels of one picture to those of another, (x, y, 1) as a column, and its misfit.

    ``rms_px`` and ``max_px`` are distances in pixels of the picture it leads to, over the common area.
    """

    matrix: tuple[tuple[float, float, float], ...]
    kind: Literal["affine", "projective"]
    rms_px: float
    max_px: float

    def apply(self, x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats]:
        m = np.array(self.matrix)
        fx, fy = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
        u, v, w = (m[i, 0] * fx + m[i, 1] * fy + m[i, 2] for i in range(3))
        return u / w, v / w


def transform(a: Placement, b: Placement) -> Transform | None:
    """From pixels of ``b`` to pixels of ``a``, fitted over the sky they share; None where they share none.

    Affine where that is right to a tenth of a pixel, else projective: exact between two gnomonic pictures.
    """
    bx, by = _grid(b)
    ax, ay = _grid(a)
    x = np.concatenate([bx, b.pixel(*a.sky(ax, ay))[0]])
    y = np.concatenate([by, b.pixel(*a.sky(ax, ay))[1]])
    u, v = a.pixel(*b.sky(x, y))
    common = b.contains(x, y) & a.contains(u, v)
    x, y, u, v = x[common], y[common], u[common], v[common]
    if len(x) < 6:
        return None
    fitted: list[Transform] = []
    for kind, matrix in (("affine", _affine(x, y, u, v)), ("projective", _projective(x, y, u, v))):
        if matrix is None:
            continue
        rows = tuple((float(r[0]), float(r[1]), float(r[2])) for r in matrix)
        candidate = Transform(rows, "affine" if kind == "affine" else "projective", 0.0, 0.0)
        there = candidate.apply(x, y)
        off = np.hypot(there[0] - u, there[1] - v)
        rms, worst = float(np.sqrt(np.mean(off**2))), float(off.max())
        fitted.append(replace(candidate, rms_px=rms, max_px=worst))
        if worst <= 0.1:
            break
    return min(fitted, key=lambda t: t.max_px) if fitted else None


# ------------------------------------------------------------------------------ what is in the picture


class Located(Protocol):
    """Anything with a place on the sky; ``size_arcmin`` is (major, minor) axis, None for a point."""

    @property
    def ra_deg(self) -> float | None: ...
    @property
    def dec_deg(self) -> float | None: ...
    @property
    def size_arcmin(self) -> tuple[float, float] | None: ...
    @property
    def size_angle_deg(self) -> float | None: ...


T = TypeVar("T", bound=Located)


def in_field(placement: Placement, objects: Iterable[T]) -> list[tuple[T, float, float]]:
    """The objects whose centre lies in the picture, with its pixel, in the order given."""
    return [found for found in _around(placement, objects, 0.0) if placement.contains(found[1], found[2])]


def touching(placement: Placement, objects: Iterable[T]) -> list[tuple[T, float, float]]:
    """The objects whose centre or extent (an ellipse) lies in the picture, with the pixel of the centre.

    That pixel may lie outside; it is nan for an object so large that its centre is behind the projection.
    """
    return [found for found in _around(placement, objects, 1.0) if _touches(placement, *found)]


def _around(placement: Placement, objects: Iterable[T], grown: float) -> Iterator[tuple[T, float, float]]:
    """Objects within the circle around the picture, their radius times ``grown`` added, and their pixels."""
    placed = [o for o in objects if o.ra_deg is not None and o.dec_deg is not None]
    if not placed:
        return
    ra = np.array([o.ra_deg for o in placed], dtype=float)
    dec = np.array([o.dec_deg for o in placed], dtype=float)
    radius = np.array([o.size_arcmin[0] / 120 if o.size_arcmin else 0.0 for o in placed])
    edge = _edge(placement)
    middle = placement.centre
    reach = float(np.max(_separation(edge[0], edge[1], *middle)))
    if math.isfinite(reach):
        near = np.flatnonzero(_separation(ra, dec, *middle) <= reach * 1.02 + 1e-6 + radius * grown)
    else:  # a picture of so much sky that its edge is none
        near = np.arange(len(placed))
    x, y = placement.pixel(ra[near], dec[near])
    for i, px, py in zip(near, x, y, strict=True):
        yield placed[int(i)], float(px), float(py)


def outline(thing: Located, points: int = 72) -> tuple[Floats, Floats]:
    """RA and Dec around an object's ellipse, closed by repeating the first; its own place if it has no size."""
    if thing.ra_deg is None or thing.dec_deg is None:
        raise ValueError("an object without a place has no outline")
    if not thing.size_arcmin:
        return np.array([thing.ra_deg]), np.array([thing.dec_deg])
    major, minor = (math.radians(s / 120) for s in thing.size_arcmin)
    angle = math.radians(thing.size_angle_deg or 0.0)
    t = np.linspace(0, 2 * np.pi, points + 1)
    far, wide = major * np.cos(t), minor * np.sin(t)
    north, east = far * math.cos(angle) - wide * math.sin(angle), far * math.sin(angle) + wide * math.cos(angle)
    distance, bearing = np.hypot(north, east), np.arctan2(east, north)
    dec0 = math.radians(thing.dec_deg)
    dec = np.arcsin(
        np.clip(math.sin(dec0) * np.cos(distance) + math.cos(dec0) * np.sin(distance) * np.cos(bearing), -1, 1)
    )
    turn = np.arctan2(
        np.sin(bearing) * np.sin(distance) * math.cos(dec0), np.cos(distance) - math.sin(dec0) * np.sin(dec)
    )
    return (thing.ra_deg + np.degrees(turn)) % 360, np.degrees(dec)


def _touches(placement: Placement, thing: Located, x: float, y: float) -> bool:
    if bool(placement.contains(x, y)):
        return True
    if not thing.size_arcmin or thing.ra_deg is None or thing.dec_deg is None:
        return False
    if bool(placement.contains(*placement.pixel(*outline(thing))).any()):
        return True
    # An object larger than the picture may have its whole outline outside: is the picture within it?
    ra, dec = _edge(placement)
    ra0, dec0 = math.radians(thing.ra_deg), math.radians(thing.dec_deg)
    distance = np.radians(_separation(ra, dec, thing.ra_deg, thing.dec_deg))
    a, d = np.radians(ra) - ra0, np.radians(dec)
    bearing = np.arctan2(np.sin(a) * np.cos(d), math.cos(dec0) * np.sin(d) - math.sin(dec0) * np.cos(d) * np.cos(a))
    bearing = bearing - math.radians(thing.size_angle_deg or 0.0)
    major, minor = (max(math.radians(s / 120), 1e-9) for s in thing.size_arcmin)
    return bool(np.any(np.hypot(distance * np.cos(bearing) / major, distance * np.sin(bearing) / minor) <= 1))


# --------------------------------------------------------------------------------------------- AVM out


def avm_fields(placement: Placement, width_px: int, height_px: int) -> dict[str, Any]:
    """The ``Spatial`` fields of AVM 1.2 for a published rendition of this size.

    Gnomonic pictures are given by scale and rotation, or by a matrix when mirrored or when pixels are not
    square, which scale and rotation cannot say. Other projections keep their code where AVM can say it all.
    A distorted picture gets the best gnomonic fit; where that misses a corner by more than half a pixel
    ``Quality`` is ``Position`` and ``Notes`` says by how much. Empty where the picture's middle is no sky.
    """
    shown = scaled(placement, width_px, height_px)
    p = shown.projection
    if not all(map(math.isfinite, shown.centre)):
        return {}
    if isinstance(p, Headed) and (said := _avm_by_code(shown, p)) is not None:
        return said
    note: str | None = None
    if isinstance(p, Headed):
        p, worst = _nearest_gnomonic(shown)
        note = f"The picture is distorted; these values are right to {worst:.1f} pixels." if worst > 0.5 else None
    a, b, c, d = p.matrix
    # Rows from the bottom: y turns over, and the first pixel is 1.
    fields = _avm_base("ICRS", "TAN", (p.ra_deg, p.dec_deg), (p.x + 1, height_px - p.y), width_px, height_px)
    across, up = math.hypot(a, c), math.hypot(b, d)
    square = abs(across - up) * max(width_px, height_px) < 0.02 * up and abs(a * b + c * d) < 1e-9 * up * across
    if square and a * d - b * c > 0:
        fields["Spatial.Scale"] = [-across, up]
        fields["Spatial.Rotation"] = math.degrees(math.atan2(b, -d))
    else:
        fields["Spatial.CDMatrix"] = [a, -b, c, -d]
    if note:
        fields |= {"Spatial.Quality": "Position", "Spatial.Notes": note}
    return fields


_AVM_PROJECTIONS = ("TAN", "SIN", "ARC", "AIT", "CAR", "CEA")  # the vocabulary of AVM 1.2


def _avm_base(
    frame: str, code: str, value: tuple[float, float], pixel: tuple[float, float], width_px: int, height_px: int
) -> dict[str, Any]:
    return {
        "Spatial.CoordinateFrame": frame,
        "Spatial.Equinox": "J2000",
        "Spatial.ReferenceValue": list(value),
        "Spatial.ReferenceDimension": [float(width_px), float(height_px)],
        "Spatial.ReferencePixel": list(pixel),
        "Spatial.CoordsystemProjection": code,
        "Spatial.Quality": "Full",
    }


def _avm_by_code(shown: Placement, p: Headed) -> dict[str, Any] | None:
    """The fields with the header's own projection code, or None where AVM has no words for all of it."""
    from astropy.wcs import WCS

    wcs, frame = _wcs_of(p.header, p.tables)
    name = {"icrs": "ICRS", "fk5": "FK5", "galactic": "GAL"}.get(getattr(frame, "name", "icrs") if frame else "icrs")
    equinox = getattr(frame, "equinox", None)
    code = str(wcs.wcs.ctype[0])[5:8].rstrip("-")
    fits = (
        code in _AVM_PROJECTIONS
        and name is not None
        and not wcs.has_distortion
        and wcs.wcs.lng == 0
        and wcs.wcs.lat == 1
    )
    if not fits or (equinox is not None and abs(equinox.jyear - 2000) > 1e-6):
        return None
    with _quiet():
        cd = wcs.pixel_scale_matrix
        height = shown.height_px
        # Header pixel = scale · ours + offset; AVM pixel = ours from 1, rows from the bottom.
        x = (wcs.wcs.crpix[0] - p.offset_x) / p.scale_x
        y = (wcs.wcs.crpix[1] - p.offset_y) / p.scale_y
        matrix = [cd[0, 0] * p.scale_x, -cd[0, 1] * p.scale_y, cd[1, 0] * p.scale_x, -cd[1, 1] * p.scale_y]
        fields = _avm_base(str(name), code, (float(wcs.wcs.crval[0]), float(wcs.wcs.crval[1])),
                           (float(x) + 1, height - float(y)), shown.width_px, height)  # fmt: skip
        fields["Spatial.CDMatrix"] = [float(m) for m in matrix]
        # Parameters and a turned pole have no place in AVM: see whether the plain projection says the same.
        plain = WCS(naxis=2)
        plain.wcs.ctype = [str(wcs.wcs.ctype[0])[:8], str(wcs.wcs.ctype[1])[:8]]
        plain.wcs.crval = fields["Spatial.ReferenceValue"]
        plain.wcs.crpix = fields["Spatial.ReferencePixel"]
        plain.wcs.cd = np.array(fields["Spatial.CDMatrix"]).reshape(2, 2)
        gx, gy = _grid(shown)
        try:
            lon, lat = plain.wcs_pix2world(gx + 1, height - gy, 1)
        except Exception:
            return None
    ours = shown.sky(gx, gy)
    theirs = _to_icrs(frame, np.asarray(lon), np.asarray(lat))
    off = _separation(*ours, *theirs) * 3600 / shown.image_scale_arcsec_px
    seen = np.isfinite(ours[0])
    return fields if seen.any() and bool(np.all(off[seen] < 0.25)) else None


def _nearest_gnomonic(placement: Placement) -> tuple[Gnomonic, float]:
    """The tangent plane at the picture's middle that fits it best, and its worst miss in pixels."""
    ra0, dec0 = placement.centre
    unit = Gnomonic(ra0, dec0, 0.0, 0.0, (1.0, 0.0, 0.0, 1.0))
    x, y = _grid(placement)
    east, north = unit.pixel(*placement.sky(x, y))
    seen = np.isfinite(east) & np.isfinite(north)
    x, y, east, north = x[seen], y[seen], east[seen], north[seen]
    m = _affine(x, y, east, north)
    linear = m[:2, :2]
    origin = np.linalg.solve(linear, -m[:2, 2])
    fit = Gnomonic(
        ra0, dec0, float(origin[0]), float(origin[1]),
        (float(linear[0, 0]), float(linear[0, 1]), float(linear[1, 0]), float(linear[1, 1])),
    )  # fmt: skip
    off = np.hypot(m[0, 0] * x + m[0, 1] * y + m[0, 2] - east, m[1, 0] * x + m[1, 1] * y + m[1, 2] - north)
    return fit, float(off.max()) / math.sqrt(abs(np.linalg.det(linear)))


# ------------------------------------------------------------------------------------ reading headers


class _NoSky(PlacementError):
    def __init__(self) -> None:
        super().__init__(
            "the header has no celestial axes",
            "name a header whose CTYPE1 and CTYPE2 are coordinates of the sky, such as RA---TAN and DEC--TAN",
        )


def _unreadable(why: str) -> PlacementError:
    return PlacementError(
        f"the header cannot be read: {why}",
        "name a FITS file, or a text file of FITS cards such as “CRVAL1  =  98.0”, one a line or 80 characters each",
    )


def _headers(header: str | Path) -> Iterator[tuple[Any, Any]]:
    """The headers of a file or a text, each with the open FITS file that holds its distortion tables."""
    from astropy.io import fits

    if isinstance(header, str) and ("\n" in header or header[8:9] == "="):
        yield _cards(header), None
        return
    path = Path(header)
    try:
        data = path.read_bytes()
    except OSError as error:
        raise _unreadable(error.strerror or "it is not a file") from None
    packed = data[:2] == b"\x1f\x8b"
    if not packed and (data[:6] != b"SIMPLE" or b"\n" in data[:80]):
        yield _cards(data.decode("utf-8", errors="replace")), None
        return
    try:
        with _quiet(), fits.open(path, memmap=False, lazy_load_hdus=False) as file:
            for hdu in file:
                yield hdu.header, file
    except Exception as error:
        if packed:
            raise _unreadable(_said(error)) from None
        yield _cards(data.decode("utf-8", errors="replace")), None


def _cards(text: str) -> Any:
    """A header from text: a card a line, or cards of 80 characters without any line ends."""
    from astropy.io import fits

    lines = [line.rstrip() for line in text.replace("\r\n", "\n").replace("\r", "\n").split("\n")]
    if any(len(line) > 80 for line in lines):
        whole = text.replace("\r", "").replace("\n", "")
        lines = [whole[i : i + 80] for i in range(0, len(whole), 80)]
    kept = []
    for line in lines:
        word = line[:8].strip().upper()
        if word == "END":
            break
        # Comments play no part, and a CONTINUE card without its beginning is an error to the reader.
        if line[8:9] == "=" and word and all(c.isprintable() and c.isascii() for c in line):
            kept.append(line[:80].ljust(80))
    if not kept:
        raise _unreadable("it holds no FITS cards")
    try:
        with _quiet():
            return fits.Header.fromstring("".join(kept))
    except Exception as error:
        raise _unreadable(_said(error)) from None


_NUMBERS = (
    *(f"{word}{axis}" for word in ("CRVAL", "CRPIX", "CDELT", "CROTA") for axis in (1, 2)),
    *(f"{word}{i}_{j}" for word in ("CD", "PC") for i in (1, 2) for j in (1, 2)),
)  # fmt: skip


def _is_number(cards: Any, word: str) -> bool:
    try:
        return isinstance(cards[word], (int, float)) and math.isfinite(cards[word])
    except Exception:
        return False


def _celestial(cards: Any, file: Any) -> Any:
    """The celestial part of a header as a WCS of two axes, in the order of the picture's axes."""
    from astropy.wcs import WCS, InconsistentAxisTypesError, SingularMatrixError

    for word in _NUMBERS:
        if word in cards and not _is_number(cards, word):
            raise _unreadable(f"its {word} is not a number")
    singular = PlacementError(
        "the header's matrix is singular: all pixels would lie on one line or point of the sky",
        "write the CD matrix, or CDELT1 and CDELT2, anew; neither may be zero",
    )
    written = [cards[word] for word in _NUMBERS if word[:2] == "CD" and "_" in word and word in cards]
    if written and not any(written):  # zeros would be passed over in silence, for a degree per pixel
        raise singular
    try:
        wcs = WCS(cards, file) if file is not None else WCS(cards)
        wcs.wcs.set()
        if wcs.wcs.lng < 0 or wcs.wcs.lat < 0:
            raise _NoSky()
        if wcs.naxis > 2:
            wcs = wcs.sub([axis + 1 for axis in sorted((wcs.wcs.lng, wcs.wcs.lat))])
            wcs.wcs.set()
        area = float(np.linalg.det(wcs.pixel_scale_matrix))
    except PlacementError:
        raise
    except SingularMatrixError:
        raise singular from None
    except InconsistentAxisTypesError:
        raise _NoSky() from None
    except Exception as error:
        raise _unreadable(_said(error)) from None
    if not math.isfinite(area) or area == 0:
        raise singular
    return wcs


def _placed(
    wcs: Any, cards: Any, width_px: int, height_px: int, rows: Literal["bottom", "top"], source: str
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
    with _quiet():
        frame = _frame(wcs)
        plain = _gnomonic(wcs, frame, width_px, height_px, scale_x, offset_x, scale_y, offset_y)
        projection: Gnomonic | Headed
        if plain is not None:
            projection = plain
        else:
            tables = any(t is not None for t in (wcs.cpdis1, wcs.cpdis2, wcs.det2im1, wcs.det2im2))
            text = _kept_tables(wcs) if tables else _kept_cards(cards)
            projection = Headed(text, tables, scale_x, offset_x, scale_y, offset_y)
    placement = Placement(width_px, height_px, source, projection)
    try:
        if not isinstance(projection, Gnomonic):
            placement.sky([0.0, width_px / 2], [0.0, height_px / 2])
    except Exception as error:
        raise _unreadable(_said(error)) from None
    return placement


def _size(wcs: Any, cards: Any) -> tuple[int, int] | None:
    """The picture's size that a header states: its NAXISn, else IMAGEW and IMAGEH."""
    shape = wcs.pixel_shape
    if shape is not None and len(shape) > 1 and all(shape):
        if not all(isinstance(n, int) and n > 0 for n in shape):
            raise _unreadable("its NAXIS1 or NAXIS2 is not a number of pixels")
        return int(shape[0]), int(shape[1])
    try:
        wide, high = int(cards.get("IMAGEW", 0)), int(cards.get("IMAGEH", 0))
    except (TypeError, ValueError):
        return None
    return (wide, high) if wide > 0 and high > 0 else None


def _gnomonic(
    wcs: Any, frame: Any, width_px: int, height_px: int, kx: float, ox: float, ky: float, oy: float
) -> Gnomonic | None:
    """The same placement in numbers alone, where it is a plain tangent plane in a frame of fixed axes."""
    codes = [str(c)[5:] for c in wcs.wcs.ctype]
    standard = codes == ["TAN", "TAN"] and not wcs.has_distortion and not wcs.wcs.get_pv()
    if not standard or wcs.wcs.lng != 0 or wcs.wcs.lat != 1 or getattr(frame, "name", "") == "fk4":
        return None
    if abs(wcs.wcs.lonpole - 180) > 1e-12:
        return None
    lon, lat = (float(v) for v in wcs.wcs.crval)
    cd = wcs.pixel_scale_matrix
    x, y = (wcs.wcs.crpix[0] - ox) / kx, (wcs.wcs.crpix[1] - oy) / ky
    matrix = np.array([[cd[0, 0] * kx, cd[0, 1] * ky], [cd[1, 0] * kx, cd[1, 1] * ky]])
    if frame is not None:
        # Turning the sky's axes moves the tangent point and turns its north; the plane stays the same plane.
        pole_ra, pole_dec = _to_icrs(frame, np.array([0.0]), np.array([90.0]))
        at = _to_icrs(frame, np.array([lon]), np.array([lat]))
        lon, lat = float(at[0][0]), float(at[1][0])
        a, d0, d = math.radians(float(pole_ra[0]) - lon), math.radians(lat), math.radians(float(pole_dec[0]))
        bearing = math.atan2(
            math.sin(a) * math.cos(d), math.cos(d0) * math.sin(d) - math.sin(d0) * math.cos(d) * math.cos(a)
        )
        turn = np.array([[math.cos(bearing), math.sin(bearing)], [-math.sin(bearing), math.cos(bearing)]])
        matrix = turn @ matrix
    flat = (float(matrix[0, 0]), float(matrix[0, 1]), float(matrix[1, 0]), float(matrix[1, 1]))
    found = Gnomonic(lon % 360, lat, float(x), float(y), flat)
    # Some headers say TAN and carry a polynomial in ways that the library obeys without showing it.
    gx = np.array([-0.5, width_px, width_px, -0.5, width_px / 2])
    gy = np.array([-0.5, -0.5, height_px, height_px, 0.0])
    mine = found.sky(gx, gy)
    its = _to_icrs(frame, *(np.asarray(v) for v in wcs.wcs_pix2world(kx * gx + ox, ky * gy + oy, 1)))
    step = math.sqrt(abs(flat[0] * flat[3] - flat[1] * flat[2]))
    return found if bool(np.all(_separation(*mine, *its) < 1e-4 * step)) else None


def _kept_cards(cards: Any) -> str:
    """The cards that matter, as text: comments and history can be most of a header."""
    kept = cards.copy()
    for word in ("COMMENT", "HISTORY", ""):
        while word in kept:
            kept.remove(word, remove_all=True)
    return str(kept.tostring(sep="", endcard=False, padding=False))


def _kept_tables(wcs: Any) -> str:
    file = io.BytesIO()
    wcs.to_fits(relax=True).writeto(file)
    return base64.b64encode(file.getvalue()).decode("ascii")


@lru_cache(maxsize=64)
def _wcs_of(header: str, tables: bool) -> tuple[Any, Any]:
    from astropy.io import fits

    with _quiet():
        if tables:
            with fits.open(io.BytesIO(base64.b64decode(header)), memmap=False, lazy_load_hdus=False) as file:
                wcs = _celestial(file[0].header, file)
        else:
            wcs = _celestial(fits.Header.fromstring(header), None)
        return wcs, _frame(wcs)


def _frame(wcs: Any) -> Any:
    """The astropy frame of a header's coordinates, None for ICRS."""
    from astropy.coordinates import BarycentricMeanEcliptic, Supergalactic
    from astropy.time import Time
    from astropy.wcs.utils import wcs_to_celestial_frame

    kind = str(wcs.wcs.lngtyp)
    if kind == "ELON":
        equinox = wcs.wcs.equinox if math.isfinite(wcs.wcs.equinox) else 2000.0
        return BarycentricMeanEcliptic(equinox=Time(equinox, format="jyear"))
    if kind == "SLON":
        return Supergalactic()
    try:
        frame = wcs_to_celestial_frame(wcs)
    except Exception:
        frame = None
    if frame is None or frame.name not in ("icrs", "fk5", "fk4", "fk4noeterms", "galactic"):
        raise PlacementError(
            "the header's coordinates are not fixed among the stars",
            "name a header in right ascension and declination, or in galactic or ecliptic coordinates",
        )
    return None if frame.name == "icrs" else frame


def _to_icrs(frame: Any, lon: Floats, lat: Floats) -> tuple[Floats, Floats]:
    if frame is None:
        return lon % 360, lat
    return _moved(frame, "icrs", lon, lat)


def _from_icrs(frame: Any, ra: Floats, dec: Floats) -> tuple[Floats, Floats]:
    return (ra, dec) if frame is None else _moved("icrs", frame, ra, dec)


def _moved(before: Any, after: Any, lon: Floats, lat: Floats) -> tuple[Floats, Floats]:
    from astropy.coordinates import SkyCoord

    a, b = np.full(lon.shape, np.nan), np.full(lon.shape, np.nan)
    known = np.isfinite(lon) & np.isfinite(lat)
    if known.any():
        with _quiet():
            there = SkyCoord(lon[known], lat[known], unit="deg", frame=before).transform_to(after)
        a[known], b[known] = there.spherical.lon.deg % 360, there.spherical.lat.deg
    return a, b


def _avm_in_tag(path: Path) -> Any:
    """The AVM record in the XMP tag of a TIFF, which need not have the wrapping that a scan looks for."""
    from PIL import Image
    from pyavm import AVM

    try:
        with Image.open(path) as picture:
            packet = getattr(picture, "tag_v2", {}).get(700) or picture.info.get("xmp")
        return AVM.from_xml(packet) if packet else None
    except Exception:
        return None


@contextmanager
def _quiet() -> Iterator[None]:
    """No warnings and no notes on the screen about headers that others wrote."""
    from astropy import log

    level = log.level
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore")
        log.setLevel("ERROR")
        try:
            yield
        finally:
            log.setLevel(level)


def _said(error: Exception) -> str:
    """What a library's error says to a person, without the places in its source."""
    if isinstance(error, LookupError):
        return "its cards do not fit together"
    text = re.sub(r"ERROR \d+ in \w+\(\) at line \d+ of file \S+:\s*", "", " ".join(str(error).split()))
    text = text.strip().rstrip(".") or type(error).__name__
    return text if len(text) <= 160 else text[:159] + "…"


# --------------------------------------------------------------------------------------------- geometry


def _vectors(ra: Floats, dec: Floats) -> Floats:
    a, d = np.radians(ra), np.radians(dec)
    return np.stack([np.cos(d) * np.cos(a), np.cos(d) * np.sin(a), np.sin(d)], axis=-1)


def _separation(ra1: Any, dec1: Any, ra2: Any, dec2: Any) -> Floats:
    """Great-circle distance in degrees, exact for small and large angles."""
    u = _vectors(np.asarray(ra1, dtype=float), np.asarray(dec1, dtype=float))
    v = _vectors(np.asarray(ra2, dtype=float), np.asarray(dec2, dtype=float))
    u, v = np.broadcast_arrays(u, v)
    return np.asarray(np.degrees(np.arctan2(np.linalg.norm(np.cross(u, v), axis=-1), (u * v).sum(-1))))


def _grid(placement: Placement, n: int = 33) -> tuple[Floats, Floats]:
    x, y = np.meshgrid(
        np.linspace(-0.5, placement.width_px - 0.5, n), np.linspace(-0.5, placement.height_px - 0.5, n)
    )
    return x.ravel(), y.ravel()


def _edge(placement: Placement, n: int = 16) -> tuple[Floats, Floats]:
    """Positions all around the picture's edge, and its middle."""
    right, bottom = placement.width_px - 0.5, placement.height_px - 0.5
    t = np.linspace(0, 1, n, endpoint=False)
    along, down = -0.5 + t * (right + 0.5), -0.5 + t * (bottom + 0.5)
    (cx, cy), side = placement.middle_px, np.full(n, 1.0)
    x = np.concatenate([along, side * right, along[::-1], side * -0.5, [cx, right, -0.5]])
    y = np.concatenate([side * -0.5, down, side * bottom, down[::-1], [cy, bottom, bottom]])
    return placement.sky(x, y)


def _affine(x: Floats, y: Floats, u: Floats, v: Floats) -> Floats:
    columns = np.stack([x, y, np.ones_like(x)], axis=-1)
    solved = np.linalg.lstsq(columns, np.stack([u, v], axis=-1), rcond=None)[0]
    return np.vstack([solved.T, [0.0, 0.0, 1.0]])


def _projective(x: Floats, y: Floats, u: Floats, v: Floats) -> Floats | None:
    """The homography of least algebraic misfit (direct linear transform, coordinates normalised)."""
    before, after = _normaliser(x, y), _normaliser(u, v)
    p = before @ np.stack([x, y, np.ones_like(x)])
    q = after @ np.stack([u, v, np.ones_like(u)])
    nothing = np.zeros_like(x)
    rows = np.concatenate(
        [
            np.stack([*p, nothing, nothing, nothing, -q[0] * p[0], -q[0] * p[1], -q[0]], axis=-1),
            np.stack([nothing, nothing, nothing, *p, -q[1] * p[0], -q[1] * p[1], -q[1]], axis=-1),
        ]
    )
    h = np.linalg.svd(rows, full_matrices=False)[2][-1].reshape(3, 3)
    matrix = np.linalg.inv(after) @ h @ before
    return None if abs(matrix[2, 2]) < 1e-12 else np.asarray(matrix / matrix[2, 2])


def _normaliser(x: Floats, y: Floats) -> Floats:
    size = max(float(np.std(x)), float(np.std(y)), 1e-12)
    return np.array([[1 / size, 0, -float(np.mean(x)) / size], [0, 1 / size, -float(np.mean(y)) / size], [0, 0, 1]])

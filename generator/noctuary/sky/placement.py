"""Which piece of the sky a picture is: pixels to sky and back, corners, scale, angle, one picture over another.

Pixels are the finished picture's own: (0, 0) is the centre of the top-left pixel, x grows to the right and y
*down*; the outer edges are −0.5, W − 0.5 and H − 0.5. FITS and AVM count pixels from 1 and rows from the
bottom; the turn from one to the other, half pixels included, is made here and nowhere else. Sky positions are
ICRS, in degrees.

A placement written in numbers is gnomonic and costs no more than numpy; see ``projection`` for the others.
"""

from __future__ import annotations

import math
import mmap
from collections.abc import Iterable, Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any, Literal, Protocol, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from noctuary.geometry import separations_deg, unit_vectors
from noctuary.sky.projection import (
    Floats,
    Gnomonic,
    Headed,
    NoSky,
    PlacementError,
    celestial,
    frame_of,
    gnomonic_of,
    headers_in,
    kept_cards,
    kept_tables,
    quiet_header,
    said_by,
    to_icrs,
    unreadable,
    wcs_of,
)

__all__ = [
    "ASPECT_TOLERANCE",
    "Gnomonic",
    "Headed",
    "Located",
    "NoSky",
    "Placement",
    "PlacementError",
    "Source",
    "Transform",
    "avm_fields",
    "focal_length_mm",
    "from_avm",
    "from_avm_record",
    "from_centre",
    "from_header",
    "from_plain",
    "in_field",
    "outline",
    "scaled",
    "touching",
    "transform",
]

Source = Literal["sidecar", "header", "picture header", "AVM", "found"]

ARCSEC_PER_RADIAN = math.degrees(1) * 3600
ASPECT_TOLERANCE = 0.005
"""How much the proportions of a header's picture may differ from this picture's before it is refused."""


@dataclass(frozen=True)
class Placement:
    """A picture of ``width_px`` × ``height_px`` on the sky. See the module for pixels and coordinates.

    ``made_for`` is the size (width, height) that a header or an AVM record states, where it is another than this
    picture's: then the placement was scaled, which is right for a reduction and wrong for a crop.
    """

    width_px: int
    height_px: int
    source: Source
    projection: Gnomonic | Headed
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
    projection: Gnomonic | Headed
    if "matrix" in plain:
        a, b, c, d = (float(m) for m in plain["matrix"])
        projection = Gnomonic(plain["ra_deg"], plain["dec_deg"], plain["x"], plain["y"], (a, b, c, d))
    else:
        projection = Headed(
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
                return _placed(wcs, cards, width_px, height_px, rows, source)
            except PlacementError as error:
                # What a celestial header lacks says more than that some table beside it has no sky at all.
                if refused is None or isinstance(refused, NoSky):
                    refused = error
    raise refused or NoSky()


def from_avm(path: str | Path, width_px: int, height_px: int) -> Placement | None:
    """The placement that Astronomy Visualization Metadata in a JPEG, PNG or TIFF gives, or None without one.

    Raises :class:`PlacementError` for a record that cannot be right.
    """
    if not _mentions_avm(Path(path)):
        return None
    from pyavm import AVM

    with quiet_header():
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
        with quiet_header():
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
        raise PlacementError(f"the AVM record in the picture is damaged: {said_by(error)}", hint) from None
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
    """Anything with a place on the sky; ``size_arcmin`` is (major, minor) axis, None for a point.

    ``outline``: whether that size fits what is seen; what has none is as good as a point. Its middle is
    ``outline_centre_deg``, or the object's place where that is None.
    """

    @property
    def ra_deg(self) -> float | None: ...
    @property
    def dec_deg(self) -> float | None: ...
    @property
    def size_arcmin(self) -> tuple[float, float] | None: ...
    @property
    def position_angle_deg(self) -> float | None: ...
    @property
    def outline(self) -> bool: ...
    @property
    def outline_centre_deg(self) -> tuple[float, float] | None: ...


T = TypeVar("T", bound=Located)


def in_field(placement: Placement, objects: Iterable[T]) -> list[tuple[T, float, float]]:
    """The objects whose centre lies in the picture, with its pixel, in the order given."""
    return [found for found in _around(placement, objects, 0.0) if placement.contains(found[1], found[2])]


def touching(placement: Placement, objects: Iterable[T]) -> list[tuple[T, float, float]]:
    """The objects whose centre or outline (an ellipse) lies in the picture, with the pixel of the centre.

    That pixel may lie outside; it is nan for an object so large that its centre is behind the projection.
    """
    return [found for found in _around(placement, objects, 1.0) if _touches(placement, *found)]


def _around(placement: Placement, objects: Iterable[T], grown: float) -> Iterator[tuple[T, float, float]]:
    """Objects within the circle around the picture, their reach times ``grown`` added, and their pixels."""
    placed = [o for o in objects if o.ra_deg is not None and o.dec_deg is not None]
    if not placed:
        return
    ra = np.array([o.ra_deg for o in placed], dtype=float)
    dec = np.array([o.dec_deg for o in placed], dtype=float)
    radius = np.array([o.size_arcmin[0] / 120 if o.size_arcmin and o.outline else 0.0 for o in placed])
    centres = np.array([_centre(o) for o in placed])
    radius += separations_deg(ra, dec, centres[:, 0], centres[:, 1])
    edge = _edge(placement)
    middle = placement.centre
    reach = float(np.max(separations_deg(edge[0], edge[1], *middle)))
    if math.isfinite(reach):
        near = np.flatnonzero(separations_deg(ra, dec, *middle) <= reach * 1.02 + 1e-6 + radius * grown)
    else:  # a picture of so much sky that its edge is none
        near = np.arange(len(placed))
    x, y = placement.pixel(ra[near], dec[near])
    for i, px, py in zip(near, x, y, strict=True):
        yield placed[int(i)], float(px), float(py)


def _centre(thing: Located) -> tuple[float, float]:
    """The middle of an object's outline. Raises ValueError for one without a place."""
    if thing.outline_centre_deg is not None:
        return thing.outline_centre_deg
    if thing.ra_deg is None or thing.dec_deg is None:
        raise ValueError("an object without a place has no outline")
    return thing.ra_deg, thing.dec_deg


def outline(thing: Located, points: int = 72) -> tuple[Floats, Floats]:
    """RA and Dec around an object's ellipse, closed by repeating the first; its own place if it has no size."""
    ra0_deg, dec0_deg = _centre(thing)
    if not thing.size_arcmin:
        return np.array([ra0_deg]), np.array([dec0_deg])
    major, minor = (math.radians(s / 120) for s in thing.size_arcmin)
    angle = math.radians(thing.position_angle_deg or 0.0)
    t = np.linspace(0, 2 * np.pi, points + 1)
    far, wide = major * np.cos(t), minor * np.sin(t)
    north, east = far * math.cos(angle) - wide * math.sin(angle), far * math.sin(angle) + wide * math.cos(angle)
    distance, bearing = np.hypot(north, east), np.arctan2(east, north)
    dec0 = math.radians(dec0_deg)
    dec = np.arcsin(
        np.clip(math.sin(dec0) * np.cos(distance) + math.cos(dec0) * np.sin(distance) * np.cos(bearing), -1, 1)
    )
    turn = np.arctan2(
        np.sin(bearing) * np.sin(distance) * math.cos(dec0), np.cos(distance) - math.sin(dec0) * np.sin(dec)
    )
    return (ra0_deg + np.degrees(turn)) % 360, np.degrees(dec)


def _touches(placement: Placement, thing: Located, x: float, y: float) -> bool:
    if bool(placement.contains(x, y)):
        return True
    if not thing.outline or not thing.size_arcmin:
        return False
    if bool(placement.contains(*placement.pixel(*outline(thing))).any()):
        return True
    # An object larger than the picture may have its whole outline outside: is the picture within it?
    ra, dec = _edge(placement)
    ra0_deg, dec0_deg = _centre(thing)
    ra0, dec0 = math.radians(ra0_deg), math.radians(dec0_deg)
    distance = np.radians(separations_deg(ra, dec, ra0_deg, dec0_deg))
    a, d = np.radians(ra) - ra0, np.radians(dec)
    bearing = np.arctan2(np.sin(a) * np.cos(d), math.cos(dec0) * np.sin(d) - math.sin(dec0) * np.cos(d) * np.cos(a))
    bearing = bearing - math.radians(thing.position_angle_deg or 0.0)
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

    wcs, frame = wcs_of(p.header, p.tables)
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
    with quiet_header():
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
    theirs = to_icrs(frame, np.asarray(lon), np.asarray(lat))
    off = separations_deg(*ours, *theirs) * 3600 / shown.image_scale_arcsec_px
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


# ------------------------------------------------------------------- from what headers and AVM say


def _placed(
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
        projection: Gnomonic | Headed
        if plain is not None:
            projection = plain
        else:
            tables = any(t is not None for t in (wcs.cpdis1, wcs.cpdis2, wcs.det2im1, wcs.det2im2))
            text = kept_tables(wcs) if tables else kept_cards(cards)
            projection = Headed(text, tables, scale_x, offset_x, scale_y, offset_y)
    made_for = (wide, high) if (wide, high) != (width_px, height_px) else None
    placement = Placement(width_px, height_px, source, projection, made_for)
    try:
        if not isinstance(projection, Gnomonic):
            placement.sky([0.0, width_px / 2], [0.0, height_px / 2])
    except Exception as error:
        raise unreadable(said_by(error)) from None
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


def _mentions_avm(path: Path) -> bool:
    """Whether a file holds AVM's namespace at all: most pictures do not, and need no reader brought in."""
    try:
        with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as whole:
            return whole.find(b"communicatingastronomy.org/avm") >= 0
    except (OSError, ValueError):  # an empty file cannot be mapped
        return False


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


# --------------------------------------------------------------------------------------------- geometry


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

"""Which objects lie in a placed picture, by their centre or by their outline."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from typing import Protocol, TypeVar

import numpy as np

from noctuary.geometry import separations_deg
from noctuary.sky.placement import Placement
from noctuary.sky.projection import (
    Floats,
)


class HasPosition(Protocol):
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
T = TypeVar("T", bound=HasPosition)


def in_field(placement: Placement, objects: Iterable[T]) -> list[tuple[T, float, float]]:
    """The objects whose centre is in the picture, with its pixel, in the order given."""
    return [entry for entry in _around(placement, objects, 0.0) if placement.contains(entry[1], entry[2])]


def touching(placement: Placement, objects: Iterable[T]) -> list[tuple[T, float, float]]:
    """The objects whose centre or outline (an ellipse) is in the picture, with the pixel of the centre.

    That pixel may lie outside; it is nan for an object so large that its centre is behind the projection.
    """
    return [entry for entry in _around(placement, objects, 1.0) if _touches(placement, *entry)]


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


def _centre(thing: HasPosition) -> tuple[float, float]:
    """The middle of an object's outline. Raises ValueError for one without a place."""
    if thing.outline_centre_deg is not None:
        return thing.outline_centre_deg
    if thing.ra_deg is None or thing.dec_deg is None:
        raise ValueError("an object without a place has no outline")
    return thing.ra_deg, thing.dec_deg


def outline(thing: HasPosition, points: int = 72) -> tuple[Floats, Floats]:
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


def _touches(placement: Placement, thing: HasPosition, x: float, y: float) -> bool:
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


def _edge(placement: Placement, n: int = 16) -> tuple[Floats, Floats]:
    """Positions all around the picture's edge, and its middle."""
    right, bottom = placement.width_px - 0.5, placement.height_px - 0.5
    t = np.linspace(0, 1, n, endpoint=False)
    along, down = -0.5 + t * (right + 0.5), -0.5 + t * (bottom + 0.5)
    (cx, cy), side = placement.middle_px, np.full(n, 1.0)
    x = np.concatenate([along, side * right, along[::-1], side * -0.5, [cx, right, -0.5]])
    y = np.concatenate([side * -0.5, down, side * bottom, down[::-1], [cy, bottom, bottom]])
    return placement.sky(x, y)

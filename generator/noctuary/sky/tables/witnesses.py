"""Reads the published catalogues of nebulae, clusters and groups as general astronomy packages carry them.

Two packages give nearly every entry independently of each other, so each is the other's witness:
the binary and the text catalogue of :mod:`noctuary.sky.tables.catalogue_files`.

A third, named_objects.json of galpy (1.12.1 on PyPI), gives the globular clusters after Vasiliev & Baumgardt
(2021, MNRAS 505, 5978). Only facts are taken: designations, places, sizes, angles, magnitudes and kinds.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import degrees
from pathlib import Path

from noctuary.sky.tables.catalogue_files import lines, records


@dataclass(frozen=True)
class Entry:
    """What one package says of one object: degrees (ICRS) and arcminutes; None where it says nothing."""

    designations: tuple[str, ...]
    ra_deg: float
    dec_deg: float
    major_arcmin: float | None
    minor_arcmin: float | None
    angle_deg: float | None
    magnitude: float | None
    kind: str | None


def written(catalogue: str, number: str) -> str:
    """A designation as the shipped tables write it: no leading zeros, no space after "Sh2-" and "PN G"."""
    plain = re.sub(r"(?<![\d.])0+(?=\d)", "", number)
    return catalogue + plain if catalogue in ("Sh2-", "PN G", "SNR G") else f"{catalogue} {plain}"


def as_catalogued(entry: Entry) -> Entry:
    """The entry, no planetary nebula unless a catalogue of them has it (LBN 1108, at Antares, is called one)."""
    listed = any(name.startswith(("PK ", "PN G", "Abell ", "NGC ", "IC ")) for name in entry.designations)
    return replace(entry, kind=None) if entry.kind == "planetary nebula" and not listed else entry


# ------------------------------------------------------------------------------------ binary records

_RECORD_KINDS = {
    0: "galaxy", 1: "galaxy", 2: "galaxy", 3: "galaxy", 5: "open cluster", 6: "open cluster",
    7: "globular cluster", 8: "association of stars", 10: "nebula", 11: "planetary nebula", 12: "dark nebula",
    13: "reflection nebula", 14: "nebula", 15: "emission nebula", 16: "open cluster with nebula",
    17: "emission nebula", 18: "supernova remnant", 19: "nebula", 23: "molecular cloud", 27: "planetary nebula",
    33: "cluster of galaxies", 35: "star cloud",
}  # fmt: skip


def read_records(path: Path) -> Iterator[Entry]:
    """Entries of the binary catalogue. Raises struct.error if it ends inside a record."""
    for record in records(path):
        major, minor, angle = record.major, record.minor, record.angle
        magnitude = next((round(m, 2) for m in (record.visual, record.blue) if m < 90.0), None)
        yield Entry(
            tuple(written(catalogue, n) for catalogue, n in record.numbers if re.fullmatch(r"[\w.+-]+", n)),
            degrees(record.ra) % 360.0,
            degrees(record.dec),
            round(major, 2) or None,
            round(minor, 2) or round(major, 2) or None,
            float(angle) if angle and 0 < minor < major else None,
            magnitude,
            _RECORD_KINDS.get(record.kind),
        )


# ---------------------------------------------------------------------------------------- text lines

_LINE_CATALOGUES = {"Berk": "Be", "ARP": "Arp", "Czernik": "Cz", "Terzan": "Ter", "Harvard": "H", "vdB-Ha": "vdBHa",
                    "Be": "Bernes", "Biur": "Biurakan"}  # fmt: skip
_LINE_KINDS = {"OC": "open cluster", "CL+NB": "open cluster with nebula", "GC": "globular cluster",
               "PN": "planetary nebula", "DN": "dark nebula", "DN&HII": "dark nebula", "HII": "emission nebula",
               "SNR": "supernova remnant", "GALCL": "group of galaxies", "GX": "galaxy"}  # fmt: skip
_BRIGHT_KINDS = (("[E+R", "emission and reflection nebula"), ("[EN+RN", "emission and reflection nebula"),
                 ("[SNR", "supernova remnant"), ("SNREM", "supernova remnant"), ("[HII", "emission nebula"),
                 ("[E", "emission nebula"), ("[R", "reflection nebula"))  # fmt: skip


def _line_designation(name: str, kind: str) -> str | None:
    if name.startswith("PN_A66_"):
        return written("Abell", name[7:])
    if name.startswith("Sh2-"):
        return name
    for start, catalogue in (("PNG", "PN G"), ("PK_", "PK")):
        if name.startswith(start) and name[len(start) :][:1].isdigit():
            return written(catalogue, name[len(start) :])
    match = re.fullmatch(r"([A-Za-z]+(?:-Ha)?)[_-]?(\d.*)", name.removeprefix("PN_"))
    if match is None:
        return None
    catalogue = _LINE_CATALOGUES.get(match[1], match[1])
    if catalogue == "Abell" and kind == "GALCL":
        catalogue = "ACO"
    return written(catalogue, match[2])


def _tenths(text: str) -> float | None:
    return float(text) / 10.0 if text.strip().isdigit() and int(text) else None


def read_lines(path: Path) -> Iterator[Entry]:
    """Entries of the text catalogue: places in tenths of a second of time and of arc, sizes in tenths of a minute."""
    for fields in lines(path):
        code = re.split(r"[/\[;]", fields[4])[0]
        kind = _LINE_KINDS.get(code)
        if code in ("BN", "NB", "RN"):
            kind = next((named for mark, named in _BRIGHT_KINDS if mark in fields[4]), "nebula")
        sizes = [*fields[6:9], "", "", ""]
        # A length below a tenth of a minute is split by its decimal comma ("0,6"); it is not taken.
        major = None if sizes[0] == "0" else _tenths(sizes[0])
        minor = None if major is None else _tenths(sizes[1]) or major
        if major is not None and minor is not None and minor > major:
            major, minor = minor, major
            sizes[2] = ""
        names = [_line_designation(name.strip(), code) for name in fields[3].split("/")]
        magnitude = int(fields[2]) / 10.0 if fields[2].isdigit() and int(fields[2]) < 799 else None
        yield Entry(
            tuple(name for name in names if name and re.fullmatch(r"[\w.+ -]+", name)),
            float(fields[0]) / 2400.0 % 360.0,
            float(fields[1]) / 3600.0,
            major,
            minor,
            float(sizes[2]) if sizes[2].isdigit() and major != minor else None,
            magnitude,
            kind,
        )


# --------------------------------------------------------------------------------- globular clusters

_GLOBULARS = (("Pal", "Pal"), ("Terzan", "Ter"), ("Djorg", "Djorg"), ("BH", "vdBHa"), ("FSR", "FSR"), ("Rup", "Ru"),
              ("Arp", "Arp GC"))  # fmt: skip


def read_globulars(path: Path) -> dict[str, tuple[float, float]]:
    """Places in degrees (ICRS) of globular clusters, by designation."""
    places = {}
    for name, row in json.loads(path.read_text(encoding="utf-8")).items():
        for start, catalogue in _GLOBULARS:
            match = re.fullmatch(rf"{start}(\d+)", name)
            if match and "ra" in row:
                places[written(catalogue, match[1])] = (float(row["ra"]), float(row["dec"]))
    return places

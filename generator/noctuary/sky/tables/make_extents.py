"""Write extents.csv: how large the extended objects are, where two sources that do not copy each other agree.

Run: python -m noctuary.sky.tables.make_extents REVISED SAC PGC CONTOURS DRAWINGS, with the files that
extent_sources.py describes.

Two sizes agree where the larger is at most ``AGREEMENT`` times the smaller. The Revised NGC and pyongc are no
witnesses for each other where the object is a nebula: both go back to one list.
"""

from __future__ import annotations

import argparse
import csv
import math
import re
from collections.abc import Iterator, Mapping
from pathlib import Path

from noctuary.sky.tables.extent_decisions import DECISIONS, HELD, Decision
from noctuary.sky.tables.extent_sources import Extent, Witnesses, witnesses

HERE = Path(__file__).parent
AGREEMENT = 1.4
#: Sizes further apart than that, up to here, stand for one size between them (their geometric mean).
BETWEEN = 1.67
#: Galaxies smaller than this are drawn too small for a difference to be seen.
LEAST_GALAXY_ARCMIN = 4.0
CLUSTERS = ("OCl", "GCl", "*Ass", "Cl+N")
CONTOUR = ("contour", "drawing")
NEBULAE = ("HII", "EmN", "Neb", "RfN", "SNR", "DrkN", "PN")

COLUMNS = ("name", "ra_deg", "dec_deg", "major_arcmin", "minor_arcmin", "position_angle_deg", "magnitude", "drawn",
           "moved", "source", "witness")  # fmt: skip
HEAD = """\
# How large extended objects are and where their middle lies (ICRS degrees, arcminutes; the angle of the major axis
# from north through east). An empty middle is the object's place, an empty magnitude the database's; magnitude -
# says that it has none. moved: the object's place is the middle too. drawn: yes where two sources agree; no where
# they do not, where a slim object has no angle, and where it is a part of another that is drawn. Sources. revised:
# Revised NGC and IC (Steinicke), with Sharpless 1959 and Lynds 1962 and 1965, as compiled in stellarium-data 0.22.2.
# sac: Saguaro Astronomy Club database 8.1, with HyperLEDA and Sharpless 1959, as compiled in deep_sky.hnd of
# 2024-05-06. pgc: Catalogue of Principal Galaxies (Paturel and others 1989). leda: HyperLEDA as in pyongc; openngc:
# what else pyongc holds. contour 1, 2, 3: contours drawn on photographs for OpenNGC, the faintest light first;
# drawing: likewise, in stellarium-data. A contour gives the ratio of the axes, the angle and the middle.
# Made by make_extents.py; extent_decisions.py holds what was decided by eye.
"""


def apart(a: float, b: float) -> float:
    """How many times the larger is the smaller; infinite where one is not known."""
    return max(a, b) / min(a, b) if a > 0 and b > 0 else math.inf


def by_rule(name: str, kind: str, extents: Mapping[str, Extent]) -> dict[str, str] | None:
    """The row of an object that nobody had to decide; None where the database may stand as it is."""
    nothing = Extent(0, 0, 0, 0, None)
    own = extents.get("leda") or extents["openngc"]
    if "leda" in extents:
        return galaxy_by_rule(name, *(extents.get(source, nothing) for source in ("leda", "sac", "revised", "pgc")))
    pairs = [("sac", "revised"), ("sac", "openngc")]
    if kind in CLUSTERS:
        pairs = [("revised", "sac"), ("sac", "openngc"), ("revised", "openngc")]
    if kind == "GCl":
        # Of globular clusters the other two have half of what SAC has, and of pictures.
        pairs = [("sac", "revised"), ("sac", "openngc"), ("revised", "openngc")]
    if kind == "PN":
        pairs = [("openngc", "sac"), ("openngc", "revised"), ("sac", "revised")]
    contours = [extent.major for source, extent in extents.items() if source.startswith(CONTOUR)]
    for source, witness in pairs:
        one, two = extents.get(source, nothing), extents.get(witness, nothing)
        if apart(one.major, two.major) > (BETWEEN if kind == "GCl" else AGREEMENT):
            continue
        within = not contours or min(contours) / AGREEMENT <= one.major <= max(contours) * AGREEMENT
        if kind in (*NEBULAE, "Cl+N") and not within:
            continue
        if kind in ("OCl", "GCl", "Cl+N"):
            one = one._replace(minor=one.major, angle=None)
        elif one.angle is None:
            one = one._replace(angle=next((e.angle for e in (own, two) if e.angle is not None), None))
        return row(name, one, source, witness, like=own)
    if kind in CLUSTERS and own.major:
        # Lists measure a cluster's core or its last stars; the middle one of three is what is seen.
        for witness in ("revised", "openngc"):
            one, two = extents.get("sac", nothing), extents.get(witness, nothing)
            if apart(one.major, two.major) <= BETWEEN:
                return row(name, one._replace(minor=one.major), "sac", witness, like=own)
    if own.major == 0:
        return None
    alone = not any(extent.major for source, extent in extents.items() if source != "openngc")
    return row(name, own, "openngc", "", like=own) | {"drawn": "no"} if alone else row(name, None, "", "")


def galaxy_by_rule(name: str, own: Extent, other: Extent, third: Extent, older: Extent) -> dict[str, str] | None:
    """HyperLEDA is used where one other source agrees with it; where not, two others that agree replace it."""
    if max(own.major, other.major, third.major) < LEAST_GALAXY_ARCMIN or own.major == 0:
        return None
    if min(apart(own.major, other.major), apart(own.major, third.major)) <= AGREEMENT:
        return None
    for one, source, two, witness in (
        (other, "sac", older, "pgc"),
        (other, "sac", third, "revised"),
        (third, "revised", older, "pgc"),
    ):
        if apart(one.major, two.major) <= AGREEMENT:
            angle = next((e.angle for e in (older, other, own) if e.angle is not None), None)
            return row(name, one._replace(angle=angle), source, witness, like=own)
    return row(name, None, "", "") if other.major or third.major else None


def by_decision(name: str, decision: Decision, extents: Witnesses) -> dict[str, str]:
    """The row of an object that was looked at. Raises ValueError where its two sources do not agree after all."""
    about, _, source = decision.size.rpartition(":")
    one = extents[about or name][source]
    about, _, witness = decision.witness.rpartition(":")
    two = extents[about or name][witness] if witness else one
    times = apart(one.major, two.major)
    if times > (BETWEEN if decision.between or decision.loose else AGREEMENT):
        raise ValueError(f"{name}: {source} {one.major:.4g}′, {witness} {two.major:.4g}′")
    major = math.sqrt(one.major * two.major) if decision.between else one.major
    shape = two if witness.startswith(CONTOUR) and not source.startswith(CONTOUR) and not decision.round else one
    extent = shape._replace(major=major, minor=major * shape.minor / shape.major)
    if decision.round:
        extent = extent._replace(minor=major, angle=None)
    if decision.middle:
        about, _, third = decision.middle.rpartition(":")
        extent = extent._replace(ra=extents[about or name][third].ra, dec=extents[about or name][third].dec)
    if decision.angle is not None:
        extent = extent._replace(angle=decision.angle)
    written = row(name, extent, source, witness)
    return {**written, "magnitude": decision.magnitude, "drawn": "no" if decision.part else "yes",
            "moved": "yes" if decision.moved else ""}  # fmt: skip


def row(name: str, extent: Extent | None, source: str, witness: str, like: Extent | None = None) -> dict[str, str]:
    """A row of the table; without an extent one that says that no size can be trusted.

    The middle is left to the database where ``like`` has it within a twentieth of the size.
    """
    if extent is None:
        return dict.fromkeys(COLUMNS, "") | {"name": name, "drawn": "no", "source": "the sources disagree"}
    here = like is not None and _away(extent, like) <= extent.major / 20
    slim = extent.minor < 0.7 * extent.major
    return {
        "name": name,
        "ra_deg": "" if here else f"{extent.ra:.3f}",
        "dec_deg": "" if here else f"{extent.dec:.3f}",
        "major_arcmin": f"{extent.major:.3g}",
        "minor_arcmin": f"{extent.minor:.3g}",
        "position_angle_deg": f"{extent.angle:.0f}"
        if extent.angle is not None and extent.minor < extent.major
        else "",
        "magnitude": "",
        # A slim ellipse whose direction nobody says would be drawn across the object.
        "drawn": "no" if slim and extent.angle is None else "yes",
        "moved": "",
        "source": source,
        "witness": witness,
    }


def _away(a: Extent, b: Extent) -> float:
    """Distance of two centres in arcminutes, for small distances."""
    across = ((a.ra - b.ra + 180) % 360 - 180) * math.cos(math.radians(a.dec))
    return math.hypot(across, a.dec - b.dec) * 60


def magnitude(kind: str, extents: Mapping[str, Extent]) -> str:
    """A globular's magnitude where both other sources agree on one that the database misses by half or more."""
    own = extents["openngc"].magnitude
    two, three = (extents[s].magnitude if s in extents else None for s in ("sac", "revised"))
    if kind != "GCl" or own is None or two is None or three is None:
        return ""
    return f"{two:g}" if abs(two - three) <= 0.2 and abs(own - two) >= 0.5 else ""


def rows(extents: Witnesses, kinds: Mapping[str, str]) -> Iterator[dict[str, str]]:
    for name in sorted({*kinds, *DECISIONS, *HELD}, key=_order):
        if name in DECISIONS:
            yield by_decision(name, DECISIONS[name], extents)
        elif name in HELD:
            yield row(name, None, "", "") | {"source": HELD[name]}
        elif kinds[name] in (*CLUSTERS, *NEBULAE) or "leda" in extents[name]:
            made = by_rule(name, kinds[name], extents[name])
            if made is not None:
                yield made | ({} if "leda" in extents[name] else {"magnitude": magnitude(kinds[name], extents[name])})


def _order(name: str) -> tuple[str, int, str]:
    match = re.fullmatch(r"(\D*?)(\d+)(.*)", name)
    return (match[1], int(match[2]), match[3]) if match else (name, 0, "")


def main(
    revised_path: Path, sac_path: Path, pgc_path: Path, contours_path: Path, drawings_path: Path, folder: Path = HERE
) -> None:
    """Write extents.csv into a folder."""
    extents, kinds = witnesses(revised_path, sac_path, pgc_path, contours_path, drawings_path)
    with (folder / "extents.csv").open("w", encoding="utf-8", newline="") as file:
        file.write(HEAD)
        writer = csv.DictWriter(file, COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows(extents, kinds))


if __name__ == "__main__":
    asked = argparse.ArgumentParser(description="Write extents.csv from files of general sky data.")
    for name_ in ("revised", "sac", "pgc", "contours", "drawings"):
        asked.add_argument(name_, type=Path)
    given = asked.parse_args()
    main(given.revised, given.sac, given.pgc, given.contours, given.drawings)

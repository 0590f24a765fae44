"""What the shipped tables hold: objects outside NGC and IC, named stars, bodies of the solar system."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

from noctuary.sexagesimal import of_parts
from noctuary.sky.constellation import constellation_rows
from noctuary.sky.shipped_table import read_table
from noctuary.sky.sky_object import FOLLOWED, SkyObject, axes, object_at, unplaced_object


def listed(text: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in text.split(";") if part.strip())


def number_or_none(text: str) -> float | None:
    return float(text) if text.strip() else None


MOVING = tuple((name, name if name in ("Sun", "Moon") else "planet") for name in FOLLOWED)


def unplaced() -> Iterator[SkyObject]:
    """What every archive may show and has no fixed place: bodies of the solar system, the Milky Way."""
    for name, kind in MOVING:
        yield unplaced_object(name, kind, moves=True)
    for row in read_table("minor_planets.csv"):
        numbered = f"({row['number']}) {row['name'].removeprefix(row['number'] + ' ')}"
        yield unplaced_object(row["name"], row["kind"], also=[numbered], moves=True)
    yield unplaced_object("Milky Way", "galaxy seen from within")


@lru_cache(maxsize=1)
def shipped_objects() -> tuple[SkyObject, ...]:
    """The objects of the shipped table: what is photographed and is in neither NGC nor IC."""
    objects = []
    for row in read_table("objects.csv"):
        if not row["ra"]:
            objects.append(unplaced_object(row["name"], row["kind"], row["common_name"], listed(row["also"])))
            continue
        ra, ra_decimals = of_parts(row["ra"])
        objects.append(
            object_at(
                row["name"],
                row["kind"],
                (ra * 15.0, ra_decimals),
                of_parts(row["dec"]),
                magnitude=number_or_none(row["magnitude"]),
                size=axes(number_or_none(row["major_arcmin"]), number_or_none(row["minor_arcmin"])),
                angle=number_or_none(row["angle_deg"]),
                outline=True,
                common_name=row["common_name"] or None,
                also=listed(row["also"]),
                note=row["note"],
            )
        )
    return tuple(objects)


@lru_cache(maxsize=1)
def named_stars() -> tuple[SkyObject, ...]:
    stars = []
    for row in read_table("named_stars.csv"):
        also = [row["bayer"], f"HIP {row['hip']}", *listed(row["also"])]
        stars.append(
            object_at(
                row["name"],
                "star",
                (float(row["ra_deg"]), 2),
                (float(row["dec_deg"]), 1),
                magnitude=float(row["magnitude"]),
                also=[name for name in also if name],
            )
        )
    return tuple(stars)


def spelt_out(star: SkyObject) -> Iterator[str]:
    """Greek letter designations with the genitive: "α Ori" → "α Orionis"."""
    genitive = {row["abbr"]: row["genitive"] for row in constellation_rows()}
    for name in star.also:
        letter, _, abbr = name.partition(" ")
        if abbr in genitive:
            yield f"{letter} {genitive[abbr]}"

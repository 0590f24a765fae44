"""Pixels and pixel size of known cameras, for those who write no more than a camera's name."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from functools import cache
from importlib import resources
from typing import NamedTuple


class Sensor(NamedTuple):
    """Columns and rows of a full picture, and the size of a pixel in µm."""

    pixels: tuple[int, int]
    pixel_size_um: float


def sensor_of(name: str) -> Sensor | None:
    """The sensor of a camera, by its name whatever its case and separators; ``None`` where the table lacks it.

    The table is tables/sensors.csv, each row with its sources.
    """
    return _table().get(_key(name))


@cache
def _table() -> Mapping[str, Sensor]:
    text = resources.files("noctuary.archive.tables").joinpath("sensors.csv").read_text(encoding="utf-8")
    found: dict[str, Sensor] = {}
    for row in csv.DictReader(text.splitlines()):
        sensor = Sensor((int(row["width_px"]), int(row["height_px"])), float(row["pixel_size_um"]))
        for name in (row["name"], *row["also"].split("|")):
            if name:
                found[_key(name)] = sensor
    # Many leave the maker out ("EOS 6D"); what is left must still be more than a number.
    for key, sensor in list(found.items()):
        for maker in ("canon", "nikon", "olympus", "pentax", "sony", "fujifilm"):
            bare = key.removeprefix(maker)
            if bare != key and len(bare) >= 4:
                found.setdefault(bare, sensor)
    return found


def _key(name: str) -> str:
    return "".join(c for c in name.casefold() if c.isalnum())

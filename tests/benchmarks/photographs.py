"""Real photographs whose corners on the sky are published: those of Debian's package stellarium-data.

``nebulae/default/textures.json`` gives each picture's corners; the pictures are by many hands, reduced to 128–1024
pixels, some of them with the background or the stars taken away. Sorted by name, those at odd positions were used
to develop the search; the others are kept for a judgement by somebody else.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from noctuary.geometry import lon_lat_deg, unit_vectors
from PIL import Image


@dataclass(frozen=True)
class Photograph:
    """A picture and the middle, scale and side that its corners give (degrees, ″/px, degrees)."""

    file: Path
    pixels: Any
    ra: float
    dec: float
    scale: float
    side: float


def photographs(folder: Path, narrowest_deg: float = 0.45) -> Iterator[Photograph]:
    """Those at odd positions that are no narrower than so much a side."""
    corners = {}
    for tile in _tiles((folder / "textures.json").read_text(encoding="utf-8")):
        if len(tile.get("worldCoords", [])) == 1 and (folder / tile["imageUrl"]).is_file():
            corners[tile["imageUrl"]] = np.array(tile["worldCoords"][0], dtype=float)
    for name in sorted(corners)[::2]:
        on_sky = unit_vectors(corners[name][:, 0], corners[name][:, 1])
        sides = np.degrees([np.linalg.norm(on_sky[n] - on_sky[(n + 1) % 4]) for n in range(4)])
        # One picture (barnard_loop-4) has a corner mistyped: sides of 8.6°, 8.6°, 14.3° and 10.3°.
        if sides.mean() < narrowest_deg or sides.max() > 1.2 * sides.min():
            continue
        with Image.open(folder / name) as picture:
            pixels = np.asarray(picture.convert("RGB"))
        middle = on_sky.mean(axis=0) / np.linalg.norm(on_sky.mean(axis=0))
        ra, dec = lon_lat_deg(middle.tolist())
        across = np.sqrt(sides[:2].prod() / (pixels.shape[0] * pixels.shape[1]))
        yield Photograph(folder / name, pixels, ra, dec, float(across) * 3600, float(sides.mean()))


def _tiles(text: str) -> list[dict[str, Any]]:
    """The file is almost JSON: it has numbers without a zero before the point, plus signs and commas too many."""
    text = re.sub(r"(?<=[\[,\s])(-?)\.(\d)", r"\g<1>0.\2", text)
    text = re.sub(r"(?<=[\[,\s:])\+(\d)", r"\1", re.sub(r",(\s*[\]}])", r"\1", text))
    return list(json.loads(text)["subTiles"])

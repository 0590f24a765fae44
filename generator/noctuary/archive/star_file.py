"""The star shapes of a picture as they are kept beside its sidecar: ``pictures/NAME.stars.json``.

Measuring a picture takes as long as making all its sizes, or longer. So a build does not do it: a person has it done
once, the numbers become a part of the archive like a placement, and a page that shows them costs nothing. The file
says from which bytes of the picture it comes, so that a picture exported anew does not keep another one's stars.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from noctuary.archive.folder import content_beside
from noctuary.diagnostic import Diagnostic, Mark, doubt
from noctuary.files import write_whole

PATTERNS = (
    "round", "same direction everywhere", "radial in the corners", "along arcs", "one side", "wider to the corners",
    "wider in the middle", "wide all round", "mixed",
)  # fmt: skip
"""What nine zones can say together. Too few stars say nothing, and are not kept."""


@dataclass(frozen=True, slots=True)
class StarZone:
    """A ninth of a picture: full width at half maximum in pixels, elongation 1 and up, direction of the longer axis.

    The widths are those of the finished picture, whose stretch changed them: they are no star width of a session.
    ``direction_deg`` counts anticlockwise from the picture's right, 0 ≤ direction < 180. Each ``…_scatter`` is from
    star to star. All of them are ``None`` where there were too few stars.
    """

    count: int
    width_px: float | None
    width_scatter_px: float | None
    elongation: float | None
    elongation_scatter: float | None
    direction_deg: float | None


@dataclass(frozen=True, slots=True)
class StarShapes:
    """Nine zones, row by row from the top left, their pattern, and the SHA-256 of the picture's file."""

    picture_sha256: str
    pattern: str
    zones: tuple[StarZone, ...]


def star_file(sidecar: str) -> str:
    """The name of a picture's file of star shapes, relative to the archive like the sidecar's."""
    return PurePosixPath(sidecar).with_suffix(".stars.json").as_posix()


def write_star_file(folder: Path, sidecar: str, shapes: StarShapes) -> str:
    """Keeps star shapes in one step, rounded to what they are good for; returns the file's name. Raises OSError."""
    name = star_file(sidecar)
    plain = {
        "picture_sha256": shapes.picture_sha256,
        "pattern": shapes.pattern,
        "zones": [
            {key: round(value, 3) if isinstance(value, float) else value for key, value in asdict(zone).items()}
            for zone in shapes.zones
        ],
    }
    text = json.dumps(plain, indent=1).replace("\n   ", " ").replace("\n  }", " }") + "\n"
    write_whole(folder / name, text.encode("utf-8"), flush=True)
    return name


def read_star_file(folder: Path, sidecar: str) -> StarShapes | Diagnostic | None:
    """The star shapes kept for a picture, ``None`` where there are none, a doubt where the file is damaged."""
    name = star_file(sidecar)
    data = content_beside(folder, name)
    if data is None or isinstance(data, Diagnostic):
        return data
    try:
        return _shapes(json.loads(data))
    except (ValueError, TypeError, KeyError, RecursionError):
        return doubt(
            Mark(name), "star-file", "this is no file of star shapes as they are kept", "delete it, or measure anew"
        )


def _shapes(plain: Any) -> StarShapes:
    zones = tuple(map(_zone, plain["zones"]))
    if plain["pattern"] not in PATTERNS or len(zones) != 9 or not isinstance(plain["picture_sha256"], str):
        raise ValueError("not nine zones with a pattern")
    return StarShapes(plain["picture_sha256"], plain["pattern"], zones)


def _zone(plain: Mapping[str, Any]) -> StarZone:
    count = plain["count"]
    if not isinstance(count, int) or isinstance(count, bool) or count < 0:
        raise ValueError("not a count")
    return StarZone(
        count=count,
        width_px=_within(plain["width_px"], 0.1, 1000.0),
        width_scatter_px=_within(plain["width_scatter_px"], 0.0, 1000.0),
        elongation=_within(plain["elongation"], 1.0, 100.0),
        elongation_scatter=_within(plain["elongation_scatter"], 0.0, 100.0),
        direction_deg=_within(plain["direction_deg"], 0.0, 180.0),
    )


def _within(value: Any, least: float, most: float) -> float | None:
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError("not a number")
    if not least <= value <= most:
        raise ValueError("out of range")
    return float(value)

"""What a picture shows beside others of the same sky, as it is kept beside its sidecar: ``pictures/NAME.reach.json``.

It takes seconds to measure, so a build does not do it: a person has it done once, for a pair of pictures, and the
numbers become a part of the archive. The file says from which bytes of both pictures they come.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from noctuary.archive.folder import content_beside
from noctuary.diagnostic import Diagnostic, Mark, doubt
from noctuary.files import write_whole


@dataclass(frozen=True, slots=True)
class KeptReach:
    """A picture beside another, ``against``, on the sky that both share.

    ``deeper_mag`` is by how much its limiting magnitude is deeper (below 0: less deep); nine of ten such
    differences lie within ``uncertainty_mag``. Stars found and FWHM in arcseconds are of the picture and of the
    other. The digests are SHA-256 of both files.
    """

    against: str
    deeper_mag: float
    uncertainty_mag: float
    stars: int
    stars_against: int
    common: int
    fwhm_arcsec: float
    fwhm_against_arcsec: float
    picture_sha256: str
    against_sha256: str


def reach_file(sidecar: str) -> str:
    """The name of a picture's file of comparisons, relative to the archive like the sidecar's."""
    return PurePosixPath(sidecar).with_suffix(".reach.json").as_posix()


def write_reach_file(folder: Path, sidecar: str, kept: Iterable[KeptReach]) -> str:
    """Keep comparisons in one step, rounded to what they are good for; returns the file's name. Raises OSError."""
    name = reach_file(sidecar)
    plain = [
        {key: round(value, 3) if isinstance(value, float) else value for key, value in asdict(one).items()}
        for one in kept
    ]
    write_whole(folder / name, (json.dumps(plain, indent=1) + "\n").encode("utf-8"), flush=True)
    return name


def read_reach_file(folder: Path, sidecar: str) -> tuple[KeptReach, ...] | Diagnostic:
    """The comparisons kept for a picture, none where there is no file, a doubt where it is damaged."""
    name = reach_file(sidecar)
    data = content_beside(folder, name)
    if data is None:
        return ()
    if isinstance(data, Diagnostic):
        return data
    try:
        plain = json.loads(data)
        if not isinstance(plain, list):
            raise ValueError("not a list")
        return tuple(map(_reach, plain))
    except (ValueError, TypeError, KeyError, RecursionError):
        return doubt(
            Mark(name), "reach-file", "this is no file of comparisons as they are kept", "delete it, or measure anew"
        )


def _reach(plain: Mapping[str, Any]) -> KeptReach:
    texts = [plain[key] for key in ("against", "picture_sha256", "against_sha256")]
    if not all(isinstance(text, str) for text in texts):
        raise ValueError("not a text")
    return KeptReach(
        against=texts[0],
        deeper_mag=_within(plain["deeper_mag"], -20.0, 20.0),
        uncertainty_mag=_within(plain["uncertainty_mag"], 0.0, 20.0),
        stars=_count(plain["stars"]),
        stars_against=_count(plain["stars_against"]),
        common=_count(plain["common"]),
        fwhm_arcsec=_within(plain["fwhm_arcsec"], 0.01, 10_000.0),
        fwhm_against_arcsec=_within(plain["fwhm_against_arcsec"], 0.01, 10_000.0),
        picture_sha256=texts[1],
        against_sha256=texts[2],
    )


def _count(value: Any) -> int:
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value <= 10**9:
        raise ValueError("not a count")
    return value


def _within(value: Any, least: float, most: float) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError("not a number")
    if not least <= value <= most:
        raise ValueError("out of range")
    return float(value)

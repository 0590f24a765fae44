"""What a picture shows beside others of the same sky, as it is kept beside its sidecar: ``pictures/NAME.reach.json``.

It takes seconds to measure, so a build does not do it: a person has it done once, for a pair of pictures, and the
numbers become a part of the archive. The file says from which bytes of both pictures they come.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from noctuary.archive.kept_list import count, read_kept_list, text, within, write_kept_list
from noctuary.diagnostic import Diagnostic


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
    """Keep comparisons in one step; returns the file's name. Raises OSError."""
    return write_kept_list(folder, reach_file(sidecar), kept)


def read_reach_file(folder: Path, sidecar: str) -> tuple[KeptReach, ...] | Diagnostic:
    """The comparisons kept for a picture, none where there is no file, a doubt where it is damaged."""
    return read_kept_list(folder, reach_file(sidecar), "reach-file", "comparisons", _reach)


def _reach(plain: Mapping[str, Any]) -> KeptReach:
    return KeptReach(
        against=text(plain["against"]),
        deeper_mag=within(plain["deeper_mag"], -20.0, 20.0),
        uncertainty_mag=within(plain["uncertainty_mag"], 0.0, 20.0),
        stars=count(plain["stars"]),
        stars_against=count(plain["stars_against"]),
        common=count(plain["common"]),
        fwhm_arcsec=within(plain["fwhm_arcsec"], 0.01, 10_000.0),
        fwhm_against_arcsec=within(plain["fwhm_against_arcsec"], 0.01, 10_000.0),
        picture_sha256=text(plain["picture_sha256"]),
        against_sha256=text(plain["against_sha256"]),
    )

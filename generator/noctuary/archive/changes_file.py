"""What changed on the sky since another picture, as it is kept beside a sidecar: ``pictures/NAME.changes.json``.

A build looks for nothing: a person has two pictures compared once and keeps what was found. The file says from which
bytes of both pictures it comes.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from noctuary.archive.kept_list import count, flag, read_kept_list, text, within, write_kept_list
from noctuary.diagnostic import Diagnostic

FORMS = ("star", "sharp", "long")
"""How a candidate looks: like a star, sharper than one, or long."""


@dataclass(frozen=True, slots=True)
class KeptChange:
    """A candidate: degrees (ICRS), whether it is brighter in the picture itself (``brighter_here``) or in the other.

    ``missing``: the other shows nothing there. ``scatters``: by how many times the scatter of its like it is too
    faint there; ``chance``: false candidates so extreme to be expected of the comparison. ``fainter_mag``: by how
    much it is fainter there, at least so much where ``at_least``. ``brighter_share`` of the stars that stand by
    themselves are brighter, 0 to 1.
    ``magnitude`` is about that of the table of stars, ``catalogued_mag`` that of a star which the table has there,
    ``known`` the name of a catalogued object there.
    """

    ra_deg: float
    dec_deg: float
    brighter_here: bool
    missing: bool
    scatters: float
    chance: float
    fainter_mag: float
    fainter_error_mag: float
    at_least: bool
    brighter_share: float
    form: str
    magnitude: float | None
    magnitude_error: float | None
    catalogued_mag: float | None
    known: str | None


@dataclass(frozen=True, slots=True)
class KeptChanges:
    """A picture compared with another, ``against``: candidates, surest first, of ``tried`` places.

    ``found`` counts all candidates, of which the surest are kept; ``common`` stars are in both pictures. The digests
    are SHA-256 of both files.
    """

    against: str
    tried: int
    common: int
    found: int
    candidates: tuple[KeptChange, ...]
    picture_sha256: str
    against_sha256: str


def changes_file(sidecar: str) -> str:
    """The name of a picture's file of changes, relative to the archive like the sidecar's."""
    return PurePosixPath(sidecar).with_suffix(".changes.json").as_posix()


def write_changes_file(folder: Path, sidecar: str, kept: Iterable[KeptChanges]) -> str:
    """Keep what was found in one step; returns the file's name. Raises OSError."""
    return write_kept_list(folder, changes_file(sidecar), kept)


def read_changes_file(folder: Path, sidecar: str) -> tuple[KeptChanges, ...] | Diagnostic:
    """What is kept for a picture, nothing where there is no file, a doubt where it is damaged."""
    return read_kept_list(folder, changes_file(sidecar), "changes-file", "changes", _changes)


def _changes(plain: Mapping[str, Any]) -> KeptChanges:
    candidates = plain["candidates"]
    if not isinstance(candidates, list):
        raise ValueError("not a list")
    return KeptChanges(
        against=text(plain["against"]),
        tried=count(plain["tried"]),
        common=count(plain["common"]),
        found=count(plain["found"]),
        candidates=tuple(map(_change, candidates)),
        picture_sha256=text(plain["picture_sha256"]),
        against_sha256=text(plain["against_sha256"]),
    )


def _change(plain: Mapping[str, Any]) -> KeptChange:
    if plain["form"] not in FORMS:
        raise ValueError("no form of a candidate")
    return KeptChange(
        ra_deg=within(plain["ra_deg"], 0.0, 360.0),
        dec_deg=within(plain["dec_deg"], -90.0, 90.0),
        brighter_here=flag(plain["brighter_here"]),
        missing=flag(plain["missing"]),
        scatters=within(plain["scatters"], 0.0, 1e6),
        chance=within(plain["chance"], 0.0, 1e6),
        fainter_mag=within(plain["fainter_mag"], 0.0, 30.0),
        fainter_error_mag=within(plain["fainter_error_mag"], 0.0, 30.0),
        at_least=flag(plain["at_least"]),
        brighter_share=within(plain["brighter_share"], 0.0, 1.0),
        form=plain["form"],
        magnitude=_magnitude(plain["magnitude"]),
        magnitude_error=_magnitude(plain["magnitude_error"]),
        catalogued_mag=_magnitude(plain["catalogued_mag"]),
        known=None if plain["known"] is None else text(plain["known"]),
    )


def _magnitude(value: Any) -> float | None:
    return None if value is None else within(value, -30.0, 40.0)

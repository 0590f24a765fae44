"""``noctuary stars ARCHIVE ID --against ID2``: two pictures of one sky measured against each other, and kept."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path

from noctuary.archive.reach_file import KeptReach, read_reach_file, write_reach_file
from noctuary.diagnostic import Diagnostic
from noctuary.facts.picture import PictureFacts
from noctuary.facts.reach import incomparable
from noctuary.facts.target import deepening
from noctuary.images.common_sky import CannotTell, Plane
from noctuary.images.decoded import PictureFault
from noctuary.images.frame_values import frame_values
from noctuary.images.reach import PairReach, pair_reach

Say = Callable[[str], None]


def measured_reach(folder: Path, facts: PictureFacts, other: PictureFacts) -> KeptReach:
    """A picture beside another, measured. Raises :class:`CannotTell`."""
    if (why := incomparable(facts, other)) is not None:
        raise CannotTell(*why)
    result: PairReach = pair_reach(plane_of(folder, other), plane_of(folder, facts))
    return KeptReach(
        against=other.picture.id,
        deeper_mag=result.deeper_mag,
        uncertainty_mag=result.uncertainty_mag,
        stars=result.stars_newer,
        stars_against=result.stars_older,
        common=result.common,
        fwhm_arcsec=result.fwhm_newer_arcsec,
        fwhm_against_arcsec=result.fwhm_older_arcsec,
        picture_sha256=digest_of(folder / facts.picture.file),
        against_sha256=digest_of(folder / other.picture.file),
    )


def print_reach(facts: PictureFacts, other: PictureFacts, kept: KeptReach, say: Say) -> None:
    """What both show, and beside it what hours, aperture and sky let expect."""
    way = "deeper" if kept.deeper_mag >= 0 else "less deep"
    say(f"{facts.picture.title} beside {other.picture.title}, on the sky that both share")
    say(f"limiting magnitude  {abs(kept.deeper_mag):.1f} ± {kept.uncertainty_mag:.1f} mag {way}")
    if (expected := deepening(other.depth, facts.depth)) is not None:
        say(f"expected            {expected.total_mag:+.1f} mag from hours, aperture and sky")
    say(f"stars               {kept.stars} after {kept.stars_against}, {kept.common} in both")
    say(f"FWHM of faint stars {kept.fwhm_arcsec:.1f} arcsec after {kept.fwhm_against_arcsec:.1f}")


def keep_reach(folder: Path, sidecar: str, kept: KeptReach) -> str:
    """Keep a comparison beside a sidecar, in place of an older one with the same picture; returns the file's name.

    Raises OSError.
    """
    before = read_reach_file(folder, sidecar)
    others = () if isinstance(before, Diagnostic) else tuple(one for one in before if one.against != kept.against)
    return write_reach_file(folder, sidecar, (*others, kept))


def plane_of(folder: Path, facts: PictureFacts) -> Plane:
    """A placed picture's values. Raises :class:`CannotTell`."""
    path = folder / facts.picture.file
    if facts.placement is None:
        raise CannotTell(f"{facts.picture.id} has no placement")
    try:
        frame = frame_values(path)
    except PictureFault as fault:
        raise CannotTell(f"{facts.picture.file}: {fault.message}", fault.hint) from None
    return Plane(frame.values, facts.placement.placement(), frame.eight_bits)


def digest_of(path: Path) -> str:
    """SHA-256 of a file, hexadecimal. Raises OSError."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()

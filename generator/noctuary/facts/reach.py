"""What two pictures of a target show beside what their light lets expect: how much deeper, how many stars, how wide.

The measurement is made once, at a person's wish (see ``images/reach``); here it is put beside the depth that hours,
aperture and sky give. Both count in magnitudes of what stands just above the noise, the expected ones for surfaces
and for stars of one width.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from noctuary.archive.reach_file import KeptReach
from noctuary.facts.exposure import distinct, group_integration_s
from noctuary.facts.filters import narrowband
from noctuary.plain_record import plain_record

if TYPE_CHECKING:
    from noctuary.facts.picture import PictureFacts

LARGE_SHORTFALL_MAG = 0.5
"""So much less than expected, beyond what is uncertain, is worth a sentence."""


@plain_record
class Reach:
    """A picture beside an older one, on the sky that both share, as their pixels show it.

    ``deeper_mag`` is the difference of the limiting magnitudes, in nine of ten right within ``uncertainty_mag``;
    ``star_ratio`` how many times as many stars are found in it; widths are FWHM of faint stars in arcseconds.
    """

    deeper_mag: float
    uncertainty_mag: float
    star_ratio: float | None
    fwhm_arcsec: float
    fwhm_before_arcsec: float

    def falls_short_of(self, expected_mag: float) -> bool:
        """Whether the pictures show much less than was to be expected, beyond what is uncertain."""
        return expected_mag - self.deeper_mag > self.uncertainty_mag + LARGE_SHORTFALL_MAG


def reach_of(facts: PictureFacts, before: PictureFacts) -> Reach | None:
    """What was measured of a picture against the one before it, whichever of the two keeps it."""
    for kept in facts.reach:
        if kept.against == before.picture.id:
            return _reach(kept)
    for kept in before.reach:
        if kept.against == facts.picture.id:
            return _reach(_turned_round(kept))
    return None


def incomparable(facts: PictureFacts, other: PictureFacts) -> tuple[str, str] | None:
    """Why the records of two pictures forbid to compare their reach, and what to do; ``None`` where they do not."""
    for one in (facts, other):
        if one.placement is None:
            return f"{one.picture.id} has no placement", f"type noctuary place ARCHIVE {one.picture.id}"
    share, others_share = _narrowband_share(facts), _narrowband_share(other)
    if share is not None and others_share is not None and abs(share - others_share) > 0.5:
        return "one picture is mostly narrowband and the other is not: stars differ by their colours", (
            "compare pictures through filters of one kind"
        )
    return None


def _narrowband_share(facts: PictureFacts) -> float | None:
    """The part of the integration through narrowband filters, ``None`` where none is recorded."""
    narrow = whole = 0.0
    for session in distinct(f.session for f in facts.sessions):
        for group in session.frames:
            light_s = group_integration_s(group)
            whole += light_s
            narrow += light_s if narrowband(group.filter) else 0.0
    return narrow / whole if whole > 0 else None


def _reach(kept: KeptReach) -> Reach:
    return Reach(
        deeper_mag=kept.deeper_mag,
        uncertainty_mag=kept.uncertainty_mag,
        star_ratio=kept.stars / kept.stars_against if kept.stars_against else None,
        fwhm_arcsec=kept.fwhm_arcsec,
        fwhm_before_arcsec=kept.fwhm_against_arcsec,
    )


def _turned_round(kept: KeptReach) -> KeptReach:
    return replace(
        kept,
        deeper_mag=-kept.deeper_mag,
        stars=kept.stars_against,
        stars_against=kept.stars,
        fwhm_arcsec=kept.fwhm_against_arcsec,
        fwhm_against_arcsec=kept.fwhm_arcsec,
    )

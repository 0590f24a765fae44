"""What a finished FITS stack says of its exposures: how many frames, of how long, how much in all.

NCOMBINE counts the pictures that were combined, and the exposure beside it is their mean for an average and their sum
for a sum (the help pages of IRAF's imcombine); STACKCNT counts the frames of a stack whose EXPTIME stays that of one
frame (common practice). So exposures count only where count, exposure and total agree, or where the convention leaves
one reading.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from noctuary.archive.gather.frame_header import StackTotals, finite

COUNTS = ("STACKCNT", "NCOMBINE", "NSTACK", "NFRAMES", "NIMAGES", "NSUBS", "SNAPSHOT", "NUMFRAME")
_TOTALS = ("LIVETIME", "TOTEXP", "EXPTOTAL", "TOTALEXP", "EXP_TOT", "TEXPTIME", "INTEGRAT")
_LONGEST_SUB_S = 3600.0
_MOST = 100_000


def stack_totals(cards: Mapping[str, str | float | bool], exposure_s: float | None) -> StackTotals | None:
    """The totals of a stack, from its header; ``exposure_s`` is the exposure written there."""
    count = next((int(n) for key in COUNTS if (n := finite(cards.get(key), 2, _MOST))), None)
    total = next((n for key in _TOTALS if (n := finite(cards.get(key), 0.001, 1e8))), None)
    if count is None and total is None:
        return None
    if exposure_s is None or exposure_s <= 0:
        return StackTotals(count, None, total)
    if count is None:
        return StackTotals(None, None, total)
    if total is not None:
        if math.isclose(count * exposure_s, total, rel_tol=0.02):
            return StackTotals(count, exposure_s, total)
        if math.isclose(exposure_s, total, rel_tol=0.001):
            return StackTotals(count, float(f"{exposure_s / count:.6g}"), total)
        return StackTotals(count, None, total)
    if "STACKCNT" in cards and exposure_s <= _LONGEST_SUB_S:
        return StackTotals(count, exposure_s, count * exposure_s)
    return StackTotals(count, None, None)

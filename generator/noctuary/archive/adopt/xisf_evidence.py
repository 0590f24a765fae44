"""What a finished XISF picture says of itself: the FITS keywords in its header (XISF 1.0, published specification).

The reader is an extra.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from noctuary.archive.adopt.evidence import Evidence, ObjectNames
from noctuary.archive.adopt.fits_evidence import Cards, of_cards
from noctuary.archive.adopt.raster_blocks import NotReadable


def of_xisf(path: Path, names: ObjectNames, longitudes_deg: Sequence[float] = ()) -> Evidence:
    """Raises :class:`~noctuary.archive.adopt.raster_blocks.NotReadable` and OSError."""
    cards, history = _cards(path)
    return of_cards(str(path), cards, history, names, longitudes_deg, "its XISF header")


def _cards(path: Path) -> tuple[Cards, list[str]]:
    """The FITS keywords, and the lines of HISTORY and COMMENT."""
    try:
        from xisf import XISF
    except ImportError:
        raise NotReadable('XISF needs a library of its own: pip install "noctuary[xisf]"') from None
    with path.open("rb") as file:
        begins = file.read(12)
    if begins[:8] != b"XISF0100":
        raise NotReadable("it is no XISF picture")
    try:
        if int.from_bytes(begins[8:12], "little") > path.stat().st_size:
            raise ValueError("the header is cut short")
        image = XISF(str(path)).get_images_metadata()[0]
        cards: Cards = {"SIMPLE": True}
        history: list[str] = []
        for keyword, entries in image.get("FITSKeywords", {}).items():
            for entry in entries:
                if keyword in ("HISTORY", "COMMENT"):
                    history.append(str(entry.get("comment") or entry.get("value")))
                else:
                    cards.setdefault(str(keyword), _value(str(entry.get("value", ""))))
    except OSError:
        raise
    except Exception as trouble:  # the reader has no error of its own for what damage does to it
        raise NotReadable("its header is damaged") from trouble
    return cards, history


def _value(text: str) -> str | float | bool:
    bare = text.strip()
    if bare.startswith("'"):
        return bare.strip("'").rstrip()
    if bare in ("T", "F"):
        return bare == "T"
    try:
        return float(bare)
    except ValueError:
        return bare

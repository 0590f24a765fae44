"""Where a picture says that it lies on the sky: its record, a header beside it, its own header, or AVM.

All four describe the finished picture's own pixels, after its EXIF orientation; the first that there is
counts.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from noctuary.archive.records import HeaderPlacement, Picture, WrittenPlacement
from noctuary.diagnostic import Diagnostic, doubt, fault

if TYPE_CHECKING:
    from noctuary.sky.placement import Placement

_FITS = (".fits", ".fit", ".fts")


def placement_of(folder: Path, picture: Picture, pixels: tuple[int, int]) -> Placement | Diagnostic | None:
    """The placement of a picture of ``pixels`` (width, height), a finding where what there is cannot be used.

    What the person named, and a FITS picture's own header, must be right: a fault. What some program once
    embedded may be left over from before a crop, and nobody wrote it here: a doubt. ``None`` where nothing says
    where the picture lies.
    """
    from noctuary.sky.avm import from_avm
    from noctuary.sky.header_placement import from_header
    from noctuary.sky.placement import from_centre
    from noctuary.sky.projection import PlacementError

    width, height = pixels
    written = picture.placement
    try:
        if isinstance(written, WrittenPlacement):
            return from_centre(
                written.ra_deg,
                written.dec_deg,
                written.image_scale_arcsec,
                written.position_angle_deg,
                written.mirrored,
                width,
                height,
            )
        if isinstance(written, HeaderPlacement):
            return from_header(folder / written.file, width, height, rows=written.rows)
        if picture.file.lower().endswith(_FITS):
            return _own_header(folder / picture.file, width, height)
        try:
            return from_avm(folder / picture.file, width, height)
        except PlacementError as error:
            message = f"its embedded metadata (AVM) is not used: {error.message}"
            hint = "write a `placement` into the sidecar, or accept the doubt `embedded-placement`"
            return doubt(picture.marks.at(), "embedded-placement", message, hint)
    except PlacementError as error:
        place = picture.marks.at("placement")
        where = place if written is not None else picture.marks.at()
        return fault(where, "placement", error.message, error.hint)


def _own_header(path: Path, width: int, height: int) -> Placement | None:
    """The placement in a FITS picture's own header; a picture without celestial axes has none."""
    from noctuary.sky.header_placement import from_header
    from noctuary.sky.projection import NoSky, PlacementError

    try:
        return from_header(path, width, height, source="picture header")
    except NoSky:
        return None
    except PlacementError as error:
        raise PlacementError(f"the picture's own header: {error.message}", error.hint) from None

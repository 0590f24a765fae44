"""Astronomy Visualization Metadata (AVM 1.2): the placement in a picture's record, and the fields to embed."""

from __future__ import annotations

import math
import mmap
from pathlib import Path
from typing import Any

import numpy as np

from noctuary.geometry import separations_deg
from noctuary.sky.header_placement import placement_of_wcs
from noctuary.sky.picture_transform import affine, pixel_grid
from noctuary.sky.placement import Placement, scaled
from noctuary.sky.projection import (
    Gnomonic,
    HeaderProjection,
    PlacementError,
    error_text,
    quiet_header,
    to_icrs,
    wcs_of,
)


def from_avm(path: str | Path, width_px: int, height_px: int) -> Placement | None:
    """The placement that Astronomy Visualization Metadata in a JPEG, PNG or TIFF gives, or None without one.

    Raises :class:`PlacementError` for a record that cannot be right.
    """
    if not _mentions_avm(Path(path)):
        return None
    from pyavm import AVM

    with quiet_header():
        try:
            avm = AVM.from_image(str(path))
            if repr(avm.Spatial) == "":
                avm = _avm_in_tag(Path(path)) or avm
        except Exception:  # pyavm raises whatever its parser does; no record is the usual case
            avm = _avm_in_tag(Path(path))
    return None if avm is None else from_avm_record(avm, width_px, height_px)


def from_avm_record(avm: Any, width_px: int, height_px: int) -> Placement | None:
    """As :func:`from_avm`, from a record that ``pyavm.AVM`` has read. A mere position is no placement."""
    spatial = avm.Spatial
    if repr(spatial) == "" or spatial.ReferenceValue is None or spatial.ReferencePixel is None:
        return None
    if (spatial.Scale is None and spatial.CDMatrix is None) or spatial.Quality == "Position":
        return None
    hint = "write `placement` with centre, image_scale and position_angle into the sidecar instead"
    try:
        with quiet_header():
            wcs = avm.to_wcs()
            wcs.wcs.set()
            size = spatial.ReferenceDimension
            if size is not None:
                wcs.pixel_shape = (round(float(size[0])), round(float(size[1])))
            cards = wcs.to_header(relax=True)
            # Cards keep too few digits for a scale of microdegrees: the numbers themselves go in their place.
            for axis in (1, 2):
                cards[f"CRPIX{axis}"] = float(wcs.wcs.crpix[axis - 1])
                cards[f"CRVAL{axis}"] = float(wcs.wcs.crval[axis - 1])
    except Exception as error:
        raise PlacementError(f"the AVM record in the picture is damaged: {error_text(error)}", hint) from None
    return placement_of_wcs(wcs, cards, width_px, height_px, "bottom", "AVM")


def avm_fields(placement: Placement, width_px: int, height_px: int) -> dict[str, Any]:
    """The ``Spatial`` fields of AVM 1.2 for a published rendition of this size.

    Gnomonic pictures are given by scale and rotation, or by a matrix when mirrored or when pixels are not
    square, which scale and rotation cannot say. Other projections keep their code where AVM can say it all.
    A distorted picture gets the best gnomonic fit; where that misses a corner by more than half a pixel
    ``Quality`` is ``Position`` and ``Notes`` says by how much. Empty where the picture's middle is no sky.
    """
    shown = scaled(placement, width_px, height_px)
    p = shown.projection
    if not all(map(math.isfinite, shown.centre)):
        return {}
    if isinstance(p, HeaderProjection) and (by_code := _avm_by_code(shown, p)) is not None:
        return by_code
    note: str | None = None
    if isinstance(p, HeaderProjection):
        p, worst = _nearest_gnomonic(shown)
        note = f"The picture is distorted; these values are right to {worst:.1f} pixels." if worst > 0.5 else None
    a, b, c, d = p.matrix
    # Rows from the bottom: y turns over, and the first pixel is 1.
    fields = _avm_base("ICRS", "TAN", (p.ra_deg, p.dec_deg), (p.x + 1, height_px - p.y), width_px, height_px)
    across, up = math.hypot(a, c), math.hypot(b, d)
    square = abs(across - up) * max(width_px, height_px) < 0.02 * up and abs(a * b + c * d) < 1e-9 * up * across
    if square and a * d - b * c > 0:
        fields["Spatial.Scale"] = [-across, up]
        fields["Spatial.Rotation"] = math.degrees(math.atan2(b, -d))
    else:
        fields["Spatial.CDMatrix"] = [a, -b, c, -d]
    if note:
        fields |= {"Spatial.Quality": "Position", "Spatial.Notes": note}
    return fields
_AVM_PROJECTIONS = ("TAN", "SIN", "ARC", "AIT", "CAR", "CEA")  # the vocabulary of AVM 1.2


def _avm_base(
    frame: str, code: str, value: tuple[float, float], pixel: tuple[float, float], width_px: int, height_px: int
) -> dict[str, Any]:
    return {
        "Spatial.CoordinateFrame": frame,
        "Spatial.Equinox": "J2000",
        "Spatial.ReferenceValue": list(value),
        "Spatial.ReferenceDimension": [float(width_px), float(height_px)],
        "Spatial.ReferencePixel": list(pixel),
        "Spatial.CoordsystemProjection": code,
        "Spatial.Quality": "Full",
    }


def _avm_by_code(shown: Placement, p: HeaderProjection) -> dict[str, Any] | None:
    """The fields with the header's own projection code, or None where AVM has no words for all of it."""
    from astropy.wcs import WCS

    wcs, frame = wcs_of(p.header, p.tables)
    name = {"icrs": "ICRS", "fk5": "FK5", "galactic": "GAL"}.get(getattr(frame, "name", "icrs") if frame else "icrs")
    equinox = getattr(frame, "equinox", None)
    code = str(wcs.wcs.ctype[0])[5:8].rstrip("-")
    fits = (
        code in _AVM_PROJECTIONS
        and name is not None
        and not wcs.has_distortion
        and wcs.wcs.lng == 0
        and wcs.wcs.lat == 1
    )
    if not fits or (equinox is not None and abs(equinox.jyear - 2000) > 1e-6):
        return None
    with quiet_header():
        cd = wcs.pixel_scale_matrix
        height = shown.height_px
        # Header pixel = scale · ours + offset; AVM pixel = ours from 1, rows from the bottom.
        x = (wcs.wcs.crpix[0] - p.offset_x) / p.scale_x
        y = (wcs.wcs.crpix[1] - p.offset_y) / p.scale_y
        matrix = [cd[0, 0] * p.scale_x, -cd[0, 1] * p.scale_y, cd[1, 0] * p.scale_x, -cd[1, 1] * p.scale_y]
        fields = _avm_base(str(name), code, (float(wcs.wcs.crval[0]), float(wcs.wcs.crval[1])),
                           (float(x) + 1, height - float(y)), shown.width_px, height)  # fmt: skip
        fields["Spatial.CDMatrix"] = [float(m) for m in matrix]
        # Parameters and a turned pole have no place in AVM: see whether the plain projection says the same.
        plain = WCS(naxis=2)
        plain.wcs.ctype = [str(wcs.wcs.ctype[0])[:8], str(wcs.wcs.ctype[1])[:8]]
        plain.wcs.crval = fields["Spatial.ReferenceValue"]
        plain.wcs.crpix = fields["Spatial.ReferencePixel"]
        plain.wcs.cd = np.array(fields["Spatial.CDMatrix"]).reshape(2, 2)
        gx, gy = pixel_grid(shown)
        try:
            lon, lat = plain.wcs_pix2world(gx + 1, height - gy, 1)
        except Exception:
            return None
    ours = shown.sky(gx, gy)
    theirs = to_icrs(frame, np.asarray(lon), np.asarray(lat))
    off = separations_deg(*ours, *theirs) * 3600 / shown.image_scale_arcsec_px
    visible = np.isfinite(ours[0])
    return fields if visible.any() and bool(np.all(off[visible] < 0.25)) else None


def _nearest_gnomonic(placement: Placement) -> tuple[Gnomonic, float]:
    """The tangent plane at the picture's middle that fits it best, and its worst miss in pixels."""
    ra0, dec0 = placement.centre
    unit = Gnomonic(ra0, dec0, 0.0, 0.0, (1.0, 0.0, 0.0, 1.0))
    x, y = pixel_grid(placement)
    east, north = unit.pixel(*placement.sky(x, y))
    visible = np.isfinite(east) & np.isfinite(north)
    x, y, east, north = x[visible], y[visible], east[visible], north[visible]
    m = affine(x, y, east, north)
    linear = m[:2, :2]
    origin = np.linalg.solve(linear, -m[:2, 2])
    fit = Gnomonic(
        ra0, dec0, float(origin[0]), float(origin[1]),
        (float(linear[0, 0]), float(linear[0, 1]), float(linear[1, 0]), float(linear[1, 1])),
    )  # fmt: skip
    off = np.hypot(m[0, 0] * x + m[0, 1] * y + m[0, 2] - east, m[1, 0] * x + m[1, 1] * y + m[1, 2] - north)
    return fit, float(off.max()) / math.sqrt(abs(np.linalg.det(linear)))


def _mentions_avm(path: Path) -> bool:
    """Whether a file holds AVM's namespace at all: most pictures do not, and need no reader brought in."""
    try:
        with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as whole:
            return whole.find(b"communicatingastronomy.org/avm") >= 0
    except (OSError, ValueError):  # an empty file cannot be mapped
        return False


def _avm_in_tag(path: Path) -> Any:
    """The AVM record in the XMP tag of a TIFF, which need not have the wrapping that a scan looks for."""
    from PIL import Image
    from pyavm import AVM

    try:
        with Image.open(path) as picture:
            packet = getattr(picture, "tag_v2", {}).get(700) or picture.info.get("xmp")
        return AVM.from_xml(packet) if packet else None
    except Exception:
        return None

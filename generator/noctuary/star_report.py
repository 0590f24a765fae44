"""``noctuary stars``: star shapes of a file or of an archive's picture, told on a terminal."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from noctuary.images.decode import open_picture
from noctuary.images.decoded import PictureFault
from noctuary.images.star_shapes import ShapeReport, Zone, measure

DASH = "—"
#: Elongation from which a direction is worth telling.
LEAST_TOLD = 1.05


class CannotMeasure(Exception):
    """The file is no picture that stars could be measured in; says why and what to do."""


def shapes_of(path: Path, scale_arcsec: float | None) -> ShapeReport:
    """Star shapes of a picture's file: JPEG, PNG, TIFF, FITS, or a camera raw through its embedded preview.

    Raises :class:`CannotMeasure`.
    """
    import numpy as np

    try:
        pixels = np.asarray(open_picture(path).pixels, dtype=np.float32)
    except PictureFault as fault:
        preview = _preview(path)
        if preview is None:
            raise CannotMeasure(f"{path}: {fault.message}; {fault.hint}") from None
        pixels, scale_arcsec = preview, None  # a preview has other pixels than the sensor
    luminance = pixels.mean(axis=2) if pixels.ndim == 3 else pixels
    try:
        return measure(luminance, scale_arcsec)
    except ValueError as error:
        raise CannotMeasure(f"{path}: {error}") from None


def keep_shapes(folder: Path, sidecar: str, picture: Path, report: ShapeReport) -> str:
    """Keeps star shapes beside a picture's sidecar, for its page; returns the file's name. Raises CannotMeasure."""
    import hashlib

    from noctuary.archive.star_file import StarShapes, StarZone, write_star_file

    zones = tuple(
        StarZone(z.count, z.width_px, z.width_scatter_px, z.elongation, z.elongation_scatter, z.direction_deg)
        for z in report.zones
    )
    try:
        with picture.open("rb") as file:
            digest = hashlib.file_digest(file, "sha256").hexdigest()
        return write_star_file(folder, sidecar, StarShapes(digest, report.pattern, zones))
    except OSError as error:
        raise CannotMeasure(f"{sidecar}: the star shapes cannot be kept: {error.strerror or error}") from None


def _preview(path: Path) -> Any:
    """The largest JPEG inside a camera raw, as an array; ``None`` where there is none."""
    import io

    import numpy as np
    from PIL import Image, UnidentifiedImageError

    try:
        data = path.read_bytes()
    except OSError:
        return None
    best = None
    at = data.find(b"\xff\xd8\xff")
    while at >= 0:
        try:
            with Image.open(io.BytesIO(data[at:])) as image:
                if image.format == "JPEG" and (best is None or image.size > best[0]):
                    image.load()
                    best = image.size, np.asarray(image.convert("RGB"), dtype=np.float32)
        except (UnidentifiedImageError, OSError, SyntaxError, ValueError, Image.DecompressionBombError):
            pass
        at = data.find(b"\xff\xd8\xff", at + 3)
    return best[1] if best and min(best[0]) >= 600 else None


def print_shapes(name: str, report: ShapeReport) -> None:
    """Nine zones as they lie in the picture, and what their pattern says."""
    console = Console(highlight=False)
    console.print(Text(name, style="bold"))
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 3, 1, 0))
    for row in range(3):
        table.add_row(*(Text(_zone(report.zone(row, column))) for column in range(3)))
    console.print(table)
    console.print(Text(f"{report.count} stars. {report.meaning} {report.advice}"))


def _zone(zone: Zone) -> str:
    if zone.width_px is None:
        return f"{DASH}\n{zone.count} stars"
    width = f"{zone.width_px:.2f} ± {zone.width_scatter_px or 0:.2f} px"
    if zone.width_arcsec is not None:
        width += f" ({zone.width_arcsec:.1f}″)"
    long = DASH if zone.elongation is None else f"{zone.elongation:.2f} ± {zone.elongation_scatter or 0:.2f}"
    # The direction of a round star is noise.
    told = zone.direction_deg is not None and zone.elongation is not None and zone.elongation >= LEAST_TOLD
    turned = f" at {zone.direction_deg:.0f}°" if told else ""
    return f"{width}\nlong {long}{turned}\n{zone.count} stars"

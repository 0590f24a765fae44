"""``noctuary stars``: star shapes of a file or of an archive's picture, on a terminal."""

from __future__ import annotations

from pathlib import Path

from rich.console import Console
from rich.table import Table
from rich.text import Text

from noctuary.errors import NoctuaryError
from noctuary.images.decoded import PictureFault
from noctuary.images.star_shapes import ShapeReport, measure
from noctuary.images.star_zone import Zone

DASH = "—"
#: Elongation from which a direction is worth telling.
LEAST_TOLD = 1.05

_PLACES = ("the top left", "the top", "the top right", "the left", "the middle", "the right", "the bottom left",
           "the bottom", "the bottom right")  # fmt: skip


class CannotMeasure(NoctuaryError):
    """The file is no picture that stars could be measured in; says why and what to do."""


def shapes_of(path: Path, scale_arcsec: float | None) -> ShapeReport:
    """Star shapes of a picture's file: JPEG, PNG, TIFF, FITS, or a camera raw through its embedded preview.

    Raises :class:`CannotMeasure`.
    """
    from noctuary.images.frame_values import frame_values

    try:
        frame = frame_values(path)
        # A preview has other pixels than the sensor.
        return measure(frame.values, None if frame.preview else scale_arcsec, eight_bits=frame.eight_bits)
    except PictureFault as fault:
        raise CannotMeasure(f"{path}: {fault.message}; {fault.hint}") from None
    except ValueError as error:
        raise CannotMeasure(f"{path}: {error}") from None


def keep_shapes(folder: Path, sidecar: str, picture: Path, report: ShapeReport) -> str:
    """Keeps star shapes beside a picture's sidecar, for its page; returns the file's name. Raises CannotMeasure."""
    import hashlib

    from noctuary.archive.star_file import StarShapes, StarZone, write_star_file

    if report.pattern == "too few stars":
        raise CannotMeasure(
            f"{sidecar}: nothing was kept: fewer than six of the nine zones have stars enough; measure and keep a "
            "picture with more stars"
        )
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


def print_shapes(name: str, report: ShapeReport) -> None:
    """Nine zones as they lie in the picture, what their pattern says, and what the picture cannot say."""
    console = Console(highlight=False)
    console.print(Text(name, style="bold"))
    console.print(Text(_measured_on(report)))
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 3, 1, 0))
    for row in range(3):
        table.add_row(*(Text(_zone(report.zone(row, column), report)) for column in range(3)))
    console.print(table)
    sentences = [f"{report.count} stars.", report.meaning]
    if report.centre is not None:
        sentences.append(f"They turn about a point {_where(*report.centre)}.")
    if report.pattern != "round" or report.linearity.linear:
        sentences.append(report.advice)
    console.print(Text(" ".join(sentences)))
    if report.pattern != "too few stars" and report.linearity.linear is not True:
        console.print(Text(_limits_of(report)))


def _measured_on(report: ShapeReport) -> str:
    reason = report.linearity.reason
    if report.linearity.linear:
        return f"Measured on a linear picture ({reason}): FWHM."
    if report.linearity.linear is False:
        return f"Measured on the finished picture ({reason}): FWHM in px as the stretch left it."
    return f"Measured on a picture that may be stretched ({reason}): FWHM in px."


def _limits_of(report: ShapeReport) -> str:
    changed = "a stretch changes" if report.linearity.linear is False else "a stretch would change"
    return (
        f"Not said: whether the focus was good and the air steady, for {changed} the width of every star. For that, "
        "measure a sub or a stack before it is stretched (FITS, or TIFF of 16 bits or more)."
    )


def _where(x: float, y: float) -> str:
    if not (0.0 <= x <= 1.0 and 0.0 <= y <= 1.0):
        column = 0 if x < 1 / 3 else 2 if x > 2 / 3 else 1
        row = 0 if y < 1 / 3 else 2 if y > 2 / 3 else 1
        return f"outside the picture, beyond {_PLACES[3 * row + column]}"
    place = _PLACES[3 * min(int(y * 3), 2) + min(int(x * 3), 2)]
    return f"in {place} of the picture" if place == "the middle" else f"at {place} of the picture"


def _zone(zone: Zone, report: ShapeReport) -> str:
    stars = "1 star" if zone.count == 1 else f"{zone.count} stars"
    if zone.width_px is None:
        return f"{DASH}\n{stars}"
    width = f"{zone.width_px:.2f} ± {zone.width_scatter_px or 0:.2f} px"
    if zone.width_arcsec is not None and report.linearity.linear:
        width += f" ({zone.width_arcsec:.1f}″)"
    long = DASH if zone.elongation is None else f"{zone.elongation:.2f} ± {zone.elongation_scatter or 0:.2f}"
    # The direction of a round star is noise.
    elongated = zone.direction_deg is not None and zone.elongation is not None and zone.elongation >= LEAST_TOLD
    turned = f" at {zone.direction_deg:.0f}°" if elongated else ""
    return f"{width}\nlong {long}{turned}\n{stars}"

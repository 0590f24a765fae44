"""Picture pixels per sensor pixel: as written, or as far as the sizes of picture and sensor tell.

A finished picture is often smaller than its sensor, and the file does not say whether it was made smaller or cut. The
scale and the field on the sky depend on it: 1600 pixels of a sensor of 3456 are 46 % of the field as a crop, and all
of it as a reduction. Sizes here are picture pixels and sensor pixels over the binning.
"""

from __future__ import annotations

from typing import Literal

from noctuary.archive.records import Rig
from noctuary.plain_record import plain_record

PROPORTIONS_SHARE = 0.01
"""How much the proportions of a picture may differ from its sensor's and still be those of the whole of it."""

FULL_SIZE_SHARE = 0.03
"""What trimmed edges may take from a picture at full size. So little smaller than its sensor, the picture has a
scale that is right to 3 % whether it was cut or made smaller, and nothing needs asking."""

LARGER_SHARE = 0.02
"""How much longer than the camera's stated pixels a picture may be: makers count the margins differently."""

Basis = Literal["written", "full size", "whole sensor", "crop", "larger", "mosaic", "unknown"]
"""How a factor is known: *written* by the person; *full size*, as large as the sensor; *whole sensor*, the sensor's
proportions and fewer pixels, so taken to be the whole of it made smaller; *crop*, other proportions, so taken to be a
part at full size; *larger* than the sensor; a *mosaic*, whose size tells nothing of its sensor's; *unknown*, since
nobody wrote how many pixels the sensor has."""


@plain_record
class Resampling:
    """Picture pixels per sensor pixel, each way, and how that is known.

    ``factor`` is ``None`` for an ``unknown`` one and a ``mosaic``. ``pixels`` are the picture's sides and ``sensor``
    the sensor's, ``None`` where they are not known or tell nothing; in both the shorter side is first.
    """

    factor: float | None
    basis: Basis
    pixels: tuple[int, int]
    sensor: tuple[float, float] | None

    @property
    def inferred(self) -> bool:
        """Whether scale and field rest on what the sizes suggest, and on nobody's word."""
        return self.basis in ("whole sensor", "crop")

    @property
    def least(self) -> float | None:
        """The smallest factor with which the picture fits on the sensor, ``None`` where its pixels are not known."""
        return None if self.sensor is None else max(n / of for n, of in zip(self.pixels, self.sensor, strict=True))


def sensor_pixels(rig: Rig | None, binning: int) -> tuple[float, float] | None:
    """Width and height of the sensor in pixels as read out; ``None`` where the camera's pixels are not known."""
    pixels = rig.camera.pixels if rig is not None and rig.camera is not None else None
    return None if pixels is None else (pixels[0] / binning, pixels[1] / binning)


def resampling(
    written: float | None, pixels: tuple[int, int], sensor: tuple[float, float] | None, mosaic: bool = False
) -> Resampling:
    """The factor of a picture of ``pixels`` (either way up) from a ``sensor``, ``written`` or inferred from both."""
    sides = min(pixels), max(pixels)
    if mosaic:
        return Resampling(written, "mosaic" if written is None else "written", sides, None)
    if sensor is None:
        return Resampling(written, "unknown" if written is None else "written", sides, None)
    whole = min(sensor), max(sensor)
    if written is not None:
        return Resampling(written, "written", sides, whole)
    least = max(sides[0] / whole[0], sides[1] / whole[1])
    if least > 1 + LARGER_SHARE:
        return Resampling(1.0, "larger", sides, whole)
    if least >= 1 - FULL_SIZE_SHARE:
        return Resampling(1.0, "full size", sides, whole)
    if abs((sides[1] / sides[0]) / (whole[1] / whole[0]) - 1) <= PROPORTIONS_SHARE:
        return Resampling(sides[1] / whole[1], "whole sensor", sides, whole)
    return Resampling(1.0, "crop", sides, whole)

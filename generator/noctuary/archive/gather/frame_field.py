"""How much of the sky a frame shows, as far as the equipment or its own header tells."""

from __future__ import annotations

import math
from dataclasses import dataclass

from noctuary.archive.gather.equipment import Kit
from noctuary.archive.gather.frame_header import FrameHeader
from noctuary.archive.records import Archive
from noctuary.archive.sensors import Sensor, sensor_of


@dataclass(frozen=True, slots=True)
class FrameField:
    """Pixels of the unbinned sensor, and arcseconds that one of them sees."""

    pixels: tuple[int, int]
    arcsec_px: float

    @property
    def shorter_side_deg(self) -> float:
        return 2 * math.degrees(math.atan(math.radians(min(self.pixels) * self.arcsec_px / 3600) / 2))

    @property
    def longer_side_deg(self) -> float:
        return 2 * math.degrees(math.atan(math.radians(max(self.pixels) * self.arcsec_px / 3600) / 2))


def field_of(header: FrameHeader, kit: Kit, archive: Archive | None) -> FrameField | None:
    """The field by the rig that is known, else by the header's focal length and a sensor that is known.

    The pixels of a camera's own file are those of a preview as often as not, so only a FITS header's count.
    """
    rig = archive.rigs.get(kit.rig) if archive and kit.rig else None
    camera = rig.camera if rig else None
    focal = header.focal_length_mm
    if rig is not None and rig.optic is not None and rig.optic.focal_length_mm is not None:
        focal = rig.optic.focal_length_mm * rig.focal_factor
    sensor = None
    if camera is not None and camera.pixels is not None and camera.pixel_size_um is not None:
        sensor = Sensor(camera.pixels, camera.pixel_size_um, camera.colour is not False)
    sensor = sensor or known_sensor(header)
    if sensor is None or focal is None:
        return None
    return FrameField(sensor.pixels, math.degrees(sensor.pixel_size_um / 1000 / focal) * 3600)


def known_sensor(header: FrameHeader) -> Sensor | None:
    """The sensor of the camera: of the table of cameras by its name, else by a FITS header's pixels."""
    if header.camera and (sensor := sensor_of(header.camera)):
        return sensor
    if not header.is_fits or header.pixels is None or header.pixel_size_um is None:
        return None
    wide, high = header.pixels
    size = round(header.pixel_size_um / header.binning, 3)
    return Sensor((wide * header.binning, high * header.binning), size, header.colour is not False)

"""What a header leaves out and a frame's surroundings say: rig and camera, place, and the moment by its clock."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from pathlib import Path
from zoneinfo import ZoneInfo

from noctuary.archive.clock import zone_fault
from noctuary.archive.gather.calibration import CalibrationFrame
from noctuary.archive.gather.equipment import Kit, kit_of, nearest_place
from noctuary.archive.gather.frame_header import FrameHeader
from noctuary.archive.gather.shots import ClockKind, Shot, camera_moment, night_of
from noctuary.archive.record_text import NotEditable, editable_text, record_node
from noctuary.archive.records import Archive
from noctuary.diagnostic import one_line


def clock_zone(name: str) -> tzinfo | None:
    if match := re.fullmatch(r"([+-])(\d{1,2}):?(\d{2})?", name):
        minutes = int(match[2]) * 60 + int(match[3] or 0)
        if minutes > 15 * 60:
            return None
        return timezone(timedelta(minutes=-minutes if match[1] == "-" else minutes))
    if name.upper() in ("UTC", "Z"):
        return UTC
    return None if zone_fault(name) else ZoneInfo(name)


class FrameContext:
    """What one run of gathering knows about its frames beyond their headers: the archive, options, each other."""

    def __init__(
        self, archive: Archive | None, folder: Path, place: str | None, rig: str | None, time_zone: str | None
    ) -> None:
        self.archive = archive
        self.folder = folder
        self.place = place
        self.rig = rig
        self.time_zone = time_zone
        self.camera_zone = clock_zone(time_zone) if time_zone else None
        self._kits: dict[FrameHeader, Kit] = {}
        self._sites: dict[tuple[float, float], str | None] = {}
        self._place_of_sites: str | None = None
        self._sidecar_place: str | None = None
        self._sidecar_rig: str | None = None
        self._zones: dict[str | None, tzinfo | None] = {
            name: ZoneInfo(place.time_zone) for name, place in (archive.places if archive else {}).items()
        }

    def zones(self) -> dict[str | None, str | None]:
        """Place → its time zone; for no place, what the person said of the camera's clock, if that is a zone."""
        known: dict[str | None, str | None] = {
            name: place.time_zone for name, place in (self.archive.places if self.archive else {}).items()
        }
        named = self.time_zone if isinstance(self.camera_zone, ZoneInfo) else None
        if self.place is not None and self.place not in known:
            known[self.place] = named
        known[None] = named
        return known

    def kit(self, header: FrameHeader) -> Kit:
        key = replace(
            header, path="", start=None, target=None, exposure_s=None, sensor_temperature_c=None, kind=None,
            kind_from=None, pointing=None, impossible=(), missing_bytes=0,
        )  # fmt: skip
        if key not in self._kits:
            kit = kit_of(key, self.archive, self.rig)
            says_nothing = not (key.camera or key.pixel_size_um or key.focal_length_mm)
            if self._sidecar_rig is not None and (self._sidecar_rig in kit.choices or says_nothing):
                kit = replace(kit, rig=self._sidecar_rig, choices=(), assumed=False)
            self._kits[key] = kit
        return self._kits[key]

    def learn_sidecar(self, sidecar: Path) -> None:
        """The rig and place of the sidecar that is to be extended: they go for frames that tell none."""
        try:
            old = self.text_of(sidecar)
            root = record_node(old, self.name_of(sidecar)) if old else None
        except (OSError, NotEditable):
            return  # the same trouble is reported when the sidecar is extended
        place, rig = (root.text("place"), root.text("rig")) if root else (None, None)
        self._sidecar_place = place if self.archive and place in self.archive.places else None
        self._sidecar_rig = rig if self.archive and rig in self.archive.rigs else None

    def learn_places(self, read: Sequence[FrameHeader]) -> None:
        """The one place that the sites in these headers tell goes for frames without a site, too."""
        near = {self._near(site) for site in {h.site for h in read if h.site is not None}}
        self._place_of_sites = near.pop() if len(near) == 1 else None

    def _near(self, site: tuple[float, float]) -> str | None:
        if site not in self._sites:
            self._sites[site] = nearest_place(site, self.archive.places if self.archive else {})
        return self._sites[site]

    def place_of(self, header: FrameHeader) -> tuple[str | None, str | None]:
        """The place of a frame, and in words what speaks for it where the frame itself does not."""
        if self.place is not None:
            return self.place, None
        if header.site is not None:
            return self._near(header.site), None
        places = self.archive.places if self.archive else {}
        if self._sidecar_place is not None:
            return self._sidecar_place, None
        if len(places) == 1:
            return next(iter(places)), "the only one in places.yaml"
        if self._place_of_sites is not None:
            return self._place_of_sites, "the place of the other frames"
        return None, None

    def shot(self, header: FrameHeader, place: str | None, assumed: str | None) -> Shot | None:
        """The light at a place, or at none; ``None`` where the header does not say when it was taken."""
        begun = self._begun(header, place)
        if begun is None:
            return None
        start, clock = begun
        return Shot(header, self.kit(header), place, start, clock, place_assumed=assumed)

    def _begun(self, header: FrameHeader, place: str | None) -> tuple[datetime, ClockKind] | None:
        """When a frame was begun, and by which clock: the place's, without a place the camera's own, or UT."""
        start = header.start
        if start is None:
            return None
        local = self._zones.get(place) or self.camera_zone
        try:
            if start.tzinfo is None:
                shown = camera_moment(start, self.camera_zone or local or UTC)
                return shown.astimezone(local or UTC), "place" if local else "camera"
            if local is not None:
                return start.astimezone(local), "place"
            # A camera that knows its offset was set to the clock of the place.
            if start.utcoffset() and not header.is_fits:
                return start, "camera"
            return start.astimezone(UTC), "universal"
        except (OverflowError, ValueError, OSError):
            return None

    def calibration_frame(self, header: FrameHeader) -> CalibrationFrame:
        begun = self._begun(header, self.place_of(header)[0])
        try:
            night = None if begun is None else night_of(begun[0], None)
        except OverflowError:
            night = None
        return CalibrationFrame(header, self.kit(header).camera_names, night)

    def name_of(self, path: Path) -> str:
        """The path relative to the archive, or as it is outside of it, with ``/``."""
        try:
            return path.resolve().relative_to(self.folder.resolve()).as_posix()
        except ValueError:
            return one_line(path.as_posix())

    def text_of(self, sidecar: Path) -> str | None:
        """What a sidecar says, ``None`` where there is none; raises OSError and :class:`NotEditable`."""
        return editable_text(sidecar.read_bytes(), self.name_of(sidecar)) if sidecar.exists() else None

"""What an archive says, as frozen records: what was written (:mod:`noctuary.archive.keys`) and what was looked up.

Each record is that of its keys and adds to it: a name, a rig in place of a rig's name, moments in place of clock
times. These are plain values: no file is read here and nothing is computed beyond the structure that the person wrote
(which sessions a picture contains, which picture supersedes which). A record that was written by a person knows
where: ``mark`` for itself, ``Marks`` for what is inside it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from functools import cached_property
from typing import Literal

from noctuary.archive.keys import (
    ArchiveKeys,
    Calibration,
    CameraKeys,
    ExhibitKeys,
    FrameKeys,
    NightKeys,
    ObjectKeys,
    OpticKeys,
    PageKeys,
    PlaceKeys,
    Publish,
    RigKeys,
    SessionKeys,
    SidecarKeys,
)
from noctuary.diagnostic import Mark

__all__ = ["Calibration", "Publish"]


@dataclass(frozen=True)
class Marks:
    """Where each value of one file was written, by its path of keys and indices."""

    file: str
    places: Mapping[tuple[str | int, ...], tuple[int, int]] = field(default_factory=dict)

    def at(self, *path: str | int) -> Mark:
        """The mark of a value, or of the nearest mapping around it that was written."""
        for length in range(len(path), -1, -1):
            if path[:length] in self.places:
                return Mark(self.file, *self.places[path[:length]])
        return Mark(self.file)


@dataclass(frozen=True, kw_only=True, slots=True)
class Camera(CameraKeys):
    """A camera; of an old one perhaps no more than the name is known.

    ``sensor_from_table``: its pixels or their size are those of the table of known cameras; nobody wrote them here.
    """

    name: str
    mark: Mark
    sensor_from_table: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class Optic(OpticKeys):
    """A lens or telescope, with what is known of it.

    ``aperture_mm`` is what was written, or focal length / f-ratio; where the f-ratio alone is known, it is
    ``f_ratio``, and the aperture and the focal length are ``None``.
    """

    name: str
    mark: Mark


@dataclass(frozen=True, kw_only=True, slots=True)
class Rig(RigKeys):
    """An optic and a camera, either of which may not be known; ``working_f_ratio`` where a lens was stopped down."""

    name: str
    optic: Optic | None
    camera: Camera | None
    mark: Mark


@dataclass(frozen=True, kw_only=True, slots=True)
class Place(PlaceKeys):
    """An observing place as the person wrote it. What the site computes from is ``published``."""

    name: str
    mark: Mark

    @property
    def published(self) -> tuple[float, float, float] | None:
        """Latitude, longitude in degrees and elevation in metres from which everything published comes.

        Unless the place is published exactly: whole degrees, halves away from zero, at sea level, so
        that the exact place cannot be recovered from any number of the site. ``None`` where the place is
        hidden: then nothing is published that depends on where it lies.
        """
        if self.publish == "hidden":
            return None
        if self.publish == "exact":
            return self.latitude_deg, self.longitude_deg, self.elevation_m
        return _whole(self.latitude_deg), _whole(self.longitude_deg), 0.0


def _whole(angle_deg: float) -> float:
    rounded = int(abs(angle_deg) + 0.5)
    return float(rounded if angle_deg >= 0 else -rounded)


@dataclass(frozen=True, kw_only=True, slots=True)
class OwnObject(ObjectKeys):
    """An entry of objects.yaml: an object that the catalogue lacks, or what it should say instead."""

    name: str
    mark: Mark

    @property
    def ra_deg(self) -> float | None:
        return self.coordinates[0] if self.coordinates is not None else None

    @property
    def dec_deg(self) -> float | None:
        return self.coordinates[1] if self.coordinates is not None else None


@dataclass(frozen=True, kw_only=True, slots=True)
class FrameGroup(FrameKeys):
    """Sub-exposures of one kind within a session."""

    taken: int


@dataclass(frozen=True, kw_only=True, slots=True)
class Session(SessionKeys):
    """The work of one rig on one target in one night at one place, as far as they are known.

    ``frames`` is empty where the exposures were not recorded; ``stated_integration_s`` may then say what they came
    to. ``written_in`` and ``index`` say which sidecar wrote it out: they are its identity, so that a
    session is counted once wherever it appears. ``start`` and ``end`` carry their time zone, that of the place.
    """

    written_in: str
    index: int
    target: str | None
    rig: Rig | None
    place: Place | None
    start: datetime | None
    end: datetime | None
    frames: tuple[FrameGroup, ...]
    mark: Mark

    @property
    def identity(self) -> tuple[str, int]:
        return self.written_in, self.index

    @property
    def start_utc(self) -> datetime | None:
        """The start for those who read the site; ``None`` at a hidden place, whose time zone it would tell."""
        return self._published(self.start)

    @property
    def end_utc(self) -> datetime | None:
        """The end, as :attr:`start_utc`."""
        return self._published(self.end)

    def _published(self, moment: datetime | None) -> datetime | None:
        hidden = self.place is None or self.place.publish == "hidden"
        return None if moment is None or hidden else moment.astimezone(UTC)


@dataclass(frozen=True, slots=True)
class WrittenPlacement:
    """A placement in numbers, as the sidecar gives it."""

    ra_deg: float
    dec_deg: float
    image_scale_arcsec: float
    position_angle_deg: float
    mirrored: bool


@dataclass(frozen=True, slots=True)
class HeaderPlacement:
    """A placement in a header file beside the sidecar; ``file`` is relative to the archive."""

    file: str
    rows: Literal["bottom", "top"]


@dataclass(frozen=True, kw_only=True)
class Picture(SidecarKeys):
    """A finished picture with its record. ``file`` and ``sidecar`` are relative to the archive.

    ``panels`` are the pictures that lie side by side in a mosaic; ``resampling`` is ``None`` where nobody said.
    """

    id: str
    file: str
    sidecar: str
    rig: Rig | None
    place: Place | None
    own_sessions: tuple[Session, ...]
    placement: WrittenPlacement | HeaderPlacement | None
    marks: Marks

    @property
    def target(self) -> str | None:
        """The first object, as written."""
        return self.objects[0] if self.objects else None


@dataclass(frozen=True, kw_only=True, slots=True)
class Night(NightKeys):
    """What happened one night at one place: front matter and prose of ``nights/YYYY-MM-DD.md``."""

    night: date
    prose: str
    mark: Mark


@dataclass(frozen=True, kw_only=True, slots=True)
class Exhibit(ExhibitKeys):
    """A chosen, ordered set of pictures with commentary; ``id`` is the file's stem."""

    id: str
    mark: Mark


@dataclass(frozen=True, kw_only=True, slots=True)
class FreePage(PageKeys):
    """A page of the person's own; ``title`` from front matter, else its first heading, else its name."""

    id: str
    title: str
    prose: str
    mark: Mark


@dataclass(frozen=True, kw_only=True)
class Archive(ArchiveKeys):
    """A whole archive. Mappings keep the order in which things were written.

    ``gone`` are ids of pictures that were published once and are let go.
    """

    reference_rig: Rig | None
    cameras: Mapping[str, Camera]
    optics: Mapping[str, Optic]
    rigs: Mapping[str, Rig]
    places: Mapping[str, Place]
    own_objects: tuple[OwnObject, ...]
    pictures: Mapping[str, Picture]
    nights: tuple[Night, ...]
    exhibits: tuple[Exhibit, ...]
    pages: tuple[FreePage, ...]
    marks: Marks

    def sessions_of(self, picture: Picture) -> tuple[Session, ...]:
        """Every distinct session in a picture: its own, its panels' and those it builds on, oldest first."""
        sessions = {s.identity: s for part in self.parts_of(picture) for s in part.own_sessions}
        return tuple(sorted(sessions.values(), key=_clock_order))

    def parts_of(self, picture: Picture) -> Iterator[Picture]:
        """The picture, its panels and every picture it builds on, at any depth, each once."""
        visited: set[str] = set()
        waiting = [picture.id]
        while waiting:
            name = waiting.pop()
            if name in visited or name not in self.pictures:
                continue
            visited.add(name)
            part = self.pictures[name]
            yield part
            waiting.extend((*part.builds_on, *part.panels))

    @cached_property
    def shown(self) -> tuple[Picture, ...]:
        """Pictures that get a page (all but drafts), newest first."""
        return tuple(
            sorted(
                (p for p in self.pictures.values() if not p.draft),
                key=lambda p: (p.finished, p.id),
                reverse=True,
            )
        )

    @cached_property
    def listed(self) -> tuple[Picture, ...]:
        """Pictures that lists, totals and feeds speak of, newest first."""
        return tuple(p for p in self.shown if p.listed)


def _clock_order(session: Session) -> tuple[date, float, str, int]:
    # A session without clock times comes after those that have them in the same night.
    start = session.start.timestamp() if session.start else float("inf")
    return session.night, start, session.written_in, session.index

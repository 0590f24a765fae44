"""What there is to be named in an archive: cameras, optics, rigs, places, pictures.

A name of something that was written but has a fault of its own is known all the same, so that one slip
is reported once.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Literal

from noctuary.archive.declaration import keys_of
from noctuary.archive.did_you_mean import meant
from noctuary.archive.keys import CameraKeys, EquipmentKeys, ObjectKeys, OpticKeys, PlaceKeys
from noctuary.archive.parse_file import ParsedFile
from noctuary.archive.records import Camera, Optic, OwnObject, Place, Rig
from noctuary.archive.sensors import sensor_of
from noctuary.diagnostic import Diagnostic, Mark, fault


@dataclass
class Known:
    """What there is to be named. The ``*_names`` hold faulty entries too."""

    findings: list[Diagnostic]
    cameras: dict[str, Camera] = field(default_factory=dict)
    optics: dict[str, Optic] = field(default_factory=dict)
    rigs: dict[str, Rig] = field(default_factory=dict)
    places: dict[str, Place] = field(default_factory=dict)
    camera_names: tuple[str, ...] = ()
    optic_names: tuple[str, ...] = ()
    rig_names: tuple[str, ...] = ()
    place_names: tuple[str, ...] = ()
    picture_ids: tuple[str, ...] = ()
    moved_ids: dict[str, str] = field(default_factory=dict)
    all_of: dict[str, bool] = field(default_factory=dict)
    missed: int = 0

    def missing(self, kind: str, name: str, names: Iterable[str], mark: Mark, where: str) -> bool:
        """Whether nothing of this name was written; says so."""
        names = list(names)
        if name in names:
            return False
        # A file that could not be read at all may well define the name: that is the fault to mend first.
        if self.all_of.get(where, True):
            self.missed += 1
            add = f"add it to {where}"
            # Comparing names takes time, and after this many it is not a slip of the pen.
            hint = meant(name, names, add) if self.missed <= 100 else add
            self.findings.append(fault(mark, f"unknown-{kind}", f"no {kind} is called “{name[:60]}”", hint))
        return True

    def lacks(self, kind: Literal["optic", "camera"], name: str | None, mark: Mark) -> bool:
        """Whether a rig names an optic or a camera that is not there, or has a fault of its own."""
        if name is None:
            return False
        names, exists = (
            (self.optic_names, name in self.optics) if kind == "optic" else (self.camera_names, name in self.cameras)
        )
        return self.missing(kind, name, names, mark, "equipment.yaml") or not exists

    def rig(self, name: str, mark: Mark) -> Rig | None:
        self.missing("rig", name, self.rig_names, mark, "equipment.yaml")
        return self.rigs.get(name)

    def place(self, name: str, mark: Mark) -> Place | None:
        self.missing("place", name, self.place_names, mark, "places.yaml")
        return self.places.get(name)

    def picture(self, name: str, mark: Mark) -> bool:
        if name in self.moved_ids and name not in self.picture_ids:
            now = self.moved_ids[name]
            self.findings.append(fault(mark, "unknown-picture", f"“{name}” is a former id", f"write {now}"))
            return False
        return not self.missing("picture", name, self.picture_ids, mark, "pictures/")


def equipment(file: ParsedFile[EquipmentKeys] | None, known: Known) -> None:
    if file is None:
        return
    known.camera_names = file.names.get("cameras", ())
    known.optic_names = file.names.get("optics", ())
    known.rig_names = file.names.get("rigs", ())
    sections = ("cameras", "optics", "rigs")
    # A section that is no mapping, or a misspelt one, may well define the names that seem to be missing.
    known.all_of["equipment.yaml"] = not file.findings or all(section in file.names for section in sections)
    if file.record is None:
        known.all_of["equipment.yaml"] = False
        return
    at = file.marks.at
    for name, camera in file.record.cameras.items():
        known.cameras[name] = _camera(name, camera, at("cameras", name))
    for name, optic in file.record.optics.items():
        known.optics[name] = _optic(name, optic, at("optics", name))
    for name, rig in file.record.rigs.items():
        camera_name = rig.camera_name
        # A camera that the table of sensors knows need not be listed: the rig that names it says all there is to say.
        if camera_name is not None and camera_name not in known.camera_names and sensor_of(camera_name) is not None:
            known.cameras[camera_name] = _camera(camera_name, CameraKeys(), at("rigs", name, "camera"))
            known.camera_names += (camera_name,)
        # Of a name that nothing knows no rig is made; that has been reported.
        if known.lacks("optic", rig.optic_name, at("rigs", name, "optic")) | known.lacks(
            "camera", rig.camera_name, at("rigs", name, "camera")
        ):
            continue
        known.rigs[name] = Rig(
            **keys_of(rig),
            name=name,
            optic=known.optics[rig.optic_name] if rig.optic_name is not None else None,
            camera=known.cameras[rig.camera_name] if rig.camera_name is not None else None,
            mark=at("rigs", name),
        )


def _camera(name: str, camera: CameraKeys, mark: Mark) -> Camera:
    """A camera with what the table of sensors knows of it where a person wrote less."""
    sensor = sensor_of(name)
    if sensor is None:
        return Camera(**keys_of(replace(camera, colour=camera.colour is not False)), name=name, mark=mark)
    completed = replace(
        camera,
        pixels=sensor.pixels if camera.pixels is None else camera.pixels,
        pixel_size_um=sensor.pixel_size_um if camera.pixel_size_um is None else camera.pixel_size_um,
        colour=sensor.colour if camera.colour is None else camera.colour,
    )
    from_table = camera.pixels is None or camera.pixel_size_um is None
    return Camera(**keys_of(completed), name=name, mark=mark, sensor_from_table=from_table)


def _optic(name: str, optic: OpticKeys, mark: Mark) -> Optic:
    """An optic with the third of focal length, aperture and f-ratio where two were written."""
    focal, aperture, ratio = optic.focal_length_mm, optic.aperture_mm, optic.f_ratio
    if aperture is None and focal is not None and ratio is not None:
        aperture = focal / ratio
    if focal is None and aperture is not None and ratio is not None:
        focal = aperture * ratio
    worked_out = replace(optic, focal_length_mm=focal, aperture_mm=aperture)
    return Optic(**keys_of(worked_out), name=name, mark=mark)


def places(file: ParsedFile[dict[str, PlaceKeys]] | None, known: Known) -> None:
    if file is None:
        return
    known.place_names = file.names.get("places", ())
    if file.record is None:
        known.all_of["places.yaml"] = False
        return
    for name, place in file.record.items():
        known.places[name] = Place(**keys_of(place), name=name, mark=file.marks.at(name))


def own_objects(file: ParsedFile[dict[str, ObjectKeys]] | None) -> tuple[OwnObject, ...]:
    if file is None or file.record is None:
        return ()
    return tuple(OwnObject(**keys_of(own), name=name, mark=file.marks.at(name)) for name, own in file.record.items())

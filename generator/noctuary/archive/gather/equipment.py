"""Which camera, rig and place of the archive took a frame, by what its header says.

A camera is known by its name, the size of its pixels and their number; a rig by its camera and its focal
length, reducer included; a place by being near the site in the header, which itself is written nowhere.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from noctuary.archive.gather.frame_header import FrameHeader, filter_key
from noctuary.archive.records import Archive, Camera, Place, Rig
from noctuary.archive.sensors import same_camera
from noctuary.geometry import EARTH_RADIUS_KM, separation_deg

NEAR_KM = 50.0
_PIXEL_SIZE_TOLERANCE = 0.02
_FOCAL_LENGTH_TOLERANCE = 0.05  # stated focal lengths are round numbers, and reducers sit a little off


@dataclass(frozen=True, slots=True)
class Kit:
    """What took a frame: a rig of the archive, or what is known of one that it lacks.

    ``camera`` is what headers call the camera, which darks share with their lights although they know no
    focal length; ``known_camera`` is what the archive calls it. ``choices`` are the rigs that fit equally
    well. ``assumed``: nothing in the header says so. ``named``: the person named the rig.
    """

    camera: str
    rig: str | None
    focal_length_mm: float | None = None
    known_camera: str | None = None
    choices: tuple[str, ...] = ()
    assumed: bool = False
    named: bool = False

    @property
    def camera_names(self) -> frozenset[str]:
        return frozenset(name for name in (self.camera, self.known_camera) if name is not None)


def kit_of(header: FrameHeader, archive: Archive | None, rig: str | None = None) -> Kit:
    """The kit of one frame; ``rig`` is the one that the person named, which settles it."""
    cameras = archive.cameras if archive else {}
    rigs = archive.rigs if archive else {}
    fitting_cameras = cameras_of(header, cameras)
    camera = fitting_cameras[0] if len(fitting_cameras) == 1 else None
    fitting = [r for r in rigs.values() if r.camera in fitting_cameras and _focal_fits(header, r)]
    if len(fitting) > 1 and header.optic:
        named = [
            r
            for r in fitting
            if (r.optic is not None and same_words(r.optic.name, header.optic)) or same_words(r.name, header.optic)
        ]
        fitting = named or fitting
    if len(fitting) > 1 and header.f_ratio:
        fitting = [r for r in fitting if _ratio_fits(header.f_ratio, r)] or fitting
    label = _fingerprint(header)
    known = camera.name if camera else None
    if rig is not None:
        return Kit(label, rig, header.focal_length_mm, known, named=True)
    if len(fitting) == 1 and (camera or header.focal_length_mm):
        return Kit(label, fitting[0].name, header.focal_length_mm, _camera_name(fitting[0]))
    if not fitting_cameras and len(rigs) == 1 and not (header.camera or header.pixel_size_um):
        return Kit(label, next(iter(rigs)), header.focal_length_mm, None, (), True)
    return Kit(label, None, _rounded(header.focal_length_mm), known, tuple(r.name for r in fitting))


def _camera_name(rig: Rig) -> str | None:
    return rig.camera.name if rig.camera is not None else None


def cameras_of(header: FrameHeader, cameras: Mapping[str, Camera]) -> list[Camera]:
    """The cameras of the archive that fit the header best: one, several alike, or none."""
    scores = {name: _camera_score(header, camera) for name, camera in cameras.items()}
    best = max(scores.values(), default=0)
    return [cameras[name] for name, score in scores.items() if score == best and best >= 4]


def _camera_score(header: FrameHeader, camera: Camera) -> int:
    known = same_camera(camera.name, header.camera) if header.camera else None
    if known is False:  # the table knows both: a 6D Mark II is no 6D, though its name holds the other
        return 0
    score = 8 if known or (header.camera and same_words(camera.name, header.camera)) else 0
    if header.pixel_size_um and camera.pixel_size_um is not None:
        if not pixel_size_fits(header, camera):
            return score
        sizes = {camera.pixel_size_um * n for n in (1, header.binning)}
        exact = any(math.isclose(header.pixel_size_um, size, rel_tol=0.003) for size in sizes)
        score += 6 if exact else 4
    if header.pixels and camera.pixels is not None:
        wide, high = sorted(n * header.binning for n in header.pixels)
        most_wide, most_high = sorted(camera.pixels)
        if wide > 1.02 * most_wide or high > 1.02 * most_high:
            return min(score, 8 if score >= 8 else 0)
        if wide > 0.97 * most_wide and high > 0.97 * most_high:
            score += 4
    # A filter of the set for black-and-white cameras speaks for one.
    broadband = header.filter is not None and filter_key(header.filter) in {"luminance", "red", "green", "blue"}
    colour = False if header.colour is None and broadband else header.colour
    if colour is not None and score:
        score += 1 if colour == camera.colour else -1
    return score


def pixel_size_fits(header: FrameHeader, camera: Camera) -> bool:
    """Whether the written pixel size is the camera's, with its binning included or not, as far as both are known."""
    written, size = header.pixel_size_um, camera.pixel_size_um
    return (
        written is None
        or size is None
        or any(math.isclose(written, size * factor, rel_tol=_PIXEL_SIZE_TOLERANCE) for factor in {1, header.binning})
    )


def focal_length_fits(focal_length_mm: float, rig: Rig) -> bool:
    """Whether a header's focal length is the rig's, with or without its reducer or extender, where that is known."""
    bare = rig.optic.focal_length_mm if rig.optic is not None else None
    return bare is None or any(
        math.isclose(focal_length_mm, f, rel_tol=_FOCAL_LENGTH_TOLERANCE) for f in (bare, bare * rig.focal_factor)
    )


def _focal_fits(header: FrameHeader, rig: Rig) -> bool:
    return header.focal_length_mm is None or focal_length_fits(header.focal_length_mm, rig)


def _ratio_fits(f_ratio: float, rig: Rig) -> bool:
    known, optic = rig.working_f_ratio, rig.optic
    if known is None and optic is not None:
        if optic.focal_length_mm is not None and optic.aperture_mm is not None:
            known = optic.focal_length_mm * rig.focal_factor / optic.aperture_mm
        elif optic.f_ratio is not None:
            known = optic.f_ratio * rig.focal_factor
    return known is not None and math.isclose(f_ratio, known, rel_tol=0.1)


def nearest_place(site: tuple[float, float], places: Mapping[str, Place]) -> str | None:
    """The place within 50 km of a site, the nearest if there are several.

    Some headers count longitude towards the west; that reading is tried when the standard one leads nowhere.
    """
    latitude, longitude = site
    for sign in (1, -1):
        distances = {
            name: EARTH_RADIUS_KM
            * math.radians(separation_deg(sign * longitude, latitude, p.longitude_deg, p.latitude_deg))
            for name, p in places.items()
        }
        name = min(distances, key=lambda n: distances[n], default=None)
        if name is not None and distances[name] <= NEAR_KM:
            return name
    return None


def _fingerprint(header: FrameHeader) -> str:
    pixels = "×".join(str(n * header.binning) for n in header.pixels) if header.pixels else ""
    size = f"{header.pixel_size_um:.2f} µm" if header.pixel_size_um else ""
    return header.camera or " ".join(p for p in (pixels, size) if p) or "a camera without a name"


def _rounded(focal_length_mm: float | None) -> float | None:
    return None if focal_length_mm is None else float(f"{focal_length_mm:.3g}")


def same_words(one: str, other: str) -> bool:
    """Whether two names are one but for spelling, or for a part such as the maker."""
    a, b = ("".join(c for c in text.casefold() if c.isalnum()) for text in (one, other))
    return bool(a) and bool(b) and (a == b or (min(len(a), len(b)) >= 4 and (a in b or b in a)))

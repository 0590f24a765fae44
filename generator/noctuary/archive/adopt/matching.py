"""Which rig and place of the archive a picture was taken with, and what to ask where it has none."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable

from noctuary.archive.adopt.draft_record import Equipped, Sources
from noctuary.archive.adopt.evidence import Evidence
from noctuary.archive.adopt.questions import NOTHING_SAYS
from noctuary.archive.adopt.table_columns import folded
from noctuary.archive.equipment_text import RigProposal
from noctuary.archive.gather.equipment import kit_of, nearest_place
from noctuary.archive.gather.frame_header import FrameHeader
from noctuary.archive.records import Archive, Rig
from noctuary.archive.sensors import same_camera
from noctuary.archive.values import number_text

_NAMED = " (so called in the table)"


def equipped(sources: Sources, archive: Archive) -> Equipped:
    """The rig and the place of one picture, as far as its sources and the archive settle them."""
    stated = sources.stated
    place, place_subject = _place(sources, archive)
    if stated.rig is not None:
        known = _same(stated.rig, archive.rigs)
        if known is not None:
            return Equipped(known, place, place_subject=place_subject)
        return Equipped(None, place, stated.rig + _NAMED, _known_of(sources), place_subject)
    header = FrameHeader(
        path=sources.path,
        camera=stated.camera,
        optic=stated.optic or stated.telescope,
        focal_length_mm=stated.focal_length_mm,
        f_ratio=stated.f_ratio,
        pixel_size_um=stated.pixel_size_um,
    )
    kit = kit_of(header, archive)
    rig = archive.rigs.get(kit.rig) if kit.rig is not None and not kit.assumed else None
    if rig is not None and _is_certain(stated, rig):
        return Equipped(rig.name, place, place_subject=place_subject)
    return Equipped(None, place, _subject(sources), _known_of(sources), place_subject)


def _is_certain(stated: Evidence, rig: Rig) -> bool:
    """Whether a rig that fits may be stated without asking.

    Its camera has the picture's name, with or without the maker: a 6D Mark II is no 6D, and pixels of 3.76 µm are
    in many cameras. A focal length is known and reached by no zoom lens of another name, and no lens was stopped
    down that the rig has wide open; without a focal length the rig has no optic to be wrong about.
    """
    if stated.camera is None or rig.camera is None:
        return False
    known = same_camera(stated.camera, rig.camera.name)
    one, other = folded(stated.camera), folded(rig.camera.name)
    if not (one == other or one.endswith(" " + other) or other.endswith(" " + one) if known is None else known):
        return False
    optic = rig.optic
    if stated.focal_length_mm is None:
        same = optic is not None and stated.optic is not None and folded(stated.optic) == folded(optic.name)
        return optic is None or same
    zoom = stated.optic is not None and re.search(r"\d\s*-\s*\d+(?:\.\d+)?\s*mm", stated.optic)
    if zoom and (optic is None or folded(optic.name) != folded(stated.optic or "")):
        return False
    ratio = _f_ratio(rig)
    return stated.f_ratio is None or ratio is None or math.isclose(stated.f_ratio, ratio, rel_tol=0.1)


def _f_ratio(rig: Rig) -> float | None:
    """The f-ratio at which a rig works, its reducer or extender included."""
    if rig.working_f_ratio is not None or rig.optic is None:
        return rig.working_f_ratio
    if rig.optic.focal_length_mm is not None and rig.optic.aperture_mm is not None:
        return rig.optic.focal_length_mm * rig.focal_factor / rig.optic.aperture_mm
    return rig.optic.f_ratio * rig.focal_factor if rig.optic.f_ratio is not None else None


def _place(sources: Sources, archive: Archive) -> tuple[str | None, str]:
    stated = sources.stated
    if stated.place is not None:
        return _same(stated.place, archive.places), stated.place + _NAMED
    if stated.site is not None:
        near = nearest_place(stated.site, archive.places)
        latitude, longitude = stated.site
        north, east = "N" if latitude >= 0 else "S", "E" if longitude >= 0 else "W"
        return near, f"near {abs(latitude):.0f}° {north} {abs(longitude):.0f}° {east}"
    return None, NOTHING_SAYS


def _same(written: str, names: Iterable[str]) -> str | None:
    return next((name for name in names if folded(name) == folded(written)), None)


def _subject(sources: Sources) -> str:
    stated = sources.stated
    camera = stated.camera or ""
    optic = f"with {stated.optic}" if stated.optic else ""
    body = " ".join(part for part in (camera, optic) if part)
    focal = f"{number_text(float(f'{stated.focal_length_mm:.4g}'))} mm" if stated.focal_length_mm else ""
    return ", ".join(part for part in (body, focal) if part) or NOTHING_SAYS


def _known_of(sources: Sources) -> str:
    stated = sources.stated
    parts = []
    if stated.f_ratio:
        parts.append(f"f/{number_text(round(stated.f_ratio, 2))}")
    if stated.pixel_size_um:
        parts.append(f"{number_text(round(stated.pixel_size_um, 3))} um pixels")
    if stated.telescope:
        parts.append(f"TELESCOP {stated.telescope}")
    if stated.rig is not None:
        parts += [f"camera {stated.camera}"] if stated.camera else []
        parts += [f"optic {stated.optic}"] if stated.optic else []
        parts += [f"{number_text(stated.focal_length_mm)} mm"] if stated.focal_length_mm else []
    return "; ".join(parts)


def proposed_rig(subject: str, lines: Iterable[str]) -> RigProposal | None:
    """The rig that a question is about, from its subject and what the drafts know besides, where they agree."""
    if subject == NOTHING_SAYS:
        return None
    known = [dict(_known(part) for part in line.split("; ") if part) for line in lines]

    def agreed(key: str) -> str | None:
        values = {facts[key] for facts in known if key in facts}
        return values.pop() if len(values) == 1 else None

    if subject.endswith(_NAMED):
        return RigProposal(
            subject.removesuffix(_NAMED), agreed("camera"), agreed("optic"), _float(agreed("focal")),
            _float(agreed("ratio")), _float(agreed("pixels")),
        )  # fmt: skip
    match = re.fullmatch(r"(?P<body>.*?)(?:(?:^|, )(?P<focal>[\d.e+]+) mm)?", subject)
    body, focal = (match["body"], match["focal"]) if match else (subject, None)
    camera, _, optic = f" {body}".partition(" with ")
    camera, optic = camera.strip(), optic.strip()
    name = body + (f" at {focal} mm" if focal and not optic else "") if body else f"{focal} mm"
    return RigProposal(
        name.removeprefix("with "), camera or None, optic or (f"{focal} mm" if focal else None), _float(focal),
        _float(agreed("ratio")), _float(agreed("pixels")),
    )  # fmt: skip


def _known(part: str) -> tuple[str, str]:
    if part.startswith("f/"):
        return "ratio", part[2:]
    if part.endswith(" um pixels"):
        return "pixels", part.removesuffix(" um pixels")
    if part.endswith(" mm"):
        return "focal", part.removesuffix(" mm")
    key, _, value = part.partition(" ")
    return key, value


def _float(text: str | None) -> float | None:
    try:
        return float(text) if text is not None else None
    except ValueError:
        return None

"""What took the frames and is not in equipment.yaml: a rig with its camera and optic, as far as headers tell.

A camera of the table of sensors needs its name alone. The pixels of others are a FITS header's: those that a camera
writes into its own files are a preview's as often as not.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from noctuary.archive.equipment_text import RigProposal, rig_lines
from noctuary.archive.gather.asking import Asking
from noctuary.archive.gather.frame_field import known_sensor
from noctuary.archive.gather.frame_header import FrameHeader, filter_key
from noctuary.archive.gather.sessions import GatheredSession
from noctuary.archive.sensors import sensor_of
from noctuary.archive.values import number_text

_FOR_MONO = {"luminance", "red", "green", "blue"}


def rig_name(sample: FrameHeader) -> str:
    """A name for a rig that the archive lacks, from its header."""
    return f"{_optic_name(sample) or 'new optic'} with {sample.camera or 'new camera'}"


def _optic_name(sample: FrameHeader) -> str | None:
    by_length = f"{number_text(sample.focal_length_mm)} mm" if sample.focal_length_mm else None
    # FITS headers give the name of what points the telescope as often as that of the telescope.
    points = re.search(r"\b(?:mount|driver|simulator|hub)\b", sample.optic or "", re.IGNORECASE)
    return by_length if points and by_length else sample.optic or by_length


def new_rigs(sessions: Sequence[GatheredSession]) -> Mapping[str, RigProposal]:
    """The rigs that the archive lacks, by the name that each may have."""
    rigs: dict[str, RigProposal] = {}
    for session in sessions:
        sample, kit = session.sample, session.kit
        if kit.rig is not None or kit.choices:
            continue
        name = rig_name(sample)
        in_table = sample.camera is not None and sensor_of(sample.camera) is not None
        sensor = None if in_table or kit.known_camera else known_sensor(sample)
        mono = sample.filter is not None and filter_key(sample.filter) in _FOR_MONO
        colour = sample.colour if sample.colour is not None else False if mono else None
        rigs[name] = RigProposal(
            name=name,
            camera=kit.known_camera or sample.camera or (None if sensor is None else "new camera"),
            optic=_optic_name(sample),
            focal_length_mm=sample.focal_length_mm,
            f_ratio=round(sample.f_ratio, 2) if sample.f_ratio else None,
            pixel_size_um=None if sensor is None else sensor.pixel_size_um,
            pixels=None if sensor is None else sensor.pixels,
            colour=None if in_table or kit.known_camera or colour else colour,
        )
    return rigs


def new_equipment_lines(sessions: Sequence[GatheredSession], asking: Asking) -> list[str]:
    """Commented blocks for equipment.yaml: the cameras, optics and rigs that the archive lacks."""
    rigs = {name: rig for name, rig in new_rigs(sessions).items() if asking.first_of_run("equipment", name)}
    if not rigs:
        return []
    known = {s.kit.known_camera for s in sessions if s.kit.known_camera}
    return [
        "#",
        "# equipment.yaml lacks what took these frames. gather --equipment adds these lines to it; or merge them",
        "# yourself, without the “# ”, and name things as you like.",
        *(f"# {line}" for line in rig_lines(rigs, known)),
    ]

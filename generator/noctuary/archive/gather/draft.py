"""The text of a drafted sidecar: what the frames know, and every unknown as a commented question.

A question is a line ``# ? key: suggestion   # what is asked``. To answer it one corrects the suggestion and
deletes the ``# ? ``.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from noctuary.archive.declaration import written_entries, written_line
from noctuary.archive.gather.frame_header import FrameHeader
from noctuary.archive.gather.sessions import GatheredSession, Group
from noctuary.archive.keys import (
    Calibration,
    CameraKeys,
    FrameKeys,
    OpticKeys,
    RigKeys,
    SessionKeys,
    SidecarKeys,
)
from noctuary.archive.values import number_text, text_as_yaml

_NOT_IN_HEADER = "   # ? not in the header"
Entry = tuple[str, str]  # a key and its value as YAML text


def group_entries(group: Group) -> list[Entry]:
    """The keys of a frame group that the frames tell, ``kept`` only where a list of survivors told it."""
    return written_entries(
        FrameKeys,
        exposure_s=group.exposure_s or None,
        taken=group.taken,
        kept=group.kept,
        filter=group.filter or None,
        iso=group.iso,
        gain=group.gain if group.iso is None else None,
        binning=group.binning if 1 < group.binning <= 4 else None,
        sensor_temperature_c=group.sensor_temperature_c,
    )


def group_lines(group: Group, indent: str) -> list[str]:
    """A frame group as an item of ``frames``, with its questions."""
    lines = [f"{key}: {value}" for key, value in group_entries(group)]
    if group.kept is None:
        lines.insert(
            1 + ("taken" not in lines[0]),
            f"# ? {written_line(FrameKeys, kept=group.taken)}   # how many of the {group.taken} are in the picture?",
        )
    if not group.exposure_s:
        asked = written_line(FrameKeys, exposure_s=60)
        lines.append(f"# ? {asked}   # how long was one exposure? the headers do not say")
    if group.asked:
        lines.append("# ? are these lights? neither header nor folder says so; if not, delete this frame group")
    if group.binning > 4:
        most = written_line(FrameKeys, binning=4)
        lines.append(f"# ? {most}   # the headers say {group.binning}; 1 to 4 can be written")
    return [f"{indent}{'- ' if n == 0 else '  '}{line}" for n, line in enumerate(lines)]


def calibration_entries(session: GatheredSession) -> list[Entry]:
    found = session.calibration
    return written_entries(
        Calibration,
        darks=found.darks or None,
        dark_exposure_s=(found.dark_exposure_s or None) if found.darks else None,
        flats=found.flats or None,
        bias=found.bias or None,
        dark_flats=found.dark_flats or None,
    )


def session_lines(
    session: GatheredSession, clock: tuple[str, str], indent: str, *, rig: bool, place: bool
) -> list[str]:
    """A session as an item of ``sessions``; ``rig`` and ``place``: whether they must be written here."""
    inner = indent + "  "
    lines = [f"{indent}- {written_line(SessionKeys, night=session.night)}"]
    lines += [inner + line for line in identity_lines(session, rig=rig, place=place)]
    if session.zone is not None:
        lines += [f'{inner}start: "{clock[0]}"', f'{inner}end: "{clock[1]}"']
    else:
        lines += [
            f'{inner}# ? start: "{clock[0]}"   # by the clock of the headers: what did the one at the place show?',
            f'{inner}# ? end: "{clock[1]}"   # likewise',
        ]
    lines.append(f"{inner}frames:")
    for group in session.groups:
        lines += group_lines(group, inner + "  ")
    entries = calibration_entries(session)
    if entries:
        lines.append(f"{inner}calibration:")
        lines += [f"{inner}  {key}: {value}" for key, value in entries]
        if not session.calibration.flats:
            lines.append(f"{inner}  # ? flats: 0   # how many? none of these frames are")
    else:
        lines.append(f"{inner}# ? calibration: {{darks: 0, flats: 0, bias: 0}}   # how many of each?")
    lines += [f"{inner}# ? {trouble}: were they used?" for trouble in session.calibration.unfitting]
    if session.pauses:
        told = ", ".join(pause_text(p) for p in session.pauses)
        lines.append(f"{inner}# ? note: Paused {told}.   # why?")
    return lines


def pause_text(pause: tuple[datetime, datetime]) -> str:
    begin, end = pause
    return f"{begin:%H:%M}–{end:%H:%M}"


def identity_lines(session: GatheredSession, *, rig: bool, place: bool) -> list[str]:
    return [*(_rig_lines(session) if rig else ()), *(_place_lines(session) if place else ())]


def _rig_lines(session: GatheredSession) -> list[str]:
    kit = session.kit
    name = kit.rig or (kit.choices[0] if kit.choices else rig_name(session.sample))
    line = written_line(SessionKeys, rig_name=name)
    if kit.rig is not None:
        return [line + ("   # ? the only one in equipment.yaml; the headers do not say" if kit.assumed else "")]
    if kit.choices:
        return [f"# ? {line}   # which one? the frames fit {', '.join(kit.choices)}"]
    return [f"# ? {line}   # new; it is drafted at the end of this file"]


def _place_lines(session: GatheredSession) -> list[str]:
    name = session.place or (session.known_places[0] if session.known_places else "home")
    line = written_line(SessionKeys, place_name=name)
    if session.place is not None:
        assumed = f"   # ? {session.place_assumed}; the headers do not say"
        return [line + (assumed if session.place_assumed else "")]
    if session.known_places:
        return [f"# ? {line}   # where was it? places.yaml has {', '.join(session.known_places)}"]
    return [f"# ? {line}   # where was it? a name from places.yaml"]


def sidecar_text(sessions: Sequence[GatheredSession], clocks: Sequence[tuple[str, str]]) -> str:
    """A whole sidecar for sessions of one target."""
    first = sessions[0]
    frames = sum(s.frames for s in sessions)
    nights = sorted({s.night for s in sessions})
    when = nights[0].isoformat() if len(nights) == 1 else f"{nights[0]} to {nights[-1]}"
    one_rig = len({(s.kit.rig, s.kit.camera) for s in sessions}) == 1
    one_place = len({s.place for s in sessions}) == 1
    lines = [
        f"# Drafted from the headers of {frames} frames, {when}.",
        "# Lines that begin with “# ?” are questions: correct the answer and delete the “# ? ”.",
        "# With the finished picture, put this file into pictures/, both under the same name.",
    ]
    title = first.target or "Untitled"
    lines.append(f"# ? {written_line(SidecarKeys, title=title)}   # what is the picture called?")
    objects = written_line(SidecarKeys, objects=(first.target or "M 42",))
    if first.target is None:
        lines.append(f"# ? {objects}   # what is in the picture? the first is the target")
    elif first.target_guessed:
        lines.append(f"# ? {objects}   # so the folder is called; what is in the picture?")
    else:
        lines.append(objects)
    finished = written_line(SidecarKeys, finished=nights[-1] + timedelta(days=1))
    lines.append(f"# ? {finished}   # when was the picture finished?")
    lines += identity_lines(first, rig=one_rig, place=one_place)
    lines.append("sessions:")
    for session, clock in zip(sessions, clocks, strict=True):
        lines += session_lines(session, clock, "  ", rig=not one_rig, place=not one_place)
    lines.append("# ? alt:   # what should a person who cannot see the picture be told?")
    lines += new_equipment_lines(sessions)
    return "\n".join(lines) + "\n"


def rig_name(sample: FrameHeader) -> str:
    """A name for a rig that the archive lacks, from its header."""
    camera = sample.camera or "new camera"
    return f"{optic_name(sample)} with {camera}"


def optic_name(sample: FrameHeader) -> str:
    return sample.optic or (f"{number_text(sample.focal_length_mm)} mm" if sample.focal_length_mm else "new optic")


def camera_name(sample: FrameHeader) -> str:
    return sample.camera or "new camera"


def new_equipment_lines(sessions: Sequence[GatheredSession]) -> list[str]:
    """Commented blocks for equipment.yaml: the cameras, optics and rigs that the archive lacks."""
    lines: list[str] = []
    drafted: set[str] = set()
    for session in sessions:
        kit, sample = session.kit, session.sample
        name = rig_name(sample)
        if kit.rig is not None or kit.choices or name in drafted:
            continue
        drafted.add(name)
        lines += [
            "#",
            "# equipment.yaml lacks what took these frames. Merge this into it, without the “# ”, and name",
            "# things as you like; what a header left out is marked.",
        ]
        camera = kit.known_camera or camera_name(sample)
        if kit.known_camera is None:
            lines += ["# cameras:", f"#   {text_as_yaml(camera)}:"]
            lines += [f"#     {part}" for part in _camera_parts(sample)]
        focal = written_line(OpticKeys, focal_length_mm=sample.focal_length_mm or 480)
        opening = {"f_ratio": round(sample.f_ratio, 2)} if sample.f_ratio else {"aperture_mm": 80}
        lines += [
            "# optics:",
            f"#   {text_as_yaml(optic_name(sample))}:",
            f"#     {focal}{'' if sample.focal_length_mm else _NOT_IN_HEADER}",
            f"#     {written_line(OpticKeys, **opening)}{'' if sample.f_ratio else _NOT_IN_HEADER}",
            "# rigs:",
            f"#   {text_as_yaml(name)}:",
            f"#     {written_line(RigKeys, optic_name=optic_name(sample))}",
            f"#     {written_line(RigKeys, camera_name=camera)}",
        ]
    return lines


def _camera_parts(sample: FrameHeader) -> list[str]:
    if sample.pixels:
        wide, high = sample.pixels
        parts = [written_line(CameraKeys, pixels=(wide * sample.binning, high * sample.binning))]
    else:
        parts = [written_line(CameraKeys, pixels=(6000, 4000)) + _NOT_IN_HEADER]
    if sample.pixel_size_um is None:
        parts.append(written_line(CameraKeys, pixel_size_um=3.76) + _NOT_IN_HEADER)
    else:
        binned = f"   # ? {number_text(sample.pixel_size_um)} um in a header of binned frames"
        unbinned = round(sample.pixel_size_um / sample.binning, 3) if sample.binning > 1 else sample.pixel_size_um
        parts.append(written_line(CameraKeys, pixel_size_um=unbinned) + (binned if sample.binning > 1 else ""))
    asked = "   # ? mono or colour" if sample.colour is None else ""
    return [*parts, written_line(CameraKeys, colour=bool(sample.colour)) + asked]

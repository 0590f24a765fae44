"""The text of a drafted sidecar: what the frames know, and every unknown as a commented question.

A question is a line ``# ? key: suggestion   # what is asked``. To answer it one corrects the suggestion and
deletes the ``# ? ``.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from datetime import date, datetime, timedelta

from noctuary.archive.gather.frame_header import FrameHeader
from noctuary.archive.gather.sessions import GatheredSession, Group

Entry = tuple[str, str]  # a key and its value as YAML text


def scalar(text: str) -> str:
    """Text as a YAML scalar, quoted only where YAML would read something else, in block and in flow."""
    plain = re.fullmatch(r"[^\W\d_](?:[\w .+/()°-]*[\w.+/)])?", text)
    if plain and text.casefold() not in {"yes", "no", "on", "off", "true", "false", "null", "y", "n", "none"}:
        return text
    return json.dumps(text, ensure_ascii=False)


def number(value: float) -> str:
    return f"{value:.10g}" if value != int(value) or abs(value) >= 1e15 else str(int(value))


def exposure_text(exposure_s: float) -> str:
    return f"{number(float(f'{exposure_s:.6g}'))} s"


def group_entries(group: Group) -> list[Entry]:
    """The keys of a frame group that the frames tell, ``kept`` only where a list of survivors told it."""
    entries: list[Entry] = []
    if group.exposure_s:
        entries.append(("exposure", exposure_text(group.exposure_s)))
    entries.append(("taken", str(group.taken)))
    if group.kept is not None:
        entries.append(("kept", str(group.kept)))
    if group.filter:
        entries.append(("filter", scalar(group.filter)))
    if group.iso is not None:
        entries.append(("iso", number(group.iso)))
    elif group.gain is not None:
        entries.append(("gain", number(group.gain)))
    if 1 < group.binning <= 4:
        entries.append(("binning", str(group.binning)))
    if group.sensor_temperature_c is not None:
        entries.append(("sensor_temperature", f"{number(group.sensor_temperature_c)} °C"))
    return entries


def group_lines(group: Group, indent: str) -> list[str]:
    """A frame group as an item of ``frames``, with its questions."""
    lines = [f"{key}: {value}" for key, value in group_entries(group)]
    if group.kept is None:
        lines.insert(
            1 + ("taken" not in lines[0]),
            f"# ? kept: {group.taken}   # how many of the {group.taken} are in the picture?",
        )
    if not group.exposure_s:
        lines.append("# ? exposure: 60 s   # how long was one exposure? the headers do not say")
    if group.asked:
        lines.append("# ? are these lights? neither header nor folder says so; if not, delete this frame group")
    if group.binning > 4:
        lines.append(f"# ? binning: 4   # the headers say {group.binning}; 1 to 4 can be written")
    return [f"{indent}{'- ' if n == 0 else '  '}{line}" for n, line in enumerate(lines)]


def calibration_entries(session: GatheredSession) -> list[Entry]:
    found = session.calibration
    entries: list[Entry] = []
    if found.darks:
        entries.append(("darks", str(found.darks)))
        if found.dark_exposure_s:
            entries.append(("dark_exposure", exposure_text(found.dark_exposure_s)))
    entries += [
        (key, str(count))
        for key, count in (("flats", found.flats), ("bias", found.bias), ("dark_flats", found.dark_flats))
        if count
    ]
    return entries


def session_lines(
    session: GatheredSession, clock: tuple[str, str], indent: str, *, rig: bool, place: bool
) -> list[str]:
    """A session as an item of ``sessions``; ``rig`` and ``place``: whether they must be written here."""
    inner = indent + "  "
    lines = [f"{indent}- night: {session.night.isoformat()}"]
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
    lines = []
    kit = session.kit
    if rig:
        if kit.rig is not None and not kit.assumed:
            lines.append(f"rig: {scalar(kit.rig)}")
        elif kit.rig is not None:
            lines.append(f"rig: {scalar(kit.rig)}   # ? the only one in equipment.yaml; the headers do not say")
        elif kit.choices:
            names = ", ".join(kit.choices)
            lines.append(f"# ? rig: {scalar(kit.choices[0])}   # which one? the frames fit {names}")
        else:
            lines.append(
                f"# ? rig: {scalar(rig_name(session.sample))}   # new; it is drafted at the end of this file"
            )
    if place:
        if session.place is not None and session.place_assumed:
            lines.append(f"place: {scalar(session.place)}   # ? {session.place_assumed}; the headers do not say")
        elif session.place is not None:
            lines.append(f"place: {scalar(session.place)}")
        elif session.known_places:
            names = ", ".join(session.known_places)
            lines.append(f"# ? place: {scalar(session.known_places[0])}   # where was it? places.yaml has {names}")
        else:
            lines.append("# ? place: home   # where was it? a name from places.yaml")
    return lines


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
    lines.append(f"# ? title: {scalar(title)}   # what is the picture called?")
    if first.target is None:
        lines.append("# ? objects: [M 42]   # what is in the picture? the first is the target")
    elif first.target_guessed:
        lines.append(f"# ? objects: [{scalar(first.target)}]   # so the folder is called; what is in the picture?")
    else:
        lines.append(f"objects: [{scalar(first.target)}]")
    finished: date = nights[-1] + timedelta(days=1)
    lines.append(f"# ? finished: {finished.isoformat()}   # when was the picture finished?")
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
    return sample.optic or (f"{number(sample.focal_length_mm)} mm" if sample.focal_length_mm else "new optic")


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
            lines += ["# cameras:", f"#   {scalar(camera)}:", *(f"#     {part}" for part in _camera_parts(sample))]
        focal = f"{number(sample.focal_length_mm)} mm" if sample.focal_length_mm else "480 mm   # ? not in the header"
        aperture = (
            f"f_ratio: {number(round(sample.f_ratio, 2))}"
            if sample.f_ratio
            else "aperture: 80 mm   # ? not in the header"
        )
        lines += [
            "# optics:",
            f"#   {scalar(optic_name(sample))}:",
            f"#     focal_length: {focal}",
            f"#     {aperture}",
            "# rigs:",
            f"#   {scalar(name)}:",
            f"#     optic: {scalar(optic_name(sample))}",
            f"#     camera: {scalar(camera)}",
        ]
    return lines


def _camera_parts(sample: FrameHeader) -> list[str]:
    parts = []
    if sample.pixels:
        wide, high = (n * sample.binning for n in sample.pixels)
        parts.append(f"pixels: [{wide}, {high}]")
    else:
        parts.append("pixels: [6000, 4000]   # ? not in the header")
    if sample.pixel_size_um is None:
        parts.append("pixel_size: 3.76 um   # ? not in the header")
    elif sample.binning > 1:
        unbinned = number(round(sample.pixel_size_um / sample.binning, 3))
        parts.append(
            f"pixel_size: {unbinned} um   # ? {number(sample.pixel_size_um)} um in a header of binned frames"
        )
    else:
        parts.append(f"pixel_size: {number(sample.pixel_size_um)} um")
    if sample.colour is None:
        parts.append("colour: mono   # ? mono or colour")
    else:
        parts.append(f"colour: {'colour' if sample.colour else 'mono'}")
    return parts

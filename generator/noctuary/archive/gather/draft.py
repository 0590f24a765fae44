"""The text of a drafted sidecar: what the frames know, and what they do not as a question in a comment."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from noctuary.archive.declaration import written_entries, written_line
from noctuary.archive.gather.asking import LIKEWISE, Asking
from noctuary.archive.gather.equipment import same_words
from noctuary.archive.gather.new_equipment import new_equipment_lines, rig_name
from noctuary.archive.gather.sessions import GatheredSession, Group
from noctuary.archive.keys import Calibration, FrameKeys, SessionKeys, SidecarKeys

_IF_NOT = "if they are darks, put them into a folder “darks” and gather again"
NO_PLACE_YET = "universal time; start and end need a place (gather --place)"
DRAFTED = "# Drafted from"
"""How every draft begins."""
Entry = tuple[str, str]  # a key and its value as YAML text


def group_entries(group: Group) -> list[Entry]:
    """The keys of a frame group that the frames give, ``kept`` only from a list of survivors."""
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


def group_lines(group: Group, indent: str, asking: Asking) -> list[str]:
    """A frame group as an item of ``frames``, with its questions."""
    lines = [f"{key}: {value}" for key, value in group_entries(group)]
    if group.kept is None:
        lines.insert(1 + (group.taken is not None and "taken" not in lines[0]), _kept_line(group, asking))
    if not group.exposure_s:
        first = asking.first_of_draft("exposure")
        why = "   # how long was one exposure? the headers do not say" if first else LIKEWISE
        lines.append(f"# ? {written_line(FrameKeys, exposure_s=60)}{why}")
    if group.asked and asking.first_of_draft("lights"):
        lines.append(f"# ? are these lights? nothing says so; {_IF_NOT}")
    if group.binning > 4:
        most = written_line(FrameKeys, binning=4)
        lines.append(f"# ? {most}   # the headers say {group.binning}; 1 to 4 can be written")
    return [f"{indent}{'- ' if n == 0 else '  '}{line}" for n, line in enumerate(lines)]


def _kept_line(group: Group, asking: Asking) -> str:
    line = f"# ? {written_line(FrameKeys, kept=group.proposed)}"
    if not asking.first_of_draft("kept"):
        return line + (f"   # {group.proposed_why}" if group.proposed_why else "") + LIKEWISE
    if group.proposed_why:
        return f"{line}   # {group.proposed_why}: how many are in the picture?"
    return f"{line}   # how many of the {group.taken} are in the picture? gather --kept LIST answers this everywhere"


def calibration_entries(session: GatheredSession) -> list[Entry]:
    matched = session.calibration
    return written_entries(
        Calibration,
        darks=matched.darks or None,
        dark_exposure_s=(matched.dark_exposure_s or None) if matched.darks else None,
        flats=matched.flats or None,
        bias=matched.bias or None,
        dark_flats=matched.dark_flats or None,
    )


def session_lines(
    session: GatheredSession, clock: tuple[str, str], indent: str, asking: Asking, *, rig: bool, place: bool
) -> list[str]:
    """A session as an item of ``sessions``; ``rig`` and ``place``: whether they must be written here."""
    inner = indent + "  "
    lines = [f"{indent}- {written_line(SessionKeys, night=session.night)}"]
    lines += [inner + line for line in identity_lines(session, asking, rig=rig, place=place)]
    lines += [] if session.stacked else [inner + line for line in _time_lines(session, clock)]
    if session.integration_s is not None:
        lines.append(f"{inner}{written_line(SessionKeys, stated_integration_s=session.integration_s)}")
    elif session.groups:
        lines.append(f"{inner}frames:")
    for group in session.groups:
        lines += group_lines(group, inner + "  ", asking)
    entries = calibration_entries(session)
    if entries:
        lines.append(f"{inner}calibration:")
        lines += [f"{inner}  {key}: {value}" for key, value in entries]
    lines += [
        f"{inner}# ? {trouble}: were they used?"
        for trouble in session.calibration.unfitting
        if asking.first_of_run(session.night, trouble)
    ]
    if session.pauses:
        lines.append(f"{inner}# Paused {', '.join(pause_text(p) for p in session.pauses)}.")
    return lines


def _time_lines(session: GatheredSession, clock: tuple[str, str]) -> list[str]:
    if session.clock == "universal":
        return [f"# {clock[0]} to {clock[1]} {NO_PLACE_YET}"]
    return [f'start: "{clock[0]}"', f'end: "{clock[1]}"']


def pause_text(pause: tuple[datetime, datetime]) -> str:
    begin, end = pause
    return f"{begin:%H:%M}–{end:%H:%M}"


def identity_lines(session: GatheredSession, asking: Asking, *, rig: bool, place: bool) -> list[str]:
    return [*(_rig_lines(session, asking) if rig else ()), *(_place_lines(session, asking) if place else ())]


def _rig_lines(session: GatheredSession, asking: Asking) -> list[str]:
    kit = session.kit
    name = kit.rig or (kit.choices[0] if kit.choices else rig_name(session.sample))
    line = written_line(SessionKeys, rig_name=name)
    if kit.rig is not None:
        return [line + _why_this_rig(session)]
    if not asking.first_of_run("rig", session.rig_key):
        return []
    if kit.choices:
        return [f"# ? {line}   # which one? the frames fit {', '.join(kit.choices)}"]
    return [f"# ? {line}   # new; gather --equipment adds what is at the end of this file to equipment.yaml"]


def _why_this_rig(session: GatheredSession) -> str:
    """What speaks for a rig whose camera the headers do not call by its name."""
    kit, camera = session.kit, session.sample.camera
    if kit.assumed:
        return "   # the only one in equipment.yaml; the headers do not say"
    if camera and kit.known_camera and not kit.named and not same_words(camera, kit.known_camera):
        return f"   # by pixels and focal length; the headers call the camera {camera}"
    return ""


def _place_lines(session: GatheredSession, asking: Asking) -> list[str]:
    if session.place is not None:
        line = written_line(SessionKeys, place_name=session.place)
        return [line + (f"   # {session.place_assumed}; the headers do not say" if session.place_assumed else "")]
    if not asking.first_of_run("place", session.night):
        return []
    if not session.known_places:
        return ["# Where it was can be found once places.yaml has the place: write it there and gather again."]
    line, listed = written_line(SessionKeys, place_name=session.known_places[0]), ", ".join(session.known_places)
    return [f"# ? {line}   # where was it? places.yaml has {listed}; gather --place NAME answers it for all"]


def sidecar_text(
    sessions: Sequence[GatheredSession], clocks: Sequence[tuple[str, str]], asking: Asking, preview: str | None = None
) -> str:
    """A whole sidecar for sessions of one target; ``preview`` is the name of a small picture beside it."""
    first = sessions[0]
    target = first.target
    frames = sum(s.frames for s in sessions)
    nights = sorted({s.night for s in sessions})
    when = nights[0].isoformat() if len(nights) == 1 else f"{nights[0]} to {nights[-1]}"
    one_rig = len({s.rig_key for s in sessions}) == 1
    one_place = len({s.place for s in sessions}) == 1
    source = f"the headers of {frames} frames" if frames else "the header of a finished stack"
    lines = [
        f"{DRAFTED} {source}, {when}." + (f" What they show: {preview}" if preview else ""),
        "# Lines that begin with “# ?” are questions: correct the answer and delete the “# ? ”.",
        "# With the finished picture, put this file into pictures/, both under the same name.",
        written_line(SidecarKeys, title=target.title),
        *_object_lines(first, asking),
    ]
    finished = written_line(SidecarKeys, finished=nights[-1] + timedelta(days=1))
    lines.append(f"# ? {finished}   # when was the picture finished?")
    lines += identity_lines(first, asking, rig=one_rig, place=one_place)
    lines.append("sessions:")
    for session, clock in zip(sessions, clocks, strict=True):
        lines += session_lines(session, clock, "  ", asking, rig=not one_rig, place=not one_place)
    lines.append("# alt: what a person who cannot see the picture should be told")
    lines += new_equipment_lines(sessions, asking)
    return "\n".join(lines) + "\n"


def _object_lines(session: GatheredSession, asking: Asking) -> list[str]:
    target = session.target
    line = written_line(SidecarKeys, objects=(target.name or "M 42",))
    if target.name is None and all(g.asked for g in session.groups) and asking.first_of_draft("lights"):
        lines = [f"# ? {line}   # what is in the picture? {_IF_NOT}"]
    elif target.name is None:
        lines = [f"# ? {line}   # what is in the picture (first the target), and what is it called?"]
    elif not target.sure:
        lines = [f"# ? {line}   # {target.evidence}; what is in the picture?"]
    else:
        lines = [line + (f"   # {target.evidence}" if target.evidence else "")]
    if target.panel is not None:
        lines.append(f"# Panel {target.panel} of a mosaic, whose record names them all: panels: [one-id, another-id]")
    return lines

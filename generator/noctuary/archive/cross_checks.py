"""Keys of one record that must agree: one of two that must be there, two that exclude each other.

These look at what is written, not at what it reads as, so that they are told together with the faults
of the single values.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from typing import TypeAlias

from noctuary import quantity
from noctuary.archive import schema_models as w
from noctuary.archive.did_you_mean import nearest
from noctuary.archive.marked_yaml import Path, Plain, Spot, Written
from noctuary.diagnostic import Diagnostic, Mark, fault

Problem: TypeAlias = tuple[Path, Diagnostic]


def disagreements(plain: Plain, kind: str, written: Written, name: str) -> Iterator[Problem]:
    """Faults between the keys of one file, each with the path of what it makes useless."""
    if kind == "equipment":
        yield from _optics(plain, written, name)
    elif kind == "sidecar" and isinstance(plain, dict):
        yield from _sessions_or_builds_on(plain, written, name)
        yield from _rig_and_place(plain, written, name)
        yield from _gain_or_iso(plain, written, name)


def _problem(path: Path, written: Written, name: str, rule: str, message: str, hint: str) -> Problem:
    spot: Spot = written.keys.get(path) or written.places.get(path, (1, 1))
    return path, fault(Mark(name, *spot), rule, message, hint)


def _sessions_or_builds_on(plain: Mapping[str, Plain], written: Written, name: str) -> Iterator[Problem]:
    if not _meant(plain, ("sessions", "builds_on"), w.WrittenSidecar):
        message = "neither “sessions” nor “builds_on” is written"
        yield _problem((), written, name, "missing-key", message, "write sessions: with a night and its frames")
    elif not any(plain.get(key) for key in ("sessions", "builds_on")):
        for key in ("sessions", "builds_on"):
            if plain.get(key, "") in (None, []):
                hint = "write one session at least, or the pictures that this one builds on"
                yield _problem((key,), written, name, "empty", f"“{key}” says nothing", hint)
                return


def _rig_and_place(plain: Mapping[str, Plain], written: Written, name: str) -> Iterator[Problem]:
    for number, session in enumerate(_items(plain.get("sessions"))):
        for key in ("rig", "place"):
            if not isinstance(session, dict) or plain.get(key) is not None or session.get(key) is not None:
                continue
            if not _meant(session, (key,), w.WrittenSession) and not _meant(plain, (key,), w.WrittenSidecar):
                message = f"neither the session nor the picture names a {key}"
                hint = f"write {key}: here, or above for all sessions"
                yield _problem(("sessions", number), written, name, "missing-key", message, hint)


def _gain_or_iso(plain: Mapping[str, Plain], written: Written, name: str) -> Iterator[Problem]:
    rule, hint = "both-gain-and-iso", "keep the one that the camera has"
    for number, session in enumerate(_items(plain.get("sessions"))):
        if not isinstance(session, dict):
            continue
        for row, frames in enumerate(_items(session.get("frames"))):
            if _both(frames, "gain", "iso"):
                path: Path = ("sessions", number, "frames", row, "iso")
                yield _problem(path, written, name, rule, "gain and iso are both written", hint)
        if _both(session.get("calibration"), "dark_gain", "dark_iso"):
            path = ("sessions", number, "calibration", "dark_iso")
            yield _problem(path, written, name, rule, "dark_gain and dark_iso are both written", hint)


def _optics(plain: Plain, written: Written, name: str) -> Iterator[Problem]:
    optics = plain.get("optics") if isinstance(plain, dict) else None
    for optic_name, optic in optics.items() if isinstance(optics, dict) else ():
        if not isinstance(optic, dict):
            continue
        path: Path = ("optics", optic_name)
        if not _meant(optic, ("aperture", "f_ratio"), w.WrittenOptic):
            message = "neither “aperture” nor “f_ratio” is written"
            place = written.places.get(path, (1, 1))
            yield (
                path,
                fault(Mark(name, *place), "missing-key", message, "write one of them, such as aperture: 80 mm"),
            )
            continue
        try:
            length, width = (quantity.read(_text(optic, key), quantity.FOCAL) for key in ("focal_length", "aperture"))
            ratio = quantity.read_number(_text(optic, "f_ratio").strip().removeprefix("f/"))
        except quantity.NotAQuantity:
            continue  # not written, or told by itself
        if min(length, width, ratio) > 0 and not 1 / 1.05 <= length / width / ratio <= 1.05:
            message = f"{length:g} mm / {width:g} mm is f/{length / width:.3g}, not f/{ratio:g}"
            hint = "correct one of the two, or keep only the one that you know"
            yield _problem((*path, "f_ratio"), written, name, "aperture-disagrees", message, hint)


def _meant(mapping: Mapping[str, Plain], keys: Collection[str], model: type[w.Written]) -> bool:
    """Whether one of the keys is written, or misspelt: then the unknown key is told, and that is enough."""
    if any(key in mapping for key in keys):
        return True
    known = list(model.model_fields)
    unknown = [key for key in mapping if key not in model.model_fields][:20]
    return any(nearest(key, known, most=1) in keys for key in unknown)


def _both(mapping: Plain, one: str, other: str) -> bool:
    return isinstance(mapping, dict) and mapping.get(one) is not None and mapping.get(other) is not None


def _items(value: Plain) -> list[Plain]:
    return value if isinstance(value, list) else []


def _text(mapping: Mapping[str, Plain], key: str) -> str:
    value = mapping.get(key)
    return value if isinstance(value, str) else ""

"""Keys of one record that must agree: two that exclude each other, two that say the same.

These look at what is written, not at what it reads as, so that they are reported together with the faults
of the single values.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TypeAlias

from noctuary import quantity
from noctuary.archive.declaration import declared_keys
from noctuary.archive.did_you_mean import nearest
from noctuary.archive.keys import PlacementKeys
from noctuary.archive.marked_yaml import Path, Written
from noctuary.archive.yaml_node import Plain, Spot
from noctuary.diagnostic import Diagnostic, Mark, fault

Problem: TypeAlias = tuple[Path, Diagnostic]


def disagreements(plain: Plain, kind: str, written: Written, name: str) -> Iterator[Problem]:
    """Faults between the keys of one file, each with the path of what it makes useless."""
    if kind == "equipment":
        yield from _optics(plain, written, name)
    elif kind == "sidecar" and isinstance(plain, dict):
        yield from _mosaic_or_version(plain, written, name)
        yield from _frames_or_integration(plain, written, name)
        yield from _gain_or_iso(plain, written, name)
        yield from _numbers_or_header(plain.get("placement"), written, name)


def _problem(path: Path, written: Written, name: str, rule: str, message: str, hint: str) -> Problem:
    spot: Spot = written.keys.get(path) or written.places.get(path, (1, 1))
    return path, fault(Mark(name, *spot), rule, message, hint)


def _mosaic_or_version(plain: Mapping[str, Plain], written: Written, name: str) -> Iterator[Problem]:
    if plain.get("panels") and plain.get("builds_on"):
        message = "panels and builds_on are both written"
        hint = "keep panels: for pictures that lie side by side, builds_on: for the same view with more light"
        yield _problem(("panels",), written, name, "both-panels-and-builds-on", message, hint)


def _frames_or_integration(plain: Mapping[str, Plain], written: Written, name: str) -> Iterator[Problem]:
    for number, session in enumerate(_items(plain.get("sessions"))):
        if _both(session, "frames", "integration"):
            path: Path = ("sessions", number, "integration")
            message = "frames and integration are both written"
            hint = "keep the frames: what they come to is worked out"
            yield _problem(path, written, name, "both-frames-and-integration", message, hint)


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


def _numbers_or_header(placement: Plain, written: Written, name: str) -> Iterator[Problem]:
    if not isinstance(placement, dict):
        return
    numbers = ("centre", "image_scale", "position_angle")
    if "header" in placement:
        for key in (*numbers, "mirrored"):
            if placement.get(key) is not None:
                message, hint = f"{key} is written beside header", "keep the numbers, or the header that has them"
                yield _problem(("placement", key), written, name, "both-numbers-and-header", message, hint)
        return
    declared = declared_keys(PlacementKeys)
    # A misspelt key is named by itself with the right word.
    misspelt = {nearest(key, list(declared), most=1) for key in placement if key not in declared}
    for key in numbers:
        if placement.get(key) is None and key not in misspelt:
            spot = written.places.get(("placement", key)) or written.places[("placement",)]
            hint = f"write {key}: {declared[key].meaning}"
            yield ("placement",), fault(Mark(name, *spot), "missing-key", f"“{key}” is missing", hint)


def _optics(plain: Plain, written: Written, name: str) -> Iterator[Problem]:
    optics = plain.get("optics") if isinstance(plain, dict) else None
    for optic_name, optic in optics.items() if isinstance(optics, dict) else ():
        if not isinstance(optic, dict):
            continue
        path: Path = ("optics", optic_name)
        try:
            length, width = (quantity.read(_text(optic, key), quantity.FOCAL) for key in ("focal_length", "aperture"))
            ratio = quantity.read_number(_text(optic, "f_ratio").strip().removeprefix("f/"))
        except quantity.NotAQuantity:
            continue  # not written, or reported by itself
        if min(length, width, ratio) > 0 and not 1 / 1.05 <= length / width / ratio <= 1.05:
            message = f"{length:g} mm / {width:g} mm is f/{length / width:.3g}, not f/{ratio:g}"
            hint = "correct one of the two, or keep only the one that you know"
            yield _problem((*path, "f_ratio"), written, name, "aperture-disagrees", message, hint)


def _both(mapping: Plain, one: str, other: str) -> bool:
    return isinstance(mapping, dict) and mapping.get(one) is not None and mapping.get(other) is not None


def _items(value: Plain) -> list[Plain]:
    return value if isinstance(value, list) else []


def _text(mapping: Mapping[str, Plain], key: str) -> str:
    value = mapping.get(key)
    return value if isinstance(value, str) else ""

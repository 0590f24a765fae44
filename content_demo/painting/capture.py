"""What the records of the demo say of a picture: its sessions, its noise, its stars."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import yaml

ARCHIVE = Path(__file__).parent.parent
REFERENCE_SCALE = 4.125  # arcsec per pixel of the unit of surface brightness


def quantity(text: Any) -> float:
    return float(str(text).split()[0])


def record(name: str) -> dict[str, Any]:
    loaded: dict[str, Any] = yaml.safe_load((ARCHIVE / "pictures" / f"{name}.yaml").read_text())
    return loaded


def sessions(name: str) -> list[tuple[dict[str, Any], float]]:
    """Every session in a picture with its rig's aperture in mm, those of what it builds on included."""
    gear = yaml.safe_load((ARCHIVE / "equipment.yaml").read_text())
    sidecar = record(name)
    found = []
    for session in sidecar.get("sessions", []):
        rig = gear["rigs"][session.get("rig", sidecar["rig"])]
        optic = gear["optics"][rig["optic"]]
        if "f_ratio" in rig:
            aperture = quantity(optic["focal_length"]) / rig["f_ratio"]
        else:
            aperture = quantity(optic["aperture"])
        found.append((session, aperture))
    for part in [*sidecar.get("builds_on", []), *sidecar.get("panels", [])]:
        found += sessions(part)
    return found


def grain(name: str, scale: float) -> tuple[float, float, dict[str, float]]:
    """Noise per pixel in surface brightness, the stars' width in arcseconds, and hours by filter."""
    hours: dict[str, float] = {}
    light = sky = width = total = 0.0
    for session, aperture in sessions(name):
        for group in session["frames"]:
            h = group["kept"] * quantity(group["exposure"]) / 3600
            kind = group.get("filter", "none")
            hours[kind] = hours.get(kind, 0.0) + h
            # A narrow filter keeps out the sky as well as most of the light: it counts double for what it shows.
            light += h * (aperture / 80) ** 2 * (2.0 if kind in ("H-alpha", "OIII") else 1.0)
            sky += h * session["sky_brightness"]
            width += h * quantity(session["star_width"])
            total += h
    if record(name).get("resampling") == 0.5 and name.startswith("andromeda-2"):
        light /= 2  # two panels side by side
    noise = 0.0062 / math.sqrt(light) * 10 ** (0.2 * (21.0 - sky / total)) * REFERENCE_SCALE / scale
    return noise, width / total, hours


def angle_of(text: str) -> tuple[float, float]:
    """Degrees of a written ``06h32m00s +04d57m00s``."""
    first, second = text.split()
    h, m, s = (float(v) for v in first.replace("h", " ").replace("m", " ").replace("s", " ").split())
    d, dm, ds = (float(v) for v in second.lstrip("+-").replace("d", " ").replace("m", " ").replace("s", " ").split())
    sign = -1 if second.startswith("-") else 1
    return 15 * (h + m / 60 + s / 3600), sign * (d + dm / 60 + ds / 3600)

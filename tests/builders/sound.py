"""An archive with nothing to tell, whose lines and columns tests of damage count; its pictures are empty files."""

from __future__ import annotations

from pathlib import Path

from tests.builders.folders import written

SIDECAR = """\
title: The Rosette, second winter
objects: [NGC 2238, NGC 2244]
finished: 2025-02-09
rig: short refractor
place: home
sessions:
  - night: 2025-01-18
    start: 19:40
    end: "23:55"
    frames:
      - {filter: H-alpha, exposure: 180 s, taken: 62, kept: 55, gain: 100}
      - exposure: 1.5 min
        kept: 20
    calibration: {darks: 30, dark_gain: 100}
    star_width: 2.6 arcsec
placement:
  centre: "06h32m00s +04d57m00s"
  image_scale: 2.1 arcsec
  position_angle: 12.4 deg
  mirrored: no
tags: [winter]
listed: yes
"""
FILES = {
    "archive.yaml": "title: Winter work\nauthor: A. Person\naddress: https://example.org/\nhorizon: 25 deg\n",
    "equipment.yaml": """\
cameras:
  mono camera: {pixels: [4656, 3520], pixel_size: 3.8 um, colour: mono}
optics:
  small refractor: {focal_length: 480 mm, aperture: 80 mm}
rigs:
  short refractor:
    optic: small refractor
    camera: mono camera
""",
    "places.yaml": "home:\n  latitude: 51.2 deg\n  longitude: -3.1 deg\n  time_zone: Europe/London\n",
    "objects.yaml": 'Garden Comet:\n  kind: comet\nSmall Cloud:\n  coordinates: "05h41m00s -02d27m00s"\n',
    "pictures/rosette-2025.yaml": SIDECAR,
    "pictures/rosette-2025.jpg": "",
    "pictures/older/rosette-2024.yaml": SIDECAR.replace("second", "first"),
    "pictures/older/rosette-2024.png": "",
    "nights/2025-01-18.md": "---\nplace: home\ntemperature: -2 °C\n---\nCold and still.\n",
    "exhibits/winter.yaml": "title: Winter\npictures:\n  - rosette-2025: the better one\n  - rosette-2024\n",
    "pages/about.md": "# About\n\nWords.\n",
}
S = "pictures/rosette-2025.yaml"
O = "pictures/older/rosette-2024.yaml"  # noqa: E741


def sound_archive(folder: Path) -> Path:
    return written(folder, FILES)

"""An archive as half a life fills it: years of pictures with several rigs, placed on the sky, the same every time."""

from __future__ import annotations

import random
from datetime import date, timedelta
from pathlib import Path

from noctuary.sky.catalogue import Catalogue

from tests.builders.folders import written

_TEXTS = {
    "archive.yaml": "title: Half a life\nauthor: A. Person\naddress: https://example.org/\nhorizon: 0 deg\n",
    "equipment.yaml": """\
cameras:
  mono camera: {pixels: [4000, 3000], pixel_size: 3.8 um, colour: mono}
  colour camera: {pixels: [6000, 4000], pixel_size: 3.9 um, colour: colour}
optics:
  wide lens: {focal_length: 50 mm, f_ratio: 2.8}
  fast lens: {focal_length: 135 mm, f_ratio: 2.8}
  small refractor: {focal_length: 480 mm, aperture: 80 mm}
  large reflector: {focal_length: 1200 mm, aperture: 250 mm}
rigs:
  wide kit: {optic: wide lens, camera: colour camera}
  travel kit: {optic: fast lens, camera: colour camera}
  short refractor: {optic: small refractor, camera: mono camera}
  colour refractor: {optic: small refractor, camera: colour camera}
  long reflector: {optic: large reflector, camera: mono camera}
""",
    "places.yaml": """\
garden: {latitude: 51.2 deg, longitude: -3.1 deg, time_zone: Europe/London}
moor: {latitude: 51.1 deg, longitude: -3.7 deg, time_zone: Europe/London}
Sutter's Hill: {latitude: 50.6 deg, longitude: -4.6 deg, time_zone: Europe/London}
""",
}
#: Rig: width of the sensor and focal length in millimetres, pixels across, how often it is used, its filters.
_RIGS = {
    "wide kit": (23.4, 50, 6000, 1, (None,)),
    "travel kit": (23.4, 135, 6000, 3, (None,)),
    "short refractor": (15.2, 480, 4000, 6, ("H-alpha", "OIII", "SII", "luminance")),
    "colour refractor": (23.4, 480, 6000, 4, (None, "dual band")),
    "long reflector": (15.2, 1200, 4000, 5, ("luminance", "red", "green", "blue", "H-alpha")),
}
_NAMES = [f"M {n}" for n in range(1, 111) if n not in (24, 40, 73, 102)]
_NAMES += [f"NGC {n}" for n in (40, 188, 281, 457, 663, 752, 869, 891, 1023, 1275, 1333, 1491, 1499, 1579, 1893, 1977,
           2024, 2174, 2237, 2244, 2264, 2359, 2392, 2403, 2683, 2841, 2903, 3184, 3344, 3521, 3628, 3718, 4088, 4236,
           4244, 4449, 4490, 4559, 4565, 4631, 4656, 4725, 5033, 5907, 6207, 6503, 6543, 6820, 6888, 6946, 6960, 6992,
           7000, 7008, 7023, 7129, 7217, 7293, 7331, 7380, 7479, 7538, 7635, 7640, 7662, 7789,
           7814, 7822)]  # fmt: skip
_NAMES += [f"IC {n}" for n in (59, 63, 342, 405, 410, 434, 443, 1318, 1396, 1613, 1795, 1805, 1848, 2118, 5067, 5146)]
_NAMES += [f"Sh2-{n}" for n in (101, 108, 112, 115, 119, 129, 132, 155, 157, 170, 174, 185, 205, 216, 232, 240, 261)]
_TEMPERS = ("a still night", "thin cloud", "first light", "in one night", "after the storm", "a closer look", "deep",
            "with dust", "wide", "in hydrogen", "late winter", "again", "a quick one", "before dawn")  # fmt: skip


def write_large_archive(folder: Path, pictures: int, years: int = 18, size: int = 96) -> Path:
    """An archive of so many pictures over so many years up to 2026, ``size`` pixels wide, each placed on the sky."""
    chance = random.Random(pictures)
    catalogue = Catalogue()
    known = [(name, found) for name in _NAMES if (found := catalogue.find(name)) and found.ra_deg is not None]
    texts = dict(_TEXTS)
    shares = [share for _, _, _, share, _ in _RIGS.values()]
    for number in range(pictures):
        # More of them each year, and some objects again and again.
        year = 2026 - int(years * chance.random() ** 1.6)
        night = date(year, 1, 1) + timedelta(days=chance.randrange(30 if year == 2026 else 350))
        rig = chance.choices(list(_RIGS), shares)[0]
        wide_mm, focal_mm, across, _, filters = _RIGS[rig]
        name, at = known[min(int(len(known) * chance.random() ** 1.7), len(known) - 1)]
        frames = "\n".join(
            f"      - {{{f'filter: {f}, ' if f else ''}exposure: 180 s, taken: {taken}, kept: {taken - 3}}}"
            for f in chance.sample(filters, chance.randint(1, len(filters)))
            for taken in [chance.randint(10, 80)]
        )
        dec = max(-89.0, min(89.0, (at.dec_deg or 0.0) + chance.gauss(0, 0.05)))
        texts[f"pictures/p{number:04d}.yaml"] = f"""\
title: "{at.common_name or name}, {chance.choice(_TEMPERS)}"
objects: [{name}]
finished: {night + timedelta(days=5)}
rig: {rig}
place: {chance.choice(["garden", "garden", "moor", "Sutter's Hill"])}
sessions:
  - night: {night}
    frames:
{frames}
placement:
  centre: "{(at.ra_deg or 0.0) + chance.gauss(0, 0.05):.4f} {dec:+.4f}"
  image_scale: {206.265 * wide_mm / focal_mm / size * 1000:.4f} arcsec
  position_angle: {chance.randint(0, 359)} deg
  mirrored: no
resampling: {size / across:.5f}
description: |
  {chance.choice(["The wind fell after dark.", "Dew on everything.", "The owl kept us company.", "Frost by four."])}
tags: [{chance.choice(["winter", "galaxies", "narrowband", "favourite"])}]
"""
    return written(folder, texts, (size, size * 2 // 3))

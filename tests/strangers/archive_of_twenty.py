"""An archive as a stranger would hand it over: twenty pictures of fifteen years, written with what was known.

Old and sparse, reduced, cropped, a mosaic, two rigs, the Sun, the Moon, a comet, the southern sky, the pole, skies
that nobody measured, drafts that are not ready. Everything in it is invented; the objects of the sky are real.
"""

from __future__ import annotations

import io
from pathlib import Path
from textwrap import dedent

from tests.builders.folders import written

ARCHIVE = """
title: Fifteen years of nights
author: A. Stranger
language: en
reference_rig: tele
"""

EQUIPMENT = """
cameras:
  first camera:
  old reflex: {pixels: [3456, 2304], pixel_size: 6.4 um}
  new body: {pixels: [6000, 4000], pixel_size: 3.9 um}
  cooled mono: {pixels: [4656, 3520], pixel_size: 3.8 um, colour: mono}
  planet camera: {pixels: [1920, 1080], pixel_size: 2.9 um}
optics:
  kit lens: {focal_length: 23 mm, f_ratio: 4}
  wide lens: {focal_length: 135 mm, f_ratio: 2.8}
  tele lens: {focal_length: 400 mm, f_ratio: 5.6}
  short refractor: {focal_length: 480 mm, aperture: 80 mm}
  reflector: {focal_length: 1000 mm, aperture: 200 mm}
  spotting lens:
rigs:
  kit: {optic: kit lens, camera: old reflex}
  wide: {optic: wide lens, camera: new body, mount: star tracker}
  tele: {optic: tele lens, camera: new body, mount: star tracker, guiding: none}
  tele mono: {optic: tele lens, camera: cooled mono}
  refractor mono: {optic: short refractor, camera: cooled mono, mount: equatorial, guiding: off-axis}
  reflector mono: {optic: reflector, camera: cooled mono}
  planets: {optic: reflector, camera: planet camera, focal_factor: 2}
  first: {camera: first camera, optic: spotting lens}
"""

PLACES = """
home:
  {latitude: 48d12m N, longitude: 16d20m E, elevation: 200 m, time_zone: Europe/Vienna, sky_brightness: 19.5,
   publish: exact}
south farm:
  {latitude: 23d15m S, longitude: 16d30m E, elevation: 1800 m, time_zone: Africa/Windhoek, sky_brightness: 21.9,
   publish: exact}
north: {latitude: 69.6 deg, longitude: 18.9 deg, time_zone: Europe/Oslo, publish: exact}
balcony: {latitude: 48.2, longitude: 16.4, time_zone: Europe/Vienna, publish: hidden}
"""

OBJECTS = """
C/2023 A3: {kind: comet, also: [Tsuchinshan's comet]}
aurora of May: {kind: aurora}
"""

#: id → (width, height, sidecar).
PICTURES: dict[str, tuple[int, int, str]] = {
    "first-light": (800, 600, """
        title: My first picture of the sky
        finished: 2009
        rig: first
        """),
    "summer-triangle": (1600, 1067, """
        title: Summer triangle
        objects: Vega
        finished: 2010-08
        rig: kit
        place: home
        sessions:
          - night: 2010-08-11
            integration: 40 min
        """),
    "andromeda-reduced": (1600, 1067, """
        title: Andromeda, made smaller for the web
        objects: M31
        finished: 2012-10-20
        rig: wide
        place: home
        sessions:
          - night: 2012-10-13
            start: "19:30"
            end: "04:30"
            frames: [{exposure: 120 s, kept: 200, taken: 240, iso: 1600}]
        """),
    "orion-cropped": (3000, 3000, """
        title: Orion, cropped
        objects: m42
        finished: 2013-02-02
        rig: tele
        place: home
        sessions:
          - night: 2013-01-15
            frames: [{exposure: 60 s, kept: 90, taken: 100, iso: 800}]
        """),
    "orion-crop-told": (3000, 3000, """
        title: Orion, cropped and told
        objects: m42
        finished: 2013-02-03
        rig: tele
        place: home
        resampling: 1
        builds_on: orion-cropped
        """),
    "rosette-wide": (6000, 4000, """
        title: Rosette, wide
        objects: Rosette Nebula
        finished: 2016-02-01
        rig: wide
        place: home
        sessions:
          - night: 2016-01-09
            start: "20:00"
            end: "23:00"
            frames: [{exposure: 120 s, kept: 60, iso: 1600}]
            star_width: 9 arcsec
        """),
    "rosette-tele": (2328, 1760, """
        title: Rosette, three years later
        objects: NGC2237
        finished: 2019-03-01
        rig: tele mono
        place: home
        builds_on: rosette-wide
        sessions:
          - night: 2019-02-03
            frames: [{filter: H-alpha, exposure: 300 s, kept: 40, binning: 2}]
            star_width: 3.0 arcsec
        """),
    "whirlpool-two-rigs": (4656, 3520, """
        title: Whirlpool with two telescopes
        objects: M 51
        finished: 2020-05-01
        rig: reflector mono
        place: home
        resampling: 1
        sessions:
          - night: 2020-04-18
            frames: [{filter: L, exposure: 300 s, kept: 40}]
          - night: 2020-04-19
            rig: tele mono
            frames: [{filter: L, exposure: 300 s, kept: 42}]
        """),
    "veil-north": (4656, 3520, """
        title: Veil, northern panel
        objects: NGC 6992
        finished: 2021-09-01
        rig: refractor mono
        place: home
        listed: no
        sessions:
          - night: 2021-08-14
            frames: [{filter: OIII, exposure: 300 s, kept: 45}]
        """),
    "veil-south": (4656, 3520, """
        title: Veil, southern panel
        objects: NGC 6992
        finished: 2021-09-01
        rig: refractor mono
        place: home
        listed: no
        sessions:
          - night: 2021-08-15
            frames: [{filter: OIII, exposure: 300 s, kept: 45}]
        """),
    "veil-mosaic": (4656, 6600, """
        title: Veil, both panels
        objects: NGC 6992
        finished: 2021-09-10
        rig: refractor mono
        place: home
        resampling: 1
        panels: [veil-north, veil-south]
        """),
    "sun-in-may": (1920, 1080, """
        title: Sun with a group of spots
        objects: Sun
        finished: 2023-05-20
        rig: planets
        place: home
        sessions:
          - night: 2023-05-20
            start: "2023-05-20 11:00"
            end: "2023-05-20 11:10"
            frames: [{exposure: 1/500 s, kept: 180, taken: 1200}]
            note: Certified filter over the front.
        """),
    "moon-in-march": (1920, 1080, """
        title: Moon, Copernicus
        objects: Moon
        finished: 2023-03-30
        rig: planets
        place: home
        sessions:
          - night: 2023-03-30
            start: "21:00"
            end: "21:20"
            frames: [{exposure: 1/250 s, kept: 300, taken: 2000}]
        """),
    "comet-in-october": (6000, 4000, """
        title: Comet over the vineyard
        objects: C/2023 A3
        finished: 2024-10-20
        rig: wide
        place: home
        sessions:
          - night: 2024-10-16
            start: "19:10"
            end: "19:40"
            frames: [{exposure: 30 s, kept: 40, iso: 1600}]
        """),
    "carina": (6000, 4000, """
        title: Carina from the farm
        objects: Carina Nebula
        finished: 2022-06-01
        rig: tele
        place: south farm
        sessions:
          - night: 2022-05-28
            start: "18:30"
            end: "23:00"
            frames: [{exposure: 60 s, kept: 220, taken: 250, iso: 1600}]
            sky_brightness: 21.95
        """),
    "polar-night": (6000, 4000, """
        title: M 81 through a polar day's night
        objects: M 81
        finished: 2020-01-05
        rig: tele
        place: north
        sessions:
          - night: 2019-12-21
            start: "2019-12-21 14:00"
            end: "2019-12-22 13:00"
            frames: [{exposure: 120 s, kept: 600, iso: 1600}]
        """),
    "andromeda-known-sky": (6000, 4000, """
        title: Andromeda under a known sky
        objects: Andromeda Galaxy
        finished: 2023-11-01
        rig: tele
        place: home
        sessions:
          - night: 2023-10-14
            start: "18:30"
            end: "04:30"
            frames: [{exposure: 120 s, kept: 240, iso: 1600}]
        """),
    "andromeda-more": (6000, 4000, """
        title: Andromeda with ten minutes more
        objects: M 31
        finished: 2023-12-01
        rig: tele
        place: north
        builds_on: andromeda-known-sky
        sessions:
          - night: 2023-11-18
            frames: [{exposure: 120 s, kept: 5, iso: 1600}]
        """),
    "aurora": (6000, 4000, """
        title: Aurora over the lake
        objects: aurora of May
        finished: 2024-05-11
        rig: wide
        place: balcony
        sessions:
          - night: 2024-05-10
            frames: [{exposure: 4 s, kept: 1, iso: 1600}]
        """),
    "unfinished": (1200, 800, """
        title: Not ready
        finished: 2024
        draft: yes
        rig: a rig that I have still to write down
        sesions: []
        """),
}  # fmt: skip


def twenty(folder: Path) -> Path:
    """Writes the archive into a new folder."""
    from PIL import Image

    texts: dict[str, str | bytes] = {
        f"{name}.yaml": text.lstrip()
        for name, text in (("archive", ARCHIVE), ("equipment", EQUIPMENT), ("places", PLACES), ("objects", OBJECTS))
    }
    for number, (name, (width, height, sidecar)) in enumerate(PICTURES.items()):
        held = io.BytesIO()
        Image.new("RGB", (width, height), (8 + number, 10, 20)).save(held, "JPEG", quality=70)
        texts[f"pictures/{name}.jpg"] = held.getvalue()
        texts[f"pictures/{name}.yaml"] = dedent(sidecar).lstrip()
    return written(folder, texts)

"""A small archive to begin with: one sample picture with its full record, to be replaced."""

from __future__ import annotations

import math
from pathlib import Path
from textwrap import dedent

from noctuary.archive.schema import write_schemas
from noctuary.errors import NoctuaryError


class FolderInUse(NoctuaryError, ValueError):
    """The folder holds something already; the message says what to do."""


def begin(folder: Path) -> list[Path]:
    """Write an archive that builds at once; the files written, sorted.

    Raises :class:`FolderInUse` when the folder is not empty, and ``OSError`` when it cannot be written.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise FolderInUse(f"{folder} is not empty: name a new or an empty folder")
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for name, text in _TEXTS.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(dedent(text).lstrip("\n"), encoding="utf-8")
        written.append(path)
    picture = folder / "pictures" / "sample-field.jpg"
    _star_field(picture)
    return sorted([*written, picture, *write_schemas(folder)])


def _star_field(path: Path) -> None:
    """A simulated field of stars, the same every time: nothing that could pass for a photograph of yours."""
    import numpy as np
    from PIL import Image

    width, height = 1600, 1068
    chance = np.random.default_rng(1600)
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    light = np.zeros((height, width, 3), np.float32)
    reach = 24
    for _ in range(1500):
        # Each magnitude has about 2.5 times as many stars as the one before.
        magnitude = math.log(1 + chance.random() * (math.exp(0.92 * 8) - 1)) / 0.92
        brightness = 400 * 10 ** (-0.4 * (magnitude - 2.0))
        warmth = float(chance.normal(0.0, 0.16))
        at_x, at_y = chance.uniform(0, width), chance.uniform(0, height)
        left, top = max(0, int(at_x) - reach), max(0, int(at_y) - reach)
        part = np.s_[top : int(at_y) + reach, left : int(at_x) + reach]
        profile = brightness * (1 + ((x[part] - at_x) ** 2 + (y[part] - at_y) ** 2) / 3.6) ** -2.6
        for channel, tint in enumerate((1 + warmth, 1.0, 1 - warmth)):
            light[(*part, channel)] += profile * tint
    # Bright stars are drawn in so that they keep their colour and the faint ones are seen.
    level = light.mean(axis=-1, keepdims=True) + 1e-6
    sky = light / level * 225 * np.arcsinh(level / 0.8) / np.arcsinh(1000)
    glow = np.exp(-(((x - 760) / 700) ** 2) - ((y - 560) / 480) ** 2)
    sky += np.stack([8 * glow * tint + base for tint, base in ((1.0, 15), (0.95, 16), (1.15, 20))], axis=-1)
    sky += chance.normal(0, 1.6, sky.shape)
    Image.fromarray(np.clip(sky, 0, 255).astype(np.uint8)).save(path, quality=90, subsampling=0)


_TEXTS: dict[str, str] = {
    "README.txt": """
        This folder is an archive of deep-sky pictures: the pictures as they were finished, and beside each a
        record of how it was taken. Everything that was written by hand is plain text in UTF-8 (YAML and Markdown)
        and needs no program to be read. A program called noctuary (Python, MIT licence) checks it and makes a
        site of it:

            noctuary check     lists what cannot be right, with file, line and what to write instead
            noctuary build     writes the site into the folder site/, which any browser shows without a server
            noctuary adopt     drafts a record for pictures that have none

        archive.yaml      title and author of the archive, licence of the pictures, address of the site
        equipment.yaml    cameras, optics, and the rigs they make
        places.yaml       where pictures were taken
        objects.yaml      objects that catalogues lack, if there are any
        pictures/         the pictures, and for NAME.jpg its record NAME.yaml
        nights/           what happened in a night, by the date on which its evening began
        exhibits/         sets of pictures with a commentary; pages/ other pages of the site
        site/, .noctuary/ what the program made; both can be deleted and are made again

        The keys of a record: title; finished, when the picture was finished; objects, what it shows, the target
        first; rig and place, names from equipment.yaml and places.yaml; sessions, the nights that went into it:
        night (the date on which the evening began), start and end by the clock of the place, frames (filter,
        exposure of one sub-exposure, how many were taken and how many are in the picture as kept, gain or iso,
        binning, sensor_temperature), calibration; builds_on, older pictures whose sessions are in this one too;
        replaces, the picture that this one supersedes; resampling, pixels of the picture per pixel of the sensor;
        placement, where on the sky it lies (centre in ICRS, image_scale, position_angle from north through east);
        description, processing, alt, tags, credit. Lines after # are remarks. What is not known is left out.
        """,
    "archive.yaml": """
        # yaml-language-server: $schema=.noctuary/schemas/archive.json
        # The archive itself. Every line that begins with # is a note; delete what you no longer need.
        title: My nights
        author: Your name
        # Where the site will be published; with it come a feed and a site map.
        # address: https://example.org/astro/
        language: en
        licence: All rights reserved
        description: Pictures of the night sky, with a record of how each one was taken.
        """,
    "equipment.yaml": """
        # yaml-language-server: $schema=.noctuary/schemas/equipment.json
        # What you observe with. Choose the names yourself; the records of the pictures use them. Leave out what you
        # do not know: a camera may be a name alone, and a rig a camera alone.
        cameras:
          my camera:
            pixels: [6000, 4000]     # width and height of the whole sensor
            pixel_size: 3.9 um
            colour: colour           # or mono
        optics:
          my lens:
            focal_length: 135 mm
            f_ratio: 2.8             # or the aperture: 48 mm
        rigs:                        # an optic and a camera that belong together
          camera and lens:
            optic: my lens
            camera: my camera
            mount: small tracking mount
        """,
    "places.yaml": """
        # yaml-language-server: $schema=.noctuary/schemas/places.json
        # Where you observe. The site shows only the name of a place, and computes from whole degrees, unless you
        # write publish: rounded or publish: exact. With publish: hidden it computes nothing from it.
        garden:
          latitude: 50 deg           # or 50°00′00″ N
          longitude: 10 deg
          elevation: 200 m
          time_zone: Europe/Berlin
        """,
    "pictures/sample-field.yaml": """
        # yaml-language-server: $schema=../.noctuary/schemas/sidecar.json
        # The record of sample-field.jpg. Put your own picture here, say my-first.jpg, and write my-first.yaml beside
        # it: title and finished are enough for a page, and everything below is for what else you know of it. What
        # you do not know you leave out. Then delete the sample.
        title: A sample to replace
        finished: 2024-10-06         # or 2024-10, or 2024
        objects: M 31                # several: [M 31, M 32]; the first is the target
        rig: camera and lens         # a name from equipment.yaml
        place: garden                # a name from places.yaml
        sessions:
          - night: 2024-10-04        # the date on which the evening began
            start: 22:30             # clock time there; a time before noon is the next date
            end: 00:05
            frames:
              - {exposure: 60 s, taken: 80, kept: 72, iso: 1600}
            calibration: {darks: 30, flats: 30, bias: 50, dark_exposure: 60 s, dark_iso: 1600}
            note: Clear and still.
        # The sample is 1600 pixels wide, from a sensor of 6000. Delete this line for a picture in full size.
        resampling: 0.2667
        description: |
          A **simulated** field of stars, so that there is something to see at once. It shows no part of
          the real sky.
        alt: Simulated stars, white, bluish and orange, scattered over a dark background.
        tags: [sample]
        """,
    "nights/2024-10-04.md": """
        ---
        place: garden
        temperature: 8 °C
        ---
        What happened that night, in your own words. This one is part of the sample.
        """,
    "pages/about.md": """
        # About

        Say who you are and how you observe. Everything in this folder becomes a page of its own.
        """,
}

"""What can be seen in raw frames: previews found in whatever format, FITS pixels, and nothing in what is damaged."""

from __future__ import annotations

import random
from io import BytesIO
from pathlib import Path

import numpy as np
from astropy.io import fits
from noctuary.images.frame_preview import frame_preview
from numpy.random import default_rng
from numpy.typing import NDArray
from PIL import Image

from tests.sky import simulated_sky
from tests.sky.drawn_picture import drawn


def jpeg(pixels: NDArray[np.uint8]) -> bytes:
    out = BytesIO()
    exif = Image.Exif()
    exif[0x010F] = "SERIAL-4711"
    Image.fromarray(pixels).save(out, "JPEG", quality=85, exif=exif)
    return out.getvalue()


def even(level: float, scatter: float, size: tuple[int, int] = (480, 720)) -> NDArray[np.uint8]:
    return np.clip(default_rng(1).normal(level, scatter, size), 0, 255).astype(np.uint8)


def sky() -> NDArray[np.uint8]:
    rng = default_rng(2)
    return drawn(rng, simulated_sky.field(rng, 30.0, 720, 480, place=(83.8, -5.4)))


def test_the_largest_preview_of_a_raw_is_found(tmp_path: Path) -> None:
    raw = b"II*\0" + bytes(200) + jpeg(even(120, 4, (60, 90))) + bytes(333) + jpeg(sky()) + bytes(1000)
    (tmp_path / "a.cr2").write_bytes(raw)
    seen = frame_preview(tmp_path / "a.cr2")
    assert seen is not None
    assert seen.size == (720, 480)
    assert seen.has_stars
    small = seen.jpeg()
    assert b"SERIAL" not in small
    with Image.open(BytesIO(small)) as picture:
        assert max(picture.size) <= 640


def test_flats_and_darks_look_like_themselves(tmp_path: Path) -> None:
    for name, pixels in (("flat", even(120, 4)), ("dark", even(3, 2))):
        (tmp_path / f"{name}.jpg").write_bytes(jpeg(pixels))
    flat, dark = (frame_preview(tmp_path / f"{name}.jpg") for name in ("flat", "dark"))
    assert flat is not None
    assert dark is not None
    assert (flat.has_stars, dark.has_stars) == (False, False)
    assert 0.4 < flat.median < 0.5
    assert flat.unevenness < 0.1
    assert dark.median < 0.035


def test_fits_frames_are_linear(tmp_path: Path) -> None:
    light = sky().astype(np.uint16) * 20 + 1000
    hot = default_rng(3).random(light.shape) < 2e-4
    dark = np.where(hot, 40000, 1000).astype(np.uint16)
    for name, pixels in (("light", light), ("dark", dark)):
        fits.PrimaryHDU(pixels).writeto(tmp_path / f"{name}.fits")
    seen, black = (frame_preview(tmp_path / f"{name}.fits") for name in ("light", "dark"))
    assert seen is not None
    assert black is not None
    assert seen.linear
    assert seen.has_stars
    assert not black.has_stars
    assert black.median < 0.035


def test_damage_shows_nothing(tmp_path: Path) -> None:
    chance = random.Random(4711)
    whole = b"II*\0" + bytes(64) + jpeg(even(120, 40, (60, 90)))
    header = BytesIO()
    fits.PrimaryHDU(np.zeros((40, 60), dtype=np.int16)).writeto(header)
    for number in range(300):
        ending, content = (("nef", whole), ("jpg", whole[68:]), ("fits", header.getvalue()))[number % 3]
        damaged = bytearray(content)
        for _ in range(chance.choice((1, 5, 50))):
            damaged[chance.randrange(min(len(damaged), 1400))] ^= 1 << chance.randrange(8)
        del damaged[chance.randrange(len(damaged)) :]
        path = tmp_path / f"a.{ending}"
        path.write_bytes(damaged)
        seen = frame_preview(path)
        assert seen is None or min(seen.size) >= 32

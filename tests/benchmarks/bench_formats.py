"""What JPEG, WebP and AVIF keep of stars at a desktop's width, at equal bytes and as good; a table in Markdown.

    python tests/benchmarks/bench_formats.py

A picture of twice the width is resized as a build does it. ``faint``: the light of stars 4 to 25 levels above the
sky, in 5 × 5 pixels, as a share of what it was before encoding (median), and how widely it scatters; ``colour``: the
difference of red and blue from green at the peaks of stars, as a share. The sky is simulated.
"""

from __future__ import annotations

import io
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from noctuary.images import recipe
from noctuary.images.resize import chain
from PIL import Image

REPOSITORY = Path(__file__).resolve().parent.parent.parent
sys.path.insert(0, str(REPOSITORY))

from tests.benchmarks.star_field import star_field  # noqa: E402

WIDTH = 1920
Levels = np.ndarray[Any, np.dtype[np.float64]]

FORMATS: dict[str, dict[str, Any]] = {
    "JPEG 4:4:4": {"format": "JPEG", "subsampling": 0},
    "WebP": {"format": "WEBP", "method": 2},
    "WebP, sharp chroma": {"format": "WEBP", "method": 2, "use_sharp_yuv": True},
    "AVIF 4:4:4, speed 10": {"format": "AVIF", "subsampling": "4:4:4", "speed": 10, "max_threads": 1},
    "AVIF 4:4:4, speed 8": {"format": "AVIF", "subsampling": "4:4:4", "speed": 8, "max_threads": 1},
}


@dataclass(frozen=True)
class Kept:
    quality: int
    bytes: int
    seconds: float
    faint: float
    scatter: float
    colour: float

    def row(self, what: str, name: str) -> str:
        shown = f"{self.faint:.2f} ± {self.scatter:.2f} | {self.colour:.2f}"
        return f"| {what} | {name}, {self.quality} | {self.bytes / 1000:.0f} kB | {shown} | {self.seconds:.2f} s |"


class Stars:
    """The stars of a picture and what they were before it was encoded."""

    def __init__(self, picture: Image.Image) -> None:
        self.picture = picture
        before = np.asarray(picture).astype(float)
        green = before[..., 1]
        sky = float(np.median(green))
        middle = green[3:-3, 3:-3]
        steps = [(y, x) for y in (-1, 0, 1) for x in (-1, 0, 1) if x or y]
        peak = np.logical_and.reduce([middle > green[3 + y : y - 3, 3 + x : x - 3] for y, x in steps])
        noise = 1.4826 * float(np.median(np.abs(green - sky)))
        faint = peak & (middle > sky + max(4.0, 4 * noise)) & (middle < sky + 25)
        bright = peak & (middle > sky + 60) & (before[3:-3, 3:-3].max(axis=2) < 250)
        self._faint, self._bright = np.argwhere(faint) + 3, np.argwhere(bright) + 3
        self._light, self._colour = self._lights(before), self._colours(before)

    def _lights(self, levels: Levels) -> Levels:
        green = levels[..., 1]
        sky = green[np.abs(green - np.median(green)) < 8].mean()  # a median is a whole level, which is too coarse
        y, x = self._faint[:, 0], self._faint[:, 1]
        light = np.zeros(len(y))
        for dy in range(-2, 3):
            for dx in range(-2, 3):
                light += levels[y + dy, x + dx, 1] - sky
        return light

    def _colours(self, levels: Levels) -> Levels:
        peaks = levels[self._bright[:, 0], self._bright[:, 1]]
        colours: Levels = peaks[:, [0, 2]] - peaks[:, [1]]
        return colours

    def kept(self, settings: dict[str, Any], quality: int) -> Kept:
        out = io.BytesIO()
        began = time.process_time()
        self.picture.save(out, quality=quality, **settings)
        took = time.process_time() - began
        after = np.asarray(Image.open(out).convert("RGB")).astype(float)
        lit = self._light > 10
        ratio = self._lights(after)[lit] / self._light[lit]
        colour = float((self._colours(after) * self._colour).sum() / (self._colour**2).sum())
        low, middle, high = np.percentile(ratio, (16, 50, 84))
        return Kept(quality, len(out.getvalue()), took, float(middle), float(high - low) / 2, colour)


def _first(stars: Stars, settings: dict[str, Any], enough: Any) -> Kept:
    """The lowest quality for which ``enough`` holds, by bisection."""
    low, high = 20, 100
    while low < high:
        middle = (low + high) // 2
        if enough(stars.kept(settings, middle)):
            high = middle
        else:
            low = middle + 1
    return stars.kept(settings, high)


def main() -> None:
    source = Image.fromarray(np.rint(star_field(7, 2 * WIDTH, WIDTH * 4 // 3)).astype(np.uint8))
    print("| what | format, quality | bytes | faint stars | colour | processor time |\n|---|---|---|---|---|---|")
    stars = Stars(next(chain(source, [(WIDTH, source.height // 2)])))
    jpeg = stars.kept(FORMATS["JPEG 4:4:4"], recipe.JPEG_QUALITY)
    print(jpeg.row("as published", "JPEG 4:4:4"), flush=True)
    least, most = jpeg.colour, 1.02 * jpeg.scatter
    for kind, settings in list(FORMATS.items())[1:]:
        equal = _first(stars, settings, lambda kept: kept.bytes >= 0.97 * jpeg.bytes)
        print(equal.row("at its bytes", kind), flush=True)
        alike = _first(stars, settings, lambda kept: kept.colour >= least and kept.scatter <= most)
        print(alike.row("as good", kind), flush=True)


if __name__ == "__main__":
    main()

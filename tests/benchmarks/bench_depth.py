"""How much longer a deep picture takes than an 8-bit one of its size, from its file to every rendition and tile.

    python tests/benchmarks/bench_depth.py --megapixels 20

Processor time, the best of ``--repeat`` runs; every kind of file holds the same stars over the same noisy sky.
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import tifffile
from astropy.io import fits
from noctuary.images.make_renditions import make_renditions
from noctuary.machine import keep_freed_memory
from PIL import Image

REPOSITORY = Path(__file__).resolve().parent.parent.parent
sys.path.insert(0, str(REPOSITORY))

from tests.benchmarks.star_field import star_field  # noqa: E402

Values = np.ndarray[Any, np.dtype[np.float32]]


def _tiff(values: Values, dtype: type, most: float, **settings: Any) -> Callable[[Path], None]:
    def write(path: Path) -> None:
        scaled = values * most
        stored = scaled.astype(dtype) if dtype is np.float32 else np.rint(scaled).astype(dtype)
        tifffile.imwrite(path, stored, photometric="rgb", **settings)

    return write


def _fits(values: Values, dtype: type, most: float) -> Callable[[Path], None]:
    return lambda path: fits.writeto(path, np.moveaxis(values * most, -1, 0)[:, ::-1].astype(dtype))


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    options.add_argument("--megapixels", type=float, default=20.0)
    options.add_argument("--repeat", type=int, default=3)
    chosen = options.parse_args()
    height = round((chosen.megapixels * 1e6 / 1.5) ** 0.5)
    values = star_field(1609, height * 3 // 2, height) / np.float32(255)
    eight = np.rint(values * 255).astype(np.uint8)
    kinds: dict[str, tuple[str, Callable[[Path], Any]]] = {
        "8-bit TIFF": ("a.tif", lambda path: tifffile.imwrite(path, eight, photometric="rgb")),
        "JPEG, quality 95": ("a.jpg", lambda path: Image.fromarray(eight).save(path, quality=95, subsampling=0)),
        "8-bit TIFF, deflated": ("g.tif", _tiff(values, np.uint8, 255, compression="zlib", predictor=True)),
        "16-bit TIFF": ("b.tif", _tiff(values, np.uint16, 65535)),
        "16-bit TIFF, deflated": ("c.tif", _tiff(values, np.uint16, 65535, compression="zlib", predictor=True)),
        "float TIFF": ("d.tif", _tiff(values, np.float32, 1)),
        "FITS, 16 bits": ("e.fits", _fits(values, np.uint16, 65535)),
        "FITS, 32-bit float": ("f.fits", _fits(values, np.float32, 1)),
    }
    print("| file | processor time | against the 8-bit TIFF | against the JPEG | against the deflated |")
    print("|---|---|---|---|---|")
    folder = Path(tempfile.mkdtemp(prefix="noctuary-bench-"))
    keep_freed_memory()  # as the workers of a build do
    try:
        took: dict[str, float] = {}
        for kind, (name, write) in kinds.items():
            write(folder / name)
            took[kind] = min(_seconds(folder / name, folder / "cache") for _ in range(chosen.repeat))
            against = " | ".join(f"{took[kind] / took[k]:.2f}" if k in took else "–" for k in list(kinds)[:3])
            print(f"| {kind} | {took[kind]:.2f} s | {against} |", flush=True)
    finally:
        shutil.rmtree(folder)


def _seconds(path: Path, cache: Path) -> float:
    shutil.rmtree(cache, ignore_errors=True)
    began = time.process_time()
    make_renditions(path, cache, "x" * 64)
    return time.process_time() - began


if __name__ == "__main__":
    main()

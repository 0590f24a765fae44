"""What a large picture takes until it is placed: processor time and memory, each case in a process of its own.

``measured`` draws the pictures and starts the processes; the module run by itself is such a process. It decodes the
picture, lets go of it and places it, and tells the processor's seconds of the placing beyond those of decoding, and
by how much the greatest resident size while placing was above the size with the decoded picture. Both are read from
``/proc``, so this runs on Linux.
"""

from __future__ import annotations

import json
import math
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from noctuary.facts.almanac import Almanac
from noctuary.facts.archive_facts import archive_facts
from noctuary.facts.picture import PictureFacts
from noctuary.images.decode import open_picture
from noctuary.plate_solve import Search, find_placement
from noctuary.sky.solve import Solution

from tests.builders.records import archive, picture, rig, session

REPOSITORY = Path(__file__).resolve().parent.parent.parent
CASES = ((5.5, True), (1.0, True), (3.2, False), (5.5, False))
"""Diagonals in degrees, and whether scale and target are stated."""
_ROSETTE = 97.98, 4.94


def measured(seed: int, megapixels: float) -> None:
    """Draw a colour picture for each case and print a line of what its placing took."""
    from numpy.random import default_rng
    from PIL import Image

    from tests.sky import simulated_sky
    from tests.sky.drawn_picture import drawn

    height = round(math.sqrt(megapixels * 1e6 / 1.5))
    width = height * 3 // 2
    print("| field | stated | found | processor | beyond the picture | in all |")
    print("|---|---|---|---|---|---|")
    with tempfile.TemporaryDirectory(prefix="noctuary-bench-") as folder:
        (Path(folder) / "pictures").mkdir()
        for diagonal, stated in CASES:
            scale = math.degrees(2 * math.tan(math.radians(diagonal / 2)) / math.hypot(width, height)) * 3600
            rng = default_rng([seed, round(10 * diagonal)])
            pixels = drawn(rng, simulated_sky.field(rng, scale, width, height, place=_ROSETTE))
            path = Path(folder) / "pictures" / "rosette.jpg"
            Image.fromarray(np.repeat(pixels[:, :, None], 3, axis=2)).save(path, quality=90)
            told = subprocess.run(
                [sys.executable, "-m", __name__, folder, str(width), str(height), str(scale if stated else 0)],
                env={**os.environ, "PYTHONPATH": os.pathsep.join([str(REPOSITORY), *sys.path])},
                cwd=REPOSITORY, capture_output=True, text=True, check=True,
            )  # fmt: skip
            cost = json.loads(told.stdout)
            print(
                f"| {diagonal}° | {'scale and target' if stated else 'nothing'} | {'yes' if cost['found'] else 'no'} "
                f"| {cost['seconds']:.1f} s | {cost['beyond'] / 1e6:.0f} MB "
                f"| {cost['peak'] / 1e6:.0f} MB |",
                flush=True,
            )


def _facts(width: int, height: int, scale: float) -> PictureFacts:
    """A record of a sensor behind 500 mm, the scale 5 % off; of neither sensor nor target where it is 0."""
    whole = (width, height)
    camera = rig(pixels=whole, pixel_size=1.05 * scale * 500 / 206.265, focal=500) if scale else rig(pixels=None)
    objects = {} if scale else {"objects": ()}
    written = picture("rosette", (session(rig=camera, written_in="rosette"),), resampling=None, **objects)
    records = archive(written)
    return archive_facts(records, Almanac(records), {"rosette": whole}, {}).pictures["rosette"]


def _resident(line: str) -> int:
    status = Path("/proc/self/status").read_text(encoding="ascii")
    return int(status.partition(f"{line}:")[2].split()[0]) * 1024


def main() -> None:
    """Print, as JSON, what placing the picture in a folder took."""
    folder, width, height, scale = Path(sys.argv[1]), *map(int, sys.argv[2:4]), float(sys.argv[4])
    facts = _facts(width, height, scale)
    if any(name.split(".")[0] in ("scipy", "sep") for name in sys.modules):
        raise RuntimeError("libraries that placing loads are loaded before it is measured")
    begun = time.process_time()
    opened = open_picture(folder / facts.picture.file)
    decoding, with_picture = time.process_time() - begun, _resident("VmRSS")
    del opened
    Path("/proc/self/clear_refs").write_text("5", encoding="ascii")  # the greatest size from here on
    begun = time.process_time()
    answer = find_placement(folder, facts, None)
    seconds, peak = time.process_time() - begun - decoding, _resident("VmHWM")
    found = isinstance(answer, Search) and isinstance(answer.found, Solution)
    print(json.dumps({"found": found, "seconds": seconds, "beyond": peak - with_picture, "peak": peak}))


if __name__ == "__main__":
    main()

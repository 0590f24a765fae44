"""How long builds take, as ratios to what cannot be avoided, in one run; a table in Markdown.

    python tests/benchmarks/bench_build.py --pictures 100 --many 1000 10000

``--pictures``: so many JPEGs of 20 megapixels for the full build (ten are enough for a ratio), against a bare Pillow
loop that makes the same pictures with the same qualities on the same processes and bins as the build does, share
pictures too, and, where pyvips is installed (``pip install "pyvips[binary]"``), against libvips making them with
binning of its own. The three take turns. ``--many``: small pictures for builds after which nothing or one
sidecar has changed. Times are the best of ``--repeat`` runs. Every build is the program in a process of its own.
"""

from __future__ import annotations

import argparse
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from contextlib import suppress
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import psutil

if TYPE_CHECKING:
    from PIL import Image
    from PIL.ImageFont import FreeTypeFont, ImageFont

REPOSITORY = Path(__file__).resolve().parent.parent.parent
sys.path.insert(0, str(REPOSITORY))

from noctuary.images import recipe, share_image, tiles  # noqa: E402

from tests.builders.folders import write  # noqa: E402
from tests.builders.many_pictures import sidecar, write_archive  # noqa: E402
from tests.builders.program import run  # noqa: E402

SIZE = (5472, 3648)  # 20 megapixels
#: The size that a share picture is drawn from, and how one is written.
CARD_FROM = 1920
CARD_AS: dict[str, Any] = {"quality": share_image.QUALITY, "subsampling": 0, "optimize": True}


class Table:
    """A table in Markdown whose rows are printed as they are known."""

    def __init__(self) -> None:
        print("| what | measured | against | ratio (at most) |\n|---|---|---|---|", flush=True)

    def row(self, *cells: str) -> None:
        print(f"| {' | '.join(cells)} |", flush=True)


def seconds(work: Callable[[], object]) -> float:
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def watched(work: Callable[[], float]) -> tuple[float, float]:
    """What some work says that it took, and the processor time of all processes that it starts, seconds.

    They are looked at ten times a second, for not all of them are waited for by those that started them.
    """
    used: dict[int, float] = {}
    ended = threading.Event()

    def look() -> None:
        while not ended.wait(0.1):
            for process in psutil.Process().children(recursive=True):
                with suppress(psutil.Error):
                    times = process.cpu_times()
                    used[process.pid] = times.user + times.system

    watcher = threading.Thread(target=look)
    watcher.start()
    try:
        took = work()
    finally:
        ended.set()
        watcher.join()
    return took, sum(used.values())


def build(archive: Path, *options: str) -> str:
    outcome = run("build", *options, archive, timeout=36_000)
    if outcome.returncode:
        raise SystemExit(outcome.stderr)
    return outcome.stdout


def photograph(seed: int, path: Path) -> None:
    """Stars of all brightnesses over a noisy sky: as hard to encode as the real thing."""
    import numpy as np
    from PIL import Image

    chance = np.random.default_rng(seed)
    width, height = SIZE
    pixels = chance.normal(22, 4, (height, width, 3))
    y, x = chance.integers(3, height - 3, 6000), chance.integers(3, width - 3, 6000)
    light = 40 * chance.pareto(1.2, 6000)[:, None]
    for dy in range(-2, 3):
        for dx in range(-2, 3):
            pixels[y + dy, x + dx] += light * (1 + (dx * dx + dy * dy) / 1.5) ** -2.5
    Image.fromarray(pixels.clip(0, 255).astype(np.uint8)).save(path, "JPEG", quality=95)


def pillow(job: tuple[Path, Path]) -> None:
    """The plain loop: one decoding, each size from the next larger one, binned where it is a whole part of it as the
    build does and else by a filter as quick as the build's, the same files written, the share picture among them."""
    from PIL import Image

    source, folder = job
    with Image.open(source) as opened:
        opened.load()
    image: Image.Image = opened  # in colours: a conversion would be a copy that no one needs
    whole = image.size
    level, factor = image, 1
    for number, tile in enumerate(tiles.tiles(*whole) if tiles.is_tiled(*whole) else ()):
        if tile.factor != factor:
            level = level.reduce(tile.factor // factor)
            factor = tile.factor
        file = folder / f"{source.stem}-tile-{number}.jpg"
        level.crop(tile.box).save(file, "JPEG", quality=tiles.QUALITY, subsampling=0)
    for plan in recipe.sizes(*image.size):
        if image.size != (plan.width, plan.height):
            image = smaller(image, plan.width, plan.height)
        for format in plan.formats:
            file = folder / f"{source.stem}-{plan.width}{recipe.ENDINGS[format]}"
            if format == "jpeg":
                image.save(file, "JPEG", quality=plan.quality, subsampling=0)
            else:
                image.save(file, "WEBP", quality=recipe.WEBP_QUALITY, method=recipe.WEBP_METHOD)
        if plan.width == CARD_FROM:
            card(image, source.stem).save(folder / f"{source.stem}-card.jpg", "JPEG", **CARD_AS)


def card(image: Image.Image, title: str) -> Image.Image:
    """A share picture such as the build draws, of the picture that is at hand."""
    from PIL import Image, ImageDraw, ImageOps

    whole = Image.new("RGB", (share_image.WIDTH, share_image.HEIGHT), "#0d0d0d")
    part = share_image.WIDTH, share_image.HEIGHT - share_image.STRIP
    whole.paste(ImageOps.fit(image, part, Image.Resampling.LANCZOS), (0, 0))
    draw = ImageDraw.Draw(whole)
    for line, size, below in ((title, 46, 60), ("An object", 29, 99), ("Somebody, 2.0 h", 29, 137)):
        draw.text((44, part[1] + below), line, "#d2cbbf", font(size), anchor="ls")
    return whole


@lru_cache(maxsize=2)
def font(size: int) -> FreeTypeFont | ImageFont:
    from PIL import ImageFont

    return ImageFont.load_default(size)


def smaller(image: Image.Image, width: int, height: int) -> Image.Image:
    from PIL import Image

    times = image.width // width
    if times > 1 and (image.width, image.height) == (width * times, height * times):
        return image.reduce(times)
    return image.resize((width, height), Image.Resampling.HAMMING)


def vips(job: tuple[Path, Path]) -> None:
    os.environ["VIPS_CONCURRENCY"] = "1"  # the processes are as many as for the others
    import pyvips

    source, folder = job
    image = pyvips.Image.new_from_file(str(source)).copy_memory()
    whole = image.width, image.height
    level, factor = image, 1
    for number, tile in enumerate(tiles.tiles(*whole) if tiles.is_tiled(*whole) else ()):
        if tile.factor != factor:
            # Its own binning, which is vectorised, as the others bin.
            level = level.shrink(tile.factor // factor, tile.factor // factor, ceil=True).copy_memory()
            factor = tile.factor
        left, top, right, low = tile.box
        cut = level.crop(left, top, min(right, level.width) - left, min(low, level.height) - top)
        file = str(folder / f"{source.stem}-tile-{number}.jpg")
        cut.jpegsave(file, Q=tiles.QUALITY, subsample_mode="off", keep="none")
    for plan in recipe.sizes(image.width, image.height):
        if image.width != plan.width:
            image = image.resize(
                plan.width / image.width, vscale=plan.height / image.height, kernel="linear"
            ).copy_memory()
        for format in plan.formats:
            file = str(folder / f"{source.stem}-{plan.width}{recipe.ENDINGS[format]}")
            if format == "jpeg":
                image.jpegsave(file, Q=plan.quality, subsample_mode="off", keep="none")
            else:
                image.webpsave(file, Q=recipe.WEBP_QUALITY, effort=recipe.WEBP_METHOD, keep="none")
        if plan.width == CARD_FROM:
            # Its lines of type are left out, which is in its favour: they are little.
            wide, tall = share_image.WIDTH, share_image.HEIGHT
            part = image.thumbnail_image(wide, height=tall - share_image.STRIP, crop="centre")
            file = str(folder / f"{source.stem}-card.jpg")
            whole = part.embed(0, 0, wide, tall)
            whole.jpegsave(file, Q=CARD_AS["quality"], subsample_mode="off", optimize_coding=True, keep="none")


def over_all(work: Callable[[tuple[Path, Path]], None], sources: list[Path], folder: Path, processes: int) -> float:
    folder.mkdir()

    def loop() -> None:
        with ProcessPoolExecutor(processes) as pool:
            list(pool.map(work, [(source, folder) for source in sources]))

    took = seconds(loop)
    shutil.rmtree(folder)
    return took


def full(folder: Path, pictures: int, processes: int, repeat: int, table: Table) -> None:
    """Builds from nothing and both loops by turns, so that what else the machine does falls on all of them."""
    archive = write_archive(folder / "full", pictures)
    sources = sorted((archive / "pictures").glob("*.jpg"))
    for number, path in enumerate(sources):
        if number < 10:
            photograph(number, path)
        else:  # the same ten skies again, made different files by a comment after their end
            path.write_bytes(sources[number % 10].read_bytes() + b"%d" % number)
    works: dict[str, Callable[[], float]] = {
        "ours": lambda: built_anew(archive, processes),
        "Pillow": lambda: over_all(pillow, sources, folder / "pillow", processes),
    }
    try:
        import pyvips  # noqa: F401
    except (ImportError, OSError):
        pass
    else:
        works["libvips"] = lambda: over_all(vips, sources, folder / "vips", processes)
    times: dict[str, list[tuple[float, float]]] = {name: [] for name in works}
    for _ in range(repeat):
        for name, work in works.items():
            times[name].append(watched(work))
    what = f"full build of {pictures} × {SIZE[0] * SIZE[1] / 1e6:.0f} MP, {processes} processes"
    for kind, index in (("", 0), ("; processor", 1)):  # the latter says more where other work is done meanwhile
        best = {name: min(each[index] for each in found) for name, found in times.items()}
        for name, most in (("Pillow", 1.0), ("libvips", 1.2)):
            if name in best:
                table.row(
                    what + kind, f"{best['ours']:.1f} s", f"bare {name} loop {best[name]:.1f} s",
                    f"{best['ours'] / best[name]:.2f} ({most:.2f})",
                )  # fmt: skip
    peak = _peak(sources[0], folder)
    decoded = SIZE[0] * SIZE[1] * 3
    table.row(
        "peak memory of a worker", f"{peak / 1e6:.0f} MB", f"decoded picture {decoded / 1e6:.0f} MB",
        f"{peak / decoded:.2f} (2.5)",
    )  # fmt: skip
    shutil.rmtree(archive)


def built_anew(archive: Path, processes: int) -> float:
    for left in (archive / "site", archive / ".noctuary"):
        shutil.rmtree(left, ignore_errors=True)
    return seconds(lambda: build(archive, "--workers", str(processes)))


def _peak(source: Path, folder: Path) -> int:
    """Peak memory of one process that makes one picture, as a worker does, and nothing else, bytes."""
    script = (
        "import sys\nfrom pathlib import Path\n"
        "from noctuary.images.make_renditions import make_renditions\n"
        "from noctuary.machine import keep_freed_memory\n"
        "keep_freed_memory()\n"
        "make_renditions(Path(sys.argv[1]), Path(sys.argv[2]), 'x' * 64)\n"
        # Of this process alone: what getrusage tells begins with the memory of the one that started it.
        "status = Path('/proc/self/status').read_text()\n"
        "print(status.partition('VmHWM:')[2].split()[0])"
    )
    told = subprocess.run(
        [sys.executable, "-c", script, str(source), str(folder / "peak")],
        env={**os.environ, "PYTHONPATH": str(REPOSITORY)}, capture_output=True, text=True, check=True,
    )  # fmt: skip
    return int(told.stdout) * 1024


_FLOOR = """
import os, sys
def look(folder):
    with os.scandir(folder) as entries:
        for entry in entries:
            if entry.is_dir(follow_symlinks=False):
                look(entry.path)
            else:
                entry.stat()
look(sys.argv[1])
with open(os.path.join(sys.argv[1], ".noctuary", "builds.sqlite"), "rb") as file:
    file.read()
"""


def floor(archive: Path) -> None:
    """A bare Python that looks at the same files and reads one manifest."""
    subprocess.run([sys.executable, "-I", "-c", _FLOOR, str(archive)], check=True)


def many(folder: Path, number: int, repeat: int, table: Table) -> tuple[dict[str, float], float]:
    """(seconds a picture by kind of build, processor seconds of an edited description beyond nothing changed)."""
    archive = write_archive(folder / f"many-{number}", number)
    first = seconds(lambda: build(archive))
    build(archive)
    lowest = min(seconds(lambda: floor(archive)) for _ in range(3 * repeat))
    nothing = min(seconds(lambda: build(archive)) for _ in range(3 * repeat))
    table.row(
        f"nothing changed, {number:,} pictures", f"{nothing * 1000:.0f} ms", f"floor {lowest * 1000:.0f} ms",
        f"{nothing / lowest:.2f} (4.0)",
    )  # fmt: skip
    middle = f"pictures/field-{number // 2:05d}"
    edited = []
    for turn in range(repeat):
        write(archive / f"{middle}.yaml", sidecar(number // 2, number).replace("The wind fell", f"Wind {turn} fell"))
        edited.append(processor_seconds(lambda: build(archive)))
    idle = min(processor_seconds(lambda: build(archive)) for _ in range(3 * repeat))
    write(archive / f"{middle}.yaml", sidecar(number // 2, number).replace("The wind fell", "No wind fell"))
    told = build(archive, "--explain").splitlines()[:-1]
    pages = sum(1 for _ in (archive / "site").rglob("*.html"))
    written = sum(line.partition(": ")[0].endswith(".html") for line in told)
    table.row(
        f"one description edited, {number:,} pictures; processor", f"{min(edited):.2f} s",
        f"nothing changed {idle:.2f} s; {written} of {pages:,} pages written",
        f"{min(edited) - idle:.2f} s more (0.35 s)",
    )  # fmt: skip
    kept = []
    for turn in range(repeat):
        write(archive / f"{middle}.yaml", sidecar(number // 2, number).replace("kept: 36", f"kept: {30 + turn}"))
        kept.append(processor_seconds(lambda: build(archive)))
    table.row(
        f"one kept: edited, {number:,} pictures; processor", f"{min(kept):.2f} s", f"nothing changed {idle:.2f} s",
        f"{min(kept) - idle:.2f} s more (0.6 s)",
    )  # fmt: skip
    table.row(
        f"first build, {number:,} small pictures", f"{first:.1f} s", f"{pages:,} pages",
        f"{first / pages * 1000:.1f} ms a page",
    )  # fmt: skip
    return {"first build": first / number, "nothing changed": nothing / number}, min(edited) - idle


def processor_seconds(work: Callable[[], object]) -> float:
    """Processor time of the programs that some work starts and waits for."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    work()
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    options.add_argument("--pictures", type=int, default=100, help="of 20 megapixels; 0 leaves them out")
    options.add_argument("--many", type=int, nargs="*", default=[1000, 10000], help="numbers of small pictures")
    options.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    options.add_argument("--repeat", type=int, default=3)
    options.add_argument("--folder", type=Path, help="where the archives are made (default: a temporary folder)")
    chosen = options.parse_args()
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)  # an installed program is compiled once, not at every start
    folder = Path(tempfile.mkdtemp(prefix="noctuary-bench-", dir=chosen.folder))
    table = Table()
    try:
        if chosen.pictures:
            full(folder, chosen.pictures, chosen.processes, chosen.repeat, table)
        costs = {number: many(folder, number, chosen.repeat, table) for number in sorted(chosen.many)}
        if len(costs) > 1:
            few, lot = min(costs), max(costs)
            (of_few, edit_of_few), (of_lot, edit_of_lot) = costs[few], costs[lot]
            for kind, cost in of_lot.items():
                table.row(
                    f"{kind}, cost of a picture", f"{cost * 1000:.2f} ms at {lot:,}",
                    f"{of_few[kind] * 1000:.2f} ms at {few:,}", f"{cost / of_few[kind]:.2f} (1.15)",
                )  # fmt: skip
            table.row(
                "one description edited, beyond nothing changed; processor", f"{edit_of_lot:.2f} s at {lot:,}",
                f"{edit_of_few:.2f} s at {few:,}", f"{edit_of_lot / edit_of_few:.2f} (1.50)",
            )  # fmt: skip
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    load = os.getloadavg()[1]
    print(f"\nPython {sys.version.split()[0]}, {os.cpu_count()} cores, load of the last five minutes {load:.1f}.")


if __name__ == "__main__":
    main()

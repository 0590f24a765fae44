"""From a picture to the files of the site: what is made, kept, described, and the same every time."""

from __future__ import annotations

import io
import mmap
import os
import platform
import signal
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
from noctuary.images import recipe
from noctuary.images import rendition_cache as keep
from noctuary.images.decoded import PictureFault
from noctuary.images.embed_metadata import Description, described
from noctuary.images.make_renditions import Job, make_all, make_renditions
from noctuary.images.recipe import PictureFile
from noctuary.machine import memory_available
from PIL import Image

from tests.images.picture_material import real

REAL = (
    "hubble_deep_field.jpg",
    "retina.jpg",
    "rocket.jpg",
    "eso_eso1723a_320.jpg",
    "eso_eso1723a_320.png",
    "m13.fits",
)


def jobs() -> list[Job]:
    return [Job(real(name), keep.source_hash(real(name))) for name in REAL]


def contents(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in folder.iterdir()}


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[Path, PictureFile]]:
    folder = tmp_path_factory.mktemp("renditions")
    outcomes = {job.path: make_renditions(job.path, folder, job.source_hash) for job in jobs()}
    assert all(isinstance(o, PictureFile) for o in outcomes.values()), outcomes
    return folder, outcomes  # type: ignore[return-value]


def test_real_pictures_are_made(made: tuple[Path, dict[Path, PictureFile]]) -> None:
    _, outcomes = made
    for picture in outcomes.values():
        assert picture.full.width == picture.width
        assert len(picture.colour) == 7
        for r in picture.renditions:
            assert r.width <= picture.width
            assert abs(r.height / r.width - picture.height / picture.width) < 1.5 / r.width
            with Image.open(r.file) as image:
                assert image.size == (r.width, r.height)
                assert image.format == r.format.upper()
                assert r.file.stat().st_size == r.bytes
                assert not {"exif", "icc_profile", "xmp", "comment"} & set(image.info)
                if r.format == "jpeg":
                    # ITU-T T.81: every component sampled 1 × 1 is 4:4:4; no progressive frame.
                    assert all(layer[1:3] == (1, 1) for layer in image.layer)  # type: ignore[attr-defined]
                    assert "progressive" not in image.info
                image.load()
    hubble = outcomes[real("hubble_deep_field.jpg")]
    assert [r.width for r in hubble.of("jpeg")] == [480, 1000]
    assert [r.width for r in hubble.of("webp")] == [240, 480, 640, 1000]


@pytest.mark.parametrize("workers", [1, 2])
def test_the_same_bytes_for_any_number_of_workers(
    tmp_path: Path, workers: int, made: tuple[Path, dict[Path, PictureFile]]
) -> None:
    told: list[Path] = []
    outcomes = make_all(jobs(), tmp_path / "r", workers=workers, progress=lambda job, _: told.append(job.path))
    assert set(outcomes) == {j.path for j in jobs()} == set(told)
    assert len(told) == len(REAL)
    assert contents(tmp_path / "r") == contents(made[0])


def test_any_executor_will_do(tmp_path: Path, made: tuple[Path, dict[Path, PictureFile]]) -> None:
    with ThreadPoolExecutor(2) as executor:
        make_all(jobs(), tmp_path, executor=executor)
    assert contents(tmp_path) == contents(made[0])


def test_what_is_kept_is_not_made_again_and_what_is_damaged_is(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    path.write_bytes(real("rocket.jpg").read_bytes())
    source = keep.source_hash(path)
    cache = tmp_path / "cache"
    first = make_renditions(path, cache, source)
    assert isinstance(first, PictureFile)
    path.unlink()
    assert make_renditions(path, cache, source) == first
    small = first.renditions[0]
    good = keep.read_rendition(small.file, small.sha256)
    small.file.write_bytes(good[:-1] + b"x")
    with pytest.raises(keep.DamagedRendition):
        keep.read_rendition(small.file, small.sha256)
    assert keep.recall(cache, keep.key(source, path)) is None
    path.write_bytes(real("rocket.jpg").read_bytes())
    again = make_renditions(path, cache, source)
    assert again == first
    assert keep.read_rendition(small.file, small.sha256) == good
    small.file.write_bytes(b"")
    assert keep.recall(cache, keep.key(source, path)) is None
    for damaged in (b"", b"[]", b"{}", b'{"renditions": 5}', b"\xff", b"[" * 100000):
        (cache / f"{keep.key(source, path)}.json").write_bytes(damaged)
        assert make_renditions(path, cache, source) == first


def test_the_cache_is_bounded_and_cleans_itself(tmp_path: Path, made: tuple[Path, dict[Path, PictureFile]]) -> None:
    for name, data in contents(made[0]).items():
        (tmp_path / name).write_bytes(data)
    (tmp_path / ".broken.jpg.1.part").write_bytes(b"half")
    (tmp_path / "notes.txt").write_text("mine")
    orphan = tmp_path / f"{'0' * 32}-480.jpg"
    orphan.write_bytes(b"no entry")
    wanted = jobs()[0].entry
    keep.prune(tmp_path, {wanted})
    assert not orphan.exists()
    assert (tmp_path / "notes.txt").exists()
    assert len(list(tmp_path.glob("*.json"))) == len(REAL)
    keep.prune(tmp_path, {wanted}, max_bytes=0)
    assert {p.name.partition("-")[0].partition(".")[0] for p in tmp_path.iterdir()} == {wanted, "notes"}
    assert keep.recall(tmp_path, wanted) is not None


class Deadly(type(Path())):  # type: ignore[misc]
    """A path that ends the process it arrives in, as the system does with one that takes too much memory."""

    def __reduce__(self) -> tuple[object, tuple[int]]:
        return signal.raise_signal, (signal.SIGKILL,)


def test_a_worker_that_is_killed_costs_one_picture(tmp_path: Path) -> None:
    deadly = Job(Deadly(tmp_path / "huge.jpg"), "0" * 64, 5000, 5000)
    outcomes = make_all([deadly, *jobs()], tmp_path / "cache", workers=2)
    fault = outcomes.pop(deadly.path)
    assert isinstance(fault, PictureFault)
    assert fault.rule == "picture-too-large"
    assert fault.hint
    assert len(outcomes) == len(REAL)
    assert all(isinstance(o, PictureFile) for o in outcomes.values())


class KilledWorker(Exception):
    """What distributed raises for a job whose workers died."""


def test_an_engine_that_lost_its_worker_costs_one_picture(tmp_path: Path) -> None:
    class Engine(ThreadPoolExecutor):
        def submit(self, fn, /, path, *args):  # type: ignore[override]
            if path.name == "retina.jpg":
                return super().submit(self.fail)
            return super().submit(fn, path, *args)

        def fail(self) -> None:
            raise KilledWorker

    with Engine(2) as executor:
        outcomes = make_all(jobs(), tmp_path, executor=executor)
    assert isinstance(outcomes.pop(real("retina.jpg")), PictureFault)
    assert all(isinstance(o, PictureFile) for o in outcomes.values())


@pytest.mark.slow
def test_workers_end_with_the_build_that_is_killed(tmp_path: Path) -> None:
    program = (
        "import os, sys, signal\n"
        "from pathlib import Path\n"
        "from noctuary.images.make_renditions import Job, make_all\n"
        "from noctuary.images.rendition_cache import source_hash\n"
        "def stop(job, outcome):\n"
        "    os.kill(os.getpid(), signal.SIGKILL)\n"
        "if __name__ == '__main__':\n"
        "    paths = [Path(p) for p in sys.argv[2:]]\n"
        "    make_all([Job(p, source_hash(p)) for p in paths], Path(sys.argv[1]), workers=2, progress=stop)\n"
    )
    (tmp_path / "program.py").write_text(program)
    # Its workers inherit standard output: it is closed when the last of them is gone.
    ended = subprocess.run(
        [sys.executable, tmp_path / "program.py", tmp_path / "cache", *(real(n) for n in REAL)],
        stdout=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
        timeout=600,
        check=False,
    )
    assert ended.returncode == -signal.SIGKILL
    outcomes = make_all(jobs(), tmp_path / "cache", workers=2)
    assert all(isinstance(o, PictureFile) for o in outcomes.values())
    keep.prune(tmp_path / "cache", [job.entry for job in jobs()])
    assert not list((tmp_path / "cache").glob(".*"))


_FAULTS = """
import resource
from noctuary.machine import give_back_memory, keep_freed_memory

def faults():
    before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
    room = bytearray(80_000_000)
    del room
    return resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before

keep_freed_memory()
first, again = faults(), faults()
give_back_memory()
print(first, again, faults())
"""


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="the C library has no such setting")
def test_a_worker_keeps_the_memory_of_one_picture_for_the_next_until_it_is_told_to_give_it_back() -> None:
    told = subprocess.run([sys.executable, "-c", _FAULTS], capture_output=True, text=True, check=True)
    first, again, after = map(int, told.stdout.split())
    pages = 80_000_000 // mmap.PAGESIZE
    assert first >= pages / 600  # with pages of 2 MB
    assert again < first / 2
    assert after > first / 2


def test_memory_is_known() -> None:
    assert memory_available() > 0
    assert recipe.peak_bytes(10000, 10000, deep=True) > recipe.peak_bytes(10000, 10000, deep=False)


def test_published_names_change_with_the_bytes() -> None:
    one = keep.published_name("rosette-2025", 480, "a" * 64, "jpeg")
    assert one.startswith("rosette-2025-480.")
    assert one.endswith(".jpg")
    assert keep.hash_in(f"images/{one}") == "a" * 12
    assert one != keep.published_name("rosette-2025", 480, "b" * 64, "jpeg")


def test_a_full_disk_is_an_error_and_leaves_nothing_that_looks_whole(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("in the way of the cache folder")
    with pytest.raises(OSError, match=r"exists|directory"):
        make_renditions(real("rocket.jpg"), blocked, keep.source_hash(real("rocket.jpg")))


def test_described_pixels_are_the_same_pixels(made: tuple[Path, dict[Path, PictureFile]]) -> None:
    picture = made[1][real("rocket.jpg")]
    for r in picture.renditions:
        with Image.open(r.file) as before:
            was = np.asarray(before.convert("RGB"))
        after = Image.open(io.BytesIO(described(r.file.read_bytes(), r.format, Description(title="A rocket"))))
        assert np.array_equal(np.asarray(after.convert("RGB")), was)

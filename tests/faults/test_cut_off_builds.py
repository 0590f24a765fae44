"""A build that is cut off, or that the disk fails, leaves the old site or the new one, and the next build mends it.

A longer run of the same: ``python -m tests.faults.trials`` for every single file operation, and
``NOCTUARY_KILLS=200`` for as many random moments.
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest
from noctuary.publish.build_lock import archive_lock

from tests.builders.folders import bytes_below, jpeg, set_plainly, write
from tests.builders.many_pictures import sidecar, write_archive
from tests.builders.program import REPOSITORY, command, run, surroundings, typed
from tests.links import dead_links

pytestmark = pytest.mark.slow

KILLS = int(os.environ.get("NOCTUARY_KILLS", "3"))
MEMORY = Path("/dev/shm")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A folder in memory where there is such a thing: hundreds of builds need not wait for a disk."""
    made = tmp_path_factory.mktemp("builds")
    if os.access(MEMORY, os.W_OK):
        shutil.rmtree(made)
        made = MEMORY / f"noctuary-{os.getpid()}"
        made.mkdir()
    yield made
    shutil.rmtree(made, ignore_errors=True)


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    made = write_archive(tmp_path / "archive", 2)
    set_plainly(made)
    return made


@pytest.fixture
def built(archive: Path) -> Path:
    outcome = typed("build", archive)
    assert outcome.returncode == 0, outcome.stderr
    return archive


def clean(archive: Path) -> dict[str, bytes]:
    """The site of an archive, built from nothing in another place."""
    other = archive.with_name(f"{archive.name}-clean")
    shutil.copytree(archive, other, ignore=shutil.ignore_patterns("site", ".noctuary", ".site*"))
    outcome = typed("build", other)
    assert outcome.returncode == 0, outcome.stderr
    site = bytes_below(other / "site")
    shutil.rmtree(other)
    return site


def edit(archive: Path) -> None:
    """One caption changed, one picture replaced, one picture more."""
    write(archive / "pictures/field-00000.yaml", sidecar(0, 2).replace("on a night", "on an evening"))
    write(archive / "pictures/field-00001.jpg", jpeg(77, (60, 40)))
    write(archive / "pictures/field-00002.yaml", sidecar(2, 2))
    write(archive / "pictures/field-00002.jpg", jpeg(2, (60, 40)))


def leftovers(archive: Path) -> list[str]:
    return sorted(
        p.relative_to(archive).as_posix()
        for p in archive.rglob("*")
        if p.name.startswith(".") and p.name not in {".noctuary", ".noctuary-made"}
    )


@pytest.mark.parametrize(("scenario", "every"), [("edit", "53"), ("words", "9")])
def test_a_file_operation_that_fails(folder: Path, scenario: str, every: str) -> None:
    """A full disk, a forbidden file, a broken disk or the end of the process, at some of all file operations."""
    trials = [sys.executable, "-m", "tests.faults.trials", str(folder / f"trials-{scenario}")]
    outcome = subprocess.run(
        [*trials, "--scenario", scenario, "--every", every, "--first", "29"],
        cwd=REPOSITORY, env=surroundings(), capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert outcome.returncode == 0, outcome.stdout + outcome.stderr
    assert int(outcome.stdout.split()[-4]) > 20


@pytest.mark.parametrize("incremental", [False, True])
def test_killed_at_random_moments(folder: Path, incremental: bool) -> None:
    start = write_archive(folder / f"start-{incremental}" / "archive", 2)
    set_plainly(start)
    work = folder / f"work-{incremental}"
    if incremental:
        # Built where it will lie, for the cache knows the site by its place.
        shutil.move(start.parent, work)
        assert typed("build", work / "archive").returncode == 0
        edit(work / "archive")
        shutil.move(work, start.parent)
    old = bytes_below(start / "site")
    new = clean(start)
    archive = work / "archive"
    shutil.copytree(start.parent, work)
    began = time.monotonic()
    assert run("build", archive).returncode == 0
    takes = time.monotonic() - began
    chance = random.Random(1905)
    for _ in range(KILLS):
        shutil.rmtree(work)
        shutil.copytree(start.parent, work)
        with subprocess.Popen(
            command("build", archive), env=surroundings(), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        ) as building:
            time.sleep(chance.uniform(0.2, 1.05) * takes)
            building.kill()
        now = bytes_below(archive / "site")
        assert now in (old, new) or not dead_links(now)
        outcome = typed("build", archive)
        assert outcome.returncode == 0, outcome.stderr
        assert bytes_below(archive / "site") == new
        assert leftovers(archive) == []


def test_interrupted_from_the_keyboard(archive: Path) -> None:
    for number in range(2, 60):
        write(archive / f"pictures/field-{number:05d}.yaml", sidecar(number, 60))
        write(archive / f"pictures/field-{number:05d}.jpg", jpeg(number, (900, 600)))
    with subprocess.Popen(
        command("build", archive), env=surroundings(), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as building:
        renditions = archive / ".noctuary" / "renditions"
        while not (renditions.is_dir() and list(renditions.glob("*.json"))):
            assert building.poll() is None, building.stderr and building.stderr.read()
            time.sleep(0.01)
        building.send_signal(signal.SIGINT)
        said = building.communicate(timeout=600)[1]
    assert building.returncode == 130
    assert "interrupted" in said
    assert "Traceback" not in said
    assert leftovers(archive) == []
    assert not (archive / "site").exists()


def test_two_builds_at_once(built: Path) -> None:
    edit(built)
    before = bytes_below(built / "site")
    with archive_lock(built):
        outcome = run("build", built)
    assert outcome.returncode == 1
    assert f"process {os.getpid()}" in outcome.stderr
    assert bytes_below(built / "site") == before
    assert typed("build", built).returncode == 0


#: A module that every Python reads at its start: a file is gone when it is opened for the so manieth time.
VANISHING = """
import builtins, io, os
def opening(real):
    def call(path, *rest, **more):
        if str(path) == os.environ["VANISHES"]:
            with real(os.environ["OPENED"], "ab") as times:
                times.write(b".")
                if times.tell() == int(os.environ["VANISHES_AT"]):
                    os.unlink(path)
        return real(path, *rest, **more)
    return call
builtins.open = io.open = opening(open)
"""


@pytest.mark.parametrize("at", [1, 2])
def test_a_picture_that_vanishes_while_it_is_built(archive: Path, tmp_path: Path, at: int) -> None:
    picture, opened = archive / "pictures/field-00001.jpg", tmp_path / "opened"
    write(tmp_path / "vanishing/sitecustomize.py", VANISHING)
    around = surroundings(VANISHES=str(picture), OPENED=str(opened), VANISHES_AT=str(at))
    around["PYTHONPATH"] = f"{tmp_path / 'vanishing'}{os.pathsep}{around['PYTHONPATH']}"
    built = subprocess.run(
        command("build", archive, "--workers", "1"), env=around, capture_output=True, text=True, check=False
    )
    assert opened.stat().st_size >= at
    assert built.returncode == 1
    assert "Traceback" not in built.stderr
    assert "pictures/field-00001" in built.stderr
    assert not (archive / "site").exists()


def test_a_worker_that_is_killed_costs_one_fault_at_most(archive: Path) -> None:
    write(archive / "pictures/field-00002.yaml", sidecar(2, 2))
    write(archive / "pictures/field-00002.jpg", jpeg(2, (3600, 2400)))
    with subprocess.Popen(
        command("build", archive, "--workers", "1"), env=surroundings(), stderr=subprocess.PIPE, text=True
    ) as building:
        killed: set[int] = set()
        while building.poll() is None:
            for worker in _workers(building.pid, at_work=0.1) - killed:
                with suppress(ProcessLookupError):  # it may have done its work already
                    os.kill(worker, signal.SIGKILL)
                    killed.add(worker)
            time.sleep(0.02)
        said = building.communicate(timeout=600)[1]
    assert killed
    assert "Traceback" not in said
    if building.returncode:
        assert building.returncode == 1
        assert 1 <= said.count("fault [") <= 3
        assert not (archive / "site").exists()
    assert typed("build", archive).returncode == 0
    assert leftovers(archive) == []


def _workers(program: int, at_work: float) -> set[int]:
    """Processes of the pool that have worked for so many seconds: children of the server that forks them, which is a
    child of the program."""
    parents: dict[int, int] = {}
    worked: dict[int, float] = {}
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            words = stat.read_text().rpartition(")")[2].split()
        except OSError:
            continue
        parents[int(stat.parent.name)] = int(words[1])
        worked[int(stat.parent.name)] = (int(words[11]) + int(words[12])) / os.sysconf("SC_CLK_TCK")
    children = {p for p, parent in parents.items() if parent == program}
    return {p for p, parent in parents.items() if parent in children and worked[p] >= at_work}


@pytest.mark.skipif(os.geteuid() == 0, reason="nothing is read-only for root")
def test_a_folder_that_may_not_be_written(built: Path) -> None:
    before = bytes_below(built / "site")
    edit(built)
    built.chmod(0o555)
    try:
        outcome = typed("build", built)
    finally:
        built.chmod(0o755)
    assert outcome.returncode == 1
    assert "Traceback" not in outcome.stderr
    assert bytes_below(built / "site") == before


def test_files_of_others_in_the_output_folder(built: Path) -> None:
    edit(built)
    (built / "site" / "thesis.txt").write_text("years of work")
    before = bytes_below(built / "site")
    outcome = typed("build", built)
    assert outcome.returncode == 1
    assert "thesis.txt" in outcome.stderr
    assert bytes_below(built / "site") == before


def test_an_output_folder_that_was_there_before(archive: Path, tmp_path: Path) -> None:
    other = tmp_path / "documents"
    write(other / "letter.txt", "Dear")
    outcome = typed("build", archive, "--out", other)
    assert outcome.returncode == 1
    assert "letter.txt" in outcome.stderr
    assert bytes_below(other) == {"letter.txt": b"Dear"}


@pytest.mark.parametrize("inside", ["pictures", "pictures/site", "nights", "theme/x", ".noctuary/site", ".", ".."])
def test_an_output_folder_among_the_sources(archive: Path, inside: str) -> None:
    before = bytes_below(archive / "pictures")
    outcome = typed("build", archive, "--out", archive / inside)
    assert outcome.returncode == 1
    assert "Traceback" not in outcome.stderr
    assert bytes_below(archive / "pictures") == before


def test_an_output_folder_that_is_a_link(archive: Path, tmp_path: Path) -> None:
    real = tmp_path / "elsewhere"
    real.mkdir()
    link = tmp_path / "link"
    link.symlink_to(real)
    outcome = typed("build", archive, "--out", link)
    assert outcome.returncode == 0, outcome.stderr
    assert link.is_symlink()
    assert (real / "index.html").is_file()
    edit(archive)
    assert typed("build", archive, "--out", link).returncode == 0
    assert bytes_below(real) == clean(archive)


def test_a_link_where_the_next_site_is_prepared(built: Path, tmp_path: Path) -> None:
    """What a link of that name leads to is somebody's, and stays."""
    mine = tmp_path / "mine"
    write(mine / "diary.txt", "today")
    (built / ".site.noctuary-new").symlink_to(mine)
    edit(built)
    assert typed("build", built).returncode == 0
    assert bytes_below(mine) == {"diary.txt": b"today"}
    assert leftovers(built) == []


def test_a_cache_that_is_damaged(folder: Path) -> None:
    """Every file of the cache cut off, one bit of it turned, or replaced: the same site without a word."""
    archive = write_archive(folder / "cache" / "archive", 2)
    set_plainly(archive)
    assert typed("build", archive).returncode == 0
    edit(archive)
    new = clean(archive)
    keep = folder / "cache-keep"
    shutil.copytree(folder / "cache", keep)
    chance = random.Random(7)
    kinds = ("cut", "flipped", "hostile")
    for kind in kinds:
        shutil.rmtree(folder / "cache")
        shutil.copytree(keep, folder / "cache")
        for path in sorted((archive / ".noctuary").rglob("*")):
            if path.is_file() and path.name != "lock":
                _damage(path, kind, chance)
        outcome = run("build", archive)
        assert outcome.returncode == 0, outcome.stderr
        assert outcome.stderr == ""
        assert bytes_below(archive / "site") == new, kind


def _damage(path: Path, kind: str, chance: random.Random) -> None:
    data = path.read_bytes()
    if kind == "cut":
        path.write_bytes(data[: len(data) // 2])
    elif kind == "flipped":
        at = chance.randrange(len(data))
        path.write_bytes(data[:at] + bytes([data[at] ^ 1 << chance.randrange(8)]) + data[at + 1 :])
    elif kind == "hostile":
        path.write_bytes(b'{"format": 1, "inputs": [1, 2], "out": 3, "renditions": [{"file": "../a"}]}')

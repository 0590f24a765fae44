"""Pictures made by an executor of another engine: the same site, and clear words where there is no such engine."""

from __future__ import annotations

import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from tests.builders.folders import bytes_below, jpeg, set_plainly, write
from tests.builders.many_pictures import sidecar, write_archive
from tests.builders.program import REPOSITORY, command, run, surroundings, typed

pytestmark = pytest.mark.slow


def test_a_cluster_makes_the_same_site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    distributed = pytest.importorskip("distributed")
    monkeypatch.setenv("PYTHONPATH", str(REPOSITORY), prepend=":")
    archive = write_archive(tmp_path / "archive", 4)
    set_plainly(archive)
    assert typed("build", archive, "--out", tmp_path / "here").returncode == 0
    (archive / ".noctuary").rename(tmp_path / "cache-of-here")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address=None, host="127.0.0.1"
    ) as cluster:
        outcome = run(
            "build", archive, "--out", tmp_path / "there", "--executor", f"dask:{cluster.scheduler_address}"
        )
    assert outcome.returncode == 0, outcome.stderr
    assert bytes_below(tmp_path / "there") == bytes_below(tmp_path / "here")


@pytest.mark.parametrize("name", ["dask", "dask:", "spark:there", ""])
def test_an_executor_that_is_none(tmp_path: Path, name: str) -> None:
    outcome = typed("build", write_archive(tmp_path / "archive", 1), "--executor", name)
    assert outcome.returncode == 1
    assert "dask:ADDRESS" in outcome.stderr
    assert "Traceback" not in outcome.stderr
    assert not (tmp_path / "archive" / "site").exists()


def test_a_cluster_that_does_not_answer(tmp_path: Path) -> None:
    hurried = "import sys; from noctuary.publish import cluster; cluster.PATIENCE_S = 0.5; "
    outcome = subprocess.run(
        [sys.executable, "-c", f"{hurried} from noctuary.cli import run; sys.exit(run(sys.argv[1:]))",
         "build", write_archive(tmp_path / "archive", 1), "--executor", "dask:tcp://127.0.0.1:9"],
        env=surroundings(), capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert outcome.returncode == 1
    assert "no scheduler answers at tcp://127.0.0.1:9" in outcome.stderr or "noctuary[dask]" in outcome.stderr
    assert "Traceback" not in outcome.stderr


@contextmanager
def process(*arguments: object, path: str, folder: Path) -> Iterator[subprocess.Popen[str]]:
    """A scheduler or worker of its own, with this on its module path."""
    running = subprocess.Popen(
        [sys.executable, "-m", *map(str, arguments)], cwd=folder, text=True,
        env=surroundings() | {"PYTHONPATH": path}, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
    )  # fmt: skip
    try:
        yield running
    finally:
        running.kill()
        running.wait()


@contextmanager
def scheduler(folder: Path) -> Iterator[tuple[subprocess.Popen[str], str]]:
    options = ("--host", "127.0.0.1", "--port", "0", "--no-dashboard")
    with process("distributed.cli.dask_scheduler", *options, path=_HERE, folder=folder) as running:
        assert running.stderr is not None
        for line in running.stderr:
            if found := re.search(r"Scheduler at:\s+(tcp://127\.0\.0\.1:\d+)", line):
                yield running, found[1]
                return


def worker(address: str, path: str, folder: Path) -> Any:
    options = ("--nthreads", "1", "--no-nanny", "--no-dashboard", "--local-directory", folder)
    return process("distributed.cli.dask_worker", address, *options, path=path, folder=folder)


_HERE = str(REPOSITORY / "generator")


def built_there(archive: Path, address: str) -> subprocess.CompletedProcess[str]:
    """A build that gives its worker some seconds to be there."""
    for _ in range(60):
        outcome = run("build", archive, "--executor", f"dask:{address}")
        if "no worker is at work" not in outcome.stderr:
            return outcome
        time.sleep(0.5)
    return outcome


def refused(outcome: subprocess.CompletedProcess[str], text: str) -> bool:
    lines = outcome.stderr.splitlines()
    return outcome.returncode == 1 and text in lines[0] and len(lines) == 2 and "Traceback" not in outcome.stderr


def test_a_worker_without_the_program_or_with_another(tmp_path: Path) -> None:
    pytest.importorskip("distributed")
    archive = write_archive(tmp_path / "archive", 1)
    other = tmp_path / "other"
    write(other / "noctuary/__init__.py", "__version__ = 'another'\n")
    write(other / "noctuary/images/__init__.py", "")
    write(other / "noctuary/images/far_renditions.py", "def made_by(): return 'another'\n")
    write(tmp_path / "none/noctuary.py", "raise ImportError('not here')\n")
    with scheduler(tmp_path) as (_, address):
        assert refused(run("build", archive, "--executor", f"dask:{address}"), "no worker is at work")
        with worker(address, str(tmp_path / "none"), tmp_path):
            assert refused(built_there(archive, address), "has no noctuary")
        with worker(address, str(other), tmp_path):
            outcome = built_there(archive, address)
            assert refused(outcome, "another version of noctuary"), outcome.stderr
    assert not (archive / "site").exists()


def test_a_worker_that_does_not_see_the_archive(tmp_path: Path) -> None:
    """Its view of the folder is taken away by a module that every Python reads at its start."""
    pytest.importorskip("distributed")
    archive = write_archive(tmp_path / "archive", 2)
    set_plainly(archive)
    blind = (
        "import builtins, io, os\n"
        f"HIDDEN = {str(archive)!r}\n"
        "def hide(real):\n"
        "    def call(path, *rest, **more):\n"
        "        if str(path).startswith(HIDDEN): raise FileNotFoundError(2, 'no such file', str(path))\n"
        "        return real(path, *rest, **more)\n"
        "    return call\n"
        "os.stat, os.open, builtins.open, io.open = hide(os.stat), hide(os.open), hide(open), hide(io.open)\n"
    )
    write(tmp_path / "blind/sitecustomize.py", blind)
    with scheduler(tmp_path) as (_, address), worker(address, f"{tmp_path / 'blind'}:{_HERE}", tmp_path):
        outcome = built_there(archive, address)
    assert outcome.returncode == 0, outcome.stderr
    there = bytes_below(archive / "site")
    assert typed("build", archive, "--out", tmp_path / "here").returncode == 0
    assert bytes_below(tmp_path / "here") == there


def test_a_scheduler_that_goes_away(tmp_path: Path) -> None:
    pytest.importorskip("distributed")
    archive = write_archive(tmp_path / "archive", 1)
    set_plainly(archive)
    with scheduler(tmp_path) as (running, address), worker(address, _HERE, tmp_path):
        assert built_there(archive, address).returncode == 0
        before = bytes_below(archive / "site")
        for number in range(8):
            write(archive / f"pictures/field-{number:05d}.jpg", jpeg(number + 50, (2400, 1600)))
            write(archive / f"pictures/field-{number:05d}.yaml", sidecar(number, 8))
        with subprocess.Popen(
            command("build", archive, "--executor", f"dask:{address}"),
            env=surroundings(), stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
        ) as building:  # fmt: skip
            entries = {p.name for p in (archive / ".noctuary/renditions").glob("*.json")}
            while {p.name for p in (archive / ".noctuary/renditions").glob("*.json")} == entries:
                assert building.poll() is None
                time.sleep(0.02)
            running.send_signal(signal.SIGKILL)
            said = building.communicate(timeout=600)[1]
    assert building.returncode == 1
    assert "went away" in said.splitlines()[0], said
    assert len(said.splitlines()) == 2, said
    assert bytes_below(archive / "site") == before
    assert typed("build", archive).returncode == 0

"""Pictures made by an executor of another engine: the same site, and clear words where there is no such engine."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.builders.folders import bytes_below, set_plainly
from tests.builders.many_pictures import write_archive
from tests.builders.program import REPOSITORY, run

pytestmark = pytest.mark.slow


def test_a_cluster_makes_the_same_site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    distributed = pytest.importorskip("distributed")
    monkeypatch.setenv("PYTHONPATH", str(REPOSITORY), prepend=":")
    archive = write_archive(tmp_path / "archive", 4)
    set_plainly(archive)
    assert run("build", archive, "--out", tmp_path / "here").returncode == 0
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
    outcome = run("build", write_archive(tmp_path / "archive", 1), "--executor", name)
    assert outcome.returncode == 1
    assert "dask:ADDRESS" in outcome.stderr
    assert "Traceback" not in outcome.stderr
    assert not (tmp_path / "archive" / "site").exists()


def test_a_cluster_that_does_not_answer(tmp_path: Path) -> None:
    outcome = run("build", write_archive(tmp_path / "archive", 1), "--executor", "dask:tcp://127.0.0.1:9")
    assert outcome.returncode == 1
    assert "no scheduler answers at tcp://127.0.0.1:9" in outcome.stderr or "noctuary[dask]" in outcome.stderr
    assert "Traceback" not in outcome.stderr

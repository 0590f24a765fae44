"""What other systems do differently, simulated here: names, code pages, missing calls, processes that are spawned."""

from __future__ import annotations

import io
import json
import multiprocessing
import os
import subprocess
import sys
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from noctuary import cli, machine
from noctuary.files import write_whole
from noctuary.images.make_renditions import Job, make_all
from noctuary.images.recipe import PictureFile
from noctuary.images.rendition_cache import source_hash
from noctuary.pages.addresses import exhibit_page, picture_page, slides_page
from noctuary.portable_name import LONGEST, is_reserved, portable, why_not_portable
from noctuary.publish.disk import put_in_place

from tests.builders.folders import bytes_below, jpeg, set_plainly, write
from tests.builders.many_pictures import sidecar, write_archive
from tests.builders.program import REPOSITORY, command, surroundings, typed

# Names that Windows keeps for devices: "Naming Files, Paths, and Namespaces", Microsoft's documentation of Win32.
DEVICES = ["con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(1, 10))]


@pytest.mark.parametrize("name", DEVICES)
def test_no_page_has_the_name_of_a_device(name: str) -> None:
    for path in (picture_page(name), exhibit_page(name), slides_page(name), portable(f"data/pictures/{name}.csv")):
        assert why_not_portable(path) is None
        assert not any(is_reserved(part) for part in path.split("/"))


@given(st.text("abcdefghijklmnopqrstuvwxyz0123456789-", min_size=1, max_size=250), st.sampled_from(["html", "vot"]))
def test_every_id_has_a_name_of_its_own_that_every_system_holds(stem: str, ending: str) -> None:
    path = portable(f"compare/{stem}.{ending}")
    assert len(path) <= LONGEST
    assert path == path.lower()
    assert path.startswith("compare/")
    assert path.endswith(f".{ending}")
    assert portable(path) == path or stem.endswith("-")
    assert portable(f"compare/{stem}0.{ending}") != path


@pytest.mark.parametrize("path", ["theme/a:b.css", "theme/what?.svg", "theme/end.", "theme/x" * 40, "theme/LPT1.svg"])
def test_what_another_system_could_not_hold_is_told(path: str) -> None:
    assert why_not_portable(path) is not None


@pytest.mark.slow
def test_a_site_of_awkward_ids_lies_on_every_system(tmp_path: Path) -> None:
    archive = write_archive(tmp_path / "archive", 0)
    set_plainly(archive)
    long = "a" * 99
    for number, name in enumerate(("con", "aux", f"{long}b", f"{long}c")):
        record = sidecar(0, 1).replace("1985-10-05", f"1985-10-{5 + number:02}").replace("1985-10-08", "1985-11-20")
        write(archive / f"pictures/{name}.yaml", record)
        write(archive / f"pictures/{name}.jpg", jpeg(number, (60, 40)))
    outcome = typed("build", archive)
    assert outcome.returncode == 0, outcome.stderr
    names = [name for name in bytes_below(archive / "site") if not name.startswith(".")]
    assert [n for n in names if why_not_portable(n)] == []
    assert len({n.casefold() for n in names}) == len(names)
    assert any(n.startswith("compare/") and n.endswith(".html") for n in names)


def printed(page: str, *arguments: object) -> tuple[int, bytes, bytes]:
    """Status and output of a command in this process, printed in a code page."""
    out, err = io.BytesIO(), io.BytesIO()
    streams = [io.TextIOWrapper(raw, encoding=page, write_through=True) for raw in (out, err)]
    with redirect_stdout(streams[0]), redirect_stderr(streams[1]):
        machine.print_in_any_code_page()
        status = cli.run([str(argument) for argument in arguments])
    return status, out.getvalue(), err.getvalue()


def printed_by_a_child(page: str, *arguments: object) -> tuple[int, bytes, bytes]:
    """The same of a process that is told of the code page as a terminal tells it."""
    outcome = subprocess.run(
        command(*arguments), env=surroundings(PYTHONIOENCODING=page), capture_output=True, check=False
    )
    return outcome.returncode, outcome.stdout, outcome.stderr


@pytest.mark.slow
@pytest.mark.parametrize("page", ["cp1252", "cp437", "ascii", "cp932"])
def test_output_in_any_code_page(tmp_path: Path, page: str) -> None:
    archive = write_archive(tmp_path / "archive", 1)
    record = sidecar(0, 1).replace("Field number 0", "Große Nebel − 3.5″ ★ 銀河").replace("alt:", "alt_:")
    write(archive / "pictures/field-00000.yaml", record)
    for words in (("check", archive), ("facts", archive), ("check", archive, "--format", "json")):
        status, out, err = printed(page, *words)
        assert status == 1
        assert b"Traceback" not in err
        if "json" in words:
            assert json.loads(out.decode(page))["findings"]
    assert printed_by_a_child(page, *words) == (status, out, err)
    write(archive / "pictures/field-00000.yaml", record.replace("alt_:", "alt:"))
    for form in ("text", "json"):
        status, out, err = printed(page, "facts", archive, "field-00000", "--format", form)
        assert status == 0, err
        assert form == "text" or json.loads(out.decode(page))


def test_characters_that_are_missing_become_plainer_ones(monkeypatch: pytest.MonkeyPatch) -> None:
    raw = io.BytesIO()
    out = io.TextIOWrapper(raw, encoding="ascii")
    monkeypatch.setattr(sys, "stdout", out)
    machine.print_in_any_code_page()
    print("−3.5″ → 12° 銀 é", end="")
    out.flush()
    assert raw.getvalue() == b'-3.5" -> 12 deg ? e'


def test_pictures_are_made_by_spawned_processes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Windows has no other kind, and macOS prefers it."""
    monkeypatch.setattr(multiprocessing, "get_all_start_methods", lambda: ["spawn"])
    path = tmp_path / "field.jpg"
    path.write_bytes(jpeg(1, (60, 40)))
    made = make_all([Job(path, source_hash(path))], tmp_path / "cache", workers=2)[path]
    assert isinstance(made, PictureFile)
    assert made.full.width == 60


def test_windows_waits_for_61_processes_at_most(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "platform", "win32")
    assert machine.most_processes(256) == 61
    assert machine.most_processes(4) == 4


def test_cores_where_the_system_tells_little(monkeypatch: pytest.MonkeyPatch) -> None:
    assert 1 <= machine.cores() <= (os.cpu_count() or 1)
    monkeypatch.delattr(os, "sched_getaffinity", raising=False)
    monkeypatch.delattr(os, "process_cpu_count", raising=False)
    monkeypatch.setattr(os, "cpu_count", lambda: None)
    assert machine.cores() == 1


def test_a_file_that_another_program_reads_is_waited_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Windows answers so while a virus scanner looks at a file (ERROR_SHARING_VIOLATION)."""
    write_whole(tmp_path / "new", b"new")
    real, calls = os.replace, []

    def busy(source: str, target: str) -> None:
        calls.append(source)
        if len(calls) < 3:
            error = PermissionError(13, "The process cannot access the file")
            error.winerror = 32  # type: ignore[attr-defined]
            raise error
        real(source, target)

    monkeypatch.setattr(os, "replace", busy)
    put_in_place(str(tmp_path / "new"), str(tmp_path / "old"))
    assert (tmp_path / "old").read_bytes() == b"new"
    assert len(calls) == 3


@pytest.mark.slow
def test_types_hold_on_other_systems() -> None:
    """What differs by system is the standard library, so the others are looked at without what else is installed.

    There is much to complain about then, and on every system the same: here, where the check of everything with all
    of it finds nothing, and there.
    """
    here, windows, mac = (_complaints(platform) for platform in ("linux", "win32", "darwin"))
    assert here, "nothing was left out"
    assert sorted(windows - here) == []
    assert sorted(mac - here) == []


def _complaints(platform: str) -> set[str]:
    alone = ("--no-site-packages", "--ignore-missing-imports", "--cache-dir", os.devnull)
    outcome = subprocess.run(
        [sys.executable, "-m", "mypy", "-p", "noctuary", "--platform", platform, *alone],
        cwd=REPOSITORY, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert outcome.returncode == 1, outcome.stdout + outcome.stderr
    return {line for line in outcome.stdout.splitlines() if ": error: " in line}

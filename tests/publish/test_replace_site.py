"""How a site changes on the disk: cut off or failed at any operation, on every kind of system.

The systems are simulated: calls that a system lacks fail as they do there, and the real ones do the rest.
"""

from __future__ import annotations

import errno
import os
import shutil
import signal
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from noctuary.publish.build_lock import InUse, lock
from noctuary.publish.journal import read_journal
from noctuary.publish.replace_site import Assembly, CannotPublish, HalfWay, files_on_disk, foreign_files, recover

from tests.builders.folders import bytes_below
from tests.links import dead_links
from tests.publish.upload.tiny_site import tiny_site

NAMES = [f"night-{letter}" for letter in "abcdefghijklmnopqrstuvwx"]
Site = dict[str, bytes]
#: NOCTUARY_EVERY=1 strikes every single operation, which takes minutes.
EVERY = int(os.environ.get("NOCTUARY_EVERY", "97"))


def without_notes(files: Site) -> Site:
    return {name: data for name, data in files.items() if not name.startswith(".")}


def alike(out: Path, files: Site) -> set[str]:
    """The files that lie as they should."""
    return {name for name, data in files.items() if (out / name).exists() and (out / name).read_bytes() == data}


def publish(out: Path, files: Site, same: set[str] | None = None) -> None:
    """What a build does: files that lie as they should (``same``) are kept, the others written."""
    recover(out)
    lying = files_on_disk(out)
    same = alike(out, files) if same is None else same
    with Assembly(out) as assembly:
        for name, data in files.items():
            if name in same:
                assembly.keep(name, lying[name])
            else:
                assembly.write(name, data)
        assembly.publish()


OLD = tiny_site(NAMES[:20])
EDITED = {**OLD, "pictures/night-c.html": OLD["pictures/night-c.html"] + b"<p>more</p>"}
CHANGES: dict[str, Site] = {
    "an edit": EDITED,
    "a picture more": tiny_site(NAMES[:21]),
    "two pictures less": tiny_site(NAMES[:18]),
}


# -- the systems -----------------------------------------------------------------------------------


def _linux() -> None:
    return None


def _no_exchange() -> None:
    os.environ["TROUBLE_NO_EXCHANGE"] = "1"


def _no_links() -> None:
    """exFAT and many shares: no links, no exchange, no locks."""
    _no_exchange()
    import fcntl

    def refused(*_: Any, **__: Any) -> None:
        raise OSError(errno.EPERM, "Operation not permitted")

    def no_locks(*_: Any) -> None:
        raise OSError(errno.ENOLCK, "No locks available")

    os.link = refused
    fcntl.flock = no_locks


def _windows() -> None:
    """No C library to ask, no folder that can be opened, no flush of what was opened to read."""
    import ctypes

    real_open, real_fsync = os.open, os.fsync
    read_only: set[int] = set()

    def no_library(name: str | None, *_: Any, **__: Any) -> None:
        if name is None:
            raise TypeError("bad argument type for built-in operation")
        raise OSError(name)

    def opened(path: Any, flags: int, *rest: Any, **more: Any) -> int:
        if Path(os.fsdecode(path)).is_dir():
            raise PermissionError(errno.EACCES, "Permission denied", path)
        handle = real_open(path, flags, *rest, **more)
        read_only.discard(handle)
        if not flags & (os.O_WRONLY | os.O_RDWR):
            read_only.add(handle)
        return handle

    def flushed(handle: int) -> None:
        if handle in read_only:
            raise OSError(errno.EBADF, "Bad file descriptor")
        real_fsync(handle)

    ctypes.CDLL = no_library  # type: ignore[assignment, misc]
    os.open, os.fsync = opened, flushed  # type: ignore[assignment]
    shutil._use_fd_functions = False  # type: ignore[attr-defined]


SYSTEMS: dict[str, Callable[[], None]] = {
    "linux": _linux, "no exchange": _no_exchange, "exFAT": _no_links, "Windows": _windows,
}  # fmt: skip


def in_child(work: Callable[[], None]) -> int:
    """The exit status of a child that does this: 0, 3 for a refusal, 4 for half-way, 5 for what was not foreseen."""
    child = os.fork()
    if child == 0:
        status = 5
        try:
            work()
            status = 0
        except HalfWay:
            status = 4
        except (OSError, CannotPublish):
            status = 3
        except BaseException:
            import traceback

            traceback.print_exc()
            sys.stderr.flush()
        finally:
            os._exit(status)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Path]:
    """In memory where there is such a thing: thousands of builds need not wait for a disk."""
    memory = Path("/dev/shm")
    made = memory / f"noctuary-{os.getpid()}" if os.access(memory, os.W_OK) else tmp_path / "sites"
    shutil.rmtree(made, ignore_errors=True)
    made.mkdir()
    yield made
    shutil.rmtree(made, ignore_errors=True)


@pytest.mark.slow
@pytest.mark.parametrize("system", SYSTEMS)
@pytest.mark.parametrize("change", CHANGES)
def test_a_change_that_is_cut_off_or_fails(folder: Path, system: str, change: str) -> None:
    """Operation after operation: links hold, and the next build comes to what a clean one makes."""
    new = CHANGES[change]
    start, out = folder / "start", folder / "work" / "site"
    publish(start, OLD)
    tried = 0
    kinds = ("KILL", "ENOSPC", "EACCES", "EIO")
    # Each system and change is struck at moments of its own.
    turn = 3 * list(SYSTEMS).index(system) + list(CHANGES).index(change)
    for at in range(1 + (5 + 7 * turn) % EVERY, 10_000, EVERY):
        trouble = kinds[tried % len(kinds)]
        shutil.rmtree(folder / "work", ignore_errors=True)
        shutil.copytree(start, out)
        count = folder / "count"
        count.unlink(missing_ok=True)

        def troubled(at: int = at, trouble: str = trouble, count: Path = count) -> None:
            same = alike(out, new)
            os.environ |= {
                "TROUBLE_BELOW": str(folder / "work"), "TROUBLE_COUNT": str(count),
                "TROUBLE_AT": str(at), "TROUBLE_IS": trouble,
            }  # fmt: skip
            from tests.faults.troubled import sitecustomize

            SYSTEMS[system]()
            if "TROUBLE_BELOW" not in os.environ or sitecustomize._count < 0:
                sitecustomize.begin()
            publish(out, new, same)

        status = in_child(troubled)
        now = without_notes(bytes_below(out))
        where = f"{system}, {change}, {trouble} at operation {at}"
        assert status in {0, 3, 4, -signal.SIGKILL}, where
        assert not dead_links(now), where
        if status == 0:
            assert now == new, where
        if status == 3:
            assert now == OLD, where

        def mend() -> None:
            SYSTEMS[system]()
            publish(out, new)

        assert in_child(mend) == 0, where
        lying = files_on_disk(out)
        assert without_notes(bytes_below(out)) == new, where
        assert foreign_files(out, lying, ()) == [], where
        assert [p.name for p in out.parent.iterdir()] == ["site"], where
        if count.stat().st_size < at:
            break
        tried += 1
    assert tried > 60 // EVERY


@pytest.mark.slow
def test_a_change_that_is_cut_off_twice(folder: Path) -> None:
    """Killed at a step, and again while the next build finishes it."""
    new = CHANGES["a picture more"]
    start, out = folder / "start", folder / "work" / "site"
    publish(start, OLD)
    half_ways = 0
    for first in range(520, 980, 90):
        for second in (5, 31):
            shutil.rmtree(folder / "work", ignore_errors=True)
            shutil.copytree(start, out)
            for at in (first, second):
                (folder / "count").unlink(missing_ok=True)

                def troubled(at: int = at, first: int = first) -> None:
                    same = alike(out, new)
                    os.environ |= {
                        "TROUBLE_BELOW": str(folder / "work"), "TROUBLE_COUNT": str(folder / "count"),
                        "TROUBLE_AT": str(at), "TROUBLE_IS": "KILL",
                    }  # fmt: skip
                    from tests.faults.troubled import sitecustomize

                    if sitecustomize._count < 0:
                        sitecustomize.begin()
                    _no_exchange()
                    if at == first:
                        publish(out, new, same)
                    recover(out)

                in_child(troubled)
                assert not dead_links(without_notes(bytes_below(out)))
                half_ways += read_journal(out.parent / ".site.noctuary-new") is not None
            publish(out, new)
            assert without_notes(bytes_below(out)) == new
    assert half_ways > 1


def test_a_small_change_leaves_every_other_file_alone(folder: Path) -> None:
    out = folder / "site"
    publish(out, OLD)
    before = {name: (out / name).stat().st_ino for name in OLD}
    inode = out.stat().st_ino
    publish(out, EDITED)
    assert out.stat().st_ino == inode
    assert [n for n in OLD if (out / n).stat().st_ino != before[n]] == ["pictures/night-c.html"]


def test_a_large_change_appears_at_once(folder: Path) -> None:
    out = folder / "site"
    publish(out, OLD)
    inode = out.stat().st_ino
    publish(out, tiny_site(NAMES))
    assert out.stat().st_ino != inode
    assert without_notes(bytes_below(out)) == tiny_site(NAMES)


@pytest.mark.parametrize("name", ["../outside.html", "/etc/outside.html", "a/../../outside.html", "c:out", "a\\b"])
def test_a_journal_from_somebody_else_writes_nothing_outside(folder: Path, name: str) -> None:
    from noctuary.publish.journal import write_journal
    from noctuary.publish.stages import Step

    out = folder / "site"
    publish(out, OLD)
    hidden = folder / ".site.noctuary-new"
    (hidden / "new").mkdir(parents=True)
    (folder / "outside.html").write_text("mine")
    write_journal(hidden, [[Step("remove", name), Step("send", name)]])
    before = bytes_below(out)
    recover(out)
    assert (folder / "outside.html").read_text() == "mine"
    assert bytes_below(out) == before
    assert not hidden.exists()


def test_a_journal_is_not_followed_through_a_link(folder: Path) -> None:
    from noctuary.publish.journal import write_journal
    from noctuary.publish.stages import Step

    out, mine = folder / "site", folder / "mine"
    publish(out, OLD)
    mine.mkdir()
    (mine / "diary.html").write_text("today")
    (out / "linked").symlink_to(mine)
    (folder / ".site.noctuary-new/new").mkdir(parents=True)
    write_journal(folder / ".site.noctuary-new", [[Step("remove", "linked/diary.html")]])
    with pytest.raises(CannotPublish, match="link"):
        recover(out)
    assert (mine / "diary.html").read_text() == "today"


def test_one_build_at_a_time_into_one_folder(folder: Path) -> None:
    out = folder / "site"
    publish(out, OLD)
    with Assembly(out) as first:
        first.write("index.html", b"")
        with pytest.raises(CannotPublish, match="another build"), Assembly(out):
            pass
        assert in_child(lambda: recover(out)) == 3
    publish(out, EDITED)


def test_a_lock_goes_with_its_process(folder: Path) -> None:
    path = folder / "lock"

    def hold_and_die() -> None:
        with lock(path):
            os.kill(os.getpid(), signal.SIGKILL)

    assert in_child(hold_and_die) == -signal.SIGKILL
    with lock(path):
        pass


def test_a_lock_is_kept_from_another_process(folder: Path) -> None:
    path = folder / "lock"

    def try_it() -> None:
        try:
            with lock(path):
                pass
        except InUse:
            raise OSError("in use") from None

    with lock(path):
        assert in_child(try_it) == 3
    assert in_child(try_it) == 0


def test_a_whole_drive_is_no_output_folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr("os.path.ismount", lambda path: True)
    with pytest.raises(CannotPublish, match="whole drive"), Assembly(tmp_path / "stick"):
        pass


@pytest.mark.skipif(sys.platform != "linux", reason="other systems flush at the end alone")
@pytest.mark.parametrize(("first", "status"), [(0, 0), (errno.EIO, 3)])
def test_the_disk_begins_while_more_is_written_and_its_first_trouble_is_not_lost(
    folder: Path, first: int, status: int
) -> None:
    """The system tells of a failed write once: to the flush on the way, and not again to that at the end."""
    out, told = folder / "site", folder / "told"
    publish(out, OLD)
    larger = {**OLD, **{f"images/large-{n}.jpg": bytes([n]) * 20_000_000 for n in range(4)}}

    def work() -> None:
        import ctypes

        real = ctypes.CDLL

        class Library:
            def __init__(self, *arguments: Any, **more: Any) -> None:
                self._real = real(*arguments, **more)

            def __getattr__(self, name: str) -> Any:
                return self.syncfs if name == "syncfs" else getattr(self._real, name)

            def syncfs(self, handle: int) -> int:
                with told.open("a") as file:
                    file.write("x")
                if told.stat().st_size > 1 or not first:
                    return 0
                ctypes.set_errno(first)
                return -1

        ctypes.CDLL = Library  # type: ignore[assignment, misc]
        publish(out, larger)

    assert in_child(work) == status
    assert len(told.read_text()) >= (1 if first else 2)
    assert without_notes(bytes_below(out)) == without_notes(OLD if first else larger)

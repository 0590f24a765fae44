"""Builds that are disturbed at every file operation in turn: one trial for each operation and kind of trouble.

    python -m tests.faults.trials FOLDER --scenario edit --trouble ENOSPC --every 1

Each trial builds a small archive, in a process of its own, with one operation failing (or with the process killed
at it), looks at what is published, builds again without trouble and compares that with a build from nothing. What
went wrong is printed, a line a trial; the exit status is 1 where anything did.
"""

from __future__ import annotations

import argparse
import importlib
import os
import shutil
import signal
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from noctuary.edited_words import EditedWords

from tests.builders.folders import bytes_below, jpeg, set_plainly, write
from tests.builders.many_pictures import sidecar, write_archive
from tests.builders.program import REPOSITORY
from tests.links import dead_links

TROUBLES = ("ENOSPC", "EACCES", "EIO", "KILL")


class Bench:
    """A folder in which one archive is built again and again from the same beginnings."""

    def __init__(self, folder: Path, scenario: str) -> None:
        self.folder = folder.resolve()
        self.archive = self.folder / "work" / "archive"
        self.site = self.archive / "site"
        self._start = self.folder / f"start-{scenario}"
        write_archive(self.archive, 2)
        set_plainly(self.archive)
        if scenario != "first":
            self._must_build()
        self.old = bytes_below(self.site)
        if scenario != "first":
            edited = sidecar(0, 2).replace("on a night like", "on an evening like")
            if scenario != "words":
                edited = edited.replace("title: Field", "title: View")
            write(self.archive / "pictures/field-00000.yaml", edited)
        if scenario == "picture":
            write(self.archive / "pictures/field-00002.yaml", sidecar(2, 2))
            write(self.archive / "pictures/field-00002.jpg", jpeg(2, (60, 40)))
        for written in self._written():
            shutil.copytree(written, self._start / written.name, symlinks=True)
        if scenario == "words":
            assert EditedWords(self.archive, self.site).build() is not None
        for written in self._written():
            shutil.rmtree(written)
        self._must_build()
        # Everything a build imports, once, so that each trial costs what its build costs.
        for name in (self.folder / "imported").read_text().splitlines():
            with suppress(ImportError):
                importlib.import_module(name)
        self.new = bytes_below(self.site)
        assert self.new != self.old

    def _written(self) -> list[Path]:
        """The folders that builds write."""
        return [path for path in self.archive.iterdir() if path.name.startswith(("site", "."))]

    def lay_out(self) -> None:
        """Everything as it was at the beginning; what builds only read stays as it lies, for its stamps are known."""
        for written in self._written():
            shutil.rmtree(written)
        if self._start.exists():
            shutil.copytree(self._start, self.archive, symlinks=True, dirs_exist_ok=True)

    def _must_build(self) -> None:
        status, said = self.build()
        assert status == 0, said

    def build(self, **trouble: str) -> tuple[int, str]:
        """Builds in a child; (exit status, or minus the signal that ended it; what it said)."""
        told = self.folder / "said"
        child = os.fork()
        if child == 0:
            _child(["build", str(self.archive)], told, trouble, None if trouble else self.folder / "imported")
        return _wait(child), told.read_text(errors="replace")

    def trial(self, at: int, trouble: str, *, no_exchange: bool) -> tuple[list[str], bool]:
        """What went wrong when operation ``at`` failed, and whether there was such an operation."""
        self.lay_out()
        count = self.folder / "count"
        count.unlink(missing_ok=True)
        variables = {
            "TROUBLE_BELOW": str(self.folder / "work"), "TROUBLE_COUNT": str(count),
            "TROUBLE_AT": str(at), "TROUBLE_IS": trouble,
        }  # fmt: skip
        if no_exchange:
            variables["TROUBLE_NO_EXCHANGE"] = "1"
        status, said = self.build(**variables)
        wrong: list[str] = []
        now = bytes_below(self.site)
        if status not in ((0, 1, -signal.SIGKILL) if trouble == "KILL" else (0, 1)):
            wrong.append(f"exit status {status}: {said}")
        if "Traceback" in said:
            wrong.append(f"a traceback: {said}")
        if status == 0 and now != self.new:
            wrong.append("says it has built, but the site is not the new one")
        half_way = "on its way to the new one" in said
        if status == 1 and now != self.old and not half_way:
            wrong.append("says it has not built, but the site is not the old one")
        if status == 1 and ("fault [" not in said or "Not built" not in said):
            wrong.append(f"no clear message: {said}")
        # A small change, and any where folders cannot change places, is put in place file by file.
        if now not in (self.old, self.new) and (half_way or status == -signal.SIGKILL):
            odd = [n for n in now if n not in self.old and n not in self.new]
            wrong += [f"a file of neither site: {name}" for name in odd] + dead_links(now)
        elif now not in (self.old, self.new):
            wrong.append(f"a site that is neither old nor new: {_differences(now, self.old)}")
        again, said = self.build()
        if again != 0 or "Traceback" in said:
            wrong.append(f"the next build ended with {again}: {said}")
        elif (site := bytes_below(self.site)) != self.new:
            wrong.append(f"the next build is not that of a clean one: {_differences(site, self.new)}")
        wrong += [f"left behind: {name}" for name in self.leftovers()]
        return wrong, count.stat().st_size >= at

    def leftovers(self) -> list[str]:
        return sorted(
            p.relative_to(self.archive).as_posix()
            for p in self.archive.rglob("*")
            if p.name.startswith(".") and p.name not in {".noctuary", ".noctuary-made"}
        )


def _differences(one: dict[str, bytes], other: dict[str, bytes]) -> str:
    return ", ".join(sorted(n for n in one.keys() | other.keys() if one.get(n) != other.get(n))[:5])


def _child(arguments: list[str], told: Path, trouble: dict[str, str], imported: Path | None) -> None:
    """Builds in this process and ends it; the names of all modules that it needed are left in ``imported``."""
    handle = os.open(told, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    os.dup2(handle, 1)
    os.dup2(handle, 2)
    os.environ.update(trouble)
    if trouble:
        os.environ["PYTHONPATH"] = f"{REPOSITORY / 'tests/faults/troubled'}{os.pathsep}{REPOSITORY}"
        from tests.faults.troubled import sitecustomize  # noqa: F401
    from noctuary.cli import run

    status = 70
    try:
        status = run(arguments)
        if imported is not None:
            imported.write_text("\n".join(name for name in sorted(sys.modules) if not name.startswith("__")))
    except BaseException:
        import traceback

        traceback.print_exc()
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(status)


def _wait(child: int, seconds: float = 900) -> int:
    end = time.monotonic() + seconds
    pause = 0.001
    while time.monotonic() < end:
        found, state = os.waitpid(child, os.WNOHANG)
        if found:
            return os.waitstatus_to_exitcode(state)
        time.sleep(pause)
        pause = min(0.02, pause * 1.5)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return -999


def trials(
    folder: Path, scenario: str, trouble: str, *, every: int, first: int = 1, no_exchange: bool = False,
    progress: Callable[[int], None] = lambda at: None,
) -> tuple[int, list[str]]:  # fmt: skip
    """(number of trials, what went wrong in them)."""
    bench = Bench(folder, scenario)
    wrong: list[str] = []
    done, at, more = 0, first, True
    while more:
        kind = TROUBLES[done % len(TROUBLES)] if trouble == "any" else trouble
        found, more = bench.trial(at, kind, no_exchange=no_exchange)
        wrong += [f"{scenario}, {kind} at operation {at}: {text}" for text in found]
        done += 1
        at += every
        progress(at)
    return done, wrong


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    options.add_argument("folder", type=Path)
    options.add_argument("--scenario", choices=("first", "edit", "words", "picture"), default="edit")
    options.add_argument("--trouble", choices=(*TROUBLES, "any"), default="any", help="any: each in turn")
    options.add_argument("--every", type=int, default=1, help="try every so many operations")
    options.add_argument("--first", type=int, default=1)
    options.add_argument("--no-exchange", action="store_true", help="two folders cannot change places in one step")
    chosen = options.parse_args()
    chosen.folder.mkdir(parents=True, exist_ok=True)
    done, wrong = trials(
        chosen.folder, chosen.scenario, chosen.trouble,
        every=chosen.every, first=chosen.first, no_exchange=chosen.no_exchange,
    )  # fmt: skip
    for line in wrong:
        print(line)
    print(f"{done} trials, {len(wrong)} troubles")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())

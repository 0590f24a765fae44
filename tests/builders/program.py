"""The program as a person runs it."""

from __future__ import annotations

import io
import os
import subprocess
import sys
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path

import noctuary.cli

REPOSITORY = Path(__file__).resolve().parent.parent.parent


def command(*arguments: object) -> list[str]:
    return [sys.executable, "-m", "noctuary", *map(str, arguments)]


def surroundings(**more: str) -> dict[str, str]:
    paths = [str(REPOSITORY), *filter(None, [os.environ.get("PYTHONPATH")])]
    return {**os.environ, "PYTHONPATH": os.pathsep.join(paths), **more}


def run(*arguments: object, timeout: float = 900, **more: str) -> subprocess.CompletedProcess[str]:
    """The program in a process of its own, as a person runs it."""
    return subprocess.run(
        command(*arguments), env=surroundings(**more), capture_output=True, text=True, timeout=timeout, check=False
    )


def typed(*arguments: object) -> subprocess.CompletedProcess[str]:
    """The same command in this process: quicker, and all that a person would see of it."""
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        status = noctuary.cli.run([str(argument) for argument in arguments])
    return subprocess.CompletedProcess(command(*arguments), status, out.getvalue(), err.getvalue())

"""The program as a person runs it."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

REPOSITORY = Path(__file__).resolve().parent.parent.parent


def command(*arguments: object) -> list[str]:
    return [sys.executable, "-m", "noctuary", *map(str, arguments)]


def surroundings(**more: str) -> dict[str, str]:
    paths = [str(REPOSITORY), *filter(None, [os.environ.get("PYTHONPATH")])]
    return {**os.environ, "PYTHONPATH": os.pathsep.join(paths), **more}


def run(*arguments: object, timeout: float = 300, **more: str) -> subprocess.CompletedProcess[str]:
    """The program in a process of its own, as a person runs it."""
    return subprocess.run(
        command(*arguments), env=surroundings(**more), capture_output=True, text=True, timeout=timeout, check=False
    )

"""What this machine can do: processors, memory, and which characters its terminal can print."""

from __future__ import annotations

import codecs
import os
import sys
import unicodedata
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

#: Numbers that glibc's malloc.h has for what can be set, and the most of each; older ones take 32 MiB at most.
_TRIM_THRESHOLD, _MMAP_THRESHOLD = -1, -3
_KEPT_BYTES, _KEPT_BYTES_OF_OLD = 1 << 30, 1 << 25
#: Windows waits for at most so many processes at once (63 handles, less two of the pool's own).
_MOST_ON_WINDOWS = 61

_PLAINER = {
    "−": "-", "–": "-", "—": "-", "′": "'", "″": '"', "’": "'", "‘": "'", "“": '"', "”": '"', "…": "...",
    "→": "->", "←": "<-", "≤": "<=", "≥": ">=", "≈": "~", "×": "x", "·": ".", "°": " deg", "µ": "u", "μ": "u",
    "λ": "lambda", "½": "1/2",
}  # fmt: skip


def cores() -> int:
    """How many processors this process may use, at least 1."""
    allowed = getattr(os, "process_cpu_count", None) or getattr(os, "sched_getaffinity", None)
    found = os.cpu_count() or 1
    if allowed is not None:
        with suppress(OSError):
            answer = allowed() if allowed.__name__ == "process_cpu_count" else allowed(0)
            found = (answer if isinstance(answer, int) else len(answer)) if answer else found
    return found


def most_processes(wanted: int) -> int:
    """As many processes as are wanted, or as many as this system can wait for at once."""
    return min(wanted, _MOST_ON_WINDOWS) if sys.platform == "win32" else wanted


def memory_available() -> int:
    """Bytes that may be used without making the machine swap: what is free, within the limit of a container."""
    import psutil

    try:
        available = int(psutil.virtual_memory().available)
    except (OSError, RuntimeError, NotImplementedError):  # a sandbox that hides the system's own figures
        available = 2_000_000_000
    with suppress(OSError, ValueError):
        limit = int(Path("/sys/fs/cgroup/memory.max").read_text(encoding="ascii"))
        used = int(Path("/sys/fs/cgroup/memory.current").read_text(encoding="ascii"))
        available = min(available, limit - used)
    return max(0, available)


def c_function(name: str) -> Callable[..., Any] | None:
    """A function of the system's C library, where there is one that can be reached."""
    if sys.platform == "win32":
        return None
    import ctypes

    try:
        found: Callable[..., Any] = getattr(ctypes.CDLL(None, use_errno=True), name)
    except (OSError, AttributeError, TypeError):
        return None
    return found


def keep_freed_memory() -> None:
    """From here on this process keeps what it frees for what it needs next, where the C library can be told so.

    A worker takes and frees the memory of one picture after another. To be given the same pages by the system again
    and again, each of them wiped, costs a tenth of its time. :func:`give_back_memory` lets go of all that is free.
    """
    if (mallopt := c_function("mallopt")) is not None:
        mallopt(_TRIM_THRESHOLD, _KEPT_BYTES)
        for most in (_KEPT_BYTES, _KEPT_BYTES_OF_OLD):
            if mallopt(_MMAP_THRESHOLD, most):
                break


def give_back_memory() -> None:
    """Hands memory that is free in this process back to the system, where the C library can be told so."""
    if (trim := c_function("malloc_trim")) is not None:
        trim(0)


def print_in_any_code_page() -> None:
    """From here on a character that the terminal's code page lacks is printed as a plainer one, never an error."""
    codecs.register_error("noctuary.plainer", _plainer)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="noctuary.plainer")


def prints_unicode() -> bool:
    """Whether standard output takes every character as it is."""
    return (getattr(sys.stdout, "encoding", None) or "").lower().replace("-", "").startswith("utf")


def _plainer(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    found = []
    for letter in error.object[error.start : error.end]:
        plain = _PLAINER.get(letter)
        if plain is None:
            decomposed = unicodedata.normalize("NFKD", letter).encode("ascii", "ignore").decode()
            plain = decomposed or "?"
        found.append(plain)
    return "".join(found), error.end

"""Makes one file operation of a program go wrong, in whatever process of it that operation falls.

A folder with this module on PYTHONPATH, and these variables:

- ``TROUBLE_BELOW``: operations on files below this folder count, no others;
- ``TROUBLE_COUNT``: a file that grows by a byte with every operation, so that all processes count together;
- ``TROUBLE_AT`` and ``TROUBLE_IS``: which operation fails (from 1), and how: an errno by its name, or ``KILL``;
- ``TROUBLE_NO_EXCHANGE``: two folders cannot change places in one step here.

The operations are the real ones: whatever does not fail is done.
"""

from __future__ import annotations

import builtins
import ctypes
import errno
import io
import os
import signal
from collections.abc import Callable
from typing import Any

_NAMES = (
    "open", "stat", "lstat", "scandir", "listdir", "mkdir", "rmdir", "unlink", "remove", "rename", "replace", "link",
)  # fmt: skip
_handles: set[int] = set()
_count = -1


def _concerned(path: object) -> bool:
    below = os.environ["TROUBLE_BELOW"]
    if isinstance(path, int):
        return path in _handles
    try:
        return os.path.abspath(os.fsdecode(path)).startswith(below)  # type: ignore[arg-type] # noqa: PTH100
    except (TypeError, ValueError):
        return False


def _struck(name: str) -> int:
    """Counts an operation; the errno that it fails with, or 0. Does not come back from a kill."""
    _write(_count, b".")
    if os.lseek(_count, 0, os.SEEK_CUR) != int(os.environ.get("TROUBLE_AT", "0")):
        return 0
    trouble = os.environ["TROUBLE_IS"]
    if trouble == "KILL":
        os.kill(os.getpid(), signal.SIGKILL)
    return int(getattr(errno, trouble))


def _strike(name: str, path: object) -> None:
    if code := _struck(name):
        raise OSError(code, os.strerror(code), path if isinstance(path, str) else None)


def _wrapped(name: str, real: Callable[..., Any]) -> Callable[..., Any]:
    def operation(path: Any = ".", *rest: Any, **more: Any) -> Any:
        # A path relative to an open folder is counted when the folder was opened below ours.
        if _concerned(path) or _concerned(more.get("dir_fd", "")) or _concerned(more.get("src_dir_fd", "")):
            _strike(name, path)
            found = real(path, *rest, **more)
            if name == "open":
                _handles.add(found)
            return found
        return real(path, *rest, **more)

    return operation


class _Raw(io.FileIO):
    """A file whose every read and write is counted."""

    def readinto(self, buffer: Any) -> Any:
        _strike("read", self.name)
        return super().readinto(buffer)

    def readall(self) -> bytes:
        _strike("read", self.name)
        return super().readall()

    def write(self, data: Any) -> Any:
        _strike("write", self.name)
        return super().write(data)


def _open(file: Any, mode: str = "r", buffering: int = -1, *rest: Any, **more: Any) -> Any:
    if isinstance(file, int) or not _concerned(file):
        return _real_open(file, mode, buffering, *rest, **more)
    _strike("open", os.fspath(file))
    raw = _Raw(file, mode.replace("b", "").replace("t", ""))
    _handles.add(raw.fileno())
    binary: Any = io.BufferedRandom(raw) if "+" in mode else (
        io.BufferedReader(raw) if raw.readable() else io.BufferedWriter(raw)
    )  # fmt: skip
    if "b" in mode:
        return binary
    return io.TextIOWrapper(binary, *rest, **more)


def _fsync(handle: int) -> None:
    if handle in _handles:
        _strike("fsync", "")
    _fsync_really(handle)


def _read_handle(handle: int, length: int) -> bytes:
    if handle in _handles:
        _strike("read", "")
    return _read(handle, length)


def _write_handle(handle: int, data: Any) -> int:
    if handle in _handles:
        _strike("write", "")
    return _write(handle, data)


def _close(handle: int) -> None:
    _handles.discard(handle)
    _close_really(handle)


class _Library:
    """The C library, with the two of its calls that a build makes itself."""

    def __init__(self, name: str | None, *rest: Any, **more: Any) -> None:
        self._real = _real_library(name, *rest, **more)

    def __getattr__(self, name: str) -> Any:
        real = getattr(self._real, name)
        if name not in {"renameat2", "syncfs"}:
            return real

        def call(*arguments: Any) -> int:
            if name == "renameat2" and os.environ.get("TROUBLE_NO_EXCHANGE"):
                ctypes.set_errno(errno.EINVAL)
                return -1
            if code := _struck(name):
                ctypes.set_errno(code)
                return -1
            return int(real(*arguments))

        return call


def begin() -> None:
    """From here on operations count."""
    global _count
    _count = _os_open(os.environ["TROUBLE_COUNT"], os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    for name in _NAMES:
        setattr(os, name, _wrapped(name, getattr(os, name)))
    os.fsync, os.close, os.read, os.write = _fsync, _close, _read_handle, _write_handle  # type: ignore[assignment]
    builtins.open = io.open = _open
    ctypes.CDLL = _Library  # type: ignore[misc, assignment]


_read, _write, _os_open = os.read, os.write, os.open
_real_open, _real_library, _fsync_really, _close_really = io.open, ctypes.CDLL, os.fsync, os.close
if "TROUBLE_BELOW" in os.environ:
    begin()

"""What a build asks of the disk: flush, put in place, exchange two folders, remove; on every system.

Where a system cannot do one of them the function says so by its answer, and the caller does without.
"""

from __future__ import annotations

import ctypes
import errno
import os
import shutil
import threading
import time
from collections.abc import Collection, Iterable
from contextlib import suppress
from pathlib import Path

from noctuary.machine import c_function

_EXCHANGE = 2  # RENAME_EXCHANGE of Linux and RENAME_SWAP of macOS: the same number
_AT_FDCWD = -100
#: From so many files on, the whole file system is flushed at once where that can be asked for.
_MANY = 64
#: So much is written before the disk is asked to begin with it.
_BEGIN_BYTES = 1 << 25
#: Windows refuses to replace a file that another program reads just now: a virus scanner, a browser.
_IN_USE = frozenset({5, 32, 33})
_PATIENCE_S = 2.0


def put_in_place(source: str, target: str) -> None:
    """Moves a file over another in one step, waiting a little for a program that holds it open; raises OSError."""
    end = time.monotonic() + _PATIENCE_S
    while True:
        try:
            os.replace(source, target)  # noqa: PTH105
            return
        except PermissionError as error:
            if getattr(error, "winerror", None) not in _IN_USE or time.monotonic() > end:
                raise
        time.sleep(0.05)


def exchange(one: Path, other: Path) -> bool:
    """Two folders change places in one step; ``False`` where this system or file system cannot. Raises OSError."""
    linux, mac = c_function("renameat2"), c_function("renamex_np")
    first, second = os.fsencode(one), os.fsencode(other)
    if linux is not None:
        status = linux(_AT_FDCWD, first, _AT_FDCWD, second, _EXCHANGE)
    elif mac is not None:
        status = mac(first, second, _EXCHANGE)
    else:
        return False
    if status == 0:
        return True
    code = ctypes.get_errno()
    if code in {errno.EINVAL, errno.ENOSYS, errno.ENOTSUP, errno.EOPNOTSUPP}:
        return False
    raise OSError(code, os.strerror(code), str(other))


def link_or_copy(source: str, target: str) -> bool:
    """A second name for a file, or a copy where there are no links (exFAT, some shares); whether it is a link."""
    try:
        os.link(source, target)
        return True
    except OSError as error:
        if error.errno in {errno.ENOENT, errno.EEXIST, errno.ENOSPC, errno.EIO}:
            raise
    shutil.copy2(source, target)
    return False


def flush(folder: Path, names: Collection[str]) -> None:
    """These files below a folder, and the folders that hold them, are on the disk; raises OSError."""
    if len(names) > _MANY and _flush_file_system(folder):
        return
    for name in names:
        # Windows flushes only what is open for writing.
        handle = os.open(f"{folder}/{name}", os.O_RDWR | getattr(os, "O_BINARY", 0))
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
    flush_folders({(folder / name).parent for name in names} | {folder})


def _flush_file_system(folder: Path) -> bool:
    """All of the file system of a folder is on the disk; ``False`` where that cannot be asked for. Raises OSError."""
    call = c_function("syncfs")
    if call is None:
        return False
    handle = os.open(folder, os.O_RDONLY)
    try:
        if call(handle) != 0:
            code = ctypes.get_errno()
            raise OSError(code, os.strerror(code), str(folder))
    finally:
        os.close(handle)
    return True


class FlushMeanwhile:
    """Lets the disk begin with what is written to a folder while more is made, so that the flush at the end is short.

    It promises nothing: what has to be on the disk is flushed at the end. What goes wrong on the way is raised there
    too, for the system tells of it once.
    """

    def __init__(self, folder: Path) -> None:
        self._folder, self._bytes = folder, 0
        self._begun: threading.Thread | None = None
        self._trouble: OSError | None = None

    def wrote(self, size: int) -> None:
        """So many bytes more were written."""
        self._bytes += size
        if self._bytes >= _BEGIN_BYTES and (self._begun is None or not self._begun.is_alive()):
            self._bytes = 0
            self._begun = threading.Thread(target=self._flush, daemon=True)
            self._begun.start()

    def wait(self) -> None:
        """Nothing is under way any more; raises OSError where something went wrong."""
        if self._begun is not None:
            self._begun.join()
        if self._trouble is not None:
            raise self._trouble

    def _flush(self) -> None:
        try:
            _flush_file_system(self._folder)
        except OSError as error:
            self._trouble = error


def flush_folders(folders: Iterable[Path]) -> None:
    """The names in these folders are on the disk, where a system can be asked for that; raises OSError."""
    for folder in folders:
        try:
            handle = os.open(folder, os.O_RDONLY)
        except OSError:  # Windows opens no folders
            continue
        try:
            os.fsync(handle)
        except OSError as error:
            if error.errno not in {errno.EINVAL, errno.ENOTSUP, errno.EBADF, errno.EACCES, errno.EPERM}:
                raise
        finally:
            os.close(handle)


def remove(path: Path) -> None:
    """Removes a file or folder of our own, as far as that can be done; a link is removed, not followed."""
    if path.is_symlink() or path.is_file():
        path.unlink(missing_ok=True)
    elif path.exists():
        shutil.rmtree(path, ignore_errors=True)


def remove_empty(folders: Iterable[Path]) -> None:
    """Removes those of these folders in which nothing is left."""
    for folder in folders:
        with suppress(OSError):
            folder.rmdir()

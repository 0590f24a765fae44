"""One build at a time: locks that go with the process that holds them, however it ends."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from noctuary.build_manifest import FOLDER
from noctuary.files import remove_remains, write_whole

# What file systems without locks answer (some network shares).
_NO_LOCKS = frozenset({errno.ENOLCK, errno.ENOSYS, errno.ENOTSUP, errno.EOPNOTSUPP, errno.EINVAL})


class InUse(Exception):
    """Another process holds the lock."""


@contextmanager
def lock(path: Path) -> Iterator[None]:
    """Holds the lock in the file ``path``; raises :class:`InUse` and OSError.

    Where the file system knows no locks it holds nothing, and two builds at once are not kept apart.
    """
    import filelock

    if path.is_symlink():
        path.unlink()  # the link, not what it leads to
    held: filelock.BaseFileLock | None = filelock.FileLock(path, timeout=0)
    assert held is not None
    try:
        held.acquire()
    except filelock.Timeout:
        raise InUse from None
    except NotImplementedError:
        held = None
    except OSError as error:
        if error.errno not in _NO_LOCKS:
            raise
        held = None
    try:
        yield
    finally:
        if held is not None:
            with suppress(OSError):
                held.release()


@contextmanager
def archive_lock(folder: Path) -> Iterator[None]:
    """Holds the lock of an archive; raises :class:`InUse` with the number of the process that holds it, and OSError.

    A folder that is no archive is not locked, for nothing is written there.
    """
    if not (folder / "archive.yaml").exists():
        yield
        return
    cache = folder / FOLDER
    cache.mkdir(exist_ok=True)
    # A file of its own: Windows lets nobody read one that is locked.
    owner = cache / "lock-owner"
    try:
        with lock(cache / "lock"):
            remove_remains(owner)
            with suppress(OSError):  # a number that cannot be read keeps nobody from building
                write_whole(owner, b"%d\n" % os.getpid())
            try:
                yield
            finally:
                with suppress(OSError):
                    owner.unlink()
    except InUse:
        number = ""
        with suppress(OSError, ValueError):
            number = str(int(owner.read_bytes()[:20]))
        raise InUse(number or "unknown") from None

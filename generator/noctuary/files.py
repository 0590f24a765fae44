"""Files that are whole: whoever reads one finds the old or the new content, and nothing outside is written over."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from glob import escape
from pathlib import Path
from typing import BinaryIO

_UNFINISHED = ".part"


@contextmanager
def replacing(path: Path, *, flush: bool = False) -> Iterator[BinaryIO]:
    """A new file that takes the place of ``path`` once the context is left without an error; raises OSError.

    The file is written beside ``path`` and moved into its place, so a link there is replaced and not followed.
    It keeps the permissions of the file it replaces. ``flush`` waits until the content is on the disk: for what a
    person wrote. Without it a power failure may leave anything, which suits what carries a checksum and can be made
    again.
    """
    beside = path.with_name(f".{path.name[:100]}.{os.getpid()}{_UNFINISHED}")
    beside.unlink(missing_ok=True)  # left by a process of the same number that was cut off
    try:
        # Exclusive, so that nothing that somebody else put there is followed or written over.
        with beside.open("xb") as file:
            yield file
            if flush:
                file.flush()
                os.fsync(file.fileno())
        if not path.is_symlink() and path.exists():
            beside.chmod(path.stat().st_mode & 0o7777)
        beside.replace(path)
    except BaseException:
        with suppress(OSError):
            beside.unlink(missing_ok=True)
        raise


def remove_remains(path: Path) -> None:
    """Deletes what writers of ``path`` that were cut off left beside it; for a caller that alone writes there."""
    for remains in path.parent.glob(f".{escape(path.name[:100])}.*{_UNFINISHED}"):
        with suppress(OSError):
            remains.unlink()


def write_whole(path: Path, content: bytes, *, flush: bool = False) -> None:
    """Writes a file in one step, with the folders above it where they lack; raises OSError. See :func:`replacing`."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with replacing(path, flush=flush) as file:
        file.write(content)

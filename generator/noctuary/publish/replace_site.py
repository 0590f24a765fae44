"""The site appears whole or not at all.

A new site is assembled in a hidden folder beside the published one; what has not changed is linked over
from there. When every file is on the disk the two folders change places in one step, and the old one
is removed. Whatever happens before that step leaves the published site as it was; whatever happens
after it leaves the new one.
"""

from __future__ import annotations

import ctypes
import errno
import hashlib
import os
import shutil
import stat
from collections.abc import Container, Iterable, Mapping
from contextlib import suppress
from pathlib import Path
from types import TracebackType

from noctuary.build_manifest import preparing, set_aside, site_files

# Lists what a build put into an output folder, so that the next one can tell its own files from
# somebody else's even when the cache is gone. It holds digests, not names: the address of an unlisted
# picture must not be read from it.
MADE = ".noctuary-made"

_RENAME_EXCHANGE = 2
_AT_FDCWD = -100


class CannotPublish(Exception):
    """The output folder cannot be used; says why and what to do."""

    def __init__(self, message: str, hint: str) -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint


def content_hash(data: bytes) -> str:
    return hashlib.blake2b(data, digest_size=16).hexdigest()


def files_on_disk(out: Path) -> dict[str, os.stat_result]:
    """Every file in an output folder with its status; raises :class:`CannotPublish`."""
    if not out.exists():
        return {}
    if not out.is_dir():
        raise CannotPublish(f"the output {out} is a file", "choose a folder with --out")
    try:
        return site_files(out, strict=True)
    except OSError as error:
        where = error.filename or out
        raise CannotPublish(f"{where} cannot be read: {error.strerror}", "see who may read it") from None


def foreign_files(out: Path, on_disk: Mapping[str, os.stat_result], known: Container[str]) -> list[str]:
    """Of the files in an output folder those that no build made, sorted; raises :class:`CannotPublish`.

    ``known``: files that are the last build's for certain.
    """
    if all(name in known for name in on_disk):
        return []
    try:
        made = set((out / MADE).read_text(encoding="ascii", errors="replace").split())
    except FileNotFoundError:
        made = set()
    except OSError as error:
        raise CannotPublish(
            f"the output folder {out} cannot be read: {error.strerror}", "check its permissions"
        ) from None
    return sorted(
        name
        for name, status in on_disk.items()
        if name != MADE and (_name_digest(name) not in made or not stat.S_ISREG(status.st_mode))
    )


def _name_digest(name: str) -> str:
    return hashlib.blake2b(name.encode(errors="surrogateescape"), digest_size=12).hexdigest()


class Assembly:
    """A new site under construction in a hidden folder beside the published one.

    Use as a context manager: leaving it without :meth:`publish` removes what was prepared. Raises
    :class:`CannotPublish` where another build is at work or the folder cannot be written.
    """

    def __init__(self, out: Path) -> None:
        self.out = out
        self.folder = preparing(out)
        self._made: dict[str, os.stat_result] = {}
        self._folders: set[str] = set()
        self._lock: int | None = None

    def __enter__(self) -> Assembly:
        recover(self.out)
        try:
            self.out.parent.mkdir(parents=True, exist_ok=True)
            self.folder.mkdir(exist_ok=True)
            self._lock = _claim(self.folder)
            for entry in list(os.scandir(self.folder)):
                _remove(Path(entry.path))
        except OSError as error:
            raise _unwritable(self.out, error) from None
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        # The site stands by now, or its trouble is being told: what is left over goes with the next build.
        with suppress(OSError):
            _remove(self.folder)
        if self._lock is not None:
            with suppress(OSError):
                os.close(self._lock)
            self._lock = None

    def write(self, name: str, data: bytes) -> None:
        """A file of the new site with this content."""
        with open(self._place(name), "xb") as file:  # noqa: PTH123
            file.write(data)
            file.flush()
            self._made[name] = os.fstat(file.fileno())

    def keep(self, name: str, status: os.stat_result) -> None:
        """A file of the published site as it is, linked to (or, where links cannot be, copied).

        ``status`` is what it lies there with, and so what the linked file has.
        """
        # Plain strings: with ten thousand files, paths would be half of the time.
        source, target = f"{self.out}/{name}", self._place(name)
        try:
            os.link(source, target)
            self._made[name] = status
        except OSError as error:
            if error.errno in {errno.ENOENT, errno.EEXIST, errno.ENOSPC, errno.EACCES, errno.EIO}:
                raise
            shutil.copy2(source, target)
            self._made[name] = os.stat(target)  # noqa: PTH116

    def publish(self) -> dict[str, os.stat_result]:
        """Puts the new site in the old one's place; returns what is now published.

        The list of its files is the old site's where that was kept: whoever keeps it knows that they are the same.
        """
        if MADE not in self._made:
            self.write(MADE, "\n".join(sorted(map(_name_digest, self._made))).encode() + b"\n")
        _flush(self.folder, [self.folder / above for above in self._folders])
        self.out.parent.mkdir(parents=True, exist_ok=True)
        _exchange(self.folder, self.out)
        with suppress(OSError):  # the new site is in place, whatever the disk says now
            _flush_folder(self.out.parent)
        return self._made

    def _place(self, name: str) -> str:
        if any(part in {"", ".", ".."} for part in name.split("/")) or "\\" in name or "\0" in name:
            raise ValueError(f"not a path inside the site: {name!r}")
        if name in self._made:
            raise ValueError(f"two files of the site have one path: {name!r}")
        above = name.rpartition("/")[0]
        if above not in self._folders:
            (self.folder / above).mkdir(parents=True, exist_ok=True)
            self._folders.add(above)
        return f"{self.folder}/{name}"


def recover(out: Path) -> None:
    """Mends and clears away what a build that was cut off left behind; raises OSError, :class:`CannotPublish`."""
    aside, new = set_aside(out), preparing(out)
    if aside.is_dir():
        if out.exists():
            _remove(aside)
        else:
            aside.rename(out)
    if new.is_symlink():
        _remove(new)  # the link, not what it leads to
    elif new.is_dir():
        claim = _claim(new)
        _remove(new)
        if claim is not None:
            os.close(claim)


def _claim(folder: Path) -> int | None:
    """A lock on the hidden folder that goes with this process, however it ends."""
    try:
        import fcntl
    except ImportError:  # no such locks on this system; the archive's own lock has to do
        return None
    handle = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        os.close(handle)
        raise CannotPublish(
            f"another build is preparing {folder.name}", "wait until it has ended, or build into another --out"
        ) from None
    return handle


def _exchange(new: Path, out: Path) -> None:
    if not out.exists():
        new.rename(out)
        return
    try:
        call = ctypes.CDLL(None, use_errno=True).renameat2
    except (OSError, AttributeError):
        call = None
    if call is not None:
        if call(_AT_FDCWD, os.fsencode(new), _AT_FDCWD, os.fsencode(out), _RENAME_EXCHANGE) == 0:
            return
        code = ctypes.get_errno()
        if code not in {errno.EINVAL, errno.ENOSYS, errno.ENOTSUP}:
            raise OSError(code, os.strerror(code), str(out))
    # No exchange in one step here: for the moment between the two renames there is no site, and
    # recover() puts the old one back if the machine stops just then.
    aside = set_aside(out)
    _remove(aside)
    out.rename(aside)
    try:
        new.rename(out)
    except OSError:
        aside.rename(out)
        raise
    _remove(aside)


def _flush(folder: Path, folders: Iterable[Path]) -> None:
    """Everything below a folder on the disk before it is shown."""
    try:
        call = ctypes.CDLL(None, use_errno=True).syncfs
    except (OSError, AttributeError):
        call = None
    if call is not None:
        handle = os.open(folder, os.O_RDONLY)
        try:
            if call(handle) != 0:
                code = ctypes.get_errno()
                raise OSError(code, os.strerror(code), str(folder))
        finally:
            os.close(handle)
        return
    for name in site_files(folder):
        handle = os.open(folder / name, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
    for each in folders:
        _flush_folder(each)


def _flush_folder(folder: Path) -> None:
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:  # some systems open no folders
        return
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno not in {errno.EINVAL, errno.ENOTSUP, errno.EBADF}:
            raise
    finally:
        os.close(handle)


def _remove(path: Path) -> None:
    """Removes a file or folder of our own; a link is removed, not followed."""
    if path.is_symlink() or path.is_file():
        path.unlink(missing_ok=True)
    elif path.exists():
        shutil.rmtree(path, ignore_errors=True)


def _unwritable(out: Path, error: OSError) -> CannotPublish:
    return CannotPublish(
        f"cannot write beside {out}: {error.strerror}", "check the permissions, or choose another --out"
    )

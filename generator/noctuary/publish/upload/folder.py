"""A plain folder as a destination: a memory stick, a network drive, the folder of a web server."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from noctuary.archive.upload_address import UploadAddress
from noctuary.publish.upload.connection import (
    BLOCK,
    Body,
    Connection,
    Destination,
    Folder,
    Passing,
    Standing,
    UploadError,
    part_name,
)

_PASSING = {errno.EIO, errno.EBUSY, errno.ETIMEDOUT, errno.ESTALE, errno.EAGAIN, errno.EINTR}


def destination(address: UploadAddress, archive: Path) -> Destination:
    """The folder at an address, a relative one counted from the archive; raises :class:`UploadError`."""
    folder = Path(address.path).expanduser()
    folder = folder if folder.is_absolute() else archive / folder
    resolved = folder.resolve()
    if archive.is_relative_to(resolved) or (resolved.is_relative_to(archive) and _among_sources(resolved, archive)):
        raise UploadError(f"the folder {folder} lies among the archive's own files", "name a folder outside of it")
    if not folder.exists() and not folder.parent.is_dir():
        raise UploadError(
            f"neither {folder} nor the folder around it is there", "plug the stick in, or connect the drive"
        )
    return Destination(str(folder), lambda: FolderConnection(resolved), connections=1, look=True)


def _among_sources(folder: Path, archive: Path) -> bool:
    first = folder.relative_to(archive).parts[0]
    return first in {"pictures", "nights", "exhibits", "pages", "theme", "site", ".noctuary"}


class FolderConnection(Connection):
    """Files below one folder."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def read(self, name: str) -> bytes | None:
        try:
            return self._at(name).read_bytes()
        except (FileNotFoundError, NotADirectoryError):
            return None
        except OSError as error:
            raise _trouble(error, name) from error

    def write(self, body: Body) -> None:
        path = self._at(body.name)
        part = self._at(part_name(body.name))
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            with body.open() as source, part.open("wb") as file:
                while block := source.read(BLOCK):
                    file.write(block)
            part.replace(path)
        except OSError as error:
            with suppress(OSError):
                part.unlink(missing_ok=True)
            raise _trouble(error, body.name) from error

    def remove(self, name: str) -> None:
        try:
            self._at(name).unlink(missing_ok=True)
        except NotADirectoryError:
            return
        except OSError as error:
            raise _trouble(error, name) from error

    def remove_folder(self, name: str) -> None:
        with suppress(OSError):  # not empty, or gone
            self._at(name).rmdir()

    def look(self, folder: str) -> Folder:
        listed = Folder({}, frozenset())
        folders = set()
        try:
            with os.scandir(self._folder / folder) as entries:
                for entry in entries:
                    if entry.is_dir(follow_symlinks=False):
                        folders.add(entry.name)
                    else:
                        listed.files[entry.name] = Standing(entry.stat(follow_symlinks=False).st_size)
        except (FileNotFoundError, NotADirectoryError):
            return listed
        except OSError as error:
            raise _trouble(error, folder) from error
        return Folder(listed.files, frozenset(folders))

    def everything(self) -> dict[str, Standing]:
        return dict(self._below(""))

    def _below(self, folder: str) -> Iterator[tuple[str, Standing]]:
        listed = self.look(folder)
        prefix = f"{folder}/" if folder else ""
        for base, state in listed.files.items():
            yield f"{prefix}{base}", state
        for base in listed.folders:
            yield from self._below(f"{prefix}{base}")

    def settle(self) -> None:
        # A stick is pulled out as soon as the last line is printed.
        if hasattr(os, "sync"):
            os.sync()

    def close(self) -> None:
        return None

    def _at(self, name: str) -> Path:
        return self._folder / name


def _trouble(error: OSError, name: str) -> Passing | UploadError:
    why = error.strerror or type(error).__name__
    if error.errno in _PASSING:
        return Passing(f"{name}: {why}")
    if error.errno in {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}:
        return UploadError(f"there is no room left there for {name}: {why}", "make room, then run upload again")
    return UploadError(f"{name} cannot be written there: {why}", "see who may write there, then run upload again")

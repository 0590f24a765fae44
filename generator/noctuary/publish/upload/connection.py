"""What every kind of destination can do, and what goes wrong there."""

from __future__ import annotations

import hashlib
import io
from abc import ABC, abstractmethod
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from noctuary.errors import NoctuaryError

#: A file that is being written has this name until it is whole; remains of one that was cut off are ours to remove.
PART = ".noctuary-part"
#: No answer for so long, in seconds, is a lost connection.
PATIENCE_S = 30.0
#: Bytes handed over at once.
BLOCK = 256 * 1024


def part_name(name: str) -> str:
    """Where a file is written until it is whole: beside its place, so that it need only be renamed."""
    folder, slash, base = name.rpartition("/")
    return f"{folder}{slash}.{hashlib.blake2b(base.encode(), digest_size=8).hexdigest()}{PART}"


class UploadError(NoctuaryError):
    """The upload cannot go on: what is wrong, and what to do."""


class Passing(Exception):
    """Something that may well go better at the next try: a lost connection, an answer that asks to come again."""


@dataclass(frozen=True, slots=True)
class Standing:
    """A file at the destination as a list of its folder shows it. ``etag``: MD5 of the bytes, where it is known."""

    size: int
    etag: str = ""


@dataclass(frozen=True, slots=True)
class Folder:
    """What is in one folder of the destination, by plain names."""

    files: dict[str, Standing] = field(default_factory=dict)
    folders: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Body:
    """A file to be written: its bytes, or the file that holds them, and how it is to be served.

    ``whole``: whoever reads it meanwhile must find the old or the new one. ``encoding`` is the content encoding that
    ``data`` has already.
    """

    name: str
    size: int
    data: bytes | None = None
    path: Path | None = None
    content_type: str = "application/octet-stream"
    cache_control: str = ""
    encoding: str = ""
    whole: bool = True
    sent: Callable[[int], None] = field(default=lambda count: None)

    def open(self) -> Reader:
        """The bytes from their beginning; raises OSError."""
        if self.data is not None:
            return Reader(io.BytesIO(self.data), self.size, self.sent)
        if self.path is None:
            raise ValueError("a body without bytes")
        return Reader(self.path.open("rb"), self.size, self.sent)


class Reader(io.RawIOBase):
    """A file that tells how much of it has been read for the first time since it was opened."""

    def __init__(self, file: io.BufferedIOBase | io.BufferedReader, size: int, sent: Callable[[int], None]) -> None:
        self._file, self._size, self._sent = file, size, sent
        self._furthest = 0

    def read(self, size: int | None = -1, /) -> bytes:
        block = self._file.read(-1 if size is None else size)
        at = self._file.tell()
        if at > self._furthest:
            self._sent(at - self._furthest)
            self._furthest = at
        return block

    def seek(self, offset: int, whence: int = 0, /) -> int:
        return self._file.seek(offset, whence)

    def tell(self) -> int:
        return self._file.tell()

    def __len__(self) -> int:
        return self._size

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def close(self) -> None:
        self._file.close()
        super().close()


class Connection(ABC):
    """One connection to a destination; used by one thread at a time.

    Names are relative to the site's root, with ``/``. Every method raises :class:`Passing` where another try on a
    fresh connection may help, and :class:`UploadError` where it will not.
    """

    @abstractmethod
    def read(self, name: str) -> bytes | None:
        """The bytes of a file (decoded, where it is kept encoded), or ``None`` where there is none."""

    @abstractmethod
    def write(self, body: Body) -> None:
        """Writes a file, and the folders that it needs."""

    @abstractmethod
    def remove(self, name: str) -> None:
        """Removes a file; it may be gone already."""

    @abstractmethod
    def remove_folder(self, name: str) -> None:
        """Removes a folder if it is empty."""

    @abstractmethod
    def look(self, folder: str) -> Folder:
        """What is in a folder (``""`` is the root); an empty one where there is none."""

    def everything(self) -> dict[str, Standing] | None:
        """Every file by its name, where one question answers that; else ``None``."""
        return None

    def settle(self) -> None:  # noqa: B027 — most destinations are safe once they have answered
        """Waits until all that was written is safe, where that takes a word."""

    @abstractmethod
    def close(self) -> None:
        """Ends the connection; never raises."""


@dataclass(frozen=True)
class Destination:
    """A kind of destination with an address: how to reach it and what it keeps.

    ``connections``: how many may be open at once. ``keeps_encoding``: text may be stored compressed. ``look``: it
    costs next to nothing to look at everything that is there.
    """

    shown: str
    connect: Callable[[], Connection]
    connections: int = 4
    keeps_encoding: bool = False
    look: bool = False

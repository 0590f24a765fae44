"""What a destination holds, listed there in one file and in a copy beside the archive.

The file at the destination can be read by anybody, so it holds digests of names, not names: the address of an
unlisted picture must not be read from it. The copy in the archive's cache knows the names.

While an upload is at work the listing gives for each file all the states in which it may be found; when everything is
sent each has one. So whoever comes after an upload that was cut off knows what is certain and what to look at.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import orjson

#: Its name at the destination.
NAME = ".noctuary-upload.json"
_FORMAT = 1
_DIGEST = frozenset("0123456789abcdef")


class State(NamedTuple):
    """A content that a file may have: the digest of the site's file, and its size as it is kept there, bytes."""

    digest: str
    size: int


#: A file may be found in any of these states; ``None`` is: not at all.
States = tuple[State | None, ...]


class DamagedListing(ValueError):
    """The listing is not what an upload wrote."""


@dataclass(frozen=True)
class Owner:
    """Whose site it is. ``key`` was drawn at the first upload; ``words`` is a digest of title and author."""

    key: str
    words: str
    address: str | None

    def same_as(self, other: Owner) -> bool:
        """Whether two are the same archive: the key may be lost, and title or address be changed, but not all."""
        return (
            self.key == other.key
            or self.words == other.words
            or (self.address is not None and self.address == other.address)
        )


@dataclass(frozen=True)
class Listing:
    """Digest of a file's name → the states in which it may be found."""

    owner: Owner
    files: Mapping[str, States] = field(default_factory=dict)

    def states(self, name: str) -> States:
        """The states of a file by its name; empty where no upload has put anything there."""
        return self.files.get(name_digest(name), ())

    def as_bytes(self) -> bytes:
        plain = {
            "format": _FORMAT,
            "key": self.owner.key,
            "words": self.owner.words,
            "address": self.owner.address,
            "files": {name: [list(s) if s else None for s in states] for name, states in self.files.items()},
        }
        return orjson.dumps(plain, option=orjson.OPT_SORT_KEYS) + b"\n"


def read_listing(data: bytes) -> Listing:
    """The listing in the bytes of its file; raises :class:`DamagedListing`."""
    try:
        plain = orjson.loads(data)
        if plain["format"] != _FORMAT:
            raise DamagedListing("another format")
        owner = Owner(_text(plain["key"]), _text(plain["words"]), plain["address"] and _text(plain["address"]))
        files = {_hexadecimal(name): tuple(map(_state, states)) for name, states in plain["files"].items()}
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise DamagedListing(str(error)) from None
    return Listing(owner, files)


def name_digest(name: str) -> str:
    return hashlib.blake2b(name.encode("utf-8", "surrogateescape"), digest_size=12).hexdigest()


def named(names: Iterable[str]) -> dict[str, str]:
    """Digest of a name → the name."""
    return {name_digest(name): name for name in names}


def _state(plain: Any) -> State | None:
    if plain is None:
        return None
    digest, size = plain
    if not isinstance(size, int) or size < 0:
        raise DamagedListing("a size that is none")
    return State(_hexadecimal(digest), size)


def _hexadecimal(text: Any) -> str:
    if not isinstance(text, str) or not text or not set(text) <= _DIGEST:
        raise DamagedListing("a digest that is none")
    return text


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise DamagedListing("a text that is none")
    return value

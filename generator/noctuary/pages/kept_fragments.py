"""Parts of pages that are not set again: cut out of the page as the last build published it.

A gallery of a thousand pictures is set anew because a total above it has changed, and a chart is drawn anew because a
line below it has. What is kept of a page is where in its file such parts lie, each by a digest of all that it says;
the file itself holds them, and has to be the one that the build left, to the byte.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Container, Mapping
from hashlib import sha256
from pathlib import Path

from noctuary.plain_record import plain_record
from noctuary.typed_values import from_bytes, to_bytes


class Fragments:
    """The parts of one page by a digest of what each says: ``known`` from before, and ``found`` while it is set."""

    def __init__(self, known: Mapping[str, str] | None = None) -> None:
        self._known = known or {}
        self.found: dict[str, str] = {}

    def part(self, digest: str, work: Callable[[], str]) -> str:
        """A part of the page that is the same wherever it stands: without blanks around it, without blank lines."""
        text = self._known.get(digest)
        if text is None:
            text = without_blank_lines(work().strip())
        self.found[digest] = text
        return text


def without_blank_lines(text: str) -> str:
    """A text without the blank lines that templates leave behind, unless they may mean something in it."""
    return re.sub(r"\n[ \t]*(?=\n)", "", text) if "<pre" not in text else text


@plain_record
class SetPage:
    """Where parts lie in the file of a page: (digest, first byte, number of bytes).

    ``file`` is the SHA-256 of that file, ``theme`` a digest of all templates and words that it was set with.
    """

    file: bytes
    theme: str
    parts: tuple[tuple[str, int, int], ...]


class KeptFragments:
    """The parts of all pages: what the last build left of them, and what this one leaves.

    ``out`` is the folder of the published site, ``published`` are those of its files that the last build made of the
    same program and nobody has touched; ``left`` gives what it left by name.
    """

    def __init__(
        self, out: Path | None = None, published: Container[str] = (),
        left: Callable[[bytes], bytes | None] | None = None,
    ) -> None:  # fmt: skip
        self._out, self._published, self._left = out, published, left
        self.pieces: dict[bytes, bytes] = {}

    def of(self, path: str, theme: str) -> Fragments:
        """What is known of a page that is to be set with this theme."""
        if self._out is None or self._left is None or path not in self._published:
            return Fragments()
        try:
            page: SetPage = from_bytes(self._left(piece_of_page(path)) or b"", SetPage)
            file = (self._out / path).read_bytes()
            if page.theme != theme or page.file != sha256(file).digest():
                return Fragments()
            return Fragments({digest: file[at : at + size].decode() for digest, at, size in page.parts})
        except (ValueError, OSError):
            return Fragments()

    def learn(self, path: str, theme: str, file: bytes, fragments: Fragments) -> None:
        """Where the parts of a page lie that has been set."""
        parts, at = [], 0
        for digest, text in fragments.found.items():
            part = text.encode()
            if (found := file.find(part, at)) >= 0:
                parts.append((digest, found, len(part)))
                at = found + len(part)
        if parts:
            page = SetPage(sha256(file).digest(), theme, tuple(parts))
            self.pieces[piece_of_page(path)] = to_bytes(page)


def piece_of_page(path: str) -> bytes:
    """By what name is kept where the parts of a page lie."""
    return b"parts of " + path.encode("utf-8", "surrogatepass")

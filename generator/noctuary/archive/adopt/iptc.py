"""The record of the IPTC Information Interchange Model (IIM 4.2) that newspapers put into pictures."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

#: Data sets of record 2: object name, keywords, date created, headline, caption.
_SETS = {5: "title", 25: "keywords", 55: "created", 105: "headline", 120: "caption"}
_MOST = 2000


def fields(block: bytes) -> Mapping[str, tuple[str, ...]]:
    """``title``, ``keywords``, ``created``, ``headline``, ``caption`` → their texts."""
    found: dict[str, list[str]] = {}
    utf8 = b"\x1c\x01\x5a\x00\x03\x1b%G" in block
    for record, number, value in _data_sets(block):
        if record == 2 and number in _SETS:
            text = _text(value, utf8).strip("\0 \r\n")
            if text:
                found.setdefault(_SETS[number], []).append(text)
    return {name: tuple(texts) for name, texts in found.items()}


def _data_sets(block: bytes) -> Iterator[tuple[int, int, bytes]]:
    at = 0
    for _ in range(_MOST):
        if at + 5 > len(block) or block[at] != 0x1C:
            return
        record, number, length = block[at + 1], block[at + 2], int.from_bytes(block[at + 3 : at + 5], "big")
        if length & 0x8000:  # an extended data set, which text never needs
            return
        yield record, number, block[at + 5 : at + 5 + length]
        at += 5 + length


def _text(value: bytes, utf8: bool) -> str:
    try:
        return value.decode("utf-8")
    except UnicodeDecodeError:
        return value.decode("utf-8" if utf8 else "latin-1", "replace")

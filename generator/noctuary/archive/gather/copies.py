"""One exposure counts once, whatever copies of it lie about: calibrated, registered, compressed, backed up.

An exposure is known by its camera, its beginning and its length. A clock that shows whole seconds does not tell
short exposures apart (three bias frames a second are common): these are copies only where their names say so, too.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from noctuary.archive.gather.frame_header import FrameHeader, filter_key
from noctuary.archive.gather.frame_names import core_stem, is_processed, is_reject, stem_of

_TOLD_APART_S = 1.0
_SAME_FRACTION_S = 0.002


@dataclass(frozen=True, slots=True)
class Exposure:
    """One exposure: the frame that represents it, and the other frames of the same exposure."""

    header: FrameHeader
    copies: tuple[FrameHeader, ...] = ()

    @property
    def set_aside(self) -> bool:
        """Whether a person or a program put it, or a copy of it, among the rejects."""
        return any(is_reject(h.path) for h in (self.header, *self.copies))

    @property
    def processed(self) -> bool:
        """Whether a calibrated or registered copy of it exists."""
        return any(is_processed(h.path) for h in self.copies)


def exposures(headers: Iterable[FrameHeader]) -> list[Exposure]:
    """Each exposure once, in the order of its frames, represented by its rawest frame."""
    buckets: dict[tuple[object, ...], list[list[FrameHeader]]] = {}
    order: list[list[FrameHeader]] = []
    for header in headers:
        alike = None
        if header.start is not None:
            clusters = buckets.setdefault(_key(header), [])
            alike = next((c for c in clusters if _same(c[0], header)), None)
            if alike is None:
                clusters.append(alike := [])
                order.append(alike)
        else:
            order.append(alike := [])
        alike.append(header)
    return [Exposure(first, tuple(rest)) for first, *rest in (sorted(cluster, key=_rawness) for cluster in order)]


def _key(header: FrameHeader) -> tuple[object, ...]:
    start = header.start
    assert start is not None
    length = header.exposure_s
    rounded = None if length is None else f"{length:.2g}"
    second = start.replace(microsecond=0)
    short = length is None or length < _TOLD_APART_S
    return (second, rounded, header.kind, header.combined, core_stem(header.path) if short else None)


def _same(one: FrameHeader, other: FrameHeader) -> bool:
    for a, b in (
        (one.camera, other.camera), (one.gain, other.gain), (one.iso, other.iso),
        (_object(one), _object(other)),
        (one.filter and filter_key(one.filter), other.filter and filter_key(other.filter)),
    ):  # fmt: skip
        if a is not None and b is not None and a != b:
            return False
    first, second = one.start, other.start
    if first is None or second is None or not first.microsecond or not second.microsecond:
        return True
    return abs(first.microsecond - second.microsecond) <= _SAME_FRACTION_S * 1e6


def _object(header: FrameHeader) -> str | None:
    return header.target if header.target_from == "header" else None


def _rawness(header: FrameHeader) -> tuple[object, ...]:
    return (is_processed(header.path), len(stem_of(header.path)), header.path.casefold().endswith("z"), header.path)

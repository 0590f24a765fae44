"""The two published catalogues that several tables are made from, read field by field as their files have them.

* catalog.dat of the Debian package stellarium-data (0.22.2-1): gzip of big-endian records with UTF-16 texts.
* deep_sky.hnd of fchart3 (0.12.2 on PyPI): lines of numbers and names.
"""

from __future__ import annotations

import gzip
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

_NUMBERED = ("NGC", "IC", "M", "C", "B", "Sh2-", "vdB", "RCW", "LDN", "LBN", "Cr", "Mel", "PGC", "UGC")
_LETTERED = ("PK", "PN G", "SNR G", "ACO", "HCG", "ESO", "vdBH")
_NUMBERED_LAST = ("DWB", "Tr", "Stock", "Ru", "vdBHa")


@dataclass(frozen=True)
class Record:
    """One record: ICRS radians, magnitudes (99 where there is none), axes in arcminutes (0 where there are none).

    ``numbers`` has the object's number in each catalogue, in the file's order, empty where it has none.
    """

    ra: float
    dec: float
    blue: float
    visual: float
    kind: int
    major: float
    minor: float
    angle: int
    numbers: tuple[tuple[str, str], ...]


class _Stream:
    """Reads big-endian numbers and UTF-16 texts one after another."""

    def __init__(self, data: bytes) -> None:
        self._data, self._at = data, 0

    def _take(self, form: str, size: int) -> int | float:
        value: int | float = struct.unpack_from(form, self._data, self._at)[0]
        self._at += size
        return value

    def integer(self) -> int:
        return int(self._take(">I", 4))

    def real(self) -> float:
        return float(self._take(">d", 8))

    def text(self) -> str:
        size = self.integer()
        if size == 0xFFFFFFFF:
            return ""
        self._at += size
        return self._data[self._at - size : self._at].decode("utf-16-be")

    def more(self) -> bool:
        return self._at < len(self._data)


def records(path: Path) -> Iterator[Record]:
    """Records of the binary catalogue. Raises struct.error if it ends inside one."""
    stream = _Stream(gzip.decompress(path.read_bytes()))
    stream.text(), stream.text()  # edition
    while stream.more():
        stream.integer()
        ra, dec, blue, visual = (stream.real() for _ in range(4))
        kind = stream.integer()
        stream.text()
        major, minor = stream.real() * 60.0, stream.real() * 60.0
        angle = stream.integer()
        for _ in range(6):
            stream.real()  # redshift, parallax, distance and their errors
        numbers = [(catalogue, str(stream.integer() or "")) for catalogue in _NUMBERED]
        numbers.append(("Ced", stream.text()))
        numbers.append(("Arp", str(stream.integer() or "")))
        stream.integer()  # Vorontsov-Velyaminov
        numbers += [(catalogue, stream.text()) for catalogue in _LETTERED]
        numbers += [(catalogue, str(stream.integer() or "")) for catalogue in _NUMBERED_LAST]
        yield Record(ra, dec, blue, visual, kind, major, minor, angle, tuple(numbers))


def lines(path: Path) -> Iterator[list[str]]:
    """The fields of each line of the text catalogue, nine at least, empty where a line is shorter.

    Right ascension in 1/2400°, declination in arcseconds, tenths of a magnitude, names, type, brightness, axes in
    tenths of an arcminute, angle in degrees.
    """
    for line in path.read_text(encoding="latin-1").splitlines()[2:]:
        fields = [field.strip() for field in line.split(",")]
        if len(fields) >= 5 and fields[0]:
            yield [*fields, *[""] * (9 - len(fields))]

"""Numbers with units, in and out of the text that a person writes.

A quantity is a number with a unit (``90 s``, ``1.5 min``, ``1h 30m``, ``3.76 µm``, ``-10 °C``,
``20.8 mag/arcsec2``) or a bare number in the default unit of its kind. Every function here raises
:class:`NotAQuantity` with what is wrong and what to type instead, and returns finite floats only.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from noctuary.errors import NoctuaryError


class NotAQuantity(NoctuaryError, ValueError):
    """Text that is not a quantity of the wanted kind; ``rule`` says in what way."""

    rule = "not-a-quantity"


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of quantity: its units as factors of the default unit, which comes first."""

    name: str
    units: dict[str, float]
    example: str

    @property
    def default(self) -> str:
        return next(iter(self.units))


_ANGLE_IN_DEG = {
    "deg": 1.0, "°": 1.0, "degree": 1.0, "degrees": 1.0, "d": 1.0,
    "arcmin": 1 / 60, "'": 1 / 60, "′": 1 / 60, "arcminute": 1 / 60, "arcminutes": 1 / 60,
    "arcsec": 1 / 3600, '"': 1 / 3600, "″": 1 / 3600, "arcsecond": 1 / 3600, "arcseconds": 1 / 3600,
    "mas": 1 / 3.6e6, "rad": 180 / math.pi,
}  # fmt: skip


def _angle(name: str, default: str, example: str) -> Kind:
    scale = _ANGLE_IN_DEG[default]
    units = {default: 1.0} | {unit: factor / scale for unit, factor in _ANGLE_IN_DEG.items() if unit != default}
    return Kind(name, units, example)


_TIME_IN_S = {
    "s": 1.0, "sec": 1.0, "secs": 1.0, "second": 1.0, "seconds": 1.0, "ms": 1e-3,
    "min": 60.0, "mins": 60.0, "minute": 60.0, "minutes": 60.0, "m": 60.0,
    "h": 3600.0, "hr": 3600.0, "hour": 3600.0, "hours": 3600.0,
}  # fmt: skip
_LENGTH_IN_MM = {
    "mm": 1.0, "cm": 10.0, "m": 1000.0, "km": 1e6, "um": 1e-3, "µm": 1e-3, "μm": 1e-3, "micron": 1e-3,
    "microns": 1e-3, "nm": 1e-6, "in": 25.4, "inch": 25.4, "inches": 25.4, "ft": 304.8,
}  # fmt: skip


def _length(name: str, default: str, example: str) -> Kind:
    scale = _LENGTH_IN_MM[default]
    units = {default: 1.0} | {unit: factor / scale for unit, factor in _LENGTH_IN_MM.items() if unit != default}
    return Kind(name, units, example)


TIME = Kind("time", _TIME_IN_S, "90 s")
FOCAL = _length("length", "mm", "480 mm")
PIXEL_SIZE = _length("length", "um", "3.76 um")
ELEVATION = _length("length", "m", "210 m")
ANGLE = _angle("angle", "deg", "12.4 deg")
OBJECT_SIZE = _angle("angle", "arcmin", "30 arcmin")
SMALL_ANGLE = _angle("angle", "arcsec", "1.9 arcsec")
BRIGHTNESS = Kind(
    "sky brightness",
    {
        "mag/arcsec2": 1.0, "mag/arcsec²": 1.0, "mag/arcsec^2": 1.0, "mag/arcsec**2": 1.0, "mag": 1.0,
        "mag/sq arcsec": 1.0, "mag/″²": 1.0,
    },
    "20.8 mag/arcsec2",
)  # fmt: skip
TEMPERATURE = Kind(
    "temperature",
    {"°C": 1.0, "C": 1.0, "degC": 1.0, "celsius": 1.0, "deg C": 1.0, "ºC": 1.0, "℃": 1.0},
    "-10 °C",
)
HUMIDITY = Kind("humidity", {"%": 1.0, "percent": 1.0}, "80 %")
WIND = Kind("speed", {"m/s": 1.0, "km/h": 1 / 3.6, "kmh": 1 / 3.6, "kn": 1852 / 3600, "kt": 1852 / 3600,
                      "knots": 1852 / 3600, "mph": 0.44704}, "3 m/s")  # fmt: skip

_KINDS = (TIME, FOCAL, ANGLE, BRIGHTNESS, TEMPERATURE, HUMIDITY, WIND)

_LONGEST = 200
_NUMBER = r"[+-]?(?:\d[\d_]*(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?"
_ONE = re.compile(rf"\s*({_NUMBER})\s*(.*?)\s*")
_FRACTION = re.compile(r"(\d{1,6})\s*/\s*(\d{1,6})\s*s?")
_CLOCKED = re.compile(
    rf"\s*(?:({_NUMBER})\s*(?:h|hr|hours?)(?![A-Za-z])\s*)?(?:({_NUMBER})\s*(?:m|mins?|minutes?)(?![A-Za-z])\s*)?"
    rf"(?:({_NUMBER})\s*(?:s|secs?|seconds?)(?![A-Za-z])\s*)?"
)


def read_number(text: str, *, example: str = "1.5") -> float:
    """A finite number without a unit."""
    cleaned = plain(text)
    if not re.fullmatch(_NUMBER, cleaned):
        raise NotAQuantity(f"{shown(text)} is not a number", f"write a number such as {example}")
    return _finite(cleaned, text, example)


def read_count(text: str) -> int:
    """A whole number, 0 or more."""
    cleaned = plain(text)
    if not re.fullmatch(r"\+?\d[\d_]*", cleaned) or len(cleaned) > 15:
        raise NotAQuantity(f"{shown(text)} is not a whole number, 0 or more", "write a count such as 55")
    return int(cleaned.replace("_", ""))


def read(text: str, kind: Kind) -> float:
    """A quantity in the default unit of its kind (``TIME`` → seconds, ``FOCAL`` → mm, …)."""
    cleaned = plain(text)
    if kind is TIME and (parts := _CLOCKED.fullmatch(cleaned)) and len([p for p in parts.groups() if p]) > 1:
        given = [_finite(p, text, kind.example) if p else 0.0 for p in parts.groups()]
        if any(p < 0 for p in given):
            raise NotAQuantity(f"{shown(text)} mixes signs", f"write a time such as {kind.example} or 1h 30m")
        return given[0] * 3600 + given[1] * 60 + given[2]
    if kind is TIME and (part := _FRACTION.fullmatch(cleaned)) and float(part[2]) > 0:
        return float(part[1]) / float(part[2])  # as cameras show a short exposure: 1/250 s
    match = _ONE.fullmatch(cleaned)
    if match is None or re.match(r"[,\d.:/]", match[2]):
        raise NotAQuantity(
            f"{shown(text)} is not a quantity", f"write a number with its unit, such as {kind.example}"
        )
    number, unit = _finite(match[1], text, kind.example), " ".join(match[2].split())
    if not unit:
        return number
    factor = _factor(unit, kind)
    if factor is not None:
        value = number * factor
        if not math.isfinite(value):
            raise NotAQuantity(f"{shown(text)} is not finite", f"write a number such as {kind.example}")
        return value
    other = next((k for k in _KINDS if k.name != kind.name and _factor(unit, k) is not None), None)
    if other is not None:
        article = "an" if other.name[0] in "aeiou" else "a"
        wrong = f"{shown(text)} is {article} {other.name}, where {_article(kind.name)} {kind.name} belongs"
    else:
        wrong = f"{shown(text)} has the unit “{unit}”, which is not a unit of {kind.name}"
    raise NotAQuantity(wrong, f"write {_article(kind.name)} {kind.name}, such as {kind.example}", "wrong-unit")


def plain(text: str) -> str:
    """Text with typographic minus signs and spaces made plain."""
    if len(text) > _LONGEST:
        hint = "write a number with its unit, such as 90 s"
        raise NotAQuantity(f"{shown(text)} is too long to be a quantity", hint)
    return re.sub(r"[\u00a0\u2009\u202f]", " ", text.replace("\u2212", "-").replace("\u2013", "-")).strip()


def _finite(number: str, text: str, example: str) -> float:
    value = float(number.replace("_", "")) if len(number) <= 60 else math.inf
    if not math.isfinite(value):
        raise NotAQuantity(f"{shown(text)} is not a finite number", f"write a number such as {example}")
    return value


def _factor(unit: str, kind: Kind) -> float | None:
    if unit in kind.units:
        return kind.units[unit]
    folded = {u.casefold(): f for u, f in kind.units.items()}
    return folded.get(unit.casefold())


def _article(word: str) -> str:
    return "an" if word[0] in "aeiou" else "a"


def shown(text: str) -> str:
    return f"“{text if len(text) <= 60 else text[:57] + '…'}”"

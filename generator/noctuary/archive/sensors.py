"""Pixels and pixel size of known cameras, for those who write no more than a camera's name."""

from __future__ import annotations

import csv
import re
import unicodedata
from collections.abc import Mapping
from functools import cache
from importlib import resources
from typing import NamedTuple


class Sensor(NamedTuple):
    """Columns and rows of a full picture, the size of a pixel in µm, and whether the camera sees in colour."""

    pixels: tuple[int, int]
    pixel_size_um: float
    colour: bool


def sensor_of(name: str) -> Sensor | None:
    """The sensor of a camera, by its name in one of the usual spellings; ``None`` where the table lacks it.

    “Canon EOS 6D”, “EOS 6D”, “Canon Canon EOS 6D” and “EOS 6D (modified)” are one camera; “EOS 6D Mark II” is
    another, and so is “6D”, which may be anything. The table is tables/sensors.csv, each row with its sources.
    """
    maker, model = _maker_and_model(name)
    table = _table()
    sensor = table.get(maker + model)
    if sensor is None and re.fullmatch(r"eos\d+da", model):
        # A 600D without its red-blocking filter is called 600Da, after the maker's own 20Da and 60Da.
        sensor = table.get(maker + model[:-1])
    return sensor


def same_camera(one: str, other: str) -> bool | None:
    """Whether two names are those of one camera: “Sony α7 III” and “ILCE-7M3” are, a 6D is no 6D Mark II.

    ``None`` where the table does not know both.
    """
    first, second = sensor_of(one), sensor_of(other)
    return None if first is None or second is None else first is second  # there is one for each row


def sensor_rows() -> list[dict[str, str]]:
    """The rows of the table as they are written."""
    text = resources.files("noctuary.archive.tables").joinpath("sensors.csv").read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


def model_key(name: str) -> str:
    """The model alone in a camera's name, the same for every spelling of it; two makers may share one."""
    return _maker_and_model(name)[1]


@cache
def _table() -> Mapping[str, Sensor]:
    """Maker and model as one key → sensor, and the model alone where that is more than a number."""
    table: dict[str, Sensor] = {}
    for row in sensor_rows():
        size = int(row["width_px"]), int(row["height_px"])
        sensor = Sensor(size, float(row["pixel_size_um"]), row["colour"] == "colour")
        maker, _ = _maker_and_model(f"{row['maker']} x")
        others = row["also"].split("|") if row["also"] else []
        for name in (row["name"], *others):
            written_maker, model = _maker_and_model(name)
            table[maker + model] = sensor
            # A short name may stand alone where the table lists it so among the others.
            if len(model) >= 4 or (name in others and not written_maker):
                table[model] = sensor
    return table


_MAKER = re.compile(
    r"(canon|nikon|sony|fuji(?:film)?|pentax|ricoh|olympus|om|panasonic|lumix|leica|sigma|samsung|konica minolta|"
    r"minolta|hasselblad|apple|google|huawei|zwo|qhy(?:\s*ccd)?|player ?one|atik|sbig|qsi|fli|moravian|apogee|altair|"
    r"starlight xpress|touptek|omegon|risingcam|svbony|meade|orion|celestron|(?:the )?imaging source|philips|"
    r"raspberry pi|dwarf ?lab|vaonis|unistellar)"
    r"(?:[\s,.]+(?:corporation|corp|company|co|ltd|inc|ag|gmbh|imaging|optical|camera|digital solutions|system|"
    r"technologies|technology|instruments|astro|ccd|techwin)\b)*[\s,.]+(?=\w)"
)
_ONE_MAKER = {"fuji": "fujifilm", "lumix": "panasonic", "qhy": "qhyccd", "qhy ccd": "qhyccd"}
#: Words that tell nothing of the sensor: that a thing is a camera, and that a filter was taken out of it.
_SAYS_NOTHING = re.compile(
    r"\b(?:camera|ccd|cmos|(?:un)?modified|mod|modded|astro|astromodified|defiltered|full[ -]?spectrum)\b"
)
_GENERATION = re.compile(r"(?:mark|mk)[\s._-]*(iii|ii|iv|v|[2-5])\b")
_ROMAN = {"2": "ii", "3": "iii", "4": "iv", "5": "v"}
_SERIAL_NUMBER = re.compile(r"-[0-9a-f]{8,}$")


def _maker_and_model(name: str) -> tuple[str, str]:
    """A camera's name as the keys of its maker and its model, either of which may be empty."""
    text = unicodedata.normalize("NFKC", name).casefold().strip()
    text = _SERIAL_NUMBER.sub("", re.sub(r"α|\balpha\s+(?=\d)", "a", text))
    text = _GENERATION.sub(lambda match: _ROMAN.get(match[1], match[1]), text)
    maker = ""
    while match := _MAKER.match(text):
        maker = _ONE_MAKER.get(match[1], match[1])
        text = text[match.end() :]
    return _key(maker), _key(_SAYS_NOTHING.sub("", text))


def _key(text: str) -> str:
    return "".join(c for c in text if c.isalnum())

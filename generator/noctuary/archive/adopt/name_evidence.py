"""What the name of a picture and the folders above it seem to say. All of it is a guess, and is drafted as one.

Only the year of a folder or the date in a name serves for more: a record needs a date of some precision, and the
people who keep pictures in folders by year mean the year.
"""

from __future__ import annotations

import re
from datetime import date
from pathlib import PurePosixPath

from noctuary.archive.adopt.evidence import Evidence, ObjectNames, frame_group, one_line_text
from noctuary.archive.partial_date import PartialDate

NAME, FOLDER = "the file's name", "its folder's name"
_FIRST_YEAR = 1960

_FRAMES = re.compile(
    r"(?<![\d.,])(?P<count>\d{1,5})\s?[x×*]\s?(?P<length>\d{1,4}(?:[.,]\d+)?)\s?(?P<unit>s|sec|secs|seconds|m|min|mins|″|'')"
    r"(?![a-z0-9])",
    re.IGNORECASE,
)
_FRAMES_TURNED = re.compile(
    r"(?<![\d.,])(?P<length>\d{1,4}(?:[.,]\d+)?)\s?(?P<unit>s|sec|secs|seconds|m|min|mins)\s?[x×*]\s?(?P<count>\d{1,5})"
    r"(?![a-z0-9])",
    re.IGNORECASE,
)
_HOURS = re.compile(
    r"(?<![\d.,a-z])(?P<hours>\d{1,3}(?:[.,]\d{1,2})?)\s?(?:h|hr|hrs|hours?|std)(?:\s?(?P<minutes>[0-5]?\d)\s?(?:m|min)?)?"
    r"(?![a-z0-9])",
    re.IGNORECASE,
)
_RATIO = re.compile(r"(?<![a-z0-9])f\s?[/_-]?\s?(?P<ratio>\d{1,2}(?:[.,]\d{1,2})?)(?![\d.a-z])", re.IGNORECASE)
_FOCAL = re.compile(r"(?<![\d.,a-z])(?P<focal>\d{2,4})\s?mm(?![a-z0-9])", re.IGNORECASE)
_ISO = re.compile(r"(?<![a-z])iso[ _-]?(?P<iso>\d{2,6})(?!\d)", re.IGNORECASE)
_GAIN = re.compile(r"(?<![a-z])gain[ _-]?(?P<gain>\d{1,4})(?!\d)", re.IGNORECASE)

_FILTERS = (
    (r"h[ _-]?alpha|ha|hα", "H-alpha"),
    (r"o[ _-]?iii|o3", "OIII"),
    (r"s[ _-]?ii|s2", "SII"),
    (r"h[ _-]?beta|hb|hβ", "H-beta"),
    (r"lum|luminance", "Luminance"),
)
_FILTER_WORDS = [
    (re.compile(rf"(?<![a-z0-9])(?:{spelt})(?![a-z0-9])", re.IGNORECASE), name) for spelt, name in _FILTERS
]

_MONTHS = (
    "jan feb mar apr may jun jul aug sep oct nov dec",
    "januar februar märz april mai juni juli august september oktober november dezember",
    "january february march april may june july august september october november december",
    "janvier février mars avril mai juin juillet août septembre octobre novembre décembre",
    "enero febrero marzo abril mayo junio julio agosto septiembre octubre noviembre diciembre",
    "gennaio febbraio marzo aprile maggio giugno luglio agosto settembre ottobre novembre dicembre",
)
_MONTH_OF = {name: n for names in _MONTHS for n, name in enumerate(names.split(), start=1)}
_DATES = (
    re.compile(
        r"(?<!\d)(?P<y>(?:19|20)\d\d)(?P<sep>[-._ ]?)(?P<m>0[1-9]|1[0-2])(?P=sep)(?P<d>0[1-9]|[12]\d|3[01])(?!\d)"
    ),
    re.compile(r"(?<!\d)(?P<d>0?[1-9]|[12]\d|3[01])\.(?P<m>0?[1-9]|1[0-2])\.(?P<y>(?:19|20)\d\d)(?!\d)"),
    re.compile(r"(?<!\d)(?P<d>[0-3]?\d)?[-._ ]{0,2}(?P<word>[^\W\d_]{3,10})[-._ ]{0,2}(?P<y>(?:19|20)\d\d)(?!\d)"),
    re.compile(r"(?<!\d)(?P<y>(?:19|20)\d\d)[-._ ]?(?P<word>[^\W\d_]{3,10})(?:[-._ ]?(?P<d>[0-3]?\d))?(?!\d)"),
    re.compile(r"(?<!\d)(?P<y>(?:19|20)\d\d)[-._](?P<m>0[1-9]|1[0-2])(?!\d)"),
    re.compile(r"(?<![\d.,])(?P<y>(?:19|20)\d\d)(?![\dx×]|[.,]\d|\s?(?:s|sec|mm|px|m|k)(?![a-z]))"),
)

#: NGC 2024 is no year.
_NUMBERED = re.compile(
    r"(?<![^\W\d_])(?:ngc|ic|ugc|pgc|ldn|lbn|vdb|abell|aco|arp|hip|sao|hd|img|dsc[nf]?)[ _-]?\d+", re.IGNORECASE
)


def date_in(text: str, latest: date) -> PartialDate | None:
    """The date that a text gives in one of the usual spellings, where it gives one alone; day and month as written.

    ``3.8.2019`` counts the day first, as dots do; with slashes or hyphens a day before a month is left alone.
    """
    text = _NUMBERED.sub(" ", text)
    for pattern in _DATES:
        found = {known for match in pattern.finditer(text) if (known := _date_of(match, latest))}
        if len(found) == 1:
            return found.pop()
        if found:
            return None
    return None


def _date_of(match: re.Match[str], latest: date) -> PartialDate | None:
    groups = match.groupdict()
    month = int(groups["m"]) if groups.get("m") else None
    if groups.get("word"):
        month = _MONTH_OF.get(groups["word"].casefold())
        if month is None:
            return None
    day = int(groups["d"]) if groups.get("d") and month else None
    try:
        found = PartialDate(int(groups["y"]), month, day)
        return found if date(_FIRST_YEAR, 1, 1) <= found.first <= latest else None
    except ValueError:
        return None


def of_name(path: str, names: ObjectNames, latest: date) -> Evidence:
    """The guesses from a file's own name; ``latest`` is the last date that can be meant."""
    stem = PurePosixPath(path).stem
    text = stem.replace("_", " ")
    date_text, groups, rest = text, [], text
    filters = [name for pattern, name in _FILTER_WORDS if pattern.search(text)]
    one_filter = filters[0] if len(filters) == 1 else None
    iso, gain = _number(_ISO, text, "iso"), _number(_GAIN, text, "gain")
    matches = [*_FRAMES.finditer(text)] or [*_FRAMES_TURNED.finditer(text)]
    for match in matches:
        length = float(match["length"].replace(",", ".")) * (60 if match["unit"].casefold().startswith("m") else 1)
        count = int(match["count"])
        rest = rest.replace(match[0], " ")
        if 0.01 <= length <= 7200 and count:
            groups.append(frame_group(length, count, filter_name=one_filter, iso=iso, gain=gain))
    hours = None if groups else next(_HOURS.finditer(rest), None)
    integration = None
    if hours is not None:
        integration = float(hours["hours"].replace(",", ".")) * 3600 + int(hours["minutes"] or 0) * 60
        rest = rest.replace(hours[0], " ")
    bare = rest
    for pattern in (_RATIO, _FOCAL, _ISO, _GAIN):
        bare = pattern.sub(" ", bare)
    day = date_in(date_text if not groups else rest, latest)
    return Evidence(
        source=NAME,
        objects=tuple(called for called, _ in names.within(bare)),
        captured=day,
        focal_length_mm=_number(_FOCAL, text, "focal"),
        f_ratio=_number(_RATIO, text, "ratio"),
        filter=one_filter,
        frames=tuple(groups),
        integration_s=integration if integration else None,
    )


def of_folders(path: str, names: ObjectNames, latest: date) -> Evidence:
    """The guesses from the folders above a file, the nearest first."""
    objects: tuple[str, ...] = ()
    day: PartialDate | None = None
    for folder in PurePosixPath(path).parents:
        if not folder.name or folder.name == "pictures":
            continue
        objects = objects or tuple(called for called, _ in names.within(folder.name.replace("_", " ")))
        day = day or date_in(folder.name.replace("_", " "), latest)
    return Evidence(source=FOLDER, objects=objects, captured=day)


def _number(pattern: re.Pattern[str], text: str, group: str) -> float | None:
    match = pattern.search(text)
    return float(match[group].replace(",", ".")) if match else None


def title_of_name(path: str) -> str:
    """A file's name as words: what a record is called when nothing better is known."""
    words = re.sub(r"_+|(?<!\d)-+|-+(?!\d)", " ", PurePosixPath(path).stem)
    return one_line_text(words, 120) or "Untitled"

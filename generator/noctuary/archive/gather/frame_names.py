"""What the names of files and folders say of a frame besides its kind and target: set aside, or a processed copy.

The words are those that people and programs use for it (common practice).
"""

from __future__ import annotations

import re
from pathlib import PurePath

_REJECT = r"bad|rej|reject|rejects|rejected|discard|discards|discarded|culled|trash|unusable|clouds|cloudy"
_FRAMES = r"lights?|subs?|frames?|images?"
_REJECT_FOLDER = re.compile(rf"(?:{_REJECT})(?:[ _-]*(?:{_FRAMES}))?|(?:{_FRAMES})[ _-]+(?:{_REJECT})", re.I)
_REJECT_NAME = re.compile(r"(?:bad|rej|reject|rejected)[ _-].*|.*[ _-](?:bad|rej|reject|rejected)", re.I)

_PROCESSED = (
    r"calibrated|registered|aligned|debayered|debayer|cosmetized|cosmetic|normalized|normalised|processed|process|"
    r"integrated|integration|stacked|stacking|drizzle"
)
_PROCESSED_FOLDER = re.compile(
    rf"(?:{_PROCESSED})(?:[ _-]*(?:{_FRAMES}))?|(?:{_FRAMES})[ _-]+(?:{_PROCESSED})", re.I
)
_PREFIX = re.compile(rf"(?:pp|r|bkg|cc|c|d|cal|reg|deb|norm|{_PROCESSED})_(?=.)", re.I)
_SUFFIX = re.compile(rf"(?<=.)_(?:c|cc|d|r|a|n|b|cal|reg|deb|cfa|norm|{_PROCESSED})", re.I)
_ENDINGS = re.compile(r"(?:\.(?:fits?|fts|fz|gz|tiff?|xisf|jpe?g|[a-z0-9]{2,4}))$", re.I)


def is_reject(path: str) -> bool:
    """Whether a frame lies in a folder, or has a name, that the trade uses for what is set aside."""
    pure = PurePath(path)
    return bool(_REJECT_NAME.fullmatch(stem_of(path))) or any(
        _REJECT_FOLDER.fullmatch(folder.name.strip()) for folder in list(pure.parents)[:2]
    )


def is_processed(path: str) -> bool:
    """Whether a frame's name or folder is that of a calibrated or registered copy."""
    in_folder = any(_PROCESSED_FOLDER.fullmatch(folder.name.strip()) for folder in list(PurePath(path).parents)[:2])
    return in_folder or core_stem(path) != stem_of(path)


def sorts_frames(folder_name: str) -> bool:
    """Whether a folder's name says what became of its frames, and nothing of what they show."""
    return bool(_REJECT_FOLDER.fullmatch(folder_name) or _PROCESSED_FOLDER.fullmatch(folder_name))


def stem_of(path: str) -> str:
    """The name of a file without its endings, in lower case: ``light_1.fits.fz`` → ``light_1``."""
    name = path.replace("\\", "/").rsplit("/", 1)[-1].casefold()
    for _ in range(2):
        name = _ENDINGS.sub("", name) or name
    return name


def core_stem(path: str) -> str:
    """The stem without the marks that processing puts before and behind it: ``r_pp_light_1`` → ``light_1``."""
    stem = stem_of(path)
    while match := _PREFIX.match(stem):
        stem = stem[match.end() :]
    while (match := re.search(_SUFFIX.pattern + "$", stem, re.I)) and match.start() > 0:
        stem = stem[: match.start()]
    return stem

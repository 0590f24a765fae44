"""Pictures of one target from one night or one season, of which one may be a newer version of the other.

Nobody but the person knows whether it is, so it is proposed as a comment and decided by nobody here.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from noctuary.archive.partial_date import PartialDate

_SEASON_DAYS = 120


@dataclass(frozen=True)
class Version:
    """What tells a picture from another of the same target: ids, not paths; ``fresh`` where its record is a new
    draft."""

    id: str
    identity: str | None
    finished: PartialDate | None
    night: date | None
    filter: str | None
    rig: str | None
    fresh: bool


def proposals(pictures: Mapping[str, Version]) -> dict[str, str]:
    """A drafted picture → the older picture that it may replace."""
    by_target: dict[str, list[Version]] = defaultdict(list)
    for version in pictures.values():
        if version.identity is not None and version.finished is not None:
            by_target[version.identity].append(version)
    found: dict[str, str] = {}
    for versions in by_target.values():
        versions.sort(key=lambda v: (_latest(v), _number(v.id), v.id))
        for position, newer in enumerate(versions):
            if not newer.fresh:
                continue
            older = next((v for v in reversed(versions[:position]) if _may_be_one(v, newer)), None)
            if older is not None:
                found[newer.id] = older.id
    return found


def _latest(version: Version) -> date:
    """When it was finished; of a year alone no more is known than the night, if that."""
    if version.finished is not None and (version.finished.exact or version.night is None):
        return version.finished.last
    return version.night or date.min


def _may_be_one(older: Version, newer: Version) -> bool:
    if older.rig != newer.rig and older.rig and newer.rig:
        return False
    if older.filter != newer.filter and older.filter and newer.filter:
        return False
    if older.night and newer.night:
        return abs((newer.night - older.night).days) <= _SEASON_DAYS
    if older.finished is None or newer.finished is None:
        return False
    # Of a year alone nothing more is known than that the two may be of one season.
    if older.finished.day is None or newer.finished.day is None:
        return older.finished.year == newer.finished.year
    return abs((newer.finished.first - older.finished.first).days) <= _SEASON_DAYS


def _number(identity: str) -> int:
    match = re.search(r"(?:v|version|rev|edit)-?(\d{1,3})$", identity)
    return int(match[1]) if match else 1 if re.search(r"final|neu|new|crop", identity) else 0

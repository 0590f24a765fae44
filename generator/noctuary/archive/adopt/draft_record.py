"""The record that is drafted beside a picture: what its sources state, and as comments what they leave open."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import PurePosixPath

from noctuary.archive.adopt.evidence import Evidence, ObjectNames, one_line_text
from noctuary.archive.adopt.name_evidence import title_of_name
from noctuary.archive.adopt.questions import DRAFT_LINE, NOTHING_SAYS
from noctuary.archive.declaration import written_entries
from noctuary.archive.keys import FrameKeys
from noctuary.archive.partial_date import PartialDate
from noctuary.archive.record_text import flow_mapping
from noctuary.archive.records import FrameGroup
from noctuary.archive.values import exposure_text, number_text, text_as_yaml

LIKELY_FRAMES = "the count in the FITS header, if its exposure is that of one frame and not of all"


@dataclass(frozen=True)
class Sources:
    """What is known of one picture. ``path`` is the name and folders that it came with."""

    path: str
    header: Evidence
    name: Evidence
    folder: Evidence
    table: Evidence | None = None
    damage: str | None = None

    @property
    def stated(self) -> Evidence:
        """The person's word before the picture's own; their hours before the frames of a header."""
        if self.table is None:
            return self.header
        whole = self.table.over(self.header)
        if self.table.frames:
            whole = replace(whole, frames=tuple(_filled(self.table.frames, self.header)))
        if self.table.integration_s and not self.table.frames:
            whole = replace(whole, frames=(), sub=None, likely_frames=())
        return replace(whole, integration_s=None) if whole.frames else whole

    @property
    def guesses(self) -> tuple[Evidence, ...]:
        return self.name, self.folder

    def says(self, key: str) -> str:
        """Which source a stated value comes from."""
        return self.table.source if self.table is not None and getattr(self.table, key) else self.header.source


@dataclass(frozen=True)
class Equipped:
    """What the archive makes of a picture's camera, lens and site: names it knows, or what to ask about."""

    rig: str | None = None
    place: str | None = None
    rig_subject: str = NOTHING_SAYS
    rig_known: str = ""
    place_subject: str = NOTHING_SAYS


@dataclass(frozen=True)
class Draft:
    """A drafted record, with what is compared to find versions of one picture."""

    title: str
    finished: PartialDate | None
    objects: tuple[str, ...]
    night: date | None
    filter: str | None
    lines: tuple[str, ...]

    def text(self, more: Sequence[str] = ()) -> str:
        return "\n".join([*self.lines, *more]) + "\n"


def draft(sources: Sources, kit: Equipped, names: ObjectNames, today: date) -> Draft:
    """The record of one picture; ``today`` is the last date on which it can have been finished."""
    stated = sources.stated
    finished, finished_from = finished_on(sources, today)
    title = _title(sources, finished)
    lines = [
        f"# Drafted by noctuary adopt from {_file_name(sources.path)}. What comes after # is a guess or a question."
    ]
    if sources.damage:
        lines.append(f"# Of the picture's own header nothing could be read: {sources.damage}.")
    lines.append(f"title: {text_as_yaml(title)}")
    if finished is not None:
        lines.append(f"finished: {finished}   # {finished_from}")
    else:
        folder = one_line_text(PurePosixPath(sources.path).parent.name, 80)
        lines += [f"# ? finished: {f'the folder “{folder}”' if folder else 'no folder'}", DRAFT_LINE]
    objects = stated.objects
    if objects:
        lines.append(f"objects: {_names(objects)}   # from {sources.says('objects')}")
    else:
        objects = _guessed_objects(sources, names, lines)
    if kit.rig is not None:
        lines.append(f"rig: {text_as_yaml(kit.rig)}")
    else:
        lines.append(f"# ? rig: {kit.rig_subject}" + (f"   # {kit.rig_known}" if kit.rig_known else ""))
    if kit.place is not None:
        lines.append(f"place: {text_as_yaml(kit.place)}")
    else:
        lines.append(f"# ? place: {kit.place_subject}")
    lines += _session(sources)
    if stated.description:
        lines += _prose("description", stated.description)
    if stated.tags:
        lines.append(f"tags: {_names(stated.tags, always=True)}")
    lines += [f"# {note}." for note in stated.notes]
    return Draft(title, finished, objects, stated.night, stated.filter or sources.name.filter, tuple(lines))


def finished_on(sources: Sources, today: date) -> tuple[PartialDate | None, str]:
    """When the picture was finished and where that comes from; as precise as the source is.

    A picture is not finished before it is taken, and not in another year than the one of its folder: what was written
    later was exported anew. From the date of the exposure follows no more than its year.
    """
    stated, night = sources.stated, sources.stated.night
    if sources.table is not None and sources.table.finished is not None:
        return sources.table.finished, f"from {sources.table.source}"
    named = sources.name.captured
    filed = sources.folder.captured
    least = night or (stated.captured.first if stated.captured else None)

    def possible(found: PartialDate | None) -> bool:
        return found is not None and found.first <= today and (least is None or found.last >= least)

    own = sources.header.finished
    year = (named or filed).year if named or filed else None  # type: ignore[union-attr]
    if own is not None and possible(own) and year in (None, own.year):
        return own, f"from {sources.header.source}: the day on which the file was written"
    for found, guess in ((named, sources.name), (filed, sources.folder)):
        if found is not None and possible(found):
            # A name that gives the date of the exposure says when the picture was taken.
            taken = (stated.captured is not None and found == stated.captured) or (
                found.exact is not None and found.exact == night
            )
            return (PartialDate(found.year) if taken else found), f"from {guess.source}"
    if stated.captured is not None and stated.captured.first <= today:
        return PartialDate(stated.captured.year), "the year in which it was taken"
    return None, ""


def _file_name(path: str) -> str:
    return one_line_text(PurePosixPath(path).name) or "a file"


def _title(sources: Sources, finished: PartialDate | None) -> str:
    stated = sources.stated
    if stated.title:
        return stated.title
    if stated.objects:
        filtered = f" in {stated.filter}" if stated.filter else ""
        return f"{stated.objects[0]}{filtered}" + (f", {finished.year}" if finished else "")
    return title_of_name(sources.path)


def _guessed_objects(sources: Sources, names: ObjectNames, lines: list[str]) -> tuple[str, ...]:
    """The objects that the names of a picture seem to say, as a comment; its title before its file and folder."""
    stated = sources.stated
    titled = tuple(called for called, _ in names.within(stated.title)) if stated.title else ()
    tagged = tuple(dict.fromkeys(known[0] for tag in stated.tags if (known := names.called(tag))))
    guesses = [(titled, "its title"), (tagged, "its keywords"), *((g.objects, g.source) for g in sources.guesses)]
    for objects, source in guesses:
        if objects:
            lines.append(f"# objects: {_names(objects)}   # from {source}")
            return objects
    return ()


def _session(sources: Sources) -> list[str]:
    stated, name = sources.stated, sources.name
    night, proposed = stated.night, _proposed_night(sources)
    if night is not None:
        lines = ["sessions:", f"  - night: {night}   # from {sources.says('night')}"]
        if stated.frames:
            lines.append(f"    frames:   # from {sources.says('frames')}")
            lines += [f"      - {_flow(group)}" for group in stated.frames]
        elif stated.integration_s:
            lines.append(f"    integration: {_length(stated.integration_s)}   # from {sources.says('integration_s')}")
        else:
            if stated.likely_frames:
                flow = ", ".join(_flow(group) for group in stated.likely_frames)
                lines.append(f"    # frames: [{flow}]   # from {LIKELY_FRAMES}")
            elif name.frames:
                flow = ", ".join(_flow(group) for group in _filled(name.frames, stated))
                lines.append(f"    # frames: [{flow}]   # from {name.source}")
            elif name.integration_s:
                lines.append(f"    # integration: {_length(name.integration_s)}   # from {name.source}")
            if stated.sub is not None and not name.frames:
                lines.append(f"    # frames: [{_flow(stated.sub)}]   # from {sources.says('sub')}; write how many")
        if stated.sky_brightness:
            lines.append(f"    sky_brightness: {number_text(stated.sky_brightness)}")
        return lines
    groups = list(stated.frames) or _filled(name.frames, stated)
    inside: list[str] = []
    if groups:
        inside.append(f"frames: [{', '.join(_flow(g) for g in groups)}]")
    elif hours := stated.integration_s or name.integration_s:
        inside.append(f"integration: {_length(hours)}")
    if stated.sky_brightness:
        inside.append(f"sky_brightness: {number_text(stated.sky_brightness)}")
    if proposed is not None:
        day, source = proposed
        return [f"# sessions: [{{{', '.join([f'night: {day}', *inside])}}}]   # from {source}"]
    if inside:
        source = sources.says("frames") if stated.frames else name.source
        return [f"# sessions: [{{night: , {', '.join(inside)}}}]   # from {source}; write the night"]
    return []


def _proposed_night(sources: Sources) -> tuple[date, str] | None:
    """A date that may be the night: in a column that says no more than “date”, or in the picture's name."""
    if sources.table is not None and sources.table.captured is not None and sources.table.captured.exact:
        return sources.table.captured.exact, "the table's column of dates"
    if sources.header.likely_night is not None:
        return sources.header.likely_night, "the hour in its header, as seen from the places of the archive"
    for guess in sources.guesses:
        if guess.captured is not None and guess.captured.exact is not None:
            return guess.captured.exact, guess.source
    return None


def _filled(groups: Sequence[FrameGroup], known: Evidence) -> list[FrameGroup]:
    """Exposures from a name or a table with what the picture's header says of a sub of the same length."""
    same = [*known.frames, *([known.sub] if known.sub else [])]
    filled = []
    for group in groups:
        sub = next((s for s in same if math.isclose(s.exposure_s, group.exposure_s, rel_tol=0.05)), None)
        if sub is not None and len(same) == 1 == len(groups):
            iso = group.iso or sub.iso
            gain = None if iso else group.gain if group.gain is not None else sub.gain
            group = replace(
                group,
                filter=group.filter or sub.filter,
                iso=iso,
                gain=gain,
                binning=sub.binning,
                sensor_temperature_c=group.sensor_temperature_c
                if group.sensor_temperature_c is not None
                else sub.sensor_temperature_c,
            )
        filled.append(group)
    return filled


def _flow(group: FrameGroup) -> str:
    exposure, *more = written_entries(
        FrameKeys,
        exposure_s=group.exposure_s,
        filter=group.filter or None,
        iso=group.iso,
        gain=group.gain if group.iso is None else None,
        binning=group.binning if group.binning > 1 else None,
        sensor_temperature_c=group.sensor_temperature_c,
    )
    # How many were kept may be left to be filled in.
    return flow_mapping([exposure, ("kept", str(group.kept or "")), *more]).replace("kept: ,", "kept:,")


def _length(seconds: float) -> str:
    for unit, size in (("h", 3600.0), ("min", 60.0)):
        if seconds >= size and math.isclose(seconds / size * 10, round(seconds / size * 10), abs_tol=1e-6):
            return f"{number_text(round(seconds / size, 1))} {unit}"
    return exposure_text(seconds)


def _names(texts: Sequence[str], *, always: bool = False) -> str:
    if len(texts) == 1 and not always:
        return text_as_yaml(texts[0])
    return "[" + ", ".join(map(text_as_yaml, texts)) + "]"


def _prose(key: str, text: str) -> list[str]:
    lines = text.splitlines()
    if len(lines) == 1:
        return [f"{key}: {text_as_yaml(text)}"]
    if any(line != line.lstrip() for line in lines[:1]) or "\t" in text:
        return [f"{key}: {json.dumps(text, ensure_ascii=False)}"]
    return [f"{key}: |", *(f"  {line}".rstrip() for line in lines)]

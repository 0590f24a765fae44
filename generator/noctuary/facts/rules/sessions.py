"""Rules about sessions beside each other: two at once of one rig, one written out twice."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from itertools import combinations

from noctuary.archive.records import FrameGroup, Picture, Session
from noctuary.facts.rules.rule import Case, Sighting, at, rule


@rule(
    "sessions-overlap", "fault",
    "One rig cannot point at two targets at once.",
    "a session of the same rig ends at 23:30, the next begins at 23:10",
    "common practice: several targets in one night are ordinary, one after the other",
)  # fmt: skip
def sessions_overlap(case: Case) -> Iterator[Sighting]:
    by_rig: dict[str, list[tuple[float, float, Picture, Session]]] = {}
    for picture, session in case.sessions:
        if session.rig is not None and session.start is not None and session.end is not None:
            span = session.start.timestamp(), session.end.timestamp()
            by_rig.setdefault(session.rig.name, []).append((*span, picture, session))
    for rig, spans in by_rig.items():
        spans.sort(key=lambda s: (s[0], s[1], s[2].finished, s[2].id, s[3].index))
        running: list[tuple[float, float, Picture, Session]] = []
        for begun in spans:
            start, _, picture, session = begun
            running = [r for r in running if r[1] > start]
            for _, _, other_picture, other in running:
                if _same_session(case, other_picture, other, picture, session):
                    continue
                # Of a draft and a finished record it is the draft that is wrong.
                wrong, right = (picture, session), (other_picture, other)
                if other_picture.draft and not picture.draft:
                    wrong, right = right, wrong
                yield Sighting(
                    at(*wrong, "start"),
                    f"{rig} was {_on(right[1].target)} until {right[1].end:%H:%M} ({right[0].sidecar})",
                    "correct the times, or name the rig that was used",
                    (wrong[0],),
                )
            running.append(begun)


def _on(target: str | None) -> str:
    return f"on {target}" if target is not None else "at work"


@rule(
    "same-session-twice", "doubt",
    "Two sidecars write out the same session, so that its light counts twice.",
    "both versions of a picture list the frames of 18 January",
)  # fmt: skip
def same_session_twice(case: Case) -> Iterator[Sighting]:
    by_night: dict[date, list[tuple[Picture, Session]]] = {}
    for picture, session in case.sessions:
        by_night.setdefault(session.night, []).append((picture, session))
    for group in by_night.values():
        ordered = sorted(group, key=lambda pair: (pair[0].finished, pair[0].id, pair[1].index))
        for (first, one), (second, other) in combinations(ordered, 2):
            if _same_session(case, first, one, second, other):
                yield Sighting(
                    at(second, other),
                    f"the session of {other.night} on {other.target} is written out in {first.sidecar}, too",
                    f"write builds_on: [{first.id}] instead, or name what sets the two apart",
                    (first, second),
                )


def _same_session(case: Case, picture: Picture, one: Session, other_picture: Picture, other: Session) -> bool:
    """Same night, place, rig, target and a frame group of the same filter and exposure, in two sidecars.

    Sessions whose clock times do not touch are plainly two; of one whose rig or place is not known nobody can say.
    """
    if picture.id == other_picture.id or None in (one.target, one.rig, one.place) or one.night != other.night:
        return False
    if (one.rig, one.place) != (other.rig, other.place):
        return False
    a, b = case.target(one), case.target(other)
    same_target = a.name == b.name if a and b else _folded(one.target) == _folded(other.target)
    if not same_target or not {_kind(g) for g in one.frames} & {_kind(g) for g in other.frames}:
        return False
    if one.start and one.end and other.start and other.end:
        return one.start < other.end and other.start < one.end
    return True


def _folded(name: str | None) -> str | None:
    return name.casefold() if name is not None else None


def _kind(group: FrameGroup) -> tuple[str | None, float]:
    return group.filter.casefold() if group.filter else None, group.exposure_s

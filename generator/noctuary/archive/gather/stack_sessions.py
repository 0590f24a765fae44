"""Finished FITS stacks → sessions by the totals in their headers, where the subs are not among the frames."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from noctuary.archive.gather.frame_context import FrameContext
from noctuary.archive.gather.frame_header import FrameHeader, filter_key
from noctuary.archive.gather.sessions import GatheredSession, Group
from noctuary.archive.gather.shots import Shot, with_nights
from noctuary.archive.gather.target_names import TargetNames


def stack_sessions(
    combined: Sequence[FrameHeader], context: FrameContext, names: TargetNames, sessions: Sequence[GatheredSession]
) -> list[GatheredSession]:
    """One session for each target, night and rig of the stacks; several filters are groups of one session.

    A stack whose subs were gathered, too, is left out: the subs say more.
    """
    gathered = {s.target.key for s in sessions}
    shots: list[Shot] = []
    for header in combined:
        if header.stack is None or header.kind not in ("light", None) or not header.target:
            continue
        target = names.target(header.target)
        shot = context.shot(header, *context.place_of(header))
        if shot is not None and target.key not in gathered:
            shots.append(replace(shot, target=target))
    stacked: dict[tuple[object, ...], GatheredSession] = {}
    known = tuple(p for p in context.zones() if p is not None)
    for shot in with_nights(shots):
        key = (shot.target, shot.night, shot.rig_key, shot.place)
        new = _session(shot, known)
        before = stacked.get(key)
        stacked[key] = new if before is None else _joined(before, new)
    return list(stacked.values())


def with_stack_counts(
    sessions: Sequence[GatheredSession], combined: Sequence[FrameHeader], names: TargetNames
) -> list[GatheredSession]:
    """The sessions, whose open question proposes what a stack of the same target and filter says of itself.

    Only where one group of subs alone can have gone into it: nobody knows how a stack divides over two nights.
    """
    counts: dict[tuple[str, str | None, str], list[int]] = {}
    for header in combined:
        totals = header.stack
        if totals is not None and totals.count and totals.exposure_s and header.target:
            key = names.target(header.target).key, _filter(header.filter), f"{totals.exposure_s:.2g}"
            counts.setdefault(key, []).append(totals.count)
    series = Counter(_series(s, g) for s in sessions for g in s.groups)

    def proposed(session: GatheredSession, group: Group) -> Group:
        count = max(counts.get(_series(session, group), [0]))
        only = series[_series(session, group)] == 1 and 0 < count <= (group.taken or 0)
        if group.kept is not None or group.proposed_why or not only:
            return group
        return replace(group, proposed=count, proposed_why=f"a stack of {count} is among the frames")

    return [replace(s, groups=tuple(proposed(s, g) for g in s.groups)) for s in sessions]


def _series(session: GatheredSession, group: Group) -> tuple[str, str | None, str]:
    return session.target.key, _filter(group.filter), f"{group.exposure_s or 0:.2g}"


def _filter(name: str | None) -> str | None:
    return filter_key(name) if name else None


def _session(shot: Shot, known_places: tuple[str, ...]) -> GatheredSession:
    header, totals = shot.header, shot.header.stack
    count = totals.count if totals else None
    exposure = totals.exposure_s if totals else None
    group = Group(
        exposure_s=exposure,
        filter=header.filter,
        gain=header.gain if header.iso is None else None,
        iso=header.iso,
        binning=header.binning,
        taken=None,
        kept=count,
        sensor_temperature_c=header.sensor_temperature_c,
        set_point_c=None,
        asked=False,
    )
    by_frames = exposure is not None and count is not None
    return GatheredSession(
        night=shot.night,
        target=shot.target,
        kit=shot.kit,
        place=shot.place,
        zone=None,
        start=shot.start,
        end=shot.end,
        groups=(group,) if by_frames else (),
        pauses=(),
        sample=header,
        place_assumed=shot.place_assumed,
        known_places=known_places,
        clock=shot.clock,
        integration_s=None if by_frames or totals is None else totals.total_s,
        stacked=True,
    )


def _joined(one: GatheredSession, other: GatheredSession) -> GatheredSession:
    if one.groups and other.groups:
        return replace(one, groups=tuple(dict.fromkeys((*one.groups, *other.groups))))
    return one if one.groups or one.integration_s else other

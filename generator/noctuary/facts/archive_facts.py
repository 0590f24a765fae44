"""The facts of a whole archive: pictures, targets, nights, rigs, years."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING

from noctuary.archive.changes_file import KeptChanges
from noctuary.archive.reach_file import KeptReach
from noctuary.archive.records import Archive, Night, Rig
from noctuary.archive.star_file import StarShapes
from noctuary.facts.almanac import Almanac
from noctuary.facts.exposure import Integration, Kept, integration, kept_of
from noctuary.facts.object_names import ObjectNames, object_names
from noctuary.facts.picture import PictureFacts, SessionFacts, picture_facts
from noctuary.facts.target import TargetFacts, target_facts
from noctuary.facts.time_use import Darkness, DarkUse, NightUse, dark_sum, night_use
from noctuary.plain_record import plain_record

if TYPE_CHECKING:
    from noctuary.facts.placement_summary import PlacementSummary
    from noctuary.sky.catalogue import SkyObject


@plain_record
class NightFacts:
    """One evening at all places: its sessions in clock order, the pictures they went into, the notes, how it went."""

    night: date
    sessions: tuple[SessionFacts, ...]
    pictures: tuple[PictureFacts, ...]
    notes: tuple[Night, ...]
    integration: Integration
    kept: Kept
    use: NightUse


@plain_record
class RigFacts:
    """What a rig has done, over the sessions of listed pictures.

    ``pictures`` are newest first, those too of which no more than the rig is known.
    """

    rig: Rig
    pictures: tuple[PictureFacts, ...]
    integration: Integration
    kept: Kept


@plain_record
class YearFacts:
    """One calendar year of evenings, over the sessions of listed pictures; ``dark_use`` sums up the nights'."""

    year: int
    integration: Integration
    kept: Kept
    by_month_s: tuple[float, ...]
    by_rig_s: dict[str, float]
    targets: tuple[str, ...]
    pictures: tuple[PictureFacts, ...]
    nights: tuple[NightFacts, ...]
    dark_use: DarkUse | None


@plain_record
class ArchiveFacts:
    """``pictures`` holds every shown picture by id, newest first; lists and totals are of listed ones."""

    archive: Archive
    names: ObjectNames
    pictures: Mapping[str, PictureFacts]
    listed: tuple[PictureFacts, ...]
    targets: tuple[TargetFacts, ...]
    nights: tuple[NightFacts, ...]
    rigs: tuple[RigFacts, ...]
    years: tuple[YearFacts, ...]
    integration: Integration


def archive_facts(
    archive: Archive,
    almanac: Almanac,
    pixels: Mapping[str, tuple[int, int]],
    placements: Mapping[str, PlacementSummary],
    stars: Mapping[str, StarShapes] | None = None,
    reach: Mapping[str, tuple[KeptReach, ...]] | None = None,
    changes: Mapping[str, tuple[KeptChanges, ...]] | None = None,
) -> ArchiveFacts:
    """The facts of every shown picture and of everything that they share.

    ``pixels``, ``placements``, ``stars``, ``reach`` and ``changes`` by picture id; a picture without either has the
    facts that need none.
    """
    # One question for all sessions, so that the ephemerides are one sweep.
    every = {s.identity: s for p in archive.shown for s in archive.sessions_of(p)}
    almanac.during(list(every.values()))
    names = object_names(archive, almanac.object)
    shapes, beside, differing = stars or {}, reach or {}, changes or {}
    pictures = {
        p.id: picture_facts(
            archive,
            p,
            almanac,
            names,
            pixels.get(p.id),
            placements.get(p.id),
            shapes.get(p.id),
            beside.get(p.id, ()),
            differing.get(p.id, ()),
        )
        for p in archive.shown
    }
    listed = tuple(pictures[p.id] for p in archive.listed)
    sessions = {f.session.identity: f for p in listed for f in p.sessions}
    holders: dict[tuple[str, int], list[PictureFacts]] = {}
    for facts in listed:
        for f in facts.sessions:
            holders.setdefault(f.session.identity, []).append(facts)
    nights = _nights(archive, sessions.values(), holders, almanac.darkness(f.session for f in sessions.values()))
    return ArchiveFacts(
        archive=archive,
        names=names,
        pictures=pictures,
        listed=listed,
        targets=_targets(listed, names, archive.reference_rig),
        nights=nights,
        rigs=_rigs(archive, sessions.values(), holders, listed),
        years=_years(nights, listed),
        integration=integration(f.session for f in sessions.values()),
    )


def _targets(listed: tuple[PictureFacts, ...], names: ObjectNames, reference: Rig | None) -> tuple[TargetFacts, ...]:
    groups: dict[str, tuple[SkyObject, list[PictureFacts]]] = {}
    for facts in listed:
        if facts.target is not None:
            groups.setdefault(facts.target.name, (facts.target, []))[1].append(facts)
    return tuple(target_facts(target, names.of(target), tuple(group), reference) for target, group in groups.values())


def _nights(
    archive: Archive,
    sessions: Iterable[SessionFacts],
    holders: Mapping[tuple[str, int], list[PictureFacts]],
    darkness: Mapping[tuple[str, date], Darkness],
) -> tuple[NightFacts, ...]:
    by_night: dict[date, list[SessionFacts]] = {}
    for facts in sessions:
        by_night.setdefault(facts.session.night, []).append(facts)
    notes: dict[date, list[Night]] = {}
    for note in archive.nights:
        notes.setdefault(note.night, []).append(note)
    nights = []
    for night in sorted(by_night.keys() | notes.keys(), reverse=True):
        ordered = tuple(sorted(by_night.get(night, []), key=_clock))
        pictures = {p.picture.id: p for f in ordered for p in holders[f.session.identity]}
        nights.append(
            NightFacts(
                night=night,
                sessions=ordered,
                pictures=tuple(pictures.values()),
                notes=tuple(notes.get(night, ())),
                integration=integration(f.session for f in ordered),
                kept=_kept(ordered),
                use=night_use([f.session for f in ordered], darkness),
            )
        )
    return tuple(nights)


def _rigs(
    archive: Archive,
    sessions: Iterable[SessionFacts],
    holders: Mapping[tuple[str, int], list[PictureFacts]],
    listed: Iterable[PictureFacts],
) -> tuple[RigFacts, ...]:
    by_rig: dict[str, list[SessionFacts]] = {name: [] for name in archive.rigs}
    for facts in sessions:
        if facts.session.rig is not None:
            by_rig.setdefault(facts.session.rig.name, []).append(facts)
    unrecorded = [p for p in listed if not p.sessions]
    rigs = []
    for name, rig in archive.rigs.items():
        pictures = {p.picture.id: p for f in by_rig[name] for p in holders[f.session.identity]}
        pictures |= {p.picture.id: p for p in unrecorded if name in p.rig_names}
        newest_first = sorted(pictures.values(), key=lambda p: (p.picture.finished, p.picture.id), reverse=True)
        rigs.append(
            RigFacts(rig, tuple(newest_first), integration(f.session for f in by_rig[name]), _kept(by_rig[name]))
        )
    return tuple(rigs)


def _years(nights: tuple[NightFacts, ...], listed: tuple[PictureFacts, ...]) -> tuple[YearFacts, ...]:
    years = {n.night.year for n in nights if n.sessions} | {p.picture.finished.year for p in listed}
    summaries = []
    for year in sorted(years, reverse=True):
        of_year = tuple(n for n in nights if n.night.year == year)
        sessions = [f for n in of_year for f in n.sessions]
        by_month = [0.0] * 12
        by_rig: dict[str, float] = {}
        targets: dict[str, None] = {}
        for night in of_year:
            for picture in night.pictures:
                if picture.target is not None:
                    targets[picture.target.name] = None
        for f in sessions:
            by_month[f.session.night.month - 1] += f.integration_s or 0.0
            if f.session.rig is not None and f.integration_s is not None:
                by_rig[f.session.rig.name] = by_rig.get(f.session.rig.name, 0.0) + f.integration_s
        summaries.append(
            YearFacts(
                year=year,
                integration=integration(f.session for f in sessions),
                kept=_kept(sessions),
                by_month_s=tuple(by_month),
                by_rig_s=by_rig,
                targets=tuple(targets),
                pictures=tuple(p for p in listed if p.picture.finished.year == year),
                nights=of_year,
                dark_use=dark_sum(account for night in of_year for account in night.use.darkness),
            )
        )
    return tuple(summaries)


def _kept(sessions: Sequence[SessionFacts]) -> Kept:
    return kept_of(
        (f.session for f in sessions if not f.solar_system), (f.session for f in sessions if f.solar_system)
    )  # fmt: skip


def _clock(facts: SessionFacts) -> tuple[float, tuple[str, int]]:
    return facts.session.start.timestamp() if facts.session.start else float("inf"), facts.session.identity

"""Rules about dates: nights that cannot have been, pictures that were finished too early."""

from __future__ import annotations

from collections.abc import Iterator

from noctuary.facts.rules.rule import Case, Sighting, at, rule

FIRST_PHOTOGRAPH = 1826
"""Niépce's view from the window at Le Gras, the oldest photograph that survives, is dated to 1826 or 1827."""


@rule(
    "night-in-future", "fault",
    "A night that has not come yet has no frames.",
    "night: 2205-01-18",
)  # fmt: skip
def night_in_future(case: Case) -> Iterator[Sighting]:
    for picture, session in case.sessions:
        if session.night > case.today:
            yield Sighting(
                at(picture, session, "night"),
                f"the night of {session.night} is still to come",
                f"correct the date; today is {case.today}",
                (picture,),
            )


@rule(
    "night-before-photography", "fault",
    "There was no camera before 1826.",
    "night: 1825-01-18",
    "the oldest surviving photograph, the view from the window at Le Gras, 1826 or 1827 (from memory)",
)  # fmt: skip
def night_before_photography(case: Case) -> Iterator[Sighting]:
    for picture, session in case.sessions:
        if session.night.year < FIRST_PHOTOGRAPH:
            yield Sighting(
                at(picture, session, "night"),
                f"the night of {session.night} is before the first photograph",
                "correct the year",
                (picture,),
            )


@rule(
    "finished-too-early", "doubt",
    "A picture is finished after its last night.",
    "finished: 2025-01-10 with a night of 2025-01-18",
)  # fmt: skip
def finished_too_early(case: Case) -> Iterator[Sighting]:
    for picture in case.archive.pictures.values():
        last = max((s.night for s in case.archive.sessions_of(picture)), default=None)
        when = f"{'on' if picture.finished.exact else 'in'} {picture.finished}"
        if last is not None and picture.finished.last < last:
            yield Sighting(
                picture.marks.at("finished"),
                f"finished {when}, before the last night of {last}",
                "correct one of the two dates",
                (picture,),
            )

"""One picture of one session that no rule of plausibility doubts, and what is said when a test changes it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime
from typing import Any

from noctuary.archive.records import Archive, Calibration, Picture
from noctuary.diagnostic import Diagnostic
from noctuary.facts.almanac import Almanac
from noctuary.facts.archive_facts import archive_facts
from noctuary.facts.placement_summary import PlacementSummary, placement_numbers
from noctuary.facts.plausibility import judge
from noctuary.sky.placement import from_centre

from tests.builders.records import archive, frames, picture, place, rig, session

TODAY = date(2026, 3, 1)
EVENING = datetime(2025, 1, 18, 21, 0, tzinfo=UTC)
CALIBRATED = Calibration(darks=30, flats=25, bias=50, dark_exposure_s=180, dark_gain=100, dark_temperature_c=-10)
# NGC 2244 lies at 06h31m55s +04°56′35″; the picture is placed a little beside it.
CENTRE = (98.0, 5.0)


@dataclass
class Sample:
    """The ingredients of an archive with one picture of one session; a test changes one of them."""

    group: dict[str, Any] = field(default_factory=dict)
    session: dict[str, Any] = field(default_factory=dict)
    picture: dict[str, Any] = field(default_factory=dict)
    rig: dict[str, Any] = field(default_factory=dict)
    place: dict[str, Any] = field(default_factory=dict)
    archive: dict[str, Any] = field(default_factory=dict)
    pixels: tuple[int, int] = (6000, 4000)
    scale: float | None = 1.6157  # 206.2648 × 3.76 / 480 (plate scale)
    centre: tuple[float, float] = CENTRE
    made_for: tuple[int, int] | None = None
    more: Callable[[Picture], tuple[Picture, ...]] = lambda first: ()

    def build(self) -> Archive:
        group = {"gain": 100.0, "sensor_temperature_c": -10.0, "taken": 60} | self.group
        night: dict[str, Any] = {
            "start": EVENING, "hours": 3.5, "target": "NGC 2244", "calibration": CALIBRATED,
            "star_width_arcsec": 2.6, "sky_brightness": 20.9, "groups": (frames(**group),),
            "rig": rig(**self.rig), "place": place(**self.place),
        } | self.session  # fmt: skip
        values = {"objects": (night["target"],)} | self.picture
        first = picture("rosette", (session(**night),), **values)
        return archive(first, *self.more(first), **self.archive)


def judged(told: Sample | Archive, today: date = TODAY) -> list[Diagnostic]:
    whole = told.build() if isinstance(told, Sample) else told
    pixels = {p.id: told.pixels if isinstance(told, Sample) else (6000, 4000) for p in whole.shown}
    placements: dict[str, PlacementSummary] = {}
    if isinstance(told, Sample) and told.scale is not None:
        ra, dec = told.centre
        for p in whole.shown:
            width, height = pixels[p.id]
            lies = from_centre(ra, dec, told.scale, 0.0, False, width, height)
            placements[p.id] = placement_numbers(replace(lies, made_for=told.made_for))
    almanac = Almanac(whole)
    return judge(whole, archive_facts(whole, almanac, pixels, placements), today)


def second(**more: Any) -> Callable[[Picture], tuple[Picture, ...]]:
    """Another picture whose one session is the first picture's with changes."""

    def build(first: Picture) -> tuple[Picture, ...]:
        values = dict(more)
        of_picture = {k: values.pop(k) for k in ("objects", "builds_on", "replaces", "finished") if k in values}
        own = replace(first.own_sessions[0], written_in="second", **values)
        return (replace(first, id="second", sidecar="pictures/second.yaml", own_sessions=(own,), **of_picture),)

    return build


UNSAID: dict[str, Any] = {"resampling": None}

"""Every rule of plausibility: a record that trips it, a near twin that does not; honest records trip none."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from noctuary.archive.records import Archive, Calibration, Marks, Night, OwnObject, Picture
from noctuary.diagnostic import Diagnostic, Mark
from noctuary.facts.almanac import Almanac
from noctuary.facts.archive_facts import archive_facts
from noctuary.facts.filters import narrowband
from noctuary.facts.placement_summary import PlacementSummary, placed
from noctuary.facts.plausibility import RULES, judge, untracked
from noctuary.sky.placement import from_centre

from tests.archive_builder import MARK, archive, frames, picture, place, rig, session

TODAY = date(2026, 3, 1)
EVENING = datetime(2025, 1, 18, 21, 0, tzinfo=UTC)
CALIBRATED = Calibration(darks=30, flats=25, bias=50, dark_exposure_s=180, dark_gain=100, dark_temperature_c=-10)
# NGC 2244 lies at 06h31m55s +04°56′35″; the picture is placed a little beside it.
CENTRE = (98.0, 5.0)


@dataclass
class Told:
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


def judged(told: Told | Archive, today: date = TODAY) -> list[Diagnostic]:
    whole = told.build() if isinstance(told, Told) else told
    pixels = {p.id: told.pixels if isinstance(told, Told) else (6000, 4000) for p in whole.shown}
    placements: dict[str, PlacementSummary] = {}
    if isinstance(told, Told) and told.scale is not None:
        ra, dec = told.centre
        for p in whole.shown:
            width, height = pixels[p.id]
            lies = from_centre(ra, dec, told.scale, 0.0, False, width, height)
            placements[p.id] = placed(replace(lies, made_for=told.made_for))
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


# A row is easier to read against its twin below than wrapped.
# ruff: noqa: E501
HOUR = timedelta(hours=1)
SUN = {"target": "Sun", "start": datetime(2025, 6, 21, 9, tzinfo=UTC), "night": date(2025, 6, 21), "hours": 1.0}
FAR: dict[str, Any] = {"scale": None}
UNSAID: dict[str, Any] = {"resampling": None}
BELOW_THE_POLE: dict[str, Any] = {
    "scale": None,
    "place": {"publish": "exact"},
    "session": {"target": "M 81", "night": date(2025, 10, 15), "start": datetime(2025, 10, 15, 18, 40, tzinfo=UTC)},
}

# For each rule: what trips it, and a near twin that does not.
PAIRS: list[tuple[str, Told, Told]] = [
    # Eleven hours in a nine-hour night; and exactly as long as the session is not too long.
    ("shutter-open-too-long", Told(group={"taken": 71}), Told(group={"taken": 70}, session={"note": "No pause."})),
    (
        "sessions-overlap",
        Told(more=second(target="NGC 2264", start=EVENING + 3.4 * HOUR, end=EVENING + 4 * HOUR, frames=(frames(kept=9),))),
        Told(more=second(target="NGC 2264", start=EVENING + 3.5 * HOUR, end=EVENING + 4 * HOUR, frames=(frames(kept=9),))),
    ),
    ("kept-over-taken", Told(group={"kept": 61}), Told(group={"kept": 60})),
    (
        "night-in-future",
        Told(session={"night": TODAY + timedelta(days=1), "start": datetime(2026, 3, 2, 20, tzinfo=UTC)}),
        Told(session={"night": TODAY, "start": datetime(2026, 3, 1, 20, tzinfo=UTC)}),
    ),
    (
        "night-before-photography",
        Told(session={"night": date(1825, 12, 31), "hours": None}),
        Told(session={"night": date(1826, 1, 1), "hours": None}),
    ),
    # From 51.2° north the Sun is at −12° about 17:35 UTC on 18 January (3° west), and 7:00 is broad day.
    ("sun-up", Told(session={"start": datetime(2025, 1, 18, 16, 50, tzinfo=UTC)}), Told()),
    ("sun-up", Told(session={"start": datetime(2025, 6, 21, 9, tzinfo=UTC)}), Told(session=SUN, scale=None)),
    (
        "target-under-ground",
        Told(place={"latitude_deg": -51.2, "publish": "exact"}, session={"target": "M 81"}, scale=None),
        Told(place={"latitude_deg": 51.2, "publish": "exact"}, session={"target": "M 81"}, scale=None),
    ),
    ("target-low", Told(session={"target": "NGC 2362"}, scale=None), Told(session={"target": "NGC 2264"}, scale=None)),
    ("target-low", Told(archive={"horizon_deg": 42.0}), Told(archive={"horizon_deg": 20.0})),
    # M 81 culminates below the pole at 30.2° over 51.2° north (φ + δ − 90°); three hours around it end at 31.7°.
    ("target-low", Told(archive={"horizon_deg": 31.0}, **BELOW_THE_POLE), Told(archive={"horizon_deg": 30.0}, **BELOW_THE_POLE)),
    # Full Moon on 13 January 2025, in Gemini: 20° from the Rosette.
    (
        "moon-bright-and-near",
        Told(session={"night": date(2025, 1, 13), "start": EVENING - timedelta(days=5)}),
        Told(session={"night": date(2025, 1, 13), "start": EVENING - timedelta(days=5)}, group={"filter": "H-alpha"}),
    ),
    # Common practice: 60 s darks for 60 s lights.
    (
        "darks-differ",
        Told(session={"calibration": replace(CALIBRATED, dark_exposure_s=30)}),
        Told(session={"calibration": replace(CALIBRATED, dark_exposure_s=181)}),
    ),
    (
        "darks-differ",
        Told(session={"calibration": replace(CALIBRATED, dark_gain=0)}),
        Told(session={"calibration": replace(CALIBRATED, dark_gain=None)}),
    ),
    (
        "darks-differ",
        Told(session={"calibration": replace(CALIBRATED, dark_temperature_c=-5)}),
        Told(session={"calibration": replace(CALIBRATED, dark_temperature_c=-8)}),
    ),
    (
        "darks-differ",
        Told(group={"gain": None, "iso": 1600.0}, session={"calibration": Calibration(darks=30, flats=20, dark_iso=800)}),
        Told(group={"gain": None, "iso": 800.0}, session={"calibration": Calibration(darks=30, flats=20, dark_iso=800)}),
    ),
    (
        "no-flats",
        Told(session={"calibration": replace(CALIBRATED, flats=0)}),
        Told(session={"calibration": replace(CALIBRATED, flats=1)}),
    ),
    ("no-flats", Told(session={"calibration": Calibration(darks=30)}), Told(session={"calibration": None})),
    ("focal-length-disagrees", Told(rig={"focal_factor": 0.8}), Told(rig={"focal_factor": 0.98})),
    # Nobody wrote the resampling. 3124 / 6248 = 0.5: the proportions of the sensor, and half of its pixels.
    ("resampling-inferred", Told(pixels=(3124, 2088), picture=UNSAID, **FAR), Told(pixels=(3124, 2088), picture={"resampling": 0.5}, **FAR)),
    ("resampling-inferred", Told(pixels=(2088, 3124), picture=UNSAID, **FAR), Told(pixels=(3124, 2088), picture=UNSAID, scale=3.2314)),
    ("resampling-inferred", Told(pixels=(1600, 1067), picture=UNSAID, **FAR), Told(pixels=(6180, 4130), picture=UNSAID, **FAR)),
    ("resampling-inferred", Told(pixels=(3124, 2088), picture=UNSAID, **FAR), Told(pixels=(3124, 2088), picture=UNSAID, group={"binning": 2}, **FAR)),
    ("scale-unsure", Told(pixels=(2000, 2000), picture=UNSAID, **FAR), Told(pixels=(2000, 2000), picture={"resampling": 1.0}, **FAR)),
    ("scale-unsure", Told(pixels=(3124, 2000), picture=UNSAID, **FAR), Told(pixels=(3124, 2070), picture=UNSAID, **FAR)),
    # 206.2648 × 3.76 / 480 / 0.5 = 3.2314″: the header fits a reduction to half; without a word it may be a crop.
    ("header-of-another-size", Told(pixels=(3124, 2088), picture=UNSAID, scale=3.2314, made_for=(6248, 4176)),
     Told(pixels=(3124, 2088), picture={"resampling": 0.5}, scale=3.2314, made_for=(6248, 4176))),
    ("header-of-another-size", Told(pixels=(3124, 2088), picture={"resampling": 1.0}, scale=3.2314, made_for=(6248, 4176)),
     Told(pixels=(3124, 2088), picture={"resampling": 1.0}, scale=1.6157)),
    ("target-outside-picture", Told(centre=(83.8, -5.4)), Told(centre=(98.9, 5.0))),
    # The Andromeda Galaxy is three degrees long; 480 mm and 24 mm of sensor see less, 135 mm more.
    (
        "object-larger-than-field",
        Told(session={"target": "M 31", "start": datetime(2025, 1, 18, 18, 30, tzinfo=UTC)}, rig={"focal": 600.0}, scale=None),
        Told(session={"target": "M 31", "start": datetime(2025, 1, 18, 18, 30, tzinfo=UTC)}, rig={"focal": 135.0, "aperture": 48.0}, scale=None),
    ),
    ("picture-larger-than-sensor", Told(pixels=(8000, 4000), scale=None), Told(pixels=(8000, 4000), picture={"resampling": 2.0}, scale=None)),
    ("aspect-unexplained", Told(pixels=(5000, 5000), scale=None), Told(pixels=(4100, 6000), scale=None)),
    # Rayleigh's limit of 80 mm is 1.73″ (1.22 λ/D at 550 nm).
    ("star-width", Told(session={"star_width_arcsec": 1.6}), Told(session={"star_width_arcsec": 1.8})),
    # 206.2648 × 3.76 / 135 = 5.74″/px: two pixels of a lens are 11.5″, and more than four are 23.1″.
    (
        "star-width",
        Told(session={"star_width_arcsec": 23.1}, rig={"focal": 135.0, "aperture": 48.0}, scale=None),
        Told(session={"star_width_arcsec": 11.5}, rig={"focal": 135.0, "aperture": 48.0}, scale=None),
    ),
    ("star-width", Told(session={"star_width_arcsec": 10.4}), Told(session={"star_width_arcsec": 9.6})),
    ("sky-brightness", Told(session={"sky_brightness": 15.9}), Told(session={"sky_brightness": 16.1})),
    ("sky-brightness", Told(session={"sky_brightness": 22.3}), Told(session={"sky_brightness": 22.0})),
    ("sky-brightness", Told(place={"sky_brightness": 2.1}), Told(place={"sky_brightness": None})),
    (
        "sky-brightness",
        Told(archive={"nights": (Night(night=date(2025, 1, 18), sky_brightness=25.0, prose="", mark=MARK),)}),
        Told(archive={"nights": (Night(night=date(2025, 1, 18), sky_brightness=20.0, prose="", mark=MARK),)}),
    ),
    # 60 s with a 50 mm lens trail over 58 pixels of 3.76 µm; the old rule of 500 gives 10 s.
    (
        "exposure-untracked",
        Told(rig={"focal": 50.0, "aperture": 25.0, "mount": "fixed tripod"}, scale=None),
        Told(rig={"focal": 50.0, "aperture": 25.0, "mount": "tracker on a tripod"}, scale=None),
    ),
    (
        "exposure-untracked",
        Told(rig={"focal": 24.0, "aperture": 12.0, "mount": "tripod"}, group={"exposure": 30.0, "taken": 300}, scale=None,
             session={"calibration": None}),
        Told(rig={"focal": 24.0, "aperture": 12.0, "mount": "tripod"}, group={"exposure": 15.0, "taken": 600}, scale=None,
             session={"calibration": None}),
    ),
    ("same-session-twice", Told(more=second(objects=("Caldwell 50",), target="Caldwell 50")), Told(more=second(rig=rig("other")))),
    (
        "same-session-twice",
        Told(more=second(start=EVENING + HOUR, end=EVENING + 4.5 * HOUR)),
        Told(more=second(start=EVENING + 4 * HOUR, end=EVENING + 4.4 * HOUR, frames=(frames(kept=7),))),
    ),
    ("finished-too-early", Told(picture={"finished": date(2025, 1, 17)}), Told(picture={"finished": date(2025, 1, 18)})),
    ("duty-low", Told(group={"taken": 27, "kept": 20}), Told(group={"taken": 27, "kept": 20}, session={"note": "Cloud."})),
    ("duty-low", Told(group={"taken": 27, "kept": 20}), Told(group={"taken": 29, "kept": 20})),
    # Common practice: 5–10 s between frames, so 60 s exposures fill 92 % of the time at best.
    (
        "no-pause",
        Told(group={"exposure": 60.0, "taken": 205, "gain": None, "iso": 1000.0}, session={"calibration": None}),
        Told(group={"exposure": 60.0, "taken": 193, "gain": None, "iso": 1000.0}, session={"calibration": None}),
    ),
    (
        "sensor-warm",
        Told(session={"groups": (frames(kept=20, gain=100.0, sensor_temperature_c=-10.0),
                                 frames(kept=20, gain=100.0, sensor_temperature_c=-7.0))}),
        Told(session={"groups": (frames(kept=20, gain=100.0, sensor_temperature_c=-10.0),
                                 frames(kept=20, gain=100.0, sensor_temperature_c=-8.0))}),
    ),
    ("no-alt", Told(picture={"alt": " "}), Told(picture={"alt": "A ring of red gas."})),
    (
        "integration-jumps",
        Told(more=second(replaces="rosette", rig=rig("other"), frames=(frames(kept=9, taken=60),))),
        Told(more=second(replaces="rosette", rig=rig("other"), frames=(frames(kept=30, taken=60),))),
    ),
]  # fmt: skip


@pytest.mark.parametrize(("rule", "tripping", "twin"), PAIRS, ids=[f"{n}-{p[0]}" for n, p in enumerate(PAIRS)])
def test_every_rule_has_a_record_that_trips_it_and_a_twin_that_does_not(
    rule: str, tripping: Told, twin: Told
) -> None:
    found = [f for f in judged(tripping) if f.rule == rule]
    assert len(found) == 1
    assert found[0].level == RULES[rule].level
    assert found[0].message
    assert found[0].hint
    assert [f for f in judged(twin) if f.rule == rule] == []


def test_every_rule_is_tried() -> None:
    assert {rule for rule, *_ in PAIRS} == set(RULES)
    for rule in RULES.values():
        assert rule.reason.endswith(".")
        assert rule.example


def test_the_honest_record_trips_nothing() -> None:
    assert judged(Told()) == []


def test_an_answered_doubt_stays_quiet_and_a_fault_does_not() -> None:
    answers = {"duty-low": "The slit of the dome stuck.", "kept-over-taken": "Because."}
    told = Told(group={"taken": 10, "kept": 11}, picture={"accepted_doubts": answers})
    assert [f.rule for f in judged(told)] == ["kept-over-taken"]
    told.picture = {"accepted_doubts": {"no-flats": "Another doubt."}}
    assert [f.rule for f in judged(told)] == ["kept-over-taken", "duty-low"]


def test_a_finding_stands_where_the_value_was_written() -> None:
    marks = Marks("pictures/rosette.yaml", {("sessions", 0, "frames", 0, "kept"): (9, 41), (): (1, 1)})
    (finding,) = judged(Told(group={"kept": 99}, picture={"marks": marks}))
    assert finding.mark == Mark("pictures/rosette.yaml", 9, 41)


def test_what_has_no_fixed_place_is_not_judged_by_the_sky() -> None:
    aurora = OwnObject(name="Aurora in May", kind="aurora", mark=MARK)
    told = Told(
        archive={"own_objects": (aurora,)}, scale=None,
        session={"target": "Aurora in May", "start": datetime(2025, 5, 10, 21, tzinfo=UTC), "night": date(2025, 5, 10)},
    )  # fmt: skip
    assert [f.rule for f in judged(told) if f.rule in ("sun-up", "target-low", "target-under-ground")] == []


def test_a_session_built_on_is_judged_once() -> None:
    def build(first: Picture) -> tuple[Picture, ...]:
        return (replace(first, id="later", own_sessions=(), builds_on=("rosette",)),)

    assert [f.rule for f in judged(Told(group={"kept": 61}, more=build))] == ["kept-over-taken"]


@pytest.mark.parametrize(
    ("name", "narrow"),
    [("H-alpha", True), ("Ha 7nm", True), ("O III", True), ("dual-band", True), ("SII", True), ("L", False),
     ("Luminance", False), ("Red", False), (None, False), ("UV/IR cut", False), ("light pollution", False)],
)  # fmt: skip
def test_filters_for_emission_lines(name: str | None, narrow: bool) -> None:
    assert narrowband(name) is narrow


@pytest.mark.parametrize(
    ("mount", "fixed"),
    [("fixed tripod", True), ("a tripod", True), ("untracked alt-azimuth", True), ("tracking head on a tripod", False),
     ("equatorial mount on a tripod", False), ("pier", False), (None, False)],
)  # fmt: skip
def test_mounts_that_stand_still(mount: str | None, fixed: bool) -> None:
    assert untracked(mount) is fixed


TARGETS = {"M 31": 0.71, "M 33": 1.56, "M 45": 3.79, "M 37": 5.87, "NGC 2244": 6.53, "M 44": 8.67, "M 81": 9.93,
           "M 51": 13.5, "M 13": 16.7, "M 57": 18.9, "NGC 6946": 20.6, "NGC 7331": 22.6}  # fmt: skip


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow])
@given(
    target=st.sampled_from(sorted(TARGETS)),
    shift=st.integers(-40, 40),
    year=st.integers(1990, 2024),
    latitude=st.floats(28, 50),
    longitude=st.floats(-20, 20),
    hours=st.floats(1, 3),
    exposure=st.sampled_from([30.0, 60.0, 120.0, 300.0]),
    duty=st.floats(0.5, 0.85),
    kept=st.floats(0, 1),
    iso=st.booleans(),
    width=st.floats(1.9, 8),
    sky=st.floats(17, 22),
)
def test_honest_records_trip_nothing(
    target: str, shift: int, year: int, latitude: float, longitude: float, hours: float, exposure: float, duty: float,
    kept: float, iso: bool, width: float, sky: float,
) -> None:  # fmt: skip
    from noctuary.sky.ephemeris import Observation, sky_during

    # At local midnight of 1 January the sidereal time is about 6.7 h; a target of that right ascension is highest.
    days = (TARGETS[target] - 6.7) % 24 / 24 * 365.25 + shift
    night = date(year, 1, 1) + timedelta(days=round(days))
    middle = datetime(night.year, night.month, night.day, tzinfo=UTC) + timedelta(
        hours=24 - longitude / 15 - shift / 15.2
    )
    start = middle - timedelta(hours=hours / 2)
    start = start.replace(second=0, microsecond=0)
    found = Almanac(archive()).object(target)
    assert found is not None
    (above,) = sky_during(
        [Observation(latitude, longitude, 0, start, start + timedelta(hours=hours), found.ra_deg, found.dec_deg)]
    )
    assume(max(above.sun_altitude_start_deg, above.sun_altitude_end_deg) < -12.5)
    low = min(above.target_altitude_start_deg or 0.0, above.target_altitude_end_deg or 0.0)
    assume(low > 31)
    moonlit = above.moon_illuminated_fraction > 0.45 and (above.moon_separation_deg or 0.0) < 45
    taken = max(1, int(duty * hours * 3600 / exposure))
    assume(taken * exposure / (hours * 3600) > 0.4)
    told = Told(
        group={"exposure": exposure, "taken": taken, "kept": round(kept * taken), "gain": None if iso else 100.0,
               "iso": 800.0 if iso else None, "filter": "Ha" if moonlit else None},
        session={"night": night, "start": start, "hours": hours, "target": target, "star_width_arcsec": width,
                 "sky_brightness": sky,
                 "calibration": Calibration(darks=20, flats=20, dark_exposure_s=exposure, dark_temperature_c=-9)},
        picture={"finished": night + timedelta(days=20)},
        place={"latitude_deg": latitude, "longitude_deg": longitude},
        rig={"focal": 135.0, "aperture": 75.0, "focal_factor": 1.0, "mount": "equatorial mount"},
        scale=None,
    )  # fmt: skip
    assert judged(told) == []


def hints(told: Told, rule: str) -> str:
    return next(f"{f.message}; {f.hint}" for f in judged(told) if f.rule == rule)


def test_doubts_about_scale_give_the_line_to_write() -> None:
    # 1600 / 6248 = 0.25608; 2000 / 4176 = 0.47893.
    whole = hints(Told(pixels=(1600, 1069), picture=UNSAID, scale=None), "resampling-inferred")
    assert "1600 × 1069" in whole
    assert "write resampling: 0.2561 " in whole
    crop = hints(Told(pixels=(2000, 2000), picture=UNSAID, scale=None), "scale-unsure")
    assert "resampling: 1 if it is a crop" in crop
    assert "resampling: 0.4789 " in crop


def test_a_focal_length_that_disagrees_names_what_would_explain_it() -> None:
    # The picture lies at 3.2314″/px where 480 mm at full size give 1.6157″: 240 mm, or half the pixels, or binning.
    half = Told(pixels=(3000, 1500), picture=UNSAID, scale=3.2314)
    text = hints(half, "focal-length-disagrees")
    assert "focal length of 240 mm" in text
    assert "focal_factor: 0.50" in text
    assert "resampling: 0.5 " in text
    assert "binning: 2 " in text
    # A picture at full size was not made smaller by a third: only a reducer or another rig explains that.
    assert "resampling" not in hints(Told(pixels=(6248, 4176), scale=2.4), "focal-length-disagrees")


def test_the_whole_sensor_made_smaller_agrees_with_its_placement() -> None:
    # Half the sensor's pixels at 3.2314″ are 480 mm; at 1.6157″ it is a crop at full size, and 480 mm as well.
    for scale in (3.2314, 1.6157):
        told = Told(pixels=(3124, 2088), picture=UNSAID, scale=scale)
        assert [f.rule for f in judged(told)] == []


def test_an_object_too_large_for_a_crop_may_fit_a_reduction() -> None:
    andromeda = {"target": "M 31", "start": datetime(2025, 1, 18, 18, 30, tzinfo=UTC)}
    crop = Told(session=andromeda, pixels=(1500, 1500), picture=UNSAID, scale=None)
    # 1500 / 4176 = 0.35920
    assert "write resampling: 0.3592 if" in hints(crop, "object-larger-than-field")
    full = Told(session=andromeda, pixels=(6248, 4176), rig={"focal": 1000.0}, scale=None)
    assert "resampling" not in hints(full, "object-larger-than-field")


def test_nothing_is_inferred_from_a_picture_without_a_word_at_full_size() -> None:
    assert judged(Told(pixels=(6248, 4176), picture=UNSAID, scale=None)) == []


def test_pictures_without_alternative_text_are_one_doubt() -> None:
    def silent(name: str, **more: Any) -> Picture:
        return picture(name, alt=None, marks=Marks(f"pictures/{name}.yaml"), **more)

    answered = silent("z", accepted_doubts={"no-alt": "A chart of numbers."})
    told = picture("y", alt="A nebula.")
    expected = {1: "the picture has no", 3: "3 pictures .*: c, b, a$", 5: "5 pictures .*: e, d, c and 2 more$"}
    for count, said in expected.items():
        whole = archive(*(silent(name) for name in "abcde"[:count]), answered, told)
        found = [f for f in judged(whole) if f.rule == "no-alt"]
        assert len(found) == 1
        assert re.search(said, found[0].message)
        assert found[0].mark.file == f"pictures/{'abcde'[count - 1]}.yaml"
    whole = archive(answered, told)
    assert [f for f in judged(whole) if f.rule == "no-alt"] == []

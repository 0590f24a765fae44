"""Every rule of plausibility: a record that trips it, and a near twin that does not."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from noctuary.archive.records import Calibration, Night
from noctuary.facts.plausibility import RULES

from tests.builders.records import MARK, frames, rig
from tests.facts.sample import CALIBRATED, EVENING, TODAY, UNSAID, Sample, judged, second

# A row is easier to read against its twin below than wrapped.
# ruff: noqa: E501
HOUR = timedelta(hours=1)
SUN = {"target": "Sun", "start": datetime(2025, 6, 21, 9, tzinfo=UTC), "night": date(2025, 6, 21), "hours": 1.0}
FAR: dict[str, Any] = {"scale": None}
BELOW_THE_POLE: dict[str, Any] = {
    "scale": None,
    "place": {"publish": "exact"},
    "session": {"target": "M 81", "night": date(2025, 10, 15), "start": datetime(2025, 10, 15, 18, 40, tzinfo=UTC)},
}

# For each rule: what trips it, and a near twin that does not.
PAIRS: list[tuple[str, Sample, Sample]] = [
    # Eleven hours in a nine-hour night; and exactly as long as the session is not too long.
    ("shutter-open-too-long", Sample(group={"taken": 71}), Sample(group={"taken": 70}, session={"note": "No pause."})),
    (
        "sessions-overlap",
        Sample(more=second(target="NGC 2264", start=EVENING + 3.4 * HOUR, end=EVENING + 4 * HOUR, frames=(frames(kept=9),))),
        Sample(more=second(target="NGC 2264", start=EVENING + 3.5 * HOUR, end=EVENING + 4 * HOUR, frames=(frames(kept=9),))),
    ),
    ("kept-over-taken", Sample(group={"kept": 61}), Sample(group={"kept": 60})),
    (
        "night-in-future",
        Sample(session={"night": TODAY + timedelta(days=1), "start": datetime(2026, 3, 2, 20, tzinfo=UTC)}),
        Sample(session={"night": TODAY, "start": datetime(2026, 3, 1, 20, tzinfo=UTC)}),
    ),
    (
        "night-before-photography",
        Sample(session={"night": date(1825, 12, 31), "hours": None}),
        Sample(session={"night": date(1826, 1, 1), "hours": None}),
    ),
    # From 51.2° north the Sun is at −12° about 17:35 UTC on 18 January (3° west), and 7:00 is broad day.
    ("sun-up", Sample(session={"start": datetime(2025, 1, 18, 16, 50, tzinfo=UTC)}), Sample()),
    ("sun-up", Sample(session={"start": datetime(2025, 6, 21, 9, tzinfo=UTC)}), Sample(session=SUN, scale=None)),
    (
        "target-under-ground",
        Sample(place={"latitude_deg": -51.2, "publish": "exact"}, session={"target": "M 81"}, scale=None),
        Sample(place={"latitude_deg": 51.2, "publish": "exact"}, session={"target": "M 81"}, scale=None),
    ),
    ("target-low", Sample(session={"target": "NGC 2362"}, scale=None), Sample(session={"target": "NGC 2264"}, scale=None)),
    ("target-low", Sample(archive={"horizon_deg": 42.0}), Sample(archive={"horizon_deg": 20.0})),
    # M 81 culminates below the pole at 30.2° over 51.2° north (φ + δ − 90°); three hours around it end at 31.7°.
    ("target-low", Sample(archive={"horizon_deg": 31.0}, **BELOW_THE_POLE), Sample(archive={"horizon_deg": 30.0}, **BELOW_THE_POLE)),
    # Full Moon on 13 January 2025, in Gemini: 20° from the Rosette.
    (
        "moon-bright-and-near",
        Sample(session={"night": date(2025, 1, 13), "start": EVENING - timedelta(days=5)}),
        Sample(session={"night": date(2025, 1, 13), "start": EVENING - timedelta(days=5)}, group={"filter": "H-alpha"}),
    ),
    # Common practice: 60 s darks for 60 s lights.
    (
        "darks-differ",
        Sample(session={"calibration": replace(CALIBRATED, dark_exposure_s=30)}),
        Sample(session={"calibration": replace(CALIBRATED, dark_exposure_s=181)}),
    ),
    (
        "darks-differ",
        Sample(session={"calibration": replace(CALIBRATED, dark_gain=0)}),
        Sample(session={"calibration": replace(CALIBRATED, dark_gain=None)}),
    ),
    (
        "darks-differ",
        Sample(session={"calibration": replace(CALIBRATED, dark_temperature_c=-5)}),
        Sample(session={"calibration": replace(CALIBRATED, dark_temperature_c=-8)}),
    ),
    (
        "darks-differ",
        Sample(group={"gain": None, "iso": 1600.0}, session={"calibration": Calibration(darks=30, flats=20, dark_iso=800)}),
        Sample(group={"gain": None, "iso": 800.0}, session={"calibration": Calibration(darks=30, flats=20, dark_iso=800)}),
    ),
    (
        "no-flats",
        Sample(session={"calibration": replace(CALIBRATED, flats=0)}),
        Sample(session={"calibration": replace(CALIBRATED, flats=1)}),
    ),
    ("no-flats", Sample(session={"calibration": Calibration(darks=30)}), Sample(session={"calibration": None})),
    ("focal-length-disagrees", Sample(rig={"focal_factor": 0.8}), Sample(rig={"focal_factor": 0.98})),
    # Nobody wrote the resampling. 3124 / 6248 = 0.5: the proportions of the sensor, and half of its pixels.
    ("resampling-inferred", Sample(pixels=(3124, 2088), picture=UNSAID, **FAR), Sample(pixels=(3124, 2088), picture={"resampling": 0.5}, **FAR)),
    ("resampling-inferred", Sample(pixels=(2088, 3124), picture=UNSAID, **FAR), Sample(pixels=(3124, 2088), picture=UNSAID, scale=3.2314)),
    ("resampling-inferred", Sample(pixels=(1600, 1067), picture=UNSAID, **FAR), Sample(pixels=(6180, 4130), picture=UNSAID, **FAR)),
    ("resampling-inferred", Sample(pixels=(3124, 2088), picture=UNSAID, **FAR), Sample(pixels=(3124, 2088), picture=UNSAID, group={"binning": 2}, **FAR)),
    ("scale-unsure", Sample(pixels=(2000, 2000), picture=UNSAID, **FAR), Sample(pixels=(2000, 2000), picture={"resampling": 1.0}, **FAR)),
    ("scale-unsure", Sample(pixels=(3124, 2000), picture=UNSAID, **FAR), Sample(pixels=(3124, 2070), picture=UNSAID, **FAR)),
    # 206.2648 × 3.76 / 480 / 0.5 = 3.2314″: the header fits a reduction to half; without a word it may be a crop.
    ("header-of-another-size", Sample(pixels=(3124, 2088), picture=UNSAID, scale=3.2314, made_for=(6248, 4176)),
     Sample(pixels=(3124, 2088), picture={"resampling": 0.5}, scale=3.2314, made_for=(6248, 4176))),
    ("header-of-another-size", Sample(pixels=(3124, 2088), picture={"resampling": 1.0}, scale=3.2314, made_for=(6248, 4176)),
     Sample(pixels=(3124, 2088), picture={"resampling": 1.0}, scale=1.6157)),
    ("target-outside-picture", Sample(centre=(83.8, -5.4)), Sample(centre=(98.9, 5.0))),
    # The Andromeda Galaxy is three degrees long; 480 mm and 24 mm of sensor see less, 135 mm more.
    (
        "object-larger-than-field",
        Sample(session={"target": "M 31", "start": datetime(2025, 1, 18, 18, 30, tzinfo=UTC)}, rig={"focal": 600.0}, scale=None),
        Sample(session={"target": "M 31", "start": datetime(2025, 1, 18, 18, 30, tzinfo=UTC)}, rig={"focal": 135.0, "aperture": 48.0}, scale=None),
    ),
    ("picture-larger-than-sensor", Sample(pixels=(8000, 4000), scale=None), Sample(pixels=(8000, 4000), picture={"resampling": 2.0}, scale=None)),
    ("aspect-unexplained", Sample(pixels=(5000, 5000), scale=None), Sample(pixels=(4100, 6000), scale=None)),
    # Rayleigh's limit of 80 mm is 1.73″ (1.22 λ/D at 550 nm).
    ("star-width", Sample(session={"star_width_arcsec": 1.6}), Sample(session={"star_width_arcsec": 1.8})),
    # 206.2648 × 3.76 / 135 = 5.74″/px: two pixels of a lens are 11.5″, and more than four are 23.1″.
    (
        "star-width",
        Sample(session={"star_width_arcsec": 23.1}, rig={"focal": 135.0, "aperture": 48.0}, scale=None),
        Sample(session={"star_width_arcsec": 11.5}, rig={"focal": 135.0, "aperture": 48.0}, scale=None),
    ),
    ("star-width", Sample(session={"star_width_arcsec": 10.4}), Sample(session={"star_width_arcsec": 9.6})),
    ("sky-brightness", Sample(session={"sky_brightness": 15.9}), Sample(session={"sky_brightness": 16.1})),
    ("sky-brightness", Sample(session={"sky_brightness": 22.3}), Sample(session={"sky_brightness": 22.0})),
    ("sky-brightness", Sample(place={"sky_brightness": 2.1}), Sample(place={"sky_brightness": None})),
    (
        "sky-brightness",
        Sample(archive={"nights": (Night(night=date(2025, 1, 18), sky_brightness=25.0, prose="", mark=MARK),)}),
        Sample(archive={"nights": (Night(night=date(2025, 1, 18), sky_brightness=20.0, prose="", mark=MARK),)}),
    ),
    # 60 s with a 50 mm lens trail over 58 pixels of 3.76 µm; the old rule of 500 gives 10 s.
    (
        "exposure-untracked",
        Sample(rig={"focal": 50.0, "aperture": 25.0, "mount": "fixed tripod"}, scale=None),
        Sample(rig={"focal": 50.0, "aperture": 25.0, "mount": "tracker on a tripod"}, scale=None),
    ),
    (
        "exposure-untracked",
        Sample(rig={"focal": 24.0, "aperture": 12.0, "mount": "tripod"}, group={"exposure": 30.0, "taken": 300}, scale=None,
             session={"calibration": None}),
        Sample(rig={"focal": 24.0, "aperture": 12.0, "mount": "tripod"}, group={"exposure": 15.0, "taken": 600}, scale=None,
             session={"calibration": None}),
    ),
    ("same-session-twice", Sample(more=second(objects=("Caldwell 50",), target="Caldwell 50")), Sample(more=second(rig=rig("other")))),
    (
        "same-session-twice",
        Sample(more=second(start=EVENING + HOUR, end=EVENING + 4.5 * HOUR)),
        Sample(more=second(start=EVENING + 4 * HOUR, end=EVENING + 4.4 * HOUR, frames=(frames(kept=7),))),
    ),
    ("finished-too-early", Sample(picture={"finished": date(2025, 1, 17)}), Sample(picture={"finished": date(2025, 1, 18)})),
    ("duty-low", Sample(group={"taken": 27, "kept": 20}), Sample(group={"taken": 27, "kept": 20}, session={"note": "Cloud."})),
    ("duty-low", Sample(group={"taken": 27, "kept": 20}), Sample(group={"taken": 29, "kept": 20})),
    # Common practice: 5–10 s between frames, so 60 s exposures fill 92 % of the time at best.
    (
        "no-pause",
        Sample(group={"exposure": 60.0, "taken": 205, "gain": None, "iso": 1000.0}, session={"calibration": None}),
        Sample(group={"exposure": 60.0, "taken": 193, "gain": None, "iso": 1000.0}, session={"calibration": None}),
    ),
    (
        "sensor-warm",
        Sample(session={"groups": (frames(kept=20, gain=100.0, sensor_temperature_c=-10.0),
                                 frames(kept=20, gain=100.0, sensor_temperature_c=-7.0))}),
        Sample(session={"groups": (frames(kept=20, gain=100.0, sensor_temperature_c=-10.0),
                                 frames(kept=20, gain=100.0, sensor_temperature_c=-8.0))}),
    ),
    ("no-alt", Sample(picture={"alt": " "}), Sample(picture={"alt": "A ring of red gas."})),
    (
        "integration-jumps",
        Sample(more=second(replaces="rosette", rig=rig("other"), frames=(frames(kept=9, taken=60),))),
        Sample(more=second(replaces="rosette", rig=rig("other"), frames=(frames(kept=30, taken=60),))),
    ),
]  # fmt: skip


@pytest.mark.parametrize(("rule", "tripping", "twin"), PAIRS, ids=[f"{n}-{p[0]}" for n, p in enumerate(PAIRS)])
def test_every_rule_has_a_record_that_trips_it_and_a_twin_that_does_not(
    rule: str, tripping: Sample, twin: Sample
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

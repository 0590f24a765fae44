"""Doubts: where they stand, how they are answered, and the line that they give to write."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from noctuary.archive.records import Marks, Picture
from noctuary.diagnostic import Mark

from tests.builders.records import archive, picture
from tests.facts.sample import UNSAID, Sample, judged


def test_an_answered_doubt_stays_quiet_and_a_fault_does_not() -> None:
    answers = {"duty-low": "The slit of the dome stuck.", "kept-over-taken": "Because."}
    told = Sample(group={"taken": 10, "kept": 11}, picture={"accepted_doubts": answers})
    assert [f.rule for f in judged(told)] == ["kept-over-taken"]
    told.picture = {"accepted_doubts": {"no-flats": "Another doubt."}}
    assert [f.rule for f in judged(told)] == ["kept-over-taken", "duty-low"]


def test_a_finding_stands_where_the_value_was_written() -> None:
    marks = Marks("pictures/rosette.yaml", {("sessions", 0, "frames", 0, "kept"): (9, 41), (): (1, 1)})
    (finding,) = judged(Sample(group={"kept": 99}, picture={"marks": marks}))
    assert finding.mark == Mark("pictures/rosette.yaml", 9, 41)


def test_a_session_built_on_is_judged_once() -> None:
    def build(first: Picture) -> tuple[Picture, ...]:
        return (replace(first, id="later", own_sessions=(), builds_on=("rosette",)),)

    assert [f.rule for f in judged(Sample(group={"kept": 61}, more=build))] == ["kept-over-taken"]


def hints(told: Sample, rule: str) -> str:
    return next(f"{f.message}; {f.hint}" for f in judged(told) if f.rule == rule)


def test_doubts_about_scale_give_the_line_to_write() -> None:
    # 1600 / 6248 = 0.25608; 2000 / 4176 = 0.47893.
    whole = hints(Sample(pixels=(1600, 1069), picture=UNSAID, scale=None), "resampling-inferred")
    assert "1600 × 1069" in whole
    assert "write resampling: 0.2561 " in whole
    crop = hints(Sample(pixels=(2000, 2000), picture=UNSAID, scale=None), "scale-unsure")
    assert "resampling: 1 if it is a crop" in crop
    assert "resampling: 0.4789 " in crop


def test_a_focal_length_that_disagrees_names_what_would_explain_it() -> None:
    # The picture lies at 3.2314″/px where 480 mm at full size give 1.6157″: 240 mm, or half the pixels, or binning.
    half = Sample(pixels=(3000, 1500), picture=UNSAID, scale=3.2314)
    text = hints(half, "focal-length-disagrees")
    assert "focal length of 240 mm" in text
    assert "focal_factor: 0.50" in text
    assert "resampling: 0.5 " in text
    assert "binning: 2 " in text
    # A picture at full size was not made smaller by a third: only a reducer or another rig explains that.
    assert "resampling" not in hints(Sample(pixels=(6248, 4176), scale=2.4), "focal-length-disagrees")


def test_the_whole_sensor_made_smaller_agrees_with_its_placement() -> None:
    # Half the sensor's pixels at 3.2314″ are 480 mm; at 1.6157″ it is a crop at full size, and 480 mm as well.
    for scale in (3.2314, 1.6157):
        told = Sample(pixels=(3124, 2088), picture=UNSAID, scale=scale)
        assert [f.rule for f in judged(told)] == []


def test_an_object_too_large_for_a_crop_may_fit_a_reduction() -> None:
    andromeda = {"target": "M 31", "start": datetime(2025, 1, 18, 18, 30, tzinfo=UTC)}
    crop = Sample(session=andromeda, pixels=(1500, 1500), picture=UNSAID, scale=None)
    # 1500 / 4176 = 0.35920
    assert "write resampling: 0.3592 if" in hints(crop, "object-larger-than-field")
    (found,) = (f for f in judged(crop) if f.rule == "object-larger-than-field")
    assert found.message.startswith("M 31 is 3° long")  # as the record calls it, not as the catalogue does
    full = Sample(session=andromeda, pixels=(6248, 4176), rig={"focal": 1000.0}, scale=None)
    assert "resampling" not in hints(full, "object-larger-than-field")


def test_nothing_is_inferred_from_a_picture_without_a_word_at_full_size() -> None:
    assert judged(Sample(pixels=(6248, 4176), picture=UNSAID, scale=None)) == []


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

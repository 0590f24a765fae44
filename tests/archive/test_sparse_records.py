"""What is not known is left out: the least that a record may say, and drafts that stop nothing."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from noctuary.archive.partial_date import PartialDate
from noctuary.archive.read import Reading, read_archive
from noctuary.archive.records import Archive

from tests.builders.folders import write, written
from tests.builders.published import ARCHIVE, examined

EQUIPMENT = """\
cameras:
  old compact:
  known: {pixels: [60, 40], pixel_size: 60 um}
optics:
  old lens:
  long one: {focal_length: 300 mm}
  fast one: {f_ratio: 2.8}
rigs:
  compact: {camera: old compact}
  lens alone: {optic: long one}
  nothing but a name:
  both: {optic: fast one, camera: known}
"""
PLACES = "home: {latitude: 51d12m00s N, longitude: 3d06m00s W, time_zone: Europe/London}\n"


def read(folder: Path, **records: str) -> Reading:
    texts = {"archive.yaml": ARCHIVE, "equipment.yaml": EQUIPMENT, "places.yaml": PLACES}
    return read_archive(written(folder, texts | {f"pictures/{name}.yaml": text for name, text in records.items()}))


def sound(reading: Reading) -> Archive:
    assert [str(f) for f in reading.findings] == []
    assert reading.archive is not None
    return reading.archive


def rules(reading: Reading) -> list[tuple[str, str]]:
    return [(f.level, f.rule) for f in reading.findings]


def test_title_and_finished_are_enough(tmp_path: Path) -> None:
    picture = sound(read(tmp_path, old="title: Old\nfinished: 2009\n")).pictures["old"]
    assert (picture.objects, picture.target, picture.own_sessions) == ((), None, ())
    assert (picture.rig, picture.place, picture.resampling) == (None, None, None)


@pytest.mark.parametrize(
    ("text", "known"),
    [("2009", PartialDate(2009)), ("2009-09", PartialDate(2009, 9)), ("'2009-09-14'", PartialDate(2009, 9, 14))],
)
def test_a_picture_is_finished_as_precisely_as_is_known(tmp_path: Path, text: str, known: PartialDate) -> None:
    assert sound(read(tmp_path, old=f"title: Old\nfinished: {text}\n")).pictures["old"].finished == known


def test_what_is_known_to_the_year_stands_where_the_year_begins(tmp_path: Path) -> None:
    finished = {"a": "2009-01-01", "b": "2009", "c": "2009-09", "d": "2009-09-30", "e": "2008-12-31", "f": "2010"}
    archive = sound(read(tmp_path, **{name: f"title: T\nfinished: {day}\n" for name, day in finished.items()}))
    assert [p.id for p in archive.listed] == ["f", "d", "c", "a", "b", "e"]


@given(st.dates(date(1801, 1, 1), date(2199, 12, 31)))
def test_a_day_lies_in_its_month_and_its_year(day: date) -> None:
    for known in (PartialDate.of(day), PartialDate(day.year, day.month), PartialDate(day.year)):
        assert known.first <= day <= known.last
        assert known <= PartialDate.of(day)
        assert PartialDate.of(day).exact == day
        assert day.isoformat().startswith(str(known))


def test_a_session_may_know_no_more_than_its_night(tmp_path: Path) -> None:
    text = "title: Old\nfinished: 2009\nsessions:\n  - night: 2009-09-14\n  - {night: 2009-09-15, integration: 3 h}\n"
    first, second = sound(read(tmp_path, old=text)).pictures["old"].own_sessions
    assert (first.frames, first.stated_integration_s) == ((), None)
    assert (first.rig, first.place, first.target) == (None, None, None)
    assert second.stated_integration_s == 3 * 3600


def test_equipment_may_be_names_alone(tmp_path: Path) -> None:
    archive = sound(read(tmp_path, old="title: Old\nfinished: 2009\nrig: compact\n"))
    compact, lens = archive.rigs["compact"], archive.rigs["lens alone"]
    assert compact.optic is None
    assert compact.camera is not None
    assert (compact.camera.pixels, compact.camera.pixel_size_um) == (None, None)
    assert lens.optic is not None
    assert (lens.optic.focal_length_mm, lens.optic.aperture_mm, lens.camera) == (300, None, None)
    assert archive.optics["fast one"].f_ratio == 2.8
    assert archive.rigs["nothing but a name"].optic is None


def test_clock_times_without_a_place_are_a_doubt(tmp_path: Path) -> None:
    text = "title: Old\nfinished: 2009\nsessions:\n  - {night: 2009-09-14, start: '20:00', end: '21:00'}\n"
    reading = read(tmp_path, old=text)
    assert rules(reading) == [("doubt", "clock-without-place")]
    assert reading.archive is not None
    assert reading.archive.pictures["old"].own_sessions[0].start is None


def test_every_list_of_names_may_be_one_text(tmp_path: Path) -> None:
    write(tmp_path / "objects.yaml", "Garden Comet: {kind: comet, also: The Visitor, called: Comet of the garden}\n")
    write(tmp_path / "exhibits/one.yaml", "title: One\npictures: whole\n")
    texts = {
        "part": "title: P\nfinished: 2009\n",
        "version": "title: V\nfinished: 2010\nbuilds_on: part\n",
        "whole": "title: W\nfinished: 2011\nobjects: M 51\ntags: spring\npanels: part\nformer_ids: whole-old\n",
    }
    write(tmp_path / "archive.yaml", ARCHIVE)
    archive = sound(read(tmp_path, **texts))
    whole = archive.pictures["whole"]
    assert (whole.objects, whole.tags, whole.panels) == (("M 51",), ("spring",), ("part",))
    assert whole.former_ids == ("whole-old",)
    assert archive.pictures["version"].builds_on == ("part",)
    assert archive.exhibits[0].pictures == (("whole", None),)
    (comet,) = archive.own_objects
    assert (comet.also, comet.called) == (("The Visitor",), "Comet of the garden")


def test_ids_that_are_let_go_are_held(tmp_path: Path) -> None:
    write(tmp_path / "archive.yaml", ARCHIVE + "gone: [first-light, moon-2011]\n")
    archive = sound(read_archive(tmp_path))
    assert archive.gone == ("first-light", "moon-2011")


def test_a_mosaic_holds_the_sessions_of_its_panels_listed_or_not(tmp_path: Path) -> None:
    panel = "title: P\nfinished: 2009\nsessions:\n  - {night: 2009-09-14, integration: 1 h}\n"
    archive = sound(
        read(
            tmp_path,
            east=panel,
            west=panel + "listed: no\n",
            south=panel + "draft: yes\n",
            whole="title: W\nfinished: 2009\npanels: [east, west, south]\n",
        )
    )
    assert len(archive.sessions_of(archive.pictures["whole"])) == 3


@pytest.mark.parametrize(
    ("first", "second", "rule"),
    [
        ("panels: b", "panels: a", "panels-cycle"),
        ("panels: b", "builds_on: a", "panels-cycle"),
        ("builds_on: b", "builds_on: a", "builds-on-cycle"),
        ("replaces: b", "replaces: a", "replaces-cycle"),
    ],
)
def test_pictures_that_contain_each_other_are_a_fault(tmp_path: Path, first: str, second: str, rule: str) -> None:
    reading = read(tmp_path, a=f"title: A\nfinished: 2009\n{first}\n", b=f"title: B\nfinished: 2009\n{second}\n")
    assert rules(reading) == [("fault", rule)]


# Drafts.

FAULTY = {
    "no title": "finished: 2009",
    "an unknown rig": "title: D\nfinished: 2009\nrig: none such",
    "an unknown key": "title: D\nfinished: 2009\nfinnished: 2010",
    "no date": "title: D\nfinished: soon",
    "text that is no YAML": "title: [D\nfinished: 2009",
    "frames that were never taken": "title: D\nfinished: 2009\nsessions:\n  - night: 2009-09-14\n"
    "    frames: {exposure: 60 s}",
    "more kept than taken": "title: D\nfinished: 2009\nsessions:\n  - night: 2009-09-14\n"
    "    frames:\n      - {exposure: 60 s, kept: 9, taken: 3}",
    "a night to come": "title: D\nfinished: 2009\nsessions:\n  - night: 2199-09-14",
    "an object that nothing knows": "title: D\nfinished: 2009\nobjects: Flurbel 12",
    "a picture that nothing knows": "title: D\nfinished: 2009\nbuilds_on: none-such",
}


@pytest.mark.parametrize("wrong", FAULTY)
def test_a_fault_of_a_draft_is_a_doubt(tmp_path: Path, wrong: str) -> None:
    texts = {
        "archive.yaml": ARCHIVE,
        "pictures/done.yaml": "title: Done\nfinished: 2009\nalt: Done.\n",
        "pictures/draft.yaml": f"draft: yes\n{FAULTY[wrong]}\n",
    }
    found = examined(tmp_path, texts)
    assert {f.level for f in found.findings if f.mark.file == "pictures/draft.yaml"} == {"doubt"}
    assert found.faults == []
    assert found.archive is not None
    assert [p.id for p in found.archive.shown] == ["done"]


def test_a_finished_record_with_the_same_fault_stops_the_build(tmp_path: Path) -> None:
    found = examined(tmp_path, {"archive.yaml": ARCHIVE, "pictures/done.yaml": FAULTY["an unknown rig"] + "\n"})
    assert [f.rule for f in found.faults] == ["unknown-rig"]


def test_a_draft_without_a_picture_is_a_doubt(tmp_path: Path) -> None:
    write(tmp_path / "archive.yaml", ARCHIVE)
    write(tmp_path / "pictures/draft.yaml", "title: D\nfinished: 2009\ndraft: yes\n")
    assert rules(read_archive(tmp_path)) == [("doubt", "sidecar-without-picture")]


def test_where_a_draft_and_a_finished_record_are_at_odds_the_draft_gives_way(tmp_path: Path) -> None:
    texts = {
        "archive.yaml": ARCHIVE,
        "equipment.yaml": EQUIPMENT,
        "places.yaml": PLACES,
        # a circle and a shared name
        "pictures/done.yaml": "title: Done\nfinished: 2020\nbuilds_on: draft\nrig: both\nplace: home\nalt: Done.\n"
        "objects: M 31\nsessions:\n  - {night: 2019-09-14, start: '22:00', end: '23:00', integration: 30 min}\n",
        "pictures/draft.yaml": "title: Draft\nfinished: 2009\nbuilds_on: done\nrig: both\nplace: home\ndraft: yes\n"
        "objects: M 33\nsessions:\n  - {night: 2019-09-14, start: '21:30', end: '22:30', integration: 30 min}\n",
        "pictures/old/done.yaml": "title: Another\nfinished: 2009\ndraft: yes\n",
    }
    found = examined(tmp_path, texts)
    assert found.faults == []
    assert {"builds-on-cycle", "same-name"} <= {f.rule for f in found.findings}
    assert found.archive is not None
    assert found.archive.pictures["done"].title == "Done"


def test_a_rig_that_a_draft_says_was_elsewhere_stops_nothing(tmp_path: Path) -> None:
    record = "title: T\nfinished: 2020\nrig: both\nplace: home\nalt: A.\n"
    frames = "end: '{}', frames: [{{exposure: 60 s, kept: 40}}]}}\n"
    texts = {
        "archive.yaml": ARCHIVE,
        "equipment.yaml": EQUIPMENT,
        "places.yaml": PLACES,
        "pictures/done.yaml": record + "objects: M 31\nsessions:\n  - {night: 2019-09-14, start: '22:00', "
        + frames.format("23:00"),
        "pictures/draft.yaml": record + "draft: yes\nobjects: M 33\nsessions:\n  - {night: 2019-09-14, "
        "start: '21:30', " + frames.format("22:30"),
    }  # fmt: skip
    found = examined(tmp_path, texts)
    assert found.faults == []
    assert ("pictures/draft.yaml", "doubt") in {
        (f.mark.file, f.level) for f in found.findings if f.rule == "sessions-overlap"
    }

"""Pages, exports and facts of records that know little: nothing is invented, no zero stands for what is not known."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.builders.published import ARCHIVE, YEAR_AND_CAMERA, examined, published, words

HOME = "home: {latitude: 51.2 deg, longitude: -3.1 deg, time_zone: Europe/London, publish: PUBLISH}\n"
RIG = """\
cameras: {mono: {pixels: [60, 40], pixel_size: 60 um, colour: mono}}
optics: {tube: {focal_length: 480 mm, aperture: 80 mm}}
rigs: {refractor: {optic: tube, camera: mono, mount: small mount}}
"""
SESSION = """\
title: Andromeda
objects: M 31
finished: 2019-10-01
alt: A galaxy.
rig: refractor
place: home
sessions:
  - {night: 2019-09-28, start: '22:00', end: '23:30', frames: [{exposure: 60 s, taken: 80, kept: 70}]}
"""


def made(folder: Path, **records: str) -> dict[str, str]:
    texts = {"archive.yaml": ARCHIVE, "equipment.yaml": RIG, "places.yaml": HOME.replace("PUBLISH", "name")}
    found = examined(folder, texts | {f"pictures/{name}.yaml": text for name, text in records.items()})
    assert found.faults == []
    return published(found)


@pytest.fixture(scope="module")
def old(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """The site of a picture of 2009 of which no more than the year and the camera are known."""
    found = examined(tmp_path_factory.mktemp("old"), YEAR_AND_CAMERA)
    assert [str(f) for f in found.findings] == []
    return published(found)


def test_a_year_and_a_camera_are_a_record_that_says_what_it_lacks(old: dict[str, str]) -> None:
    assert "Exposures not recorded, with compact." in words(old["pictures/orion.html"])
    assert "Finished 2009" in words(old["pictures/orion.html"])
    assert "old compact" in words(old["equipment.html"])
    assert "Orion over the barn" in words(old["equipment.html"])
    assert "No night is recorded." in words(old["nights.html"])
    assert "No night of this year is recorded." in words(old["years/2009.html"])


def test_no_page_of_it_counts_hours_nights_or_frames(old: dict[str, str]) -> None:
    for path, page in old.items():
        if not path.endswith(".html") or path in ("sky.html", "data.html"):
            continue
        said = words(page)
        assert not re.search(r"\b\d+\s*(?:s|min|h|nights?|frames|mm|%)\b", said), path
        assert not re.search(r"\b(?:zero|one night|None|nan)\b", said), path
        described = re.findall(r'<meta (?:name|property)="(?:og:)?description" content="([^"]*)"', page)
        assert not any(re.search(r"\d+\s*(?:s|min|h|mm|nights?)\b", d) for d in described), path


def test_no_table_of_it_has_an_empty_column_and_no_head_stands_over_nothing(old: dict[str, str]) -> None:
    for path, page in old.items():
        for table in re.findall(r"<table.*?</table>", page, re.S):
            heads = len(re.findall(r"<th scope=\"col\"", table))
            lines = re.findall(r"<tr>.*?</tr>", table, re.S)
            rows = [re.findall(r"<t[hd][ >].*?</t[hd]>", line, re.S) for line in lines]
            body = [[re.sub(r"<[^>]*>", "", cell).strip() for cell in row] for row in rows if len(row) == heads][1:]
            assert body, path
            assert all(any(row[at] not in ("", "—") for row in body) for at in range(heads)), path
    assert "<h2 id=\"acquisition\">" not in old["pictures/orion.html"]
    assert "<h2 id=\"sessions\">" not in old["pictures/orion.html"]
    assert "data/pictures/orion.csv" not in old


def test_its_facts_are_null(old: dict[str, str]) -> None:
    (picture,) = json.loads(old["data/pictures.json"])["pictures"]
    assert picture["finished"] == "2009"
    whole = picture["integration"]
    for key in ("total_s", "kept", "taken", "kept_share", "first_night", "last_night"):
        assert whole[key] is None
    assert (whole["by_filter_s"], whole["nights"]) == ({}, 0)
    for key in ("focal_length_mm", "aperture_mm", "f_ratio", "image_scale_arcsec_px", "field_width_deg"):
        assert picture["optics"][key] is None
    assert (picture["light_m2_h"], picture["depth_mag"], picture["sessions"]) == (None, None, [])


def test_what_it_tells_machines_is_as_precise_as_the_record(old: dict[str, str]) -> None:
    data = json.loads(re.findall(r"application/ld\+json\">(.*?)</script>", old["pictures/orion.html"], re.S)[0])
    assert data["dateCreated"] == "2009"
    assert "temporalCoverage" not in data
    assert "<published>" not in old["feed.xml"]
    assert "Exposures not recorded" in old["feed.xml"]
    assert old["share/orion.jpg"].split("\n")[2].strip() == "compact"


def test_hours_alone_are_told_without_frames(tmp_path: Path) -> None:
    site = made(tmp_path, m31=re.sub(r"frames: .*}\]", "integration: 3 h", SESSION))
    page = words(site["pictures/m31.html"])
    assert "3 h over one night" in page
    assert "3 h, frames not recorded" in page
    assert "0/0" not in page
    assert "Shutter" not in page
    (picture,) = json.loads(site["data/pictures.json"])["pictures"]
    assert picture["integration"]["total_s"] == 10800
    assert [picture["integration"][key] for key in ("kept", "taken", "kept_share")] == [None] * 3
    assert sum(picture["integration"]["by_filter_s"].values()) == 10800
    row = dict(zip(*(line.split(",") for line in site["data/pictures/m31.csv"].splitlines()), strict=True))
    assert (row["kept"], row["exposure_s"], row["integration_s"]) == ("", "", "10800.0")


def test_a_night_with_unknown_hours_makes_the_total_a_least(tmp_path: Path) -> None:
    site = made(tmp_path, m31=SESSION + "  - {night: 2019-09-29}\n")
    page = words(site["pictures/m31.html"])
    assert "At least 1 h 10 min over two nights" in page
    assert "The exposures of one session are not recorded." in page
    assert "exposures not recorded" in words(site["nights/2019-09-29.html"]).lower()
    assert "In all — 1.17" in page  # how many frames the other night gave is not known


@pytest.mark.parametrize("finished", ["2019", "2019-10", "2019-10-01"])
def test_a_date_is_printed_as_far_as_it_is_known(tmp_path: Path, finished: str) -> None:
    site = made(tmp_path, m31=SESSION.replace("2019-10-01", finished))
    shown = {"2019": "Finished 2019.", "2019-10": "Finished October 2019.", "2019-10-01": "Finished 1 October 2019."}
    assert shown[finished] in words(site["pictures/m31.html"])
    assert json.loads(site["data/pictures.json"])["pictures"][0]["finished"] == finished


# A hidden place.


def hidden(folder: Path, latitude: float, longitude: float, zone: str, publish: str = "hidden") -> dict[str, str]:
    place = f"home: {{latitude: {latitude}, longitude: {longitude}, time_zone: {zone}, publish: {publish}}}\n"
    texts = {"archive.yaml": ARCHIVE, "equipment.yaml": RIG, "places.yaml": place, "pictures/m31.yaml": SESSION}
    night = "---\nplace: home\n---\nCold.\n"
    found = examined(folder, texts | {"nights/2019-09-28.md": night})
    assert found.faults == []
    return published(found)


def test_nothing_published_depends_on_where_a_hidden_place_lies(tmp_path: Path) -> None:
    north = hidden(tmp_path / "a", 51.2, -3.1, "Europe/London")
    assert hidden(tmp_path / "b", 30.0, 95.0, "Asia/Shanghai") == north
    assert hidden(tmp_path / "c", -33.9, 151.2, "Australia/Sydney") == north
    assert hidden(tmp_path / "d", 51.2, -3.1, "Europe/London", "name") != north


def test_a_hidden_place_keeps_its_name_and_what_was_written(tmp_path: Path) -> None:
    site = hidden(tmp_path, 51.2, -3.1, "Europe/London")
    page = words(site["pictures/m31.html"])
    assert "from home" in page
    assert "22:00–23:30" in page
    assert "1 h 10 min" in page
    for absent in ("Altitude", "airmass", "Moon", "darkness", "transit"):
        assert absent not in page
    assert 'class="chart season' not in site["targets/m-31.html"]
    assert "darkness" not in words(site["nights/2019-09-28.html"])
    (session,) = json.loads(site["data/pictures.json"])["pictures"][0]["sessions"]
    assert (session["start_utc"], session["dark_share"]) == (None, None)
    assert session["moon"]["illuminated_fraction"] is None


# Whatever is left out.

FULL: dict[str, Any] = {
    "equipment.yaml": {
        "cameras": {"mono": {"pixels": [60, 40], "pixel_size": "60 um", "colour": "mono", "note": "Cooled."}},
        "optics": {"tube": {"focal_length": "480 mm", "aperture": "80 mm", "note": "Light."}},
        "rigs": {"refractor": {"optic": "tube", "camera": "mono", "focal_factor": 0.8, "mount": "m", "guiding": "g"}},
    },
    "places.yaml": {
        "home": {"latitude": 51.2, "longitude": -3.1, "time_zone": "Europe/London", "sky_brightness": 20.9}
    },
    "pictures/m31.yaml": {
        "title": "Andromeda",
        "finished": "2019-10-01",
        "objects": ["M 31", "M 110"],
        "rig": "refractor",
        "place": "home",
        "sessions": [
            {
                "night": "2019-09-28",
                "start": "22:00",
                "end": "23:30",
                "frames": [{"filter": "L", "exposure": "60 s", "taken": 80, "kept": 70, "gain": 100}],
                "calibration": {"darks": 30, "flats": 25, "dark_exposure": "60 s"},
                "star_width": "9 arcsec",
                "note": "Clear.",
            },
            {"night": "2019-09-29", "integration": "2 h", "sky_brightness": 21.0},
        ],
        "placement": {"centre": "00h42m44s +41d16m09s", "image_scale": "32 arcsec", "position_angle": "12 deg"},
        "resampling": 1,
        "description": "A galaxy.",
        "alt": "A galaxy.",
        "tags": ["autumn"],
        "credit": "A friend",
    },
    "pictures/old.yaml": {"title": "First", "finished": "2009-09", "objects": ["M 31"], "rig": "refractor"},
}
REQUIRED = {
    ("equipment.yaml", "cameras"), ("equipment.yaml", "cameras", "mono"), ("equipment.yaml", "optics"),
    ("equipment.yaml", "optics", "tube"), ("equipment.yaml", "rigs"), ("equipment.yaml", "rigs", "refractor"),
    ("places.yaml", "home"), ("places.yaml", "home", "latitude"), ("places.yaml", "home", "longitude"),
    ("places.yaml", "home", "time_zone"),
}  # fmt: skip
NEEDED = {"title", "finished", "night", "exposure", "kept", "centre", "image_scale", "position_angle"}


def _optional(value: Any, path: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    found: list[tuple[str | int, ...]] = []
    pairs = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in pairs:
        here = (*path, key)
        if len(here) > 1 and here not in REQUIRED and key not in NEEDED and isinstance(key, str):
            found.append(here)
        found += _optional(inner, here)
    return found


def _without(value: Any, left_out: set[tuple[str | int, ...]], path: tuple[str | int, ...] = ()) -> Any:
    if isinstance(value, dict):
        return {k: _without(v, left_out, (*path, k)) for k, v in value.items() if (*path, k) not in left_out}
    if isinstance(value, list):
        return [_without(v, left_out, (*path, n)) for n, v in enumerate(value)]
    return value


@pytest.mark.slow
@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.sets(st.sampled_from(_optional(FULL)), max_size=40))
def test_whatever_is_left_out_of_a_full_record_it_has_its_pages(
    tmp_path_factory: pytest.TempPathFactory, left_out: set[tuple[str | int, ...]]
) -> None:
    texts = {"archive.yaml": ARCHIVE} | {
        name: yaml.safe_dump(_without(record, left_out, (name,)), allow_unicode=True) for name, record in FULL.items()
    }
    found = examined(tmp_path_factory.mktemp("left-out"), texts)
    assert [str(f) for f in found.faults] == []
    for path, text in published(found).items():
        assert not re.search(r"\b(?:None|nan|inf|Undefined)\b", words(text)), path


def test_a_difference_is_told_only_where_both_sides_are_known(tmp_path: Path) -> None:
    first = SESSION.replace("2019-10-01", "2019-10-02") + "  - {night: 2019-09-29}\n"
    later = "title: Again\nobjects: M 31\nfinished: 2020\nalt: A galaxy.\nrig: refractor\nplace: home\n"
    more = "sessions:\n  - {night: 2019-11-20, integration: 4 h}\n"
    apart = words(made(tmp_path / "a", m31=first, again=later + more)["targets/m-31.html"])
    assert "more than" not in apart
    both = words(made(tmp_path / "b", m31=first, again=later + "builds_on: m31\n" + more)["targets/m-31.html"])
    assert "4 h more than the picture before" in both
    assert "deeper" not in both.split("the picture before")[1].split(".")[0]


def test_no_year_is_compared_with_a_lower_bound(tmp_path: Path) -> None:
    first = SESSION + "  - {night: 2019-12-29}\n"
    later = "title: Again\nobjects: M 31\nfinished: 2020\nalt: A galaxy.\nrig: refractor\nplace: home\n"
    site = made(tmp_path, m31=first, again=later + "sessions:\n  - {night: 2020-11-20, integration: 4 h}\n")
    assert "the year before" not in words(site["years/2020.html"])
    assert "The best month was November 2020 with 4 h." in words(site["years/2020.html"])
    assert "The best month" not in words(site["years/2019.html"])
    assert "29 December 2019: exposures not recorded" in site["years/2019.html"]


def test_a_title_and_a_year_have_every_page_and_no_head_over_nothing(tmp_path: Path) -> None:
    one = "title: One\nfinished: 2009\nalt: A.\n"
    found = examined(tmp_path, {"archive.yaml": ARCHIVE, "pictures/one.yaml": one})
    assert [str(f) for f in found.findings] == []
    site = published(found)
    assert words(site["targets.html"]) == "Targets No target is named."
    assert words(site["equipment.html"]) == "Equipment No equipment is recorded."
    assert words(site["nights.html"]) == "Nights No night is recorded."
    assert "Exposures not recorded." in words(site["pictures/one.html"])
    assert "<table" not in site["pictures/one.html"] + site["targets.html"] + site["equipment.html"]

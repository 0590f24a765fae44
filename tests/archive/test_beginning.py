"""The archive that a person begins with, and the schemas that come with it."""

from __future__ import annotations

import json
import math
from datetime import UTC
from pathlib import Path

import ephem
import pytest
from noctuary.archive.read import read_archive
from noctuary.archive.schema import SCHEMAS, schema_text, write_schemas
from noctuary.archive.starter import FolderInUse, begin
from PIL import Image


def test_it_reads_without_a_word(tmp_path: Path) -> None:
    written = begin(tmp_path / "new" / "archive")
    assert all(path.is_file() for path in written)
    reading = read_archive(tmp_path / "new" / "archive")
    assert reading.findings == ()
    assert reading.archive is not None
    (picture,) = reading.archive.pictures.values()
    assert "simulated" in (picture.description or "")
    with Image.open(tmp_path / "new" / "archive" / picture.file) as image:
        assert image.size[0] == 1600


def test_it_is_the_same_every_time(tmp_path: Path) -> None:
    first, second = begin(tmp_path / "a"), begin(tmp_path / "b")
    assert [p.read_bytes() for p in first] == [p.read_bytes() for p in second]


def test_a_folder_in_use_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(FolderInUse, match="not empty"):
        begin(tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["mine.txt"]


def test_every_record_names_a_schema_that_is_there(tmp_path: Path) -> None:
    for path in begin(tmp_path):
        if path.suffix == ".yaml":
            line = path.read_text(encoding="utf-8").split("\n")[0]
            assert (path.parent / line.partition("$schema=")[2]).resolve().is_file()


@pytest.mark.parametrize("name", SCHEMAS)
def test_the_shipped_schemas_are_those_of_the_models(name: str) -> None:
    shipped = Path(__file__).parents[2] / "generator" / "noctuary" / "archive" / "schemas" / f"{name}.json"
    assert shipped.read_text(encoding="utf-8") == schema_text(name), "run python -m noctuary.archive.schema"
    assert json.loads(shipped.read_text(encoding="utf-8"))["type"] == "object"


def test_schemas_are_written_once(tmp_path: Path) -> None:
    assert len(write_schemas(tmp_path)) == len(SCHEMAS)
    assert write_schemas(tmp_path) == []


def test_the_sample_could_have_been_taken(tmp_path: Path) -> None:
    # Sun below -18 degrees (astronomical darkness), the Moon down, the Andromeda Galaxy (00h42m44s
    # +41d16m, NASA/IPAC Extragalactic Database) high: by PyEphem, at the place's whole degrees.
    begin(tmp_path / "archive")
    archive = read_archive(tmp_path / "archive").archive
    assert archive is not None
    (session,) = archive.pictures["sample-field"].own_sessions
    assert session.target == "M 31"
    assert session.start is not None
    assert session.end is not None
    assert sum(f.taken * f.exposure_s for f in session.frames) <= (session.end - session.start).total_seconds()
    galaxy = ephem.readdb("M31,f|G,00:42:44.3,41:16:09,3.4,2000")
    for moment in (session.start, session.end):
        observer = ephem.Observer()
        assert session.place is not None
        assert session.place.published is not None
        latitude, longitude, _ = session.place.published
        observer.lat, observer.lon = str(latitude), str(longitude)
        observer.date = ephem.Date(moment.astimezone(UTC).replace(tzinfo=None))
        sun, moon = ephem.Sun(observer), ephem.Moon(observer)
        galaxy.compute(observer)
        assert math.degrees(sun.alt) < -18
        assert math.degrees(moon.alt) < 0
        assert math.degrees(galaxy.alt) > 50

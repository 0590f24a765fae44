"""The archive that a person begins with, and the schemas that come with it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from PIL import Image

from generator.archive.begin import FolderInUse, begin
from generator.archive.read import read_archive
from generator.archive.schema import SCHEMAS, schema_text, write_schemas


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
    shipped = Path(__file__).parents[2] / "generator" / "archive" / "schemas" / f"{name}.json"
    assert shipped.read_text(encoding="utf-8") == schema_text(name), "run python -m generator.archive.schema"
    assert json.loads(shipped.read_text(encoding="utf-8"))["type"] == "object"


def test_schemas_are_written_once(tmp_path: Path) -> None:
    assert len(write_schemas(tmp_path)) == len(SCHEMAS)
    assert write_schemas(tmp_path) == []

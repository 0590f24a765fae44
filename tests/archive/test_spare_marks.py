"""What spreadsheets and word processors leave around a value, and several entries in one text."""

from __future__ import annotations

import pytest
from noctuary.archive.parse_file import parse
from noctuary.archive.shapes import without_spare_marks

RECORD = "title: {title}\nfinished: {finished}\nrig: {rig}\nobjects: {objects}\ntags: {tags}\n"
PLAIN = {"title": "Whirl", "finished": "2012-01-01", "rig": "short refractor", "objects": "M 51", "tags": "spring"}


def read(**written):
    parsed = parse(RECORD.format(**PLAIN | written).encode("utf-8"), "pictures/a.yaml")
    assert not parsed.findings, parsed.findings
    return parsed


@pytest.mark.parametrize("form", ["{},", "{};", "“{}”", "„{}“", "«{}»", "‘{}’", "“{}”,", '"{},"', "'“{}”,'"])
def test_commas_and_quotes_around_a_value_mean_nothing(form):
    marked = read(**{key: form.format(value) for key, value in PLAIN.items()}).record
    assert marked == read().record


@pytest.mark.parametrize(
    "text", ["“A” and “B”", "12'", "The “Pillars”", "“", '"', ",", "M 51 (core)", "it's", "’tis the season’s"]
)
def test_quotes_that_belong_to_a_text_stay(text):
    assert without_spare_marks(text) == text


def test_prose_is_left_as_it_is():
    parsed = parse("title: A\nfinished: 2012\ndescription: “So it was,”\n".encode(), "pictures/a.yaml")
    assert parsed.record.description == "“So it was,”"


@pytest.mark.parametrize("form", ["M 51, M 101", "M 51; M 101", '"M 51, M 101,"', "[M 51, M 101]", "[M 51, M 101,]"])
def test_several_entries_may_stand_in_one_text(form):
    parsed = read(objects=form, tags="spring, galaxies")
    assert (parsed.record.objects, parsed.record.tags) == (("M 51", "M 101"), ("spring", "galaxies"))
    assert [name for name, _ in parsed.object_names] == ["M 51", "M 101"]


def test_an_entry_of_a_list_may_hold_a_comma():
    parsed = parse(b'title: A\nfinished: 2012\nobjects: ["Comet, first night"]\n', "pictures/a.yaml")
    assert parsed.record.objects == ("Comet, first night",)


def test_what_follows_closing_quotes_is_named(tmp_path):
    (found,) = parse(b'title: "A",\nfinished: 2012\n', "pictures/a.yaml").findings
    assert "behind closing quotes nothing may stand, not even a comma" in found.hint

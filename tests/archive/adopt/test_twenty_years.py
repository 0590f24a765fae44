"""Three hundred pictures, three commands: what stands in the records is true, and what nobody knows is asked."""

from __future__ import annotations

import shutil
from datetime import date

import pytest
import yaml
from noctuary.build import examine
from noctuary.cli import run
from noctuary.files import write_whole

from tests.archive.adopt.past import TARGETS, Made, past

pytestmark = pytest.mark.slow

COUNT = 300


@pytest.fixture(scope="module")
def adopted(tmp_path_factory):
    folder = tmp_path_factory.mktemp("past")
    photos, archive = folder / "photos", folder / "archive"
    photos.mkdir()
    made = past(photos, COUNT)
    assert run(["begin", str(archive)]) == 0
    assert run(["adopt", str(archive), str(photos), "--table", str(photos / "list.csv")]) == 0
    return archive, photos, made


def records(archive):
    return {
        path: yaml.safe_load(path.read_text(encoding="utf-8")) for path in sorted(archive.rglob("pictures/**/*.yaml"))
    }


def of(archive, made: Made):
    """The record whose picture has the bytes of the one that was made."""
    content = made.path.read_bytes()
    folder = archive / "pictures" / str(made.night.year)
    for picture in folder.iterdir():
        if picture.suffix == made.path.suffix and picture.read_bytes() == content:
            return yaml.safe_load(picture.with_suffix(".yaml").read_text(encoding="utf-8"))
    raise AssertionError(made.path)


def test_every_picture_has_a_record_and_the_archive_no_fault(adopted):
    archive, _, _ = adopted
    assert len(records(archive)) == COUNT + 1  # and the sample that begin writes
    found = examine(archive)
    assert not [f for f in found.findings if f.level == "fault"]
    assert len(found.archive.pictures) == COUNT + 1


def test_every_statement_is_true(adopted):
    archive, _, everything = adopted
    for made in everything:
        record = of(archive, made)
        finished = str(record["finished"])
        assert made.finished.isoformat().startswith(finished), (made.path, record)
        if "objects" in record:
            assert record["objects"] == made.target
        if made.title:
            assert record["title"] == made.title
        for session in record.get("sessions", ()):
            assert session["night"] == made.night
            for group in session.get("frames", ()):
                assert (group["exposure"], group["kept"]) == (f"{made.exposure_s:g} s", made.kept)
                assert group.get("filter") == made.filter
                assert group.get("iso") == made.iso


def test_what_a_source_states_is_in_the_record(adopted):
    archive, _, everything = adopted
    for made in everything:
        record = of(archive, made)
        if made.in_table or made.path.suffix == ".fits":
            assert record["objects"] == made.target
            assert record["sessions"][0]["frames"][0]["kept"] == made.kept
        if made.in_table:
            assert record["place"] == "garden"
        if made.camera and not made.in_table:
            assert record["sessions"][0]["night"] == made.night
            assert record["finished"] == made.finished


def named(made: Made) -> bool:
    """Whether the file is called after its target."""
    return made.path.name[:1] in "MN" or made.path.name.startswith("IC")


def test_guesses_from_names_are_comments(adopted):
    archive, _, everything = adopted
    bare = [m for m in everything if not m.in_table and m.camera is None and named(m)]
    assert bare
    texts = [path.read_text(encoding="utf-8") for path in archive.rglob("pictures/**/*.yaml")]
    for made in bare:
        text = next(t for t in texts if made.path.name in t.splitlines()[0])
        assert f"# objects: {made.target}   # from the file's name" in text
        assert "\nobjects:" not in text


def test_the_questions_are_few_and_the_one_that_settles_most_is_first(adopted):
    archive, _, _ = adopted
    questions = yaml.safe_load((archive / "questions.yaml").read_text(encoding="utf-8"))
    assert 0 < len(questions) <= COUNT / 10
    settles = [question["settles"] for question in questions]
    assert settles == sorted(settles, reverse=True)


def content(folder):
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file() and ".noctuary" not in path.parts}


def test_a_second_run_changes_nothing(adopted):
    archive, photos, _ = adopted
    before = content(archive)
    assert run(["adopt", str(archive), str(photos), "--table", str(photos / "list.csv")]) == 0
    assert run(["adopt", str(archive)]) == 0
    assert content(archive) == before


def test_answers_settle_every_draft_they_are_about(adopted, tmp_path):
    there, _, everything = adopted
    archive = shutil.copytree(there, tmp_path / "archive")
    path = archive / "questions.yaml"
    text = path.read_text(encoding="utf-8")
    questions = yaml.safe_load(text)
    answered = []
    for question in questions:
        answer = {"place": "Garden", "objects": "yes", "rig": "yes" if question.get("proposed") else None}[
            question["key"]
        ]
        if question["key"] == "sessions":
            answer = "yes"
        answered.append({**question, "answer": answer})
    write_whole(path, yaml.safe_dump(answered, allow_unicode=True).encode())
    assert run(["adopt", str(archive)]) == 0
    found = examine(archive)
    assert not [f for f in found.findings if f.level == "fault"]
    equipment = yaml.safe_load((archive / "equipment.yaml").read_text(encoding="utf-8"))
    assert equipment["optics"]["135 mm"] == {"focal_length": "135 mm", "f_ratio": 2.8}
    assert equipment["rigs"]["Cooled 26C at 480 mm"] == {"optic": "480 mm", "camera": "Cooled 26C"}
    assert equipment["cameras"]["my camera"]["pixels"] == [6000, 4000]  # what begin wrote is there
    for made in everything:
        record = of(archive, made)
        assert record["place"] == "garden"
        if made.camera:
            assert record["rig"].startswith(made.camera)
        if named(made):
            assert record["objects"] == made.target
    assert set(TARGETS) >= {
        r["objects"] for p, r in records(archive).items() if p.stem != "sample-field" if "objects" in r
    }
    assert date.today() >= found.archive.shown[0].finished.first

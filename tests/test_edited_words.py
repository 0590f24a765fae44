"""Edited words cost what they touch, and the site is the one that a clean build makes."""

from __future__ import annotations

import random
from dataclasses import fields
from pathlib import Path

import pytest
from noctuary.archive.keys import SidecarKeys
from noctuary.archive.parse_file import parse, with_other_texts
from noctuary.build import build
from noctuary.build_manifest import FOLDER
from noctuary.edited_rows import EDITS
from noctuary.edited_words import EditedWords
from noctuary.worked_out import ANSWERS

from tests.builders.clean_build import as_built, clean_build
from tests.builders.folders import bytes_below, set_plainly, write
from tests.builders.many_pictures import write_archive

SIDECARS = tuple(f"pictures/field-{number:05d}.yaml" for number in range(3))
ONE, ID = SIDECARS[1], "field-00001"
INDEX = "search-index.js"
#: The line of a doubt (the object is larger than the field) moves with what is written above it.
DOUBTFUL = "objects: [NGC 7000]"

TEXT = "The field of number 1, on a night like others. The wind fell after dark."


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    archive = write_archive(tmp_path_factory.mktemp("words") / "archive", 3)
    set_plainly(archive)
    write(archive / "theme/templates/picture.html", "{{ title }} {{ description|prose }} {{ processing|prose }}\n")
    write(archive / "theme/templates/feed.xml", "{% for entry in entries %}{{ entry.description }}\n{% endfor %}")
    text = (archive / ONE).read_text(encoding="utf-8")
    write(archive / ONE, "\n".join(DOUBTFUL if line.startswith("objects") else line for line in text.split("\n")))
    assert build(archive, workers=1).built
    return archive


@pytest.fixture
def archive(built: Path) -> Path:
    return as_built(built)


def like_a_clean_build(archive: Path, findings: list[str]) -> None:
    """Whether the site and what was found are those of a build that remembers nothing but pixels."""
    clean, otherwise = clean_build(archive)
    assert otherwise == []
    assert [str(found) for found in clean.findings] == [f for f in findings if "[address-gone]" not in f]


def edited(archive: Path, *pairs: tuple[str, str], name: str = ONE) -> None:
    text = (archive / name).read_text(encoding="utf-8")
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new)
    write(archive / name, text)


WORDS = {
    "another word": ("The wind fell", "The wind rose"),
    "a longer text": ("description: |", "description: |\n  One more line.\n  And *another*.\n"),
    "a text above what is doubtful": ("title:", "processing: |\n  Stacked.\n  Twice.\ntitle:"),
    "no text any more": (f"description: |\n  {TEXT}\n", ""),
    "a picture in a text": ("The wind fell", "![it](x.jpg) The wind fell"),
    "a link that leads away": ("The wind fell", "[It](https://example.com/) fell"),
    "a comment and nothing else": ("title:", "# not yet\ntitle:"),
}  # fmt: skip


@pytest.mark.parametrize("kind", WORDS)
def test_words_alone_are_published_without_the_rest(kind: str, archive: Path) -> None:
    edited(archive, WORDS[kind])
    outcome = EditedWords(archive, archive / "site").build()
    assert outcome is not None
    assert outcome.built
    assert "pictures/field-00000.html" not in dict(outcome.reasons)
    again = build(archive, workers=1)
    assert again.summary.startswith("Nothing has changed")
    assert [str(f) for f in again.findings] == [str(f) for f in outcome.findings]
    assert any("object-larger" in str(f) for f in outcome.findings)
    like_a_clean_build(archive, [str(f) for f in outcome.findings])


@pytest.mark.parametrize("kind", WORDS)
def test_a_sidecar_with_other_texts_is_read_as_any_other(kind: str, built: Path) -> None:
    text = (built / ONE).read_text(encoding="utf-8")
    old, new = WORDS[kind]
    content = text.replace(old, new).encode()
    before = parse(text.encode(), ONE)
    assert with_other_texts(content, before) == parse(content, ONE)
    for more in ("title: [A field]", "description: [a, list]", "tags: field", "tags: [field", "description: a: b"):
        key = more.partition(":")[0]
        lines = [more if line.startswith(key) else line for line in text.split("\n") if not line.startswith("  The")]
        assert with_other_texts("\n".join(lines).encode(), before) is None


def test_edits_one_after_another_and_of_several_records(archive: Path) -> None:
    words = EditedWords(archive, archive / "site")
    for turn in range(3):
        edited(archive, ("description: |", f"description: |\n  Turn {turn}."))
        edited(archive, ("description: |", f"description: |\n  Turn {turn}."), name="pictures/field-00002.yaml")
        outcome = words.build() if turn else EditedWords(archive, archive / "site").build()
        assert outcome is not None
        assert {"pictures/field-00001.html", "pictures/field-00002.html"} <= set(dict(outcome.reasons))
    like_a_clean_build(archive, [str(f) for f in outcome.findings])


def test_a_build_of_more_after_edited_words_makes_no_more_than_it_touches(archive: Path) -> None:
    """As a preview does, which keeps in memory what one build left for the next."""
    words = EditedWords(archive, archive / "site")
    edited(archive, ("The wind fell", "The wind rose"))
    assert set(dict(build(archive, workers=1, words=words).reasons)) <= {f"pictures/{ID}.html", "feed.xml", INDEX}
    edited(archive, ("kept: 36", "kept: 35"))
    made = dict(build(archive, workers=1, words=words).reasons)
    assert f"pictures/{ID}.html" in made
    assert not any(path.startswith(("images/", "theme/", "sky/stars")) for path in made)
    edited(archive, ("The wind rose", "The wind fell"))
    outcome = build(archive, workers=1, words=words)
    assert set(dict(outcome.reasons)) <= {f"pictures/{ID}.html", "feed.xml", INDEX}
    like_a_clean_build(archive, [str(f) for f in outcome.findings])


def test_many_edits_are_left_as_a_whole_now_and_then(archive: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    edited(archive, ("The wind fell", "The wind rose"))
    assert EditedWords(archive, archive / "site").build() is not None
    assert (archive / FOLDER / EDITS).exists()
    monkeypatch.setattr("noctuary.edited_rows._LARGE", 0)
    words = EditedWords(archive, archive / "site")
    for word in ("dropped", "turned"):
        edited(archive, ("The wind", f"The wind {word}, it"))
        outcome = words.build()
        assert outcome is not None
        assert not (archive / FOLDER / EDITS).exists()
        assert build(archive, workers=1).summary.startswith("Nothing has changed")
    like_a_clean_build(archive, [str(f) for f in outcome.findings])


MORE = {
    "a title": ("title: Field", "title: View"),
    "words and a title": ("The wind fell", "It rose\ntitle: View"),
    "a link into the site": ("The wind fell", "[It](pictures/field-00000.html) fell"),
    "frames": ("kept: 36", "kept: 35"),
    "a fault": ("finished:", "finishd:"),
    "no YAML": ("title: Field", "title: ["),
    "a draft": ("title: Field", "draft: yes\ntitle: Field"),
}


@pytest.mark.parametrize("kind", MORE)
def test_more_than_words_is_left_to_a_whole_build(kind: str, archive: Path) -> None:
    edited(archive, MORE[kind])
    before = bytes_below(archive / "site")
    assert EditedWords(archive, archive / "site").build() is None
    assert bytes_below(archive / "site") == before


def test_what_is_not_as_it_was_left_needs_a_whole_build(archive: Path) -> None:
    edited(archive, ("The wind fell", "The wind rose"))
    kept = (archive / FOLDER / ANSWERS).read_bytes()
    write(archive / FOLDER / ANSWERS, kept[:100] + b"x" + kept[101:])
    assert EditedWords(archive, archive / "site").build() is None
    write(archive / FOLDER / ANSWERS, kept)
    scribbled = archive / "site/pictures/field-00000.html"
    scribbled.write_bytes(b"scribbled over")
    assert EditedWords(archive, archive / "site").build() is None
    assert build(archive, workers=1).built
    assert b"scribbled" not in scribbled.read_bytes()


#: For every key of a sidecar another value than the archive's own, or the line that it stands in place of.
KEYS = {
    "title": "Another name",
    "objects": "[NGC 457, NGC 884]",
    "finished": "1986-01-02",
    "rig_name": "long reflector",
    "place_name": "home",
    "written_sessions": '[{night: 1985-10-07, frames: [{filter: R, exposure: 60 s, kept: 10}]}]',
    "panels": "[field-00000, field-00002]",
    "builds_on": "[field-00000]",
    "replaces": "field-00000",
    "former_ids": "[once]",
    "placement_keys": '{centre: "12h00m00s +60d00m00s", image_scale: 20 arcsec, position_angle: 10 deg}',
    "resampling": "0.5",
    "description": "Other words.",
    "processing": "None to speak of.",
    "alt": "Other stars.",
    "tags": "[other, words]",
    "credit": "Somebody else",
    "accepted_doubts": "{object-larger-than-field: it is meant so}",
    "listed": "no",
    "draft": "yes",
}  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("key", [field.name for field in fields(SidecarKeys)])
def test_every_key_edited_gives_the_site_of_a_clean_build(key: str, archive: Path) -> None:
    import yaml

    assert key in KEYS, f"what this test edits lacks the key {key}"
    declared = {f.name: f.metadata.get("alias", f.name) for f in fields(SidecarKeys)}
    record = yaml.safe_load((archive / ONE).read_text(encoding="utf-8"))
    record[declared[key]] = yaml.safe_load(KEYS[key])
    write(archive / ONE, yaml.safe_dump(record, sort_keys=False, allow_unicode=True))
    outcome = build(archive, workers=1)
    assert outcome.built, [str(f) for f in outcome.findings]
    like_a_clean_build(archive, [str(f) for f in outcome.findings])


@pytest.mark.slow
def test_edits_of_any_records_one_after_another_give_the_site_of_a_clean_build(archive: Path) -> None:
    """Values of random keys edited, taken back and edited again in random records, one build after each."""
    import yaml

    chance = random.Random(13)
    declared = {f.name: f.metadata.get("alias", f.name) for f in fields(SidecarKeys)}
    begun = {name: yaml.safe_load((archive / name).read_text(encoding="utf-8")) for name in SIDECARS}
    now = {name: dict(record) for name, record in begun.items()}
    by_words = 0
    for _ in range(8):
        name, key = chance.choice(SIDECARS), chance.choice([*KEYS, "description", "processing", "written_sessions"])
        value = yaml.safe_load(KEYS[key])
        if now[name].get(declared[key]) != value:
            now[name][declared[key]] = value
        else:
            now[name] = dict(begun[name])
        write(archive / name, yaml.safe_dump(now[name], sort_keys=False, allow_unicode=True))
        words = EditedWords(archive, archive / "site").build()
        by_words += words is not None
        outcome = words or build(archive, workers=1)
        if not outcome.built:  # two edits may not go together; the site stays, and the record is as it was
            now[name] = dict(begun[name])
            write(archive / name, yaml.safe_dump(now[name], sort_keys=False, allow_unicode=True))
            outcome = build(archive, workers=1)
        assert outcome.built, [str(f) for f in outcome.findings]
    assert by_words
    like_a_clean_build(archive, [str(f) for f in outcome.findings])

"""What the front page's pictures can be found by."""

from __future__ import annotations

import doctest
import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from noctuary.build import build
from noctuary.pages import search_words
from noctuary.pages.search_index import FACETS, SEARCH_INDEX, IndexedPicture, written
from noctuary.pages.search_words import folded, words_of, words_of_object
from noctuary.sky.catalogue import Catalogue

from tests.builders.many_pictures import write_archive


def read(data: bytes) -> dict[str, Any]:
    """The value that the script hands over."""
    text = data.decode("utf-8")
    assert text.startswith("loadSearchIndex('")
    assert text.endswith("');\n")
    plain = text.removeprefix("loadSearchIndex('").removesuffix("');\n")
    separators = {"u2028": "\u2028", "u2029": "\u2029"}
    return json.loads(re.sub(r"\\(u2028|u2029|.)", lambda escape: separators.get(escape[1], escape[1]), plain))


def found_by(index: dict[str, Any], word: str) -> set[int]:
    at, numbers = 0, set()
    for step in index["words"].get(word, []):
        at += step
        numbers.add(at)
    return numbers


def picture(name: str, names: tuple[str, ...] = (), **values: str | None) -> IndexedPicture:
    words = " ".join(sorted(words_of(names)))
    return IndexedPicture(f"pictures/{name}.html", tuple((values[f],) if f in values else () for f in FACETS), words)


def test_the_examples_in_the_words_about_it() -> None:
    assert doctest.testmod(search_words).failed == 0


def test_names_are_found_in_one_word_and_in_their_parts() -> None:
    assert {"ngc", "2238", "ngc2238"} <= words_of(["NGC 2238"])
    assert {"sh2155", "sh2"} <= words_of(["Sh2-155"])
    assert "m31" in words_of(["M 31"])


# Designations as Messier's list, the New General Catalogue and Sharpless's second catalogue have them.
@pytest.mark.parametrize(
    ("written_name", "words"),
    [
        ("M 31", {"m31", "ngc224", "andromeda", "galaxy"}),
        ("Sh2-155", {"sh2x155", "sh2155", "sh155", "cave", "nebula"}),
        ("Minkowski 2-9", {"m2x9", "minkowski", "butterfly"}),
        ("B 33", {"b33", "horsehead"}),
        ("Pleiades", {"m45", "pleiades"}),
    ],
)
def test_an_object_is_found_by_all_its_names_and_by_no_part_of_a_designation(written_name, words):
    known = Catalogue().find(written_name)
    assert known is not None
    found = set(words_of_object(known, "My own name for it").split())
    assert words | {"own"} <= found
    assert not {"ngc", "224", "31", "155", "m", "m29"} & found


def test_objects_stand_once_with_their_pictures_and_the_spellings_of_their_catalogues():
    objects: list[tuple[str, ...]] = [("a",), ("a", "b"), (), ("a",)]
    found = tuple(replace(picture(f"p{n}"), named=names[:1], in_field=names[1:]) for n, names in enumerate(objects))
    index = read(written(found, {"a": "m31 ngc224 andromeda", "b": "sh2x155 sh155"}))
    assert index["objects"] == [["m31 ngc224 andromeda", [0, 1, 2], []], ["sh2x155 sh155", [], [1]]]
    assert {"messier": "m", "sharpless": "sh"}.items() <= index["catalogues"].items()
    assert set(index["catalogues"].values()) == {"m", "sh"}


def test_what_the_page_does_not_show_is_no_word() -> None:
    said = "Seen from the *hill*. [more](https://example.org/private?key=hidden)"
    words = words_of([], [said])
    assert {"seen", "hill", "more"} <= words
    assert not {"private", "hidden", "em", "href"} & words


@given(st.lists(st.lists(st.text(min_size=1), max_size=4).map(tuple), max_size=6))
def test_every_word_leads_to_the_pictures_that_have_it(named: list[tuple[str, ...]]) -> None:
    index = read(written(tuple(picture(f"p{n}", names) for n, names in enumerate(named))))
    for number, names in enumerate(named):
        for word in words_of(names):
            if word.encode("utf-8", "replace").decode() == word:
                assert number in found_by(index, word)


@given(st.text())
def test_folding_twice_is_folding_once(text: str) -> None:
    assert folded(folded(text)) == folded(text)


def test_lists_are_in_the_order_in_which_one_looks_things_up() -> None:
    pictures = [
        picture("a", target="NGC 7000", year="2023", filter=None),
        picture("b", target="NGC 891", year="2025", filter="OIII"),
        picture("c", target="IC 434", year="2024", filter="H-alpha"),
    ]
    lists = dict(read(written(tuple(pictures)))["facets"])
    assert lists["target"] == ["IC 434", "NGC 891", "NGC 7000"]
    assert lists["year"] == ["2025", "2024", "2023"]
    assert lists["filter"] == ["H-alpha", "OIII", None]
    assert list(lists) == list(FACETS)


def test_a_name_cannot_end_the_script() -> None:
    data = written((picture("a", place="</script>\u2028);alert(1)//"),))
    assert "\u2028" not in data.decode()
    assert dict(read(data)["facets"])["place"] == ["</script>\u2028);alert(1)//"]


@pytest.mark.slow
def test_it_is_made_again_only_when_its_words_change(tmp_path: Path) -> None:
    archive = write_archive(tmp_path / "archive")
    first = build(archive)
    assert first.built
    sidecar = sorted((archive / "pictures").glob("*.yaml"))[0]
    text = sidecar.read_text(encoding="utf-8")
    assert read((archive / "site" / SEARCH_INDEX).read_bytes())["pictures"]
    sidecar.write_text(text + "accepted_doubts: {rule-of-nothing: because}\n", encoding="utf-8")
    assert SEARCH_INDEX not in {name for name, _ in build(archive).reasons}
    sidecar.write_text(text.replace("tags: [field]", "tags: [field, quasar]"), encoding="utf-8")
    assert SEARCH_INDEX in {name for name, _ in build(archive).reasons}
    index = read((archive / "site" / SEARCH_INDEX).read_bytes())
    (number,) = found_by(index, "quasar")
    assert index["pictures"][number][0] == f"pictures/{sidecar.stem}.html"
    sidecar.write_text(text + "listed: no\n", encoding="utf-8")
    build(archive)
    assert sidecar.stem not in (archive / "site" / SEARCH_INDEX).read_text(encoding="utf-8")

"""YAML text → plain data in which every value knows where it stands."""

from __future__ import annotations

import sys

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st
from noctuary.archive import marked_yaml
from noctuary.archive.marked_yaml import decode, read_yaml
from noctuary.diagnostic import Diagnostic


@pytest.fixture(params=["C", "Python"], autouse=True)
def parser(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Both parsers of PyYAML: libyaml, and the one that is there without it."""
    if request.param == "Python":
        monkeypatch.setattr(marked_yaml, "_LOADER", yaml.SafeLoader)


def test_scalars_stay_the_text_that_was_written() -> None:
    # YAML 1.1 types: sexagesimal integers, booleans, nulls, timestamps (yaml.org/type).
    text = (
        "start: 19:40\nfilter: on\ntitle: No\nyear: 2025\nnight: 2025-01-18\noct: 0123\nquoted: '19:40'\n? 7\n: x\n"
    )
    assert read_yaml(text, "a").value == {
        "start": "19:40",
        "filter": "on",
        "title": "No",
        "year": "2025",
        "night": "2025-01-18",
        "oct": "0123",
        "quoted": "19:40",
        "7": "x",
    }


def test_what_is_left_empty_is_nothing() -> None:
    assert read_yaml("a:\nb: ~\nc: null\nd: ''\ne: 'null'\n", "a").value == {
        "a": None, "b": None, "c": None, "d": "", "e": "null"
    }  # fmt: skip


def test_places_of_keys_and_values() -> None:
    read = read_yaml("# note\na: 1\nb:\n  - {c: x, d: [y, 'zé', w]}\n  - e: |\n      text\n", "a")
    assert read.places[("a",)] == (2, 4)
    assert read.places[("b", 0, "d", 2)] == (4, 25)
    assert read.keys[("b", 0, "d")] == (4, 12)
    assert read.places[("b", 1)] == (5, 5)
    assert read.places[()] == (2, 1)


def test_lines_go_on_after_front_matter() -> None:
    assert read_yaml("place: home\n", "a", first_line=2).places[("place",)] == (2, 8)


def test_aliases_and_merges_are_read_where_they_are_written() -> None:
    read = read_yaml("base: &b {x: 1, y: 2}\nmore:\n  <<: *b\n  y: 3\nagain: *b\n", "a")
    assert read.value == {
        "base": {"x": "1", "y": "2"}, "more": {"x": "1", "y": "3"}, "again": {"x": "1", "y": "2"}
    }  # fmt: skip
    assert read.places[("more", "x")] == (1, 14)
    assert read.places[("more", "y")] == (4, 6)
    assert read.findings == ()


def test_depth_does_not_depend_on_the_stack() -> None:
    limit = sys.getrecursionlimit()
    for text in ("- " * 5000, "[" * 900, "{a: " * 900, "a:\n" + "".join(" " * n + "b:\n" for n in range(1, 300))):
        (found,) = read_yaml(text, "a").findings
        assert found.rule == "too-deep"
    assert sys.getrecursionlimit() == limit


def test_depth_by_way_of_aliases() -> None:
    text = "\n".join([f"a0: &a0 {'[' * 30}{']' * 30}", f"a1: &a1 {'[' * 30}*a0{']' * 30}"])
    assert [f.rule for f in read_yaml(text, "a").findings] == ["too-deep"]


@pytest.mark.parametrize("bom", [b"", b"\xef\xbb\xbf"])
def test_a_byte_order_mark_moves_nothing(bom: bytes) -> None:
    text = decode(bom + b"a: x\n\xff", "a")
    assert isinstance(text, Diagnostic)
    assert (text.mark.line, text.mark.column) == (2, 1)
    sound = decode(bom + "a: ü\n".encode(), "a")
    assert isinstance(sound, str)
    assert read_yaml(sound, "a").places[("a",)] == (1, 4)


def test_line_ends_of_other_systems() -> None:
    for end in ("\r\n", "\r", "\n"):
        text = decode(f"a: 1{end}b: 2{end}".encode(), "a")
        assert isinstance(text, str)
        assert read_yaml(text, "a").places[("b",)] == (2, 4)


_WORDS = st.text(
    st.characters(
        codec="utf-8", exclude_categories=("Cc", "Cs"), exclude_characters="\ufeff\ufffe\uffff\u2028\u2029"
    ),
    max_size=20,
)


@pytest.mark.slow
@given(st.recursive(_WORDS, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(_WORDS, inner, max_size=4)))
def test_what_a_dumper_writes_is_read_back(value: object) -> None:
    # Quoted throughout, since plain scalars without a value are nothing to us.
    text = yaml.safe_dump(value, allow_unicode=True, default_style='"')
    read = read_yaml(text, "a")
    assert read.findings == ()
    assert read.value == value


@pytest.mark.parametrize(
    ("text", "line", "column", "words"),
    [
        ("title: x\nobjects [a]\nfinished: y\n", 2, 1, "a colon is missing"),
        ("a:\n  - x\n  y: 1\n", 3, 3, "does not fit the list"),
        ("a: 'b' c\n", 1, 8, "does not fit the keys"),
        ("a: [b, c\nd: e\n", 1, 4, "the bracket that opens here is not closed"),
        ("a: x\nb: 'c\nd: e\n", 2, 4, "the quotes that open here are not closed"),
        ("a: 'b\nc: 'd'\n", 1, 4, "the quotes that open here close in another line"),
        ("  a: 1\nb: 2\n", 2, 1, "does not fit the lines above"),
        ("a: 1\n  b: 2\n", 2, 4, "a colon cannot stand here"),
        ("a: `x`\n", 1, 4, "cannot begin with this character"),
        ("a: *\n", 1, 4, "cannot begin with * or &"),
        ("a: - b\n", 1, 4, "a list cannot begin here"),
        ("a:\n\tb: 1\n", 2, 1, "a tab stands"),
        ("a: 1\n---\nb: 2\n", 2, 1, "a second document"),
    ],
)
def test_what_is_no_yaml_is_told_in_plain_words(text: str, line: int, column: int, words: str) -> None:
    read = read_yaml(text, "a")
    assert not read.sound
    (found,) = read.findings
    assert (found.mark.line, found.mark.column) == (line, column)
    assert words in found.message

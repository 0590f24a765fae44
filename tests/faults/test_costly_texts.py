"""Texts that would keep a Markdown engine busy for minutes, and numbers that physics does not know."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from noctuary.build import examine
from noctuary.pages.prose import addresses_in, prose
from noctuary.pages.prose_limits import MOST_CHARACTERS, too_much

from tests.builders.folders import write
from tests.builders.many_pictures import write_archive

# Repeated, each of these makes the engine's work grow faster than the text.
PIECES = ("[a](", "[", "![", "[[", "<a ", "a\n:   b\n", "# a\n", "[a][", "> ", "(", "**a", "`", "&a", "[^1]")


@pytest.mark.parametrize("piece", PIECES)
def test_a_text_costs_in_proportion_to_its_length(piece: str) -> None:
    text = piece * 8000
    began = time.process_time()
    html = prose(text, here="a.html", name="b")
    addresses_in(text)
    # The worst of these took 39 s; a tenth of that is left for slow machines.
    assert time.process_time() - began < 4
    assert html


def test_what_is_too_much_is_shown_as_it_is_typed() -> None:
    html = prose("A **word**.\n\n" + "[a](" * 8000 + "<script>alert(1)</script>", here="a.html", name="b")
    assert html.startswith("<p>A **word**.</p>\n<p>[a]([a](")
    assert "<script" not in html
    assert too_much("a" * (MOST_CHARACTERS + 1))
    assert too_much("a\n:   b\n" * 200)  # the engine goes a step deeper for each


def test_texts_as_people_write_them_are_markdown() -> None:
    links = "\n".join(f"- [one (no. {n})](pictures/a-{n}.html) and [two][2] at 5 < 6 [sic]" for n in range(400))
    table = "| a | b |\n|---|---|\n" + "| [x](y.html) | <b>c</b> |\n" * 900
    for text in (links, table, "An open [ bracket, and a <b>bold</b> one :-(", "![a [b [c]]](d.jpg) " * 30):
        assert too_much(text) is None
    assert prose(links, here="a.html", name="b").count("<a ") == 400


@given(st.text(alphabet="[]()<>!*_`#|:-> \n\\ab1^&", max_size=400))
@settings(max_examples=150, deadline=None)
def test_no_text_raises(text: str) -> None:
    prose(text, here="a.html", name="b")
    addresses_in(text)


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_archive(tmp_path_factory.mktemp("costly") / "archive", 1)


def test_the_person_is_told(archive: Path) -> None:
    write(archive / "pages" / "long.md", "# Long\n\n" + "[a](" * 8000)
    found = [f for f in examine(archive).findings if f.mark.file == "pages/long.md"]
    assert [(f.level, f.rule) for f in found] == [("doubt", "text-as-typed")]
    (archive / "pages" / "long.md").unlink()


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("focal_length", "1e308 mm"), ("focal_length", "1e-308 mm"), ("focal_length", "0.0001 mm"),
        ("focal_length", "1e300 m"), ("aperture", "1e308"), ("pixel_size", "1e-300 um"), ("pixel_size", "1e300"),
        ("focal_factor", "1e300"), ("focal_factor", "1e-300"), ("f_ratio", "1e-300"), ("f_ratio", "1e300"),
    ],
)  # fmt: skip
def test_equipment_that_cannot_be(archive: Path, key: str, value: str) -> None:
    path = archive / "equipment.yaml"
    before = path.read_text(encoding="utf-8")
    camera = f"pixel_size: {value if key == 'pixel_size' else '3.76 um'}"
    optic = f"focal_length: {value if key == 'focal_length' else '480 mm'}"
    optic += f", {key}: {value}" if key in ("aperture", "f_ratio") else ""
    rig = f", {key}: {value}" if key == "focal_factor" else ""
    path.write_text(
        f"cameras:\n  c: {{pixels: [4656, 3520], {camera}}}\noptics:\n  o: {{{optic}}}\n"
        f"rigs:\n  r: {{optic: o, camera: c{rig}}}\n"
    )
    try:
        faults = [f for f in examine(archive).findings if f.mark.file == "equipment.yaml" and f.level == "fault"]
        assert faults
        assert faults[0].rule == "out-of-range"
        assert faults[0].mark.line in (2, 4, 6)
        assert "and of at most" in faults[0].hint
    finally:
        path.write_text(before, encoding="utf-8")

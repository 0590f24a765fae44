"""Markdown becomes prose and nothing else."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from noctuary.pages.prose import first_words, prose, punctuation

PROSE = {
    "a", "abbr", "b", "blockquote", "br", "caption", "cite", "code", "dd", "del", "div", "dl", "dt", "em", "h1", "h2",
    "h3", "h4", "h5", "h6", "hr", "i", "ins", "kbd", "li", "ol", "p", "pre", "q", "s", "small", "strong", "sub",
    "sup", "table", "tbody", "td", "tfoot", "th", "thead", "tr", "u", "ul", "var",
}  # fmt: skip


def html(text: str, here: str = "pictures/a.html", name: str = "text", level: int = 2) -> str:
    return prose(text, here=here, name=name, level=level)


def test_tables_footnotes_and_alignment():
    said = html("A[^1] b.\n\n|a|b|\n|-|-:|\n|x|1|\n\n[^1]: Foot.")
    assert '<td class="right">1</td>' in said
    assert 'href="#text-fn:1"' in said
    assert 'id="text-fn:1"' in said


def test_footnotes_of_two_texts_on_a_page_do_not_meet():
    one, two = html("A[^1]\n\n[^1]: x", name="one"), html("A[^1]\n\n[^1]: x", name="two")
    assert set(re.findall(r'id="([^"]+)"', one)).isdisjoint(re.findall(r'id="([^"]+)"', two))


def test_headings_stay_below_the_page_s_own():
    assert "<h3>One</h3>" in html("# One\n\n## Two", level=3)
    assert "<h4>Two</h4>" in html("# One\n\n## Two", level=3)
    assert "<h6>" in html("# a\n\n###### b", level=5)


@pytest.mark.parametrize(
    "text",
    ["<script>alert(1)</script>", '"><img src=x onerror=alert(1)>', "[x](javascript:alert(1))",
     "<a href='JaVaScRiPt:alert(1)'>x</a>", "<b onclick=alert(1) style='color:red'>x</b>",
     "<iframe src=//a></iframe>", "![a](http://a.example/b.png)", "[x](data:text/html,a)", "<svg onload=alert(1)>",
     "<form action=//a><input>",
     "<style>*{display:none}</style>", "<p style=position:fixed>x</p>", "[x](//a.example/)", "&lt;script&gt;"],
)  # fmt: skip
def test_nothing_runs_and_nothing_comes_from_elsewhere(text):
    said = html(text)
    tags = re.findall(r"<[^>]+>", said)
    assert not re.search(r"\son\w+=|javascript:|style=|src=|data:", " ".join(tags), re.IGNORECASE)
    assert not re.search(r"<(script|img|iframe|svg|form|input|style)\b", said)
    assert 'href="//' not in said


def test_foreign_tags_are_shown_as_the_text_that_they_are():
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in html("<script>alert(1)</script>")
    assert "&lt;img" in html("see <img src=x>")
    assert "{{7*7}}" in html("{{7*7}}")


def test_links_are_taken_from_the_root_of_the_site():
    assert 'href="b.html"' in html("[b](pictures/b.html)")
    assert 'href="../about.html"' in html("[b](about.html)")
    assert 'href="about.html"' in html("[b](about.html)", here="index.html")
    assert 'href="https://a.example/"' in html("[b](https://a.example/)")
    assert "href" not in html("[b](/etc/passwd)")


def test_a_picture_in_prose_is_said_in_words():
    assert "a view" in html("![a view](view.jpg)")


@pytest.mark.parametrize(
    ("written", "set_"),
    [('"so" it\'s', "“so” it’s"), ("a -- b --- c...", "a – b — c…"), ("at -10 °C", "at −10\u202f°C"),
     ("2.6\" wide, 12' long", "2.6″ wide, 12′ long"), ("3 x 2", "3 × 2"), ("NGC 2238-9", "NGC 2238-9"),
     ("2025-01-18", "2025-01-18"), ('the "5"', "the “5”"), ("h-alpha", "h-alpha")],
)  # fmt: skip
def test_punctuation(written, set_):
    assert punctuation(written) == set_


def test_punctuation_follows_the_language_and_spares_code():
    assert "„ja“" in prose('"ja"', here="a.html", name="t", language="de")
    assert '<code>"a" -- b</code>' in html('`"a" -- b`')


def test_first_words_are_plain():
    assert first_words("# A\n\nB *c* [d](e.html) & <script>x</script>") == "A B c d & <script>x</script>"
    assert len(first_words("word " * 100)) <= 201


@settings(max_examples=60, deadline=None)
@given(st.text(alphabet="<>\"'`*_[]()!#|-&;:/\\ \nabcjs=&{}%0", max_size=120))
def test_whatever_is_written_no_foreign_element_comes_out(text):
    assert set(re.findall(r"</?([a-z0-9]+)[\s>]", html(text))) <= PROSE

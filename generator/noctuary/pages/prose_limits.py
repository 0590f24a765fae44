"""What a Markdown text may be without keeping the engine busy for as long as the square of its length."""

from __future__ import annotations

import re

#: What HTML prose may be.
TAGS = {
    "a", "abbr", "b", "blockquote", "br", "caption", "cite", "code", "dd", "del", "div", "dl", "dt", "em",
    "h1", "h2", "h3", "h4", "h5", "h6", "hr", "i", "ins", "kbd", "li", "ol", "p", "pre", "q", "s", "small",
    "strong", "sub", "sup", "table", "tbody", "td", "tfoot", "th", "thead", "tr", "u", "ul", "var",
}  # fmt: skip

#: A text that is longer, or with a paragraph of more lines, or with more brackets in one that nothing closes or that
#: lie in each other, would keep the Markdown engine busy for as long as its square: it is shown as it is typed.
MOST_CHARACTERS = 300_000
MOST_LINES = 1_000
MOST_OPEN = 20
MOST_DEFINITIONS = 100
BLANK = re.compile(r"\n[ \t]*\n")
_BRACKETS = re.compile(r"\\.|\]\(|[\[\]()>]|<(?=[A-Za-z/!?])", re.DOTALL)


def too_much(text: str) -> str | None:
    """Why a text is shown as it is typed and not as Markdown, if it is; in a time proportional to its length."""
    if len(text) > MOST_CHARACTERS:
        return f"the text has more than {MOST_CHARACTERS:,} characters"
    for block in BLANK.split(text):
        if block.count("\n") > MOST_LINES:
            return f"a paragraph has more than {MOST_LINES:,} lines"
        if block.count("\n:") > MOST_DEFINITIONS:
            return f"a paragraph has more than {MOST_DEFINITIONS} definitions without a blank line between them"
        if max(block.count("["), block.count("<")) > MOST_OPEN and _open(block) > MOST_OPEN:
            return f"a paragraph has more than {MOST_OPEN} brackets that nothing closes, or that lie in each other"
    return None


def _open(block: str) -> int:
    """The most brackets of one kind that are open at once in a paragraph; one that is never closed stays open."""
    square = round_ = angle = most = 0
    for bracket in _BRACKETS.finditer(block):
        sign = bracket[0]
        if sign == "[":
            square += 1
        elif sign in ("]", "]("):
            square = max(0, square - 1)
            round_ += sign == "]("
        elif sign == "(":
            round_ += round_ > 0
        elif sign == ")":
            round_ = max(0, round_ - 1)
        else:
            angle = angle + 1 if sign == "<" else 0
        most = max(most, square, round_, angle)
    return most

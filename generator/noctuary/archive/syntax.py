"""What a parser of YAML says about a text that is none → where to look and what to do, in plain words."""

from __future__ import annotations

from typing import Any

_NESTED = "nesting depth"
# Words of the parsers (libyaml and PyYAML's own), whether the place to look is where the construct opens
# rather than where the parser gave up, and what is wrong there.
_PLAIN: tuple[tuple[str, bool, str, str], ...] = (
    (_NESTED, False, "the brackets here are nested too deeply", "write it flatter"),
    ("escape character", False, "this backslash means nothing in double quotes", "put the text in single quotes"),
    ("quoted scalar", True, "the quotes that open here are not closed", "close the quotes"),
    (
        "parsing a flow",
        True,
        "the bracket that opens here is not closed",
        "close it, and part what stands in it by commas",
    ),
    (
        "could not find expected ':'",
        True,
        "a colon is missing here",
        "write key: value, with a space after the colon",
    ),
    (
        "mapping values are not allowed",
        False,
        "a colon cannot stand here",
        "put a text that holds a colon in quotes; begin a key in the same column as the one above it",
    ),
    (
        "sequence entries are not allowed",
        False,
        "a list cannot begin here",
        "begin each entry with - on a line of its own, or write [one, two]",
    ),
    (
        "block scalar",
        True,
        "the text after | or > begins on the next line",
        "break the line here, and indent what follows",
    ),
    ("indicator", False, "this line does not fit the list above it", "begin each entry with - in the same column"),
    (
        "parsing a block collection",
        False,
        "this line does not fit the list above it",
        "begin each entry with - in the same column",
    ),
    (
        "parsing a block mapping",
        False,
        "this does not fit the keys above it",
        "begin keys that belong together in the same column; behind closing quotes nothing may stand, not even a "
        "comma, and a text with double quotes in it goes into single ones as a whole",
    ),
    (
        "document start",
        False,
        "this line does not fit the lines above it",
        "begin keys that belong together in the same column",
    ),
    ("cannot start any token", False, "a text cannot begin with this character", "put the text in quotes"),
    ("tag", False, "a text cannot begin with an exclamation mark", "put the text in quotes"),
    ("scanning an a", True, "a text cannot begin with * or &", "put the text in quotes"),
    ("directive", True, "a line cannot begin with %", "put the text in quotes"),
    ("node content", False, "a value cannot begin with this character", "put the text in quotes"),
)


def explained(error: Any) -> tuple[Any, str, str, str]:
    """The mark (or ``None``), rule, message and hint for an error of either parser."""
    problem = " ".join(part for part in (error.context, error.problem) if part)
    for words, opening, message, hint in _PLAIN:
        if words in problem:
            mark = error.context_mark if opening else error.problem_mark
            rule = "too-deep" if words == _NESTED else "yaml"
            return mark or error.problem_mark or error.context_mark, rule, message, hint
    mark = error.problem_mark or error.context_mark
    return (
        mark,
        "yaml",
        f"this is not YAML: {problem}",
        "look at the indent, the colons and the quotes of this line and the one before",
    )

"""Markdown as a person writes it → HTML that may be part of a page.

Tables, footnotes and smart punctuation. Headings go below the page's own. HTML that has no business in prose is
shown as the text that it is; what remains passes an HTML sanitiser, so that no script, style, event or
``javascript:`` address survives. Relative links are taken from the site's root, wherever the page lies.
"""

from __future__ import annotations

import re
from html import escape

import nh3

from noctuary.pages.page import relative
from noctuary.pages.prose_limits import BLANK, TAGS, too_much

_ATTRIBUTES = {
    "a": {"href", "title", "id", "class"},
    "abbr": {"title"},
    "div": {"class"},
    "li": {"id"},
    "ol": {"start"},
    "sup": {"id"},
    "td": {"align", "colspan", "rowspan"},
    "th": {"align", "colspan", "rowspan"},
}
_CLASSES = {"footnote", "footnote-ref", "footnote-backref"}
# What no text with a link or a picture is without.
_MAY_HOLD_ADDRESSES = re.compile(r"\]\s*[(:\[]|href|src", re.IGNORECASE)
_PARTS = re.compile(r"(<[^>]*>)")
_ALIGN = re.compile(r' align="(left|right|center)"')

# Opening and closing marks, double then single, by language; the rest follow English.
_QUOTES = {
    "de": "„“‚‘", "cs": "„“‚‘", "sk": "„“‚‘", "sl": "„“‚‘", "hr": "„“‚‘", "da": "„“‚‘", "fr": "«»“”", "it": "«»“”",
    "es": "«»“”", "pt": "«»“”", "ru": "«»„“", "uk": "«»„“", "pl": "„”‚’", "hu": "„”»«", "ro": "„”«»", "sv": "””’’",
    "fi": "””’’", "nb": "«»‘’", "nn": "«»‘’", "no": "«»‘’", "nl": "“”‘’", "el": "«»“”",
}  # fmt: skip


def _converted(text: str) -> str | None:
    """HTML of Markdown; ``None`` where the text is too much for the engine."""
    if too_much(text) is not None:
        return None
    from noctuary.pages import markdown_engine

    try:
        return markdown_engine.html_of(text.replace("\x00", ""))
    except RecursionError:
        return None


def _as_typed(text: str) -> str:
    return "\n".join(f"<p>{escape(block.strip())}</p>" for block in BLANK.split(text) if block.strip())


def prose(text: str | None, *, here: str, name: str, level: int = 2, language: str = "en") -> str:
    """HTML of a Markdown text on the page ``here``; its highest heading becomes ``level`` (1 to 6).

    ``name`` tells the text from others on the same page, so that their footnotes do not meet.
    """
    if not text or not text.strip():
        return ""
    converted = _converted(text)
    if converted is None:
        return _as_typed(text)
    html = _headings_from(converted, level)

    def attribute(tag: str, key: str, value: str) -> str | None:
        if key == "id":
            return f"{name}-{value}"
        if key == "class":
            return " ".join(c for c in value.split() if c in _CLASSES) or None
        if key == "href":
            return _address(value, here, name)
        return value

    cleaned = nh3.clean(
        html,
        tags=TAGS,
        attributes=_ATTRIBUTES,
        url_schemes={"http", "https", "mailto"},
        link_rel="noopener",
        attribute_filter=attribute,
        clean_content_tags=set(),
    )
    return _set(cleaned, language)


def addresses_in(text: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The addresses in a Markdown text as they are written, each once: of links, and of pictures, which are left out.

    >>> addresses_in("[one](pictures/one.html) ![two](two.jpg)")
    (('pictures/one.html',), ('two.jpg',))
    """
    if not _MAY_HOLD_ADDRESSES.search(text):
        return (), ()
    converted = _converted(text)
    if converted is None:
        return (), ()
    links: dict[str, None] = {}

    def collect(tag: str, key: str, value: str) -> str | None:
        if key == "href":
            links[value] = None
        return value

    nh3.clean(converted, tags=TAGS, attributes=_ATTRIBUTES, attribute_filter=collect)
    from noctuary.pages import markdown_engine

    return tuple(links), tuple(dict.fromkeys(markdown_engine.pictures_left_out()))


def site_address(link: str) -> str | None:
    """The address in the site, relative to its root, to which a link in prose leads; ``None`` for one that leads out.

    A link that begins at the root of the server leads nowhere that can be known: it is ``""``.
    """
    if link.startswith(("/", "\\")):
        return ""
    if re.match(r"[a-z][a-z0-9+.-]*:", link, re.IGNORECASE):
        return None
    cleaned = link
    while cleaned.startswith(("./", "../")):
        cleaned = cleaned.partition("/")[2]
    return cleaned


def _address(value: str, here: str, name: str) -> str | None:
    if value.startswith("#"):
        return f"#{name}-{value[1:]}" if value[1:].startswith("fn") else value
    target = site_address(value)
    if target is None:
        return value
    return relative(here, target) if target else None


def _headings_from(html: str, level: int) -> str:
    levels = [int(n) for n in re.findall(r"<h([1-6])[\s>]", html)]
    if not levels:
        return html
    shift = level - min(levels)
    return re.sub(r"(</?h)([1-6])(?=[\s>])", lambda m: f"{m[1]}{min(6, max(1, int(m[2]) + shift))}", html)


def _set(html: str, language: str) -> str:
    """Cleaned HTML with typographic punctuation outside code, and alignment by class."""
    marks = _QUOTES.get(language.partition("-")[0].casefold(), "“”‘’")
    parts: list[str] = []
    silent = 0
    before = " "
    for part in _PARTS.split(html):
        if part.startswith("<"):
            if re.match(r"</?(?:code|pre|kbd)\b", part):
                silent += -1 if part.startswith("</") else 1
            if re.match(r"</?(?:p|li|t[dh]|h[1-6]|br|blockquote|d[td]|div)\b", part):
                before = " "
            parts.append(_ALIGN.sub(r' class="\1"', part))
        elif part:
            parts.append(part if silent else punctuation(part, marks, before))
            before = part[-1]
    return "".join(parts)


_DASHES: tuple[tuple[re.Pattern[str], str], ...] = (
    (re.compile(r"---"), "—"),
    (re.compile(r"--"), "–"),
    (re.compile(r"\.\.\."), "…"),
    (re.compile(r"(?<=\d) ?- ?(?=\d+(?:\.\d+)?\s?(?:°|%|mm|min|h\b|s\b|m\b))"), "–"),
    (re.compile(r"(?<![\w.)-])-(?=\d)"), "−"),
    (re.compile(r"(?<=\d) x (?=\d)"), " × "),
    (re.compile(r"(?<=\d) (?=(?:°C|%|mm|cm|km|µm|min|mag|kg|MB)(?![a-z]))"), "\u202f"),
)


def punctuation(text: str, marks: str = "“”‘’", before: str = " ") -> str:
    """Curly quotes, dashes, ellipsis, primes, minus and multiplication signs.

    ``marks``: opening and closing double, opening and closing single; ``before`` is the character ahead.
    """
    for pattern, sign in _DASHES:
        text = pattern.sub(sign, text)
    if '"' not in text and "'" not in text and "&quot;" not in text:
        return text
    text = text.replace("&quot;", '"')
    double_open = False
    result = []
    for c in text:
        opens = before.isspace() or before in "([{—–-/“„«‚‘\u00a0"
        if c == '"':
            if before.isdigit() and not double_open:
                c = "″"
            else:
                double_open = opens
                c = marks[0] if opens else marks[1]
        elif c == "'":
            c = "′" if before.isdigit() and not opens else marks[2] if opens else "’"
        result.append(c)
        before = c
    return "".join(result)


def first_words(text: str | None, limit: int = 200) -> str:
    """The beginning of a Markdown text as plain words, for the description of a page."""
    if not text:
        return ""
    from noctuary.pages import markdown_engine

    html = str(nh3.clean(markdown_engine.html_of(text), tags=set(), clean_content_tags={"script", "style"}))
    words = re.sub(r"\s+", " ", html).strip()
    for entity, sign in (("&lt;", "<"), ("&gt;", ">"), ("&nbsp;", " "), ("&amp;", "&")):
        words = words.replace(entity, sign)
    return words if len(words) <= limit else words[:limit].rsplit(" ", 1)[0] + "…"

"""The engine that makes HTML of Markdown, as prose has it; it is loaded when there is a text to be set."""

from __future__ import annotations

import re
from functools import lru_cache
from xml.etree.ElementTree import Element

import markdown
from markdown.extensions import Extension
from markdown.postprocessors import Postprocessor
from markdown.treeprocessors import Treeprocessor

from noctuary.pages.prose_limits import TAGS

_FOREIGN_TAG = re.compile(rf"<(?!/?(?:{'|'.join(sorted(TAGS, key=len, reverse=True))})(?=[\s/>]))", re.IGNORECASE)


class _InProse(Extension):
    def extendMarkdown(self, md: markdown.Markdown) -> None:
        # Before raw HTML goes back in (priority 30): tags that will not survive are made text.
        md.postprocessors.register(_ForeignTagsAsText(md), "foreign-tags", 35)
        md.treeprocessors.register(_PicturesAsWords(md), "pictures-as-words", 5)


class _ForeignTagsAsText(Postprocessor):
    def run(self, text: str) -> str:
        stash = self.md.htmlStash.rawHtmlBlocks
        for number, block in enumerate(stash):
            if isinstance(block, str):
                stash[number] = _FOREIGN_TAG.sub("&lt;", block)
        return text


class _PicturesAsWords(Treeprocessor):
    """A picture in prose would be a file that the site does not have: what it shows is said instead.

    ``left_out`` are the addresses of those in the last text.
    """

    left_out: tuple[str, ...] = ()

    def run(self, root: Element) -> None:
        self.left_out = tuple(element.get("src", "") for element in root.iter("img"))
        for element in root.iter("img"):
            element.text = element.get("alt", "")
            for name in list(element.attrib):
                del element.attrib[name]
            element.tag = "span"  # sanitised away, its text stays


@lru_cache(maxsize=1)
def _markdown() -> markdown.Markdown:
    return markdown.Markdown(
        extensions=["tables", "footnotes", "sane_lists", "def_list", "fenced_code", _InProse()],
        extension_configs={"tables": {"use_align_attribute": True}, "footnotes": {"BACKLINK_TEXT": "↑"}},
        output_format="html",
    )


def html_of(text: str) -> str:
    """HTML as the engine makes it; raises RecursionError."""
    engine = _markdown()
    engine.reset()
    return str(engine.convert(text))


def pictures_left_out() -> tuple[str, ...]:
    """The addresses of pictures in the last text, which are left out."""
    pictures = _markdown().treeprocessors["pictures-as-words"]
    assert isinstance(pictures, _PicturesAsWords)
    return pictures.left_out

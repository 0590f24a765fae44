"""Pages as products: what each is made of, and how a theme sets it."""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import cached_property, partial
from pathlib import Path
from typing import TYPE_CHECKING

from noctuary.errors import NoctuaryError
from noctuary.memo import Memo
from noctuary.pages.kept_fragments import KeptFragments
from noctuary.pages.page import Page, PagePlan
from noctuary.pages.product import Product, digest
from noctuary.pages.theme import as_published, find, find_template

if TYPE_CHECKING:
    from noctuary.pages.render import Renderer

#: The ingredient that is the page before it is set.
WORDS_AND_FACTS = "words and facts"


class BadTemplate(NoctuaryError):
    """A template of the theme cannot be set: which file, which line, and why."""

    rule = "template"

    def __init__(self, file: str, line: int, message: str) -> None:
        super().__init__(message)
        self.args = file, line, message  # so that it passes from one process to another
        self.file, self.line = file, line


class PageSetter:
    """Sets pages with the templates of ``theme`` in a ``language``, for a ``program`` (a digest).

    The template engine is loaded when the first page has to be set, and not before. ``fragments`` are parts of pages
    that have been set before.
    """

    def __init__(
        self, theme: tuple[Path, ...], language: str, program: str, fragments: KeptFragments | None = None
    ) -> None:
        self._theme, self._language = theme, language
        self._fragments = fragments or KeptFragments()
        self.program = digest(program)
        self._digests: dict[str, str] = {}
        self._templates: dict[str, bytes] = {}

    def product(self, page: Page) -> Product:
        """The file of a page."""
        return Product(page.path, self._ingredients(page.template, digest(page)), partial(self.set, page))

    def planned(self, plan: PagePlan, memory: Memo) -> Product:
        """The file of a page that is told when it is set."""
        ingredients = self._ingredients(plan.template, page_digest(plan, memory))
        return Product(plan.path, ingredients, partial(self._set_anew, plan.page))

    def _ingredients(self, template: str, words_and_facts: str) -> dict[str, str]:
        return {
            WORDS_AND_FACTS: words_and_facts,
            "theme": self.theme_digest(template),
            "program": self.program,
        }

    def _set_anew(self, again: Callable[[], Page]) -> bytes:
        return self.set(again())

    def set(self, page: Page) -> bytes:
        """The file of a page; raises :class:`BadTemplate`."""
        theme = self.theme_digest(page.template)
        fragments = self._fragments.of(page.path, theme)
        try:
            file = self.renderer.render(page, fragments).encode()
        except BadTemplate:
            raise
        except Exception as error:
            # Whatever a template of somebody's own does is its mistake; one that arose elsewhere is ours.
            if (where := _in_template(error)) is None:
                raise
            raise BadTemplate(*where, _said_of(error)) from error
        self._fragments.learn(page.path, theme, file, fragments)
        return file

    @cached_property
    def renderer(self) -> Renderer:
        from jinja2 import TemplateError

        from noctuary.pages.render import Renderer

        try:
            return Renderer(self._theme, self._language)
        except TemplateError as error:
            raise BadTemplate(*(_in_template(error) or ("theme.yaml", 1)), _said_of(error)) from error

    def theme_digest(self, template: str) -> str:
        """A digest of a template, of every template that it draws on, and of the theme's words."""
        if template not in self._digests:
            names, waiting = set[str](), [template]
            while waiting:
                name = waiting.pop()
                if name not in names:
                    names.add(name)
                    waiting += _DRAWN.findall(self._template(name).decode("utf-8", "replace"))
            self._digests[template] = digest(
                [(f"templates/{name}", self._template(name)) for name in sorted(names)]
                + self._of_every_page
            )
        return self._digests[template]

    @cached_property
    def _of_every_page(self) -> list[object]:
        """What of the theme every page is set with."""
        theme = "theme.yaml", self._read(find(self._theme, "theme.yaml"))
        return [theme, self._words, "\n".join(as_published(self._theme)).encode()]

    @cached_property
    def _words(self) -> list[bytes]:
        return [p.read_bytes() for folder in self._theme for p in sorted((folder / "languages").rglob("*.po"))]

    def _template(self, name: str) -> bytes:
        if name not in self._templates:
            self._templates[name] = self._read(find_template(self._theme, name))
        return self._templates[name]

    @staticmethod
    def _read(file: Path | None) -> bytes:
        return file.read_bytes() if file else b""


def page_digest(plan: PagePlan, memory: Memo, *more: object) -> str:
    """A digest of a page, and of what else its file says; one that is told from the same as before is not told."""
    if plan.told_from is None:
        return _told_anew(plan, more)
    data = tuple((link.text, link.page) for link in plan.data)
    question = ("told", plan.path, plan.template, plan.listed, data, plan.told_from)
    known: str = memory.ask(question, partial(_told_anew, plan, more), str)
    return known


def _told_anew(plan: PagePlan, more: tuple[object, ...]) -> str:
    return digest((plan.page(), *more) if more else plan.page())


#: The templates that a template names: extended, included or imported.
_DRAWN = re.compile(r"""{%-?\s*(?:extends|include|import|from)\s+["']([^"']+)["']""")


def _in_template(error: Exception) -> tuple[str, int] | None:
    """Where in the theme's files an error arose: the last line of a template on the way to it, if there is one."""
    from jinja2 import TemplateError

    where = None
    if isinstance(error, TemplateError):
        where = getattr(error, "filename", None) or getattr(error, "name", None) or "templates", 1
        where = where[0], getattr(error, "lineno", None) or 1
    trace = error.__traceback__
    while trace is not None:
        if trace.tb_frame.f_code.co_filename.endswith(".html"):
            where = trace.tb_frame.f_code.co_filename, trace.tb_lineno
        trace = trace.tb_next
    return where


def _said_of(error: Exception) -> str:
    if isinstance(error, RecursionError):
        return "it draws on itself without end"
    return " ".join(str(error).split())[:300] or type(error).__name__

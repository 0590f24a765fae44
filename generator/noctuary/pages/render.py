"""Pages set with a theme's templates.

A theme is a list of folders, the person's own overrides first: a file of an earlier folder replaces the
same file of a later one. Everything a template prints is escaped unless it passed the sanitiser of
:mod:`noctuary.pages.prose` or is a drawing of ours.
"""

from __future__ import annotations

import re
from base64 import b64encode
from collections.abc import Callable, Mapping, Sequence
from functools import cached_property, partial
from gettext import NullTranslations
from hashlib import sha256
from pathlib import Path
from typing import Any

from jinja2 import Environment, FunctionLoader, StrictUndefined, TemplateSyntaxError, pass_context
from jinja2.runtime import Context, Macro
from jinja2.sandbox import SandboxedEnvironment
from markupsafe import Markup

from noctuary.charts.drawing import Drawing, DrawnTwice
from noctuary.pages import prose as prose_
from noctuary.pages.compiled_templates import CompiledTemplates
from noctuary.pages.kept_fragments import Fragments, without_blank_lines
from noctuary.pages.languages import BadCatalogue, translations
from noctuary.pages.page import Page, relative, root
from noctuary.pages.picture_view import PictureView, Source
from noctuary.pages.product import digest
from noctuary.pages.theme import SITE_FOLDER, as_published, find_template, theme_yaml, themes_home
from noctuary.pages.typography import Typography
from noctuary.sky.constellation import constellation_name

#: Nothing from elsewhere, no script or style inside a page; only ``style`` attributes, which place a picture's
#: proportions and colour, and workers that a script of the site makes of its own text.
CONTENT_POLICY = (
    "default-src 'none'; img-src 'self'; script-src 'self'; style-src 'self'; style-src-attr 'unsafe-inline'; "
    "font-src 'self'; connect-src 'self'; worker-src blob:; base-uri 'none'; form-action 'none'"
)


class _Sandbox(SandboxedEnvironment):
    """For templates of somebody's own: they see what pages say, and reach nothing behind it.

    Beside what Jinja's sandbox refuses, no attribute of a path can be had, for a path opens files.
    """

    def is_safe_attribute(self, obj: Any, attr: str, value: Any) -> bool:
        return not isinstance(obj, Path) and super().is_safe_attribute(obj, attr, value)


class Renderer:
    """Sets pages with the templates and the words of ``theme_folders`` in a BCP 47 ``language``.

    Raises :class:`jinja2.TemplateError` for a template or a catalogue of words with a mistake in it.
    """

    def __init__(self, theme_folders: Sequence[Path], language: str = "en") -> None:
        self.theme_folders = tuple(theme_folders)
        self.language = language
        self._fragments = Fragments()
        words = self._words()
        self.typography = Typography(language, words.gettext, words.ngettext)
        ours = themes_home()
        foreign = not all(folder.is_relative_to(ours) for folder in self.theme_folders)
        self.environment: Environment = (_Sandbox if foreign else Environment)(
            loader=FunctionLoader(self._template),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
            keep_trailing_newline=True,
            extensions=["jinja2.ext.i18n"],
            auto_reload=False,
            # Nothing is worked out while compiling, so that what is compiled holds in every language.
            optimized=False,
            finalize=_as_it_is,
            bytecode_cache=CompiledTemplates(ours),
        )
        self.environment.policies["ext.i18n.trimmed"] = True
        install: Callable[..., None] = self.environment.install_gettext_translations  # type: ignore[attr-defined]
        install(words, newstyle=True)
        self.environment.filters.update(self.typography.filters)
        self.environment.filters.update(
            link=_link, file=_theme_file, prose=self._prose, drawn=self._drawn, srcset=_srcset,
            worded=lambda message: message and words.gettext(message),
            gallery_sizes=_gallery_sizes, first_words=prose_.first_words, part=self._part,
            constellation=constellation_name,
        )  # fmt: skip

    def _words(self) -> NullTranslations:
        try:
            return translations(self.theme_folders, self.language)
        except BadCatalogue as error:
            raise TemplateSyntaxError(error.message, error.line, error.file.name, str(error.file)) from error

    def _template(self, name: str) -> tuple[str, str, Callable[[], bool]] | None:
        """A template's source; one that is there and cannot be read is an error, not another folder's turn."""
        file = find_template(self.theme_folders, name)
        return None if file is None else (file.read_text(encoding="utf-8"), str(file), lambda: True)

    @cached_property
    def theme(self) -> Mapping[str, Any]:
        """What the theme says of itself (``theme.yaml``); its styles are one where they are published as one."""
        return {**theme_yaml(self.theme_folders), "stylesheets": as_published(self.theme_folders)}

    def render(self, page: Page, fragments: Fragments | None = None) -> str:
        """The page as HTML; ``fragments`` are parts of it that have been set before, and receive the others."""
        self._fragments = fragments or Fragments()
        words = page.words()
        text = self.environment.get_template(page.template).render(
            words,
            here=page.path,
            top=page.top,
            root=root(page.path),
            kind=page.kind,
            listed=page.listed,
            data=page.data,
            share=page.share,
            theme=self.theme,
            content_policy=CONTENT_POLICY,
            direction=self.typography.locale.text_direction,
        )
        return _vouched(without_blank_lines(text))

    @cached_property
    def _prose(self) -> Callable[..., Markup]:
        language = self.language

        @pass_context
        def prose(context: Context, text: str | None, name: str = "text", level: int = 2) -> Markup:
            def work() -> str:
                return prose_.prose(text, here=here, name=name, level=level, language=language)

            here = _here(context)
            return Markup(self._fragments.part(digest(("prose", text, here, name, level, language)), work))

        return prose

    def _drawn(self, drawing: Drawing | str) -> Markup:
        if isinstance(drawing, str):
            return Markup(drawing)
        what = digest((type(drawing).__qualname__, drawing))
        return Markup(self._fragments.part(what, partial(self._as_svg, drawing)))

    def _as_svg(self, drawing: Drawing) -> str:
        narrow = drawing.narrow_svg(self.typography) if isinstance(drawing, DrawnTwice) else ""
        return drawing.svg(self.typography) + narrow

    def _part(self, macro: Macro, *given: Any) -> Markup:
        """What a macro says of what it is given, and of nothing else on the page."""
        if not isinstance(macro, Macro):  # a sandbox asks of every other call whether it is safe
            raise TypeError("a part of a page is set by a macro")
        return Markup(self._fragments.part(digest((macro.name, given)), partial(macro, *given)))


def _vouched(html: str) -> str:
    """The page, its policy naming the digest of every data block in it (Content Security Policy Level 3, 6.7.3).

    Browsers run no data block and ask no policy about one; checkers do.
    """
    blocks = re.findall(r'<script type="application/[\w.+-]+">(.*?)</script>', html, re.DOTALL)
    digests = [b64encode(sha256(block.encode()).digest()).decode() for block in blocks]
    vouched = "".join(f" &#39;sha256-{digest}&#39;" for digest in dict.fromkeys(digests))
    return html.replace("script-src &#39;self&#39;", f"script-src &#39;self&#39;{vouched}", 1)


def _here(context: Context) -> str:
    """The address of the page that is being set."""
    return str(context.resolve("here"))


def _way(context: Context, target: str) -> str:
    top = context.resolve("top")
    return f"{top}{target}" if isinstance(top, str) else relative(_here(context), target)


@pass_context
def _as_it_is(_: Context, value: Any) -> Any:
    """What is printed as it is, at the time it is printed: what needs the page is not worked out while compiling."""
    return value


@pass_context
def _link(context: Context, page: str) -> str:
    """The way from the page being set to another file of the site."""
    return _way(context, page)


@pass_context
def _theme_file(context: Context, file: str) -> str:
    """The way to a style, script or font of the theme."""
    return _way(context, f"{SITE_FOLDER}/{file}")


@pass_context
def _srcset(context: Context, shown: PictureView, format: str) -> str:
    here = _here(context)

    def entry(source: Source) -> str:
        return f"{relative(here, source.file)} {source.width}w"

    return ", ".join(map(entry, shown.of(format)))


def _gallery_sizes(shown: PictureView) -> str:
    """How wide a picture is in a gallery, for browsers that do not measure it: its rows are 15rem high at least."""
    return f"{min(99.0, shown.ratio * 18):.0f}rem"

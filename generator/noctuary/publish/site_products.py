"""Every file of the site, from the facts and the pictures: what a build makes or keeps."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property, partial
from html import unescape
from pathlib import Path
from typing import TYPE_CHECKING

from noctuary.archive.records import Picture
from noctuary.build_manifest import FOLDER
from noctuary.diagnostic import Diagnostic
from noctuary.facts.almanac import Almanac
from noctuary.facts.archive_facts import ArchiveFacts
from noctuary.memo import Memo
from noctuary.pages import absent_page, search_index
from noctuary.pages import published_pictures as shown
from noctuary.pages.exports.export_list import offered
from noctuary.pages.overlay_files import layers
from noctuary.pages.page import Page
from noctuary.pages.page_list import edition, pages
from noctuary.pages.product import Product, digest
from noctuary.pages.share_image_text import cards
from noctuary.pages.theme import as_published, find, published_files

if TYPE_CHECKING:
    from noctuary.images.embed_metadata import Description
    from noctuary.images.share_image import Look
    from noctuary.pages.render import Renderer

Progress = Callable[[str, int, int], None]


@dataclass
class Works:
    """The products of a site in the order in which they are made; ``pages`` counts those that are pages."""

    products: list[Product]
    findings: list[Diagnostic]
    pages: int
    tidy: Callable[[], None]


class NoSuchExecutor(ValueError):
    """``--executor`` names something that cannot be reached; says what to type instead."""


class BadTemplate(Exception):
    """A template of the theme cannot be set: which file, which line, and why."""

    def __init__(self, file: str, line: int, message: str) -> None:
        super().__init__(file, line, message)
        self.file, self.line, self.message = file, line, message


def works(
    folder: Path,
    facts: ArchiveFacts,
    almanac: Almanac,
    theme: Sequence[Path],
    hash_of: Callable[[str], str],
    memory: Memo,
    program: str,
    standing: Mapping[str, Mapping[str, str]],
    workers: int | None,
    executor: str | None,
    progress: Progress,
) -> Works:
    """Everything that the site of an archive consists of.

    ``theme``: folders in which a file of the theme is looked for, first to last; ``standing``: files of the
    published site that may be kept as they lie, with their ingredients. Raises OSError where the cache cannot
    be written and :class:`NoSuchExecutor`.
    """
    cache = folder / FOLDER / "renditions"
    with _executor(executor) as engine:
        files = shown.picture_files(
            folder, cache, facts, hash_of, memory, standing, workers, engine, progress
        )  # fmt: skip
    assets = published_files(theme)
    asset_products = [Product(path, {"theme": digest(data)}, partial(bytes, data)) for path, data in assets.items()]
    press = _Press(theme, facts.archive.language, program)
    over = layers(folder, cache, facts, files.shown, hash_of, memory)
    whole = edition(facts, files.shown, over.by_pair)
    exports = offered(whole)
    all_pages = pages(whole, exports)
    page_products = [press.product(page) for page in (*all_pages, absent_page.page(whole))]
    card_products = [
        press.card(page, facts, files, partial(shown.rendition, folder, cache, facts, files)) for page in cards(whole)
    ]
    export_products = [
        Product(e.path, {"facts": e.made_of, "program": digest(program)}, e.make, partial(_same, e.make))
        for e in exports
    ]
    export_products += search_index.products(whole, program, memory)
    return Works(
        products=[*files.products, *over.products, *asset_products, *page_products, *card_products, *export_products],
        findings=files.findings,
        pages=sum(page.path.endswith(".html") for page in all_pages),
        tidy=partial(shown.tidy, cache, files.entries.values()),
    )


def _same(work: Callable[[], bytes]) -> Callable[[], bytes]:
    return work


def _drawn_card(data: bytes, lines: Sequence[str], look: Look, words: Description) -> bytes:
    from noctuary.images.embed_metadata import described
    from noctuary.images.share_image import share_picture

    return described(share_picture(data, lines, look), "jpeg", words)


class _Press:
    """Sets pages; loads the template engine when the first one has to be set, and not before."""

    def __init__(self, theme: Sequence[Path], language: str, program: str) -> None:
        self._theme = theme
        self._language = language
        self._program = digest(program)
        self._digests: dict[str, str] = {}

    def product(self, page: Page) -> Product:
        ingredients = {
            "words and facts": digest(page),
            "theme": self._theme_digest(page.template),
            "program": self._program,
        }
        return Product(page.path, ingredients, partial(self._set, page))

    def _set(self, page: Page) -> bytes:
        try:
            return self._renderer.render(page).encode()
        except BadTemplate:
            raise
        except Exception as error:
            # Whatever a template of somebody's own does is its mistake; one that arose elsewhere is ours.
            if (where := _in_template(error)) is None:
                raise
            raise BadTemplate(*where, _said_of(error)) from error

    def card(
        self, page: Page, facts: ArchiveFacts, files: shown.Files, rendition: Callable[[Picture, int], bytes]
    ) -> Product:
        """A share picture, whose lines ``page`` sets; ``rendition`` gives the picture at least so wide."""
        about = facts.pictures[page.context.id]
        words = shown.words(facts.archive, about.picture, about)

        def apart() -> Callable[[], bytes]:
            from noctuary.images.share_image import WIDTH, Look

            look = self._card_look
            face = find(self._theme, look.pop("face")) if "face" in look else None
            lines = unescape(self._set(page).decode()).splitlines()
            return partial(_drawn_card, rendition(about.picture, WIDTH), lines, Look(face, **look), words)

        ingredients = {
            "words and facts": digest((page, words)),
            "picture": files.entries[about.picture.id],
            "theme": digest([self._theme_digest(page.template), self._faces]),
            "program": self._program,
        }
        return Product(page.path, ingredients, lambda: apart()(), apart)

    @property
    def _card_look(self) -> dict[str, str]:
        """The face and the colours that the theme has for share pictures (``card`` in theme.yaml)."""
        told = self._renderer.theme.get("card") or {}
        return {name: str(told[name]) for name in ("face", "ground", "ink", "faint") if name in told}

    @cached_property
    def _faces(self) -> str:
        """A digest of every face of the theme, for one of them stands on the share pictures."""
        files = published_files(self._theme).items()
        return digest(b"".join(data for path, data in files if path.endswith((".woff2", ".ttf", ".otf"))))

    @cached_property
    def _renderer(self) -> Renderer:
        from jinja2 import TemplateError

        from noctuary.pages.render import Renderer

        try:
            return Renderer(self._theme, self._language)
        except TemplateError as error:
            raise BadTemplate(*(_in_template(error) or ("theme.yaml", 1)), _said_of(error)) from error

    def _theme_digest(self, template: str) -> str:
        """A digest of a template, of every template that it draws on, and of the theme's words."""
        if template not in self._digests:
            names, waiting = set[str](), [template]
            while waiting:
                name = waiting.pop()
                if name not in names:
                    names.add(name)
                    waiting += _DRAWN.findall(self._source(f"templates/{name}").decode("utf-8", "replace"))
            files = [f"templates/{name}" for name in sorted(names)]
            self._digests[template] = digest(
                [(name, self._source(name)) for name in [*files, "theme.yaml"]]
                + [self._words, "\n".join(as_published(self._theme)).encode()]
            )
        return self._digests[template]

    @cached_property
    def _words(self) -> list[bytes]:
        return [p.read_bytes() for folder in self._theme for p in sorted((folder / "languages").rglob("*.po"))]

    def _source(self, name: str) -> bytes:
        file = find(self._theme, name)
        return file.read_bytes() if file else b""


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


@contextmanager
def _executor(name: str | None) -> Iterator[Executor | None]:
    """The executor behind ``--executor``: ``dask:ADDRESS`` of a running scheduler."""
    if name is None:
        yield None
        return
    kind, _, address = name.partition(":")
    if kind != "dask" or not address:
        raise NoSuchExecutor(f"{name!r} is no executor; write dask:ADDRESS, such as dask:tcp://127.0.0.1:8786")
    try:
        from distributed import Client
    except ImportError:
        raise NoSuchExecutor('no dask here; install it with pip install "noctuary[dask]"') from None
    try:
        client = Client(address, timeout=10)
    except OSError as error:
        raise NoSuchExecutor(f"no scheduler answers at {address}: {error}") from None
    try:
        yield client.get_executor()
    finally:
        client.close()

"""Every file of the site, from the facts and the pictures: what a build makes or keeps."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from html import unescape
from pathlib import Path
from typing import TYPE_CHECKING

from noctuary.diagnostic import Diagnostic
from noctuary.errors import NoctuaryError
from noctuary.images.rendition_cache import prune
from noctuary.pages import not_found_page, search_index
from noctuary.pages.build_context import BuildContext
from noctuary.pages.exports.export import Export
from noctuary.pages.exports.export_list import site_exports
from noctuary.pages.overlay_files import overlay_files
from noctuary.pages.page import Page
from noctuary.pages.page_list import pages, site_model
from noctuary.pages.product import Product, digest
from noctuary.pages.published_pictures import PictureFiles, jpeg_rendition, picture_files, words_of
from noctuary.pages.registered_picture import frame_files
from noctuary.pages.share_image_text import share_image_pages
from noctuary.pages.theme import as_published, find, find_template, published_files
from noctuary.publish.cluster import cluster

if TYPE_CHECKING:
    from noctuary.facts.picture import PictureFacts
    from noctuary.images.embed_metadata import Description
    from noctuary.images.share_image import Look
    from noctuary.pages.render import Renderer
    from noctuary.sky.placement import Placement


@dataclass
class SiteProducts:
    """The products of a site in the order in which they are made; ``pages`` counts those that are pages.

    ``prune_cache`` removes from the cache of renditions what the archive no longer needs, beyond a bound.
    """

    products: list[Product]
    findings: list[Diagnostic]
    pages: int
    prune_cache: Callable[[], object]


class BadTemplate(NoctuaryError):
    """A template of the theme cannot be set: which file, which line, and why."""

    rule = "template"

    def __init__(self, file: str, line: int, message: str) -> None:
        super().__init__(message)
        self.args = file, line, message  # so that it passes from one process to another
        self.file, self.line = file, line


def site_products(context: BuildContext, executor: str | None) -> SiteProducts:
    """Everything that the site of an archive consists of; ``executor`` names what makes its pictures.

    Raises OSError where the cache cannot be written and :class:`NoSuchExecutor`.
    """
    with cluster(executor, context.folder) as engine:
        files = picture_files(context, engine)
    overlays = overlay_files(context, files)
    frames = frame_files(context, files)
    model = site_model(context.facts, files.shown, overlays.by_pair, frames.by_target)
    exports = site_exports(model)
    all_pages = pages(model, exports)
    page_products = _PageProducts(context)
    products = [*files.products, *overlays.products, *frames.products]
    products += [Product(path, {"theme": digest(data)}, partial(bytes, data))
                 for path, data in published_files(context.theme).items()]  # fmt: skip
    products += [page_products.page(page) for page in (*all_pages, not_found_page.page(model))]
    products += [page_products.share_image(page, files) for page in share_image_pages(model)]
    products += [_export_product(export, digest(context.program)) for export in exports]
    products += search_index.products(model, context.program, context.memory)
    return SiteProducts(
        products=products,
        findings=files.findings,
        pages=sum(page.path.endswith(".html") for page in all_pages),
        prune_cache=partial(prune, context.renditions, set(files.entries.values())),
    )


def _export_product(export: Export, program: str) -> Product:
    return Product(export.path, {"facts": export.made_of, "program": program}, export.make, lambda: export.make)


def _share_image(
    parts: Sequence[tuple[bytes, Placement | None]], lines: Sequence[str], look: Look, words: Description
) -> bytes:
    """A share picture of one encoded picture, or of the halves of two in the frame of the second."""
    from noctuary.images.embed_metadata import described
    from noctuary.images.share_image import halves, share_picture

    data, _ = parts[0]
    if len(parts) == 2:
        (older, of), (newer, onto) = parts
        assert of is not None
        assert onto is not None
        data = halves(older, of, newer, onto)
    return described(share_picture(data, lines, look), "jpeg", words)


class _PageProducts:
    """Sets pages; loads the template engine when the first one has to be set, and not before."""

    def __init__(self, context: BuildContext) -> None:
        self._context = context
        self._theme = context.theme
        self._program = digest(context.program)
        self._digests: dict[str, str] = {}

    def page(self, page: Page) -> Product:
        ingredients = {
            "words and facts": digest(page),
            "theme": self._theme_digest(page.template),
            "program": self._program,
        }
        return Product(page.path, ingredients, partial(self._render, page))

    def _render(self, page: Page) -> bytes:

        try:
            return self._renderer.render(page).encode()
        except BadTemplate:
            raise
        except Exception as error:
            # Whatever a template of somebody's own does is its mistake; one that arose elsewhere is ours.
            if (where := _in_template(error)) is None:
                raise
            raise BadTemplate(*where, _said_of(error)) from error

    def share_image(self, page: Page, files: PictureFiles) -> Product:
        """A share picture, whose lines ``page`` sets."""
        facts = self._context.facts
        shown = [facts.pictures[i] for i in page.context.pictures]  # one, or the oldest and the newest of a frame
        words = words_of(facts.archive, shown[-1])

        def in_worker() -> Callable[[], bytes]:
            from noctuary.images.share_image import Look

            look = self._card_look
            face = find(self._theme, look.pop("face")) if "face" in look else None
            lines = unescape(self._render(page).decode()).splitlines()
            parts = self._share_parts(shown, files)
            return partial(_share_image, parts, lines, Look(face, **look), words)

        ingredients = {
            "words and facts": digest((page, words)),
            "picture": digest([(files.entries[f.picture.id], _key(f) if len(shown) > 1 else "") for f in shown]),
            "theme": digest([self._theme_digest(page.template), self._faces]),
            "program": self._program,
        }
        return Product(page.path, ingredients, lambda: in_worker()(), in_worker)

    def _share_parts(
        self, shown: Sequence[PictureFacts], files: PictureFiles
    ) -> list[tuple[bytes, Placement | None]]:
        """The encoded pictures that a share picture is made of; of two with where they lie, the newer last."""
        from noctuary.images.share_image import WIDTH
        from noctuary.images.warp import fitting_width

        if len(shown) == 1:
            return [(jpeg_rendition(self._context, files, shown[0].picture, WIDTH), None)]
        placed = [f.placement.placement() for f in shown if f.placement is not None]
        widths = [fitting_width(of, placed[-1], WIDTH) for of in placed]
        return [
            (jpeg_rendition(self._context, files, f.picture, width), of)
            for f, width, of in zip(shown, widths, placed, strict=True)
        ]

    @property
    def _card_look(self) -> dict[str, str]:
        """The face and the colours that the theme has for share pictures (``card`` in theme.yaml)."""
        look = self._renderer.theme.get("card") or {}
        return {name: str(look[name]) for name in ("face", "ground", "ink", "faint") if name in look}

    @cached_property
    def _faces(self) -> str:
        """A digest of every face of the theme, for one of them is on the share pictures."""
        files = published_files(self._theme).items()
        return digest(b"".join(data for path, data in files if path.endswith((".woff2", ".ttf", ".otf"))))

    @cached_property
    def _renderer(self) -> Renderer:
        from jinja2 import TemplateError

        from noctuary.pages.render import Renderer

        try:
            return Renderer(self._theme, self._context.archive.language)
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
                    waiting += _DRAWN.findall(self._template(name).decode("utf-8", "replace"))
            self._digests[template] = digest(
                [(f"templates/{name}", self._template(name)) for name in sorted(names)]
                + [("theme.yaml", self._read(find(self._theme, "theme.yaml")))]
                + [self._words, "\n".join(as_published(self._theme)).encode()]
            )
        return self._digests[template]

    @cached_property
    def _words(self) -> list[bytes]:
        return [p.read_bytes() for folder in self._theme for p in sorted((folder / "languages").rglob("*.po"))]

    def _template(self, name: str) -> bytes:
        return self._read(find_template(self._theme, name))

    @staticmethod
    def _read(file: Path | None) -> bytes:
        return file.read_bytes() if file else b""


def _key(facts: PictureFacts) -> str:
    return facts.placement.key if facts.placement else ""


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

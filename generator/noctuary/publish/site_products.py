"""Every file of the site, from the facts and the pictures: what a build makes or keeps."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from html import unescape
from typing import TYPE_CHECKING

from noctuary.diagnostic import Diagnostic
from noctuary.images.rendition_cache import prune
from noctuary.memo import Memo
from noctuary.pages import not_found_page, search_index, sky_view_file
from noctuary.pages.build_context import BuildContext
from noctuary.pages.change_cut_outs import cut_out_files
from noctuary.pages.exports.export import Export
from noctuary.pages.exports.export_list import site_exports
from noctuary.pages.overlay_files import overlay_files
from noctuary.pages.page_list import pages, site_model
from noctuary.pages.picture_words import index_pieces, keep_page
from noctuary.pages.product import Product, digest
from noctuary.pages.published_pictures import PictureFiles, jpeg_rendition, picture_files, words_of
from noctuary.pages.registered_picture import frame_files
from noctuary.pages.share_image_text import ShareImagePlan, share_image_pages
from noctuary.pages.theme import find, published_files
from noctuary.publish.cluster import cluster
from noctuary.publish.page_products import WORDS_AND_FACTS, PageSetter, page_digest

if TYPE_CHECKING:
    from noctuary.facts.picture import PictureFacts
    from noctuary.images.embed_metadata import Description
    from noctuary.images.share_image import Look
    from noctuary.sky.placement import Placement


@dataclass
class SiteProducts:
    """The products of a site in the order in which they are made; ``pages`` counts those that are pages.

    ``pieces``: what a later build puts some of them together from, by name.
    ``prune_cache`` removes from the cache of renditions what the archive no longer needs, beyond a bound.
    """

    products: list[Product]
    findings: list[Diagnostic]
    pages: int
    pieces: dict[bytes, bytes]
    prune_cache: Callable[[], object]


def site_products(context: BuildContext, executor: str | None) -> SiteProducts:
    """Everything that the site of an archive consists of; ``executor`` names what makes its pictures.

    Raises OSError where the cache cannot be written and :class:`NoSuchExecutor`.
    """
    with cluster(executor, context.folder) as engine:
        files = picture_files(context, engine)
    overlays = overlay_files(context, files)
    frames = frame_files(context, files)
    cut_outs = cut_out_files(context, files)
    model = site_model(context.facts, files.shown, overlays.by_pair, frames.by_target, cut_outs.by_pair)
    exports = site_exports(model)
    all_pages = pages(model, exports)
    setter = PageSetter(context.theme, context.archive.language, context.program, context.fragments)
    share_images = _ShareImages(context, setter)
    products = [*files.products, *overlays.products, *frames.products, *cut_outs.products]
    products += [Product(path, {"theme": digest(data)}, partial(bytes, data))
                 for path, data in published_files(context.theme).items()]  # fmt: skip
    for plan in (*all_pages, not_found_page.page(model)):
        products.append(setter.planned(plan, context.memory))
        keep_page(plan, products[-1].ingredients[WORDS_AND_FACTS], context.memory)
    products += [share_images.product(plan, files) for plan in share_image_pages(model)]
    products += [_export_product(export, setter.program, context.memory) for export in exports]
    index = search_index.index(model, context.memory)
    products.append(index.product(context.program))
    products += sky_view_file.products(model, context.program)
    return SiteProducts(
        products=products,
        findings=files.findings,
        pages=sum(page.path.endswith(".html") for page in all_pages),
        pieces=dict(index_pieces(index)),
        prune_cache=partial(prune, context.renditions, set(files.entries.values())),
    )


def _export_product(export: Export, program: str, memory: Memo) -> Product:
    if export.told_from is None:
        facts = export.made_of()
    else:
        facts = memory.ask(("export", export.path, export.told_from), export.made_of, str)
    return Product(export.path, {"facts": facts, "program": program}, export.make, export.in_worker)


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


class _ShareImages:
    """Makes share pictures, whose lines the theme sets."""

    def __init__(self, context: BuildContext, setter: PageSetter) -> None:
        self._context, self._setter = context, setter
        self._theme_digests: dict[str, str] = {}

    def product(self, plan: ShareImagePlan, files: PictureFiles) -> Product:
        """A share picture, whose lines the planned page sets."""
        facts = self._context.facts
        shown = [facts.pictures[i] for i in plan.pictures]
        words = words_of(facts.archive, shown[-1])

        def in_worker() -> Callable[[], bytes]:
            from noctuary.images.share_image import Look

            look = self._card_look
            face = find(self._context.theme, look.pop("face")) if "face" in look else None
            lines = unescape(self._setter.set(plan.page()).decode()).splitlines()
            parts = self._share_parts(shown, files)
            return partial(_share_image, parts, lines, Look(face, **look), words)

        ingredients = {
            WORDS_AND_FACTS: page_digest(plan, self._context.memory, words),
            "picture": digest([(files.entries[f.picture.id], _key(f) if len(shown) > 1 else "") for f in shown]),
            "theme": self._theme_digest(plan.template),
            "program": self._setter.program,
        }
        return Product(plan.path, ingredients, lambda: in_worker()(), in_worker)

    def _theme_digest(self, template: str) -> str:
        if template not in self._theme_digests:
            self._theme_digests[template] = digest([self._setter.theme_digest(template), self._faces])
        return self._theme_digests[template]

    def _share_parts(
        self, shown: Sequence[PictureFacts], files: PictureFiles
    ) -> list[tuple[bytes, Placement | None]]:
        """The encoded pictures that a share picture is made of; of two with where they lie, the newer last."""
        from noctuary.images.share_image import WIDTH

        if len(shown) == 1:
            return [(jpeg_rendition(self._context, files, shown[0].picture, WIDTH), None)]
        from noctuary.images.warp import fitting_width

        placed = [f.placement.placement() for f in shown if f.placement is not None]
        widths = [fitting_width(of, placed[-1], WIDTH) for of in placed]
        return [
            (jpeg_rendition(self._context, files, f.picture, width), of)
            for f, width, of in zip(shown, widths, placed, strict=True)
        ]

    @property
    def _card_look(self) -> dict[str, str]:
        """The face and the colours that the theme has for share pictures (``card`` in theme.yaml)."""
        look = self._setter.renderer.theme.get("card") or {}
        return {name: str(look[name]) for name in ("face", "ground", "ink", "faint") if name in look}

    @cached_property
    def _faces(self) -> str:
        """A digest of every face of the theme, for one of them is on the share pictures."""
        files = published_files(self._context.theme).items()
        return digest(b"".join(data for path, data in files if path.endswith((".woff2", ".ttf", ".otf"))))


def _key(facts: PictureFacts) -> str:
    return facts.placement.key if facts.placement else ""

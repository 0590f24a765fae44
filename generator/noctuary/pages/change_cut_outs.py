"""The cut-outs of what changed on the sky between two pictures: one file a pair, as it is published."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial

from noctuary.archive.changes_file import KeptChanges
from noctuary.facts.changes import kept_changes
from noctuary.facts.picture import PictureFacts
from noctuary.images.recipe import RECIPE_VERSION
from noctuary.pages.build_context import BuildContext
from noctuary.pages.overlay_pairs import Pair
from noctuary.pages.picture_view import Source
from noctuary.pages.product import Product, digest
from noctuary.pages.published_pictures import PictureFiles, jpeg_rendition
from noctuary.portable_name import portable

#: Size of one pair of cut-outs; :mod:`noctuary.images.cut_outs` draws it, and is imported where that happens.
WIDTH_PX, HEIGHT_PX = 324, 160


@dataclass
class CutOutFiles:
    """By (older, newer) the strip of a pair's cut-outs, one below the other, and the files that hold them."""

    by_pair: dict[Pair, Source] = field(default_factory=dict)
    products: list[Product] = field(default_factory=list)


def cut_out_files(context: BuildContext, pictures: PictureFiles) -> CutOutFiles:
    """Cut-outs of every candidate that is kept of two pictures that can be shown."""
    files = CutOutFiles()
    for target in context.facts.targets:
        for older, newer, kept in kept_changes(target, pictures.shown):
            pair = older.picture.id, newer.picture.id
            if kept.candidates:
                files.by_pair[pair], product = _strip(context, pictures, older, newer, kept)
                files.products.append(product)
    return files


def _strip(
    context: BuildContext, files: PictureFiles, older: PictureFacts, newer: PictureFacts, kept: KeptChanges
) -> tuple[Source, Product]:
    of, onto = older.placement, newer.placement
    assert of is not None
    assert onto is not None
    places = [(each.ra_deg, each.dec_deg) for each in kept.candidates]
    pixels = {
        "picture": digest([files.entries[facts.picture.id] for facts in (older, newer)]),
        "placement": digest((of.key, onto.key, places, RECIPE_VERSION)),
    }
    mark = digest(sorted(pixels.items()))[:12]
    name = portable(f"images/{newer.picture.id}-since-{older.picture.id}.{mark}.webp")

    def in_worker() -> Callable[[], bytes]:
        from noctuary.images.cut_outs import strip

        # In full: a star must not be smaller than it was measured.
        whole = [jpeg_rendition(context, files, facts.picture, _width(facts)) for facts in (older, newer)]
        return partial(strip, (whole[0], whole[1]), (of.placement(), onto.placement()), places)

    product = Product(name, pixels, lambda: in_worker()(), in_worker)
    return Source(name, WIDTH_PX, HEIGHT_PX * len(places), "webp"), product


def _width(facts: PictureFacts) -> int:
    """The width of a picture's file, pixels."""
    return facts.pixels[0] if facts.pixels else 1

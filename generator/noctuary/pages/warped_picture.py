"""The file of a picture drawn again on the sky of another, as it is published."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

from noctuary.facts.picture import PictureFacts
from noctuary.pages.build_context import BuildContext
from noctuary.pages.picture_view import Source
from noctuary.pages.product import Product, digest
from noctuary.pages.published_pictures import PictureFiles, jpeg_rendition, words_of
from noctuary.portable_name import portable


def warped_picture(
    context: BuildContext, files: PictureFiles, picture: PictureFacts, frame: PictureFacts, width: int, word: str
) -> tuple[Source, Product]:
    """``picture`` on the pixels of ``frame`` shown ``width`` pixels wide; both are placed.

    ``word`` is between their ids in the file's name, so that two uses of one size have two files.
    Making it raises FileNotFoundError where the picture has vanished meanwhile.
    """
    below = files.shown[frame.picture.id]
    height = max(1, round(width * below.height / below.width))
    of, onto = picture.placement, frame.placement
    assert of is not None
    assert onto is not None
    words = replace(words_of(context.archive, picture), title="")
    pixels = {
        "picture": files.entries[picture.picture.id],
        "placement": digest((of.key, onto.key, width, height)),
    }
    # As for every published picture, its address comes from its pixels alone.
    mark = digest(sorted(pixels.items()))[:12]
    name = portable(f"images/{picture.picture.id}-{word}-{frame.picture.id}-{width}.{mark}.webp")

    def in_worker() -> Callable[[], bytes]:
        from noctuary.images.warp import fitting_width, redrawn

        source, target = of.placement(), onto.placement()
        data = jpeg_rendition(context, files, picture.picture, fitting_width(source, target, width))
        return partial(redrawn, data, source, target, width, height, words)

    product = Product(name, pixels | {"words in the picture": digest(words)}, lambda: in_worker()(), in_worker)
    return Source(name, width, height, "webp"), product

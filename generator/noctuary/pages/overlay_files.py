"""How the pictures of a target lie over each other, and the files of those that must be drawn again for it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING

from noctuary.facts.overlay_pairs import Alignment, alignment
from noctuary.facts.picture import PictureFacts
from noctuary.pages.build_context import BuildContext
from noctuary.pages.overlay_pairs import Layer, Pair, pairs, shown_width
from noctuary.pages.picture_view import PictureView, Source
from noctuary.pages.product import Product, digest
from noctuary.portable_name import portable

if TYPE_CHECKING:
    pass

#: A matrix that misses by more pixels of the shown size is not good enough; the picture is drawn again instead.
MOST_MISSED_PX = 2.0


@dataclass
class OverlayFiles:
    """Every placed pair of a target that shares sky, (older, newer), and the files that were drawn for them."""

    by_pair: dict[Pair, Layer] = field(default_factory=dict)
    products: list[Product] = field(default_factory=list)


def overlay_files(context: BuildContext, shown: Mapping[str, PictureView]) -> OverlayFiles:
    """How the pictures of every target lie over each other."""
    files = OverlayFiles()
    for target in context.facts.targets:
        for older, newer in pairs(target, shown):
            if older.placement is None or newer.placement is None:
                continue
            below, above = older.placement, newer.placement
            question = ("laid over", below.key, above.key)
            work: Callable[[], Alignment | None] = partial(alignment, below, above)
            overlay: Alignment | None = context.memory.ask(question, work, Alignment | None)
            if overlay is None:
                continue
            base, other = (older, newer) if overlay.base == "older" else (newer, older)
            again = None
            if overlay.misses_px(shown_width(shown[base.picture.id])) > MOST_MISSED_PX:
                again, product = _drawn_again(context, base, other, shown[base.picture.id])
                files.products.append(product)
            files.by_pair[older.picture.id, newer.picture.id] = Layer(overlay, again)
    return files


def _drawn_again(
    context: BuildContext, base: PictureFacts, other: PictureFacts, under: PictureView
) -> tuple[Source, Product]:
    """The other picture drawn onto the pixels of ``base``, which is shown as ``under``."""
    archive, width = context.archive, shown_width(under)
    height = max(1, round(width * under.height / under.width))
    source_hash = context.hash_of(other.picture.file)
    assert base.placement is not None
    assert other.placement is not None
    names = other.object_names
    words = (archive.author, other.picture.credit, archive.licence, names)
    pixels = {
        "picture": source_hash,
        "placement": digest((base.placement.key, other.placement.key, width, height, archive.publish_size_px)),
    }
    ingredients = pixels | {"words in the picture": digest(words)}
    # As for every published picture, its address comes from its pixels alone.
    mark = digest(sorted(pixels.items()))[:12]
    name = portable(f"images/{other.picture.id}-on-{base.picture.id}-{width}.{mark}.webp")

    def make() -> bytes:
        import io

        from PIL import Image

        from noctuary.images.decoded import PictureFault
        from noctuary.images.embed_metadata import Description, described
        from noctuary.images.make_renditions import make_renditions
        from noctuary.images.rendition_cache import read_rendition
        from noctuary.images.warp import encoded, warped
        from noctuary.sky.avm import avm_fields

        assert base.placement is not None
        assert other.placement is not None
        made = make_renditions(
            context.folder / other.picture.file, context.renditions, source_hash, archive.publish_size_px
        )
        if isinstance(made, PictureFault):
            raise FileNotFoundError(2, made.message, other.picture.file)
        # The rendition whose pixels are about as fine as those of the result: bicubic between them loses nothing.
        of, onto = other.placement.placement(), base.placement.placement()
        wanted = of.width_px * other.placement.image_scale_arcsec_px / base.placement.image_scale_arcsec_px
        wanted *= width / onto.width_px
        fitting = [r for r in made.of("jpeg") if r.width >= wanted]
        rendition = fitting[0] if fitting else made.full
        with Image.open(io.BytesIO(read_rendition(rendition))) as opened:
            drawn = warped(opened.convert("RGB"), of, onto, width, height)
        creator, credit, licence, _ = words
        said = Description("", creator, credit or "", licence, names, avm_fields(onto, width, height))
        return described(encoded(drawn), "webp", said)

    return Source(name, width, height, "webp"), Product(name, ingredients, make)

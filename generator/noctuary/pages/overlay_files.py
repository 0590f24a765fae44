"""How the pictures of a target lie over each other, and the files of those that must be drawn again for it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial

from noctuary.facts.alignment import Alignment, alignment
from noctuary.pages.build_context import BuildContext
from noctuary.pages.overlay_pairs import Layer, Pair, pairs, shown_width
from noctuary.pages.product import Product
from noctuary.pages.published_pictures import PictureFiles
from noctuary.pages.warped_picture import warped_picture

#: A matrix that misses by more pixels of the shown size is not good enough; the picture is drawn again instead.
MOST_MISSED_PX = 2.0


@dataclass
class OverlayFiles:
    """Every placed pair of a target that shares sky, (older, newer), and the files that were drawn for them."""

    by_pair: dict[Pair, Layer] = field(default_factory=dict)
    products: list[Product] = field(default_factory=list)


def overlay_files(context: BuildContext, pictures: PictureFiles) -> OverlayFiles:
    """How the pictures of every target lie over each other."""
    overlays, shown = OverlayFiles(), pictures.shown
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
                under = shown[base.picture.id]
                again, product = warped_picture(context, pictures, other, base, shown_width(under), "on")
                overlays.products.append(product)
            overlays.by_pair[older.picture.id, newer.picture.id] = Layer(overlay, again)
    return overlays

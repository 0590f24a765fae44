"""The pictures of a target drawn in one frame, that of the newest: which they are, and their files."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial

from noctuary.facts.picture import PictureFacts
from noctuary.facts.registration import Registration, registration
from noctuary.pages.build_context import BuildContext
from noctuary.pages.picture_view import Source
from noctuary.pages.product import Product
from noctuary.pages.published_pictures import PictureFiles
from noctuary.pages.warped_picture import warped_picture
from noctuary.plain_record import plain_record

#: Width of the frame in pixels: two phones wide, and some 130 KB of a star field as WebP.
FRAME_PX = 960


@plain_record
class RegisteredPicture:
    """A picture as it is drawn in the frame, and how it lies there."""

    picture_id: str
    drawn: Source
    lies: Registration


@dataclass
class FrameFiles:
    """By a target's identity its registered pictures, oldest first, and the files that were drawn for them."""

    by_target: dict[str, tuple[RegisteredPicture, ...]] = field(default_factory=dict)
    products: list[Product] = field(default_factory=list)


def frame_files(context: BuildContext, pictures: PictureFiles) -> FrameFiles:
    """The pictures of every target with a fixed place, each drawn in the frame of the newest that is placed."""
    files = FrameFiles()
    for target in context.facts.targets:
        if not target.fixed:
            continue
        placed = sorted(
            (f for f in target.pictures if f.placement is not None and f.picture.id in pictures.shown),
            key=lambda f: (f.picture.finished, f.picture.id),
        )
        if len(placed) < 2:
            continue
        frame = placed[-1]
        lies = [(facts, found) for facts in placed if (found := _registration(context, frame, facts)) is not None]
        if len(lies) < 2:
            continue
        width = min(FRAME_PX, pictures.shown[frame.picture.id].full.width)
        registered = []
        for facts, found in lies:
            drawn, product = warped_picture(context, pictures, facts, frame, width, "in")
            registered.append(RegisteredPicture(facts.picture.id, drawn, found))
            files.products.append(product)
        files.by_target[target.identity] = tuple(registered)
    return files


def _registration(context: BuildContext, frame: PictureFacts, other: PictureFacts) -> Registration | None:
    onto, of = frame.placement, other.placement
    assert onto is not None
    assert of is not None
    work: Callable[[], Registration | None] = partial(registration, onto, of)
    found: Registration | None = context.memory.ask(("in one frame", onto.key, of.key), work, Registration | None)
    return found

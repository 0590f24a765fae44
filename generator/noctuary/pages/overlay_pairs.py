"""Pictures of one target over each other, two at a time: which pairs there are, how they lie, their pages."""

from __future__ import annotations

from collections.abc import Container
from typing import TYPE_CHECKING

from noctuary.facts.alignment import Alignment
from noctuary.facts.picture import PictureFacts
from noctuary.facts.target import TargetFacts
from noctuary.pages.addresses import Addresses
from noctuary.pages.picture_view import PictureView, Source
from noctuary.plain_record import plain_record
from noctuary.portable_name import portable

if TYPE_CHECKING:
    pass

#: Two pictures over each other are shown at most so wide.
WIDEST_PX = 1920
#: Up to so many pictures of a target each is compared with each; of more, each with its neighbours in time, the
#: first and the newest, or a hundred pictures would make five thousand pages.
EACH_WITH_EACH = 16


@plain_record
class Layer:
    """How a pair is registered, and the other picture drawn again where a matrix would miss by too much."""

    alignment: Alignment
    drawn_again: Source | None = None


Pair = tuple[str, str]


def pairs(target: TargetFacts, shown: Container[str]) -> tuple[tuple[PictureFacts, PictureFacts], ...]:
    """Pairs of a target's pictures that get a page, (older, newer), in the order of time."""
    oldest_first = sorted(target.pictures, key=lambda f: (f.picture.finished, f.picture.id))
    ordered = [f for f in oldest_first if f.picture.id in shown]
    last = len(ordered) - 1
    return tuple(
        (ordered[i], ordered[j])
        for i in range(len(ordered))
        for j in range(i + 1, len(ordered))
        if len(ordered) <= EACH_WITH_EACH or j == i + 1 or i == 0 or j == last
    )


def address(addresses: Addresses, identity: str, older: str, newer: str) -> str:
    """The address of the page for a pair of a target's pictures, whatever the target is called."""
    return portable(f"compare/{addresses.stems[identity]}--{older}--{newer}.html")


def shown_width(base: PictureView) -> int:
    """How wide a pair is shown at most, pixels."""
    return min(WIDEST_PX, base.full.width)

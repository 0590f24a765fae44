"""Which pictures of a target are compared for what changed on the sky, and what was found and kept of them."""

from __future__ import annotations

from collections.abc import Container, Iterator
from typing import TYPE_CHECKING

from noctuary.archive.changes_file import KeptChanges

if TYPE_CHECKING:
    from noctuary.facts.picture import PictureFacts
    from noctuary.facts.target import TargetFacts

SUREST = 24
"""So many candidates of a pair are kept and shown."""


def placed_in_order(target: TargetFacts) -> list[PictureFacts]:
    """The target's placed pictures, oldest first."""
    placed = (facts for facts in target.pictures if facts.placement is not None)
    return sorted(placed, key=lambda facts: (facts.picture.finished, facts.picture.id))


def kept_changes(
    target: TargetFacts, shown: Container[str]
) -> Iterator[tuple[PictureFacts, PictureFacts, KeptChanges]]:
    """What was kept of pairs of the target's pictures: the other picture, the one that keeps it, and what.

    ``shown`` are the ids of pictures that can be shown; pairs of others are left out.
    """
    known = {facts.picture.id for facts in target.pictures if facts.picture.id in shown}
    pictures = {facts.picture.id: facts for facts in target.pictures}
    for facts in placed_in_order(target):
        for kept in facts.changes:
            other = pictures.get(kept.against)
            if other is not None and other.placement is not None and {facts.picture.id, kept.against} <= known:
                yield other, facts, kept

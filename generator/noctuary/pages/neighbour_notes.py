"""A target's neighbours on the sky, each with a picture and the way to it."""

from __future__ import annotations

from noctuary.facts.neighbours import neighbours
from noctuary.facts.object_names import common_name_beside
from noctuary.pages.page import Link
from noctuary.pages.picture_view import PictureView
from noctuary.pages.site_model import SiteModel
from noctuary.plain_record import plain_record


@plain_record
class NeighbourNote:
    """A neighbour: its page, its newest picture, how far away and in what direction it is (degrees, as its facts)."""

    target: Link
    common_name: str | None
    shown: PictureView
    separation_deg: float
    position_angle_deg: float


def neighbour_notes(model: SiteModel) -> dict[str, tuple[NeighbourNote, ...]]:
    """The neighbours of each target that has a picture to show, by its identity; each of them has one too."""
    pictures = {t.identity: shown for t in model.facts.targets if (shown := model.picture_of(t)) is not None}
    near = neighbours(t for t in model.facts.targets if t.identity in pictures)
    return {
        identity: tuple(
            NeighbourNote(
                target=model.target_link(n.target),
                common_name=common_name_beside(n.target.object, n.target.name),
                shown=pictures[n.target.identity],
                separation_deg=n.separation_deg,
                position_angle_deg=n.position_angle_deg,
            )
            for n in found
        )
        for identity, found in near.items()
    }

"""The share picture of every picture's page: what its lines say, and what it is drawn from."""

from __future__ import annotations

from generator.plain import plain
from generator.site.edition import Edition
from generator.site.heavens import ObjectNote, object_note
from generator.site.page import Frame, Page
from generator.site.picture_page import Gist, gist
from generator.site.sharing import share_picture


@plain
class CardContext:
    """What the lines below the picture may say; ``id`` is the picture's."""

    frame: Frame
    id: str
    title: str
    objects: tuple[ObjectNote, ...]
    gist: Gist


def cards(edition: Edition) -> list[Page]:
    """The lines of each share picture as a text to be set; none where the site has no address."""
    if edition.facts.archive.address is None:
        return []
    return [
        Page(
            share_picture(picture_id),
            "share_lines.txt",
            CardContext(
                frame=edition.frame,
                id=picture_id,
                title=" ".join(facts.picture.title.split()),
                objects=tuple(object_note(o, edition.addresses) for o in facts.objects),
                gist=gist(facts),
            ),
            "share picture",
            facts.picture.listed,
        )
        for picture_id, facts in edition.facts.pictures.items()
        if picture_id in edition.shown
    ]

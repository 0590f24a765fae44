"""What many pages of a site are told from, as digests: a page of the same ingredients as before is not told again.

What such a page says follows from the whole site's own words (:attr:`ToldFrom.site`), from the pictures that it shows
(:meth:`ToldFrom.picture`) and from what its module adds. One that claims too much is told once too often; one that
claims too little would go on saying what no longer holds, so claim the picture and not the fact.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import fields
from functools import cached_property
from operator import attrgetter

from noctuary.archive.records import Archive, Picture
from noctuary.facts.archive_facts import ArchiveFacts
from noctuary.facts.picture import PictureFacts
from noctuary.pages.addresses import Addresses
from noctuary.pages.page import Frame
from noctuary.pages.picture_view import PictureView
from noctuary.pages.product import digest

# Sessions are in the facts of their picture, with all that is known of them; where it was written is on no page.
_OF_RECORD = attrgetter(*(f.name for f in fields(Picture) if f.name not in {"marks", "sessions", "own_sessions"}))
_OF_PICTURE = attrgetter(*(f.name for f in fields(PictureFacts) if f.name != "picture"))
_OF_ARCHIVE = attrgetter(
    *(f.name for f in fields(Archive) if f.name not in {"pictures", "nights", "exhibits", "pages", "marks"})
)
# A night has a page or has none: that is told of the sessions of a picture, not of every page.
_OF_ADDRESSES = attrgetter(*(f.name for f in fields(Addresses) if f.name != "nights"))


class ToldFrom:
    """Digests of what pages are told from, each worked out once."""

    def __init__(
        self, facts: ArchiveFacts, shown: Mapping[str, PictureView], frame: Frame, addresses: Addresses
    ) -> None:
        self._facts, self._shown, self._frame, self._addresses = facts, shown, frame, addresses
        self._pictures: dict[str, str] = {}

    @cached_property
    def site(self) -> str:
        """What every page may say: the archive's own words, equipment, places, names, addresses but those of nights.

        And the first picture, which stands for a page that has none where its address is pasted.
        """
        facts, shown = self._facts, self._shown
        first = next(((i, shown[i].alt) for p in facts.listed if (i := p.picture.id) in shown), None)
        return digest((self._frame, _OF_ADDRESSES(self._addresses), facts.names, _OF_ARCHIVE(facts.archive), first))

    def picture(self, facts: PictureFacts) -> str:
        """A picture: its record, everything derived from it, the pages of its nights, and how it is shown."""
        name = facts.picture.id
        if name not in self._pictures:
            nights = [f.session.night in self._addresses.nights for f in facts.sessions]
            of_picture = _OF_RECORD(facts.picture), _OF_PICTURE(facts), nights, self._shown.get(name)
            self._pictures[name] = digest(of_picture)
        return self._pictures[name]

    def all_of(self, pictures: Iterable[PictureFacts], *more: object) -> str:
        """The site, these pictures in this order, and what else a page is told from."""
        return digest((self.site, list(map(self.picture, pictures)), more))

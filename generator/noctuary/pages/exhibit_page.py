"""Exhibits: a page to read, a slideshow for the wall, and the page that lists them.

A picture that is not listed is linked from nowhere, so it hangs in no exhibit; an exhibit of such pictures alone
has no page.
"""

from __future__ import annotations

from collections.abc import Container

from noctuary.archive.records import Exhibit
from noctuary.facts.archive_facts import ArchiveFacts
from noctuary.pages.addresses import exhibit_page, slides_page
from noctuary.pages.object_summary import ObjectNote, object_note
from noctuary.pages.page import Frame, Link, Page
from noctuary.pages.picture_page import PictureSummary, picture_summary
from noctuary.pages.picture_view import PictureView
from noctuary.pages.site_model import EXHIBITS, SiteModel
from noctuary.plain_record import plain_record


@plain_record
class Slide:
    """A picture of an exhibit with what is said when it is on the wall (Markdown); numbers from 1."""

    number: int
    shown: PictureView
    object: ObjectNote | None
    summary: PictureSummary
    commentary: str | None
    credit: str | None


@plain_record
class ExhibitContext:
    """``show`` is the slideshow of the exhibit and ``reading`` the page to read; ``introduction`` is Markdown."""

    frame: Frame
    id: str
    title: str
    introduction: str | None
    slides: tuple[Slide, ...]
    show: str
    reading: str


@plain_record
class ExhibitsContext:
    """Every exhibit with its introduction, its number of pictures and the first of them."""

    frame: Frame
    exhibits: tuple[tuple[Link, str | None, int, PictureView], ...]


def shown_exhibits(
    facts: ArchiveFacts, shown: Container[str]
) -> tuple[tuple[Exhibit, tuple[tuple[str, str | None], ...]], ...]:
    """Exhibits with those of their pictures that can be shown: id and commentary."""
    found = []
    for exhibit in facts.archive.exhibits:
        pictures = tuple(
            (name, said)
            for name, said in exhibit.pictures
            if name in shown and name in facts.pictures and facts.pictures[name].picture.listed
        )
        if pictures:
            found.append((exhibit, pictures))
    return tuple(found)


def pages(model: SiteModel) -> list[Page]:
    found: list[Page] = []
    told = []
    for exhibit, pictures in shown_exhibits(model.facts, model.shown):
        slides = tuple(_slide(model, at, name, said) for at, (name, said) in enumerate(pictures, 1))
        reading, show = exhibit_page(exhibit.id), slides_page(exhibit.id)
        context = ExhibitContext(
            model.frame, exhibit.id, exhibit.title, exhibit.introduction, slides, show, reading
        )  # fmt: skip
        found.append(Page(reading, "exhibit.html", context, "exhibit"))
        found.append(Page(show, "slides.html", context, "slides"))
        told.append((Link(exhibit.title, reading), exhibit.introduction, len(slides), slides[0].shown))
    if told:
        found.insert(0, Page(EXHIBITS, "exhibits.html", ExhibitsContext(model.frame, tuple(told)), "exhibits"))
    return found


def _slide(model: SiteModel, number: int, name: str, said: str | None) -> Slide:
    facts = model.facts.pictures[name]
    return Slide(
        number=number,
        shown=model.shown[name],
        object=object_note(facts.target, model) if facts.target else None,
        summary=picture_summary(facts),
        commentary=said,
        credit=facts.picture.credit,
    )

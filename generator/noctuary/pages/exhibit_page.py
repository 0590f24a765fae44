"""Exhibits: an essay to read, a slideshow that fills the screen, and the page that lists them.

A picture that is not listed is linked from nowhere, so it hangs in no exhibit; an exhibit of such pictures alone
has no page.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Sequence
from functools import partial
from typing import Literal

from noctuary.archive.records import Exhibit
from noctuary.facts.archive_facts import ArchiveFacts
from noctuary.pages.addresses import exhibit_page, slides_page
from noctuary.pages.object_summary import ObjectNote, object_note
from noctuary.pages.page import Frame, Link, PagePlan
from noctuary.pages.picture_page import PictureSummary, picture_summary
from noctuary.pages.picture_view import PictureView
from noctuary.pages.site_model import EXHIBITS, SiteModel
from noctuary.plain_record import plain_record


@plain_record
class Slide:
    """A picture of an exhibit with the words that go with it (Markdown); numbers from 1."""

    number: int
    shown: PictureView
    object: ObjectNote | None
    summary: PictureSummary
    commentary: str | None
    credit: str | None


Setting = Literal["full width", "beside", "pair"]


@plain_record
class EssayRow:
    """Pictures that are read together: one over the full width, one with its words beside it, or a pair."""

    setting: Setting
    slides: tuple[Slide, ...]


@plain_record
class ExhibitContext:
    """``show`` is the slideshow of the exhibit and ``reading`` the page to read; ``introduction`` is Markdown.

    ``rows`` are the slides as the page to read sets them, ``targets`` what they show, ``others`` further exhibits.
    """

    frame: Frame
    id: str
    title: str
    introduction: str | None
    slides: tuple[Slide, ...]
    rows: tuple[EssayRow, ...]
    targets: tuple[ObjectNote, ...]
    others: tuple[Link, ...]
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
    exhibits = []
    for exhibit in facts.archive.exhibits:
        pictures = tuple(
            (name, words)
            for name, words in exhibit.pictures
            if name in shown and name in facts.pictures and facts.pictures[name].picture.listed
        )
        if pictures:
            exhibits.append((exhibit, pictures))
    return tuple(exhibits)


def pages(model: SiteModel) -> list[PagePlan]:
    exhibits = shown_exhibits(model.facts, model.shown)
    if not exhibits:
        return []
    links = [Link(exhibit.title, exhibit_page(exhibit.id)) for exhibit, _ in exhibits]
    entries = tuple(
        (link, exhibit.introduction, len(pictures), model.shown[pictures[0][0]])
        for link, (exhibit, pictures) in zip(links, exhibits, strict=True)
    )
    plans = [PagePlan(EXHIBITS, "exhibits.html", "exhibits", partial(ExhibitsContext, model.frame, entries))]
    for at, (exhibit, pictures) in enumerate(exhibits):
        tell = partial(_context, model, exhibit, pictures, (*links[at + 1 :], *links[:at]))
        plans.append(PagePlan(exhibit_page(exhibit.id), "exhibit.html", "exhibit", tell))
        plans.append(PagePlan(slides_page(exhibit.id), "slides.html", "slides", tell))
    return plans


def _context(
    model: SiteModel, exhibit: Exhibit, pictures: Iterable[tuple[str, str | None]], others: tuple[Link, ...]
) -> ExhibitContext:
    slides = tuple(_slide(model, number, name, words) for number, (name, words) in enumerate(pictures, 1))
    return ExhibitContext(
        frame=model.frame,
        id=exhibit.id,
        title=exhibit.title,
        introduction=exhibit.introduction,
        slides=slides,
        rows=essay_rows(slides),
        targets=tuple({s.object.name: s.object for s in slides if s.object is not None}.values()),
        others=others,
        show=slides_page(exhibit.id),
        reading=exhibit_page(exhibit.id),
    )


#: Words of a picture that is one of a pair are no longer than this; and so much may its proportions differ.
PAIR_LETTERS, PAIR_RATIO = 240, 1.25


def essay_rows(slides: Sequence[Slide]) -> tuple[EssayRow, ...]:
    """The first and the last picture over the full width, between them by turns one beside its words, and a pair.

    Two make a pair where their proportions are alike and their words short.
    """
    rows = [EssayRow("full width", tuple(slides[:1]))]
    middle = list(slides[1:-1])
    while middle:
        pair = tuple(middle[:2]) if len(rows) % 2 == 0 and _are_a_pair(middle[:2]) else ()
        rows.append(EssayRow("pair", pair) if pair else EssayRow("beside", (middle[0],)))
        del middle[: len(rows[-1].slides)]
    return (*rows, EssayRow("full width", (slides[-1],))) if len(slides) > 1 else tuple(rows)


def _are_a_pair(slides: Sequence[Slide]) -> bool:
    ratios = [slide.shown.ratio for slide in slides]
    short = all(len(slide.commentary or "") <= PAIR_LETTERS for slide in slides)
    return len(slides) == 2 and short and max(ratios) / min(ratios) <= PAIR_RATIO


def _slide(model: SiteModel, number: int, name: str, words: str | None) -> Slide:
    facts = model.facts.pictures[name]
    return Slide(
        number=number,
        shown=model.shown[name],
        object=object_note(facts.target, model) if facts.target else None,
        summary=picture_summary(facts),
        commentary=words,
        credit=facts.picture.credit,
    )

"""The share pictures of pictures and targets: what their lines say, and what they are drawn from."""

from __future__ import annotations

from functools import partial

from noctuary.archive.partial_date import PartialDate
from noctuary.facts.picture import PictureFacts
from noctuary.facts.target import TargetFacts
from noctuary.pages.light_note import LightNote, light_note
from noctuary.pages.object_summary import ObjectNote, object_note
from noctuary.pages.page import Frame, PagePlan
from noctuary.pages.picture_page import PictureSummary, picture_summary
from noctuary.pages.site_model import SiteModel
from noctuary.pages.social_metadata import share_picture, share_picture_of_target
from noctuary.plain_record import plain_record


@plain_record
class ShareImageContext:
    """What the lines below the picture may say; ``pictures`` is the id of the picture."""

    frame: Frame
    pictures: tuple[str]
    title: str
    objects: tuple[ObjectNote, ...]
    summary: PictureSummary


@plain_record
class TargetShareContext:
    """What the lines below two halves of a frame may say; ``pictures``: the ids of the oldest and the newest."""

    frame: Frame
    pictures: tuple[str, str]
    object: ObjectNote
    light: LightNote
    first: PartialDate
    last: PartialDate
    count: int


@plain_record
class ShareImagePlan(PagePlan):
    """The lines of a share picture, which shows ``pictures``: one, or the oldest and the newest of a frame."""

    pictures: tuple[str, ...] = ()


def share_image_pages(model: SiteModel) -> list[ShareImagePlan]:
    """The lines of each share picture as a text to be set; none where the site has no address."""
    if model.facts.archive.address is None:
        return []
    return [*_of_pictures(model), *_of_targets(model)]


def _of_pictures(model: SiteModel) -> list[ShareImagePlan]:
    return [
        ShareImagePlan(
            share_picture(picture_id),
            "share_lines.txt",
            "share picture",
            partial(_lines_of_picture, model, facts),
            facts.picture.listed,
            told_from=model.told_from.all_of((facts,)),
            pictures=(picture_id,),
        )
        for picture_id, facts in model.facts.pictures.items()
        if picture_id in model.shown
    ]


def _lines_of_picture(model: SiteModel, facts: PictureFacts) -> ShareImageContext:
    return ShareImageContext(
        frame=model.frame,
        pictures=(facts.picture.id,),
        title=" ".join(facts.picture.title.split()),
        objects=tuple(object_note(o, model) for o in facts.objects),
        summary=picture_summary(facts),
    )


def _of_targets(model: SiteModel) -> list[ShareImagePlan]:
    """Of each target whose pictures are in one frame, the oldest of them beside the newest."""
    plans = []
    for target in model.facts.targets:
        if registered := model.frames.get(target.identity):
            ids = registered[0].picture_id, registered[-1].picture_id
            plans.append(
                ShareImagePlan(
                    share_picture_of_target(model.addresses.stems[target.identity]),
                    "share_target_lines.txt",
                    "share picture",
                    partial(_lines_of_target, model, target, ids),
                    pictures=ids,
                )
            )
    return plans


def _lines_of_target(model: SiteModel, target: TargetFacts, ids: tuple[str, str]) -> TargetShareContext:
    first, last = (model.facts.pictures[i].picture.finished for i in ids)
    return TargetShareContext(
        frame=model.frame,
        pictures=ids,
        object=object_note(target.object, model),
        light=light_note(target),
        first=first,
        last=last,
        count=len(model.frames[target.identity]),
    )

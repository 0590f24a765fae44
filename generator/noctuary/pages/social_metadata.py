"""What a page says of itself to those it is sent to: its own address, a picture, and structured data.

Only where the site's address is known. The structured data are those of schema.org; they hold what the page shows.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from noctuary.archive.records import Archive
from noctuary.charts.address_code import AddressCode
from noctuary.facts.picture import PictureFacts
from noctuary.pages import observing_card as card_page
from noctuary.pages.addresses import exhibit_page, night_page, picture_page, slides_page, year_page
from noctuary.pages.compare_page import CompareContext
from noctuary.pages.page import Share
from noctuary.pages.picture_view import PictureView
from noctuary.pages.session_rows import PlaceNote, place_note
from noctuary.pages.site_model import FRONT, SiteModel
from noctuary.portable_name import portable
from noctuary.sky.designation import name_key
from noctuary.sky.sky_object import SkyObject

Plain = dict[str, Any]

FEED = "feed.xml"


def share_picture(picture_id: str) -> str:
    """The path of a picture's share picture."""
    return portable(f"share/{picture_id}.jpg")


def share_picture_of_target(stem: str) -> str:
    """The path of the share picture of a target whose pictures are in one frame."""
    return portable(f"share/targets/{stem}.jpg")


def absolute(site: str, page: str) -> str:
    """The address of a page of a site; the front page is the site itself."""
    return site if page == FRONT else site + page


def sharing(model: SiteModel) -> Callable[[str, Any], Share] | None:
    """What tells by a page's address and context how it is shared; ``None`` where the site has no address."""
    site = model.facts.archive.address
    if site is None:
        return None
    shown_on = _pictures_of_pages(model)
    listed = [p for p in model.facts.listed if p.picture.id in model.shown]
    by_page = {picture_page(i): f for i, f in model.facts.pictures.items() if i in model.shown}
    frames = _frames_of_pages(model)

    def share(path: str, context: object) -> Share:
        own = by_page.get(path)
        pictures = _pair(model, context) or shown_on.get(path, [])
        first = own or next(iter(pictures or listed), None)
        address = absolute(site, path)
        halves = frames.get(path)
        return Share(
            address=address,
            site=site,
            picture=site + (halves[0] if halves else share_picture(first.picture.id)) if first else None,
            picture_alt=halves[1] if halves else model.shown[first.picture.id].alt if first else "",
            structured=_structured(model, site, path, own, pictures),
            code=AddressCode(address) if own else None,
            feed=FEED if listed else None,
        )

    return share


def _pictures_of_pages(model: SiteModel) -> dict[str, list[PictureFacts]]:
    """The listed pictures of a page, by its path."""
    facts = model.facts
    by_path: dict[str, list[PictureFacts]] = {FRONT: list(facts.listed)}
    for target in facts.targets:
        by_path[model.addresses.targets[target.identity]] = list(target.pictures)
        by_path[card_page.address(model.addresses, target.identity)] = list(target.pictures[:1])
    for night in facts.nights:
        by_path[night_page(night.night)] = list(night.pictures)
    for year in facts.years:
        by_path[year_page(year.year)] = list(year.pictures)
    for exhibit in facts.archive.exhibits:
        slides = (facts.pictures.get(picture_id) for picture_id, _ in exhibit.pictures)
        by_path[exhibit_page(exhibit.id)] = by_path[slides_page(exhibit.id)] = [p for p in slides if p is not None]
    return {
        page: kept
        for page, pictures in by_path.items()
        if (kept := [p for p in pictures if p.picture.listed and p.picture.id in model.shown])
    }


def _frames_of_pages(model: SiteModel) -> dict[str, tuple[str, str]]:
    """By the path of a target's page the share picture of its oldest and newest halves, and its text alternative."""
    return {
        model.addresses.targets[identity]: (
            share_picture_of_target(model.addresses.stems[identity]),
            " / ".join(model.shown[r.picture_id].alt for r in (registered[0], registered[-1])),
        )
        for identity, registered in model.frames.items()
    }


def _pair(model: SiteModel, context: object) -> list[PictureFacts]:
    """The two pictures of a page that lays them over each other, the newer first."""
    if not isinstance(context, CompareContext):
        return []
    return [model.facts.pictures[side.shown.id] for side in (context.newer, context.older)]


def _structured(
    model: SiteModel, site: str, path: str, own: PictureFacts | None, pictures: list[PictureFacts]
) -> Plain:
    archive, address = model.facts.archive, absolute(site, path)
    if own is not None:
        statement = photograph(archive, own, model.shown[own.picture.id])
    elif path == FRONT:
        statement = {
            "@type": "WebSite",
            "name": archive.title,
            **({"description": archive.description} if archive.description else {}),
            "creator": _person(archive),
            "license": _licence(archive),
        }
    else:
        statement = {"@type": "CollectionPage" if pictures else "WebPage"}
    about_page = {"@id": address, "url": address, "inLanguage": archive.language}
    statement = {"@context": "https://schema.org", **statement, **about_page}
    if path != FRONT:
        statement["isPartOf"] = {"@type": "WebSite", "name": archive.title, "url": site}
        if pictures and own is None:
            statement["hasPart"] = [
                {"@type": "Photograph", "name": p.picture.title, "url": site + picture_page(p.picture.id)}
                for p in pictures
            ]
    return statement


def photograph(archive: Archive, facts: PictureFacts, shown: PictureView) -> Plain:
    """A picture as schema.org describes a photograph. Places stand in it as far as they are published."""
    site, picture = archive.address or "", facts.picture
    small = shown.about(480)
    rights = {
        "creator": _person(archive),
        "creditText": picture.credit or archive.author,
        "license": _licence(archive),
        "copyrightNotice": f"{archive.author}, {picture.finished.year}. {archive.licence}",
    }
    first, last = facts.integration.first_night, facts.integration.last_night
    statement: Plain = {
        "@type": "Photograph",
        "name": picture.title,
        **rights,
        "dateCreated": str(picture.finished),
    }
    if first and last:
        statement["temporalCoverage"] = first.isoformat() if first == last else f"{first}/{last}"
    if facts.objects:
        statement["about"] = [_thing(o, name) for o, name in zip(facts.objects, facts.object_names, strict=True)]
    if picture.tags:
        statement["keywords"] = list(picture.tags)
    if facts.places:
        statement["contentLocation"] = [_place(place_note(place)) for place in facts.places.values()]
    statement["image"] = {
        "@type": "ImageObject",
        "name": picture.title,
        "caption": shown.alt,
        "contentUrl": site + shown.full.file,
        "thumbnailUrl": site + small.file,
        "encodingFormat": "image/jpeg",
        "width": shown.full.width,
        "height": shown.full.height,
        "representativeOfPage": True,
        **rights,
    }
    return statement


def _thing(known: SkyObject, name: str) -> Plain:
    others = [other for other in (known.name, *known.also) if name_key(other) != name_key(name)]
    return {"@type": "Thing", "name": name, **({"alternateName": others} if others else {})}


def _place(note: PlaceNote) -> Plain:
    if note.latitude_deg is None:
        return {"@type": "Place", "name": note.name}
    geo: Plain = {"@type": "GeoCoordinates", "latitude": note.latitude_deg, "longitude": note.longitude_deg}
    if note.elevation_m is not None:
        geo["elevation"] = note.elevation_m
    return {"@type": "Place", "name": note.name, "geo": geo}


def _person(archive: Archive) -> Plain:
    return {"@type": "Person", "name": archive.author}


def _licence(archive: Archive) -> Plain:
    return {"@type": "CreativeWork", "name": archive.licence}

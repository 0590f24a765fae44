"""The label beside a picture, as a museum prints it on the wall: what it was taken with, and where."""

from __future__ import annotations

from collections.abc import Iterable
from urllib.parse import quote

from noctuary.archive.records import Rig
from noctuary.facts.optics import f_ratio, focal_length_mm
from noctuary.facts.picture import PictureFacts
from noctuary.pages.page import Link
from noctuary.pages.site_model import EQUIPMENT, FRONT, SiteModel
from noctuary.plain_record import plain_record


@plain_record
class OpticLine:
    """An optic as its rig uses it, with the page that tells of the rig; the focal length in mm."""

    name: str
    page: str
    focal_length_mm: float | None
    f_ratio: float | None


@plain_record
class PictureLabel:
    """Each line leads to the page that says more: equipment to its rig, a place to the pictures from there.

    Everything is named once, in the order of first use. What no rig of the picture records is empty.
    """

    optics: tuple[OpticLine, ...]
    cameras: tuple[Link, ...]
    mounts: tuple[Link, ...]
    guiding: tuple[Link, ...]
    places: tuple[Link, ...]


def picture_label(facts: PictureFacts, model: SiteModel) -> PictureLabel:
    pages = {r.rig.name: rig_page(number) for number, r in enumerate(model.facts.rigs, 1)}
    rigs = [(model.facts.archive.rigs[name], pages[name]) for name in facts.rig_names if name in pages]
    return PictureLabel(
        optics=tuple({(line.name, line.focal_length_mm, line.f_ratio): line for line in _optics(rigs)}.values()),
        cameras=_once(Link(rig.camera.name, page) for rig, page in rigs if rig.camera is not None),
        mounts=_once(Link(rig.mount, page) for rig, page in rigs if rig.mount is not None),
        guiding=_once(Link(rig.guiding, page) for rig, page in rigs if rig.guiding is not None),
        places=tuple(Link(name, f"{FRONT}#place={quote(name)}") for name in facts.places),
    )


def rig_page(number: int) -> str:
    """Where the page of the equipment tells of a rig, counted from 1 as the archive lists them."""
    return f"{EQUIPMENT}#rig-{number}"


def _optics(rigs: Iterable[tuple[Rig, str]]) -> Iterable[OpticLine]:
    for rig, page in rigs:
        if rig.optic is not None:
            yield OpticLine(rig.optic.name, page, focal_length_mm(rig), f_ratio(rig))


def _once(links: Iterable[Link]) -> tuple[Link, ...]:
    """Links by their text, the first of each."""
    found: dict[str, Link] = {}
    for link in links:
        found.setdefault(link.text, link)
    return tuple(found.values())

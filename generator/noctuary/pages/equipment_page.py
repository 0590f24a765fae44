"""The equipment: each rig, what it is and what it has done."""

from __future__ import annotations

from datetime import date
from functools import partial

from noctuary.facts.archive_facts import RigFacts
from noctuary.facts.exposure import Kept
from noctuary.facts.optics import angle_of_view_deg, aperture_mm, f_ratio, focal_length_mm, image_scale_arcsec_px
from noctuary.pages.gallery import gallery
from noctuary.pages.gallery_item import GalleryItem
from noctuary.pages.object_summary import ObjectNote, object_note
from noctuary.pages.page import Frame, PagePlan
from noctuary.pages.site_model import EQUIPMENT, MOST_OF_A_RIG, SiteModel
from noctuary.plain_record import plain_record


@plain_record
class RigNote:
    """A rig as built (mm, arcsec per sensor pixel, degrees of the whole sensor) and its totals (seconds).

    ``pictures`` are the newest of ``picture_count``; ``page`` has all of them, where there are more.
    """

    name: str
    anchor: str
    optic: str | None
    camera: str | None
    colour: bool | None
    focal_length_mm: float | None
    aperture_mm: float | None
    f_ratio: float | None
    focal_factor: float
    pixels: tuple[int, int] | None
    pixel_size_um: float | None
    sensor_from_table: bool
    image_scale_arcsec_px: float | None
    field_deg: tuple[float, float] | None
    mount: str | None
    guiding: str | None
    notes: tuple[str, ...]
    total_s: float | None
    sessions_not_recorded: int
    by_filter_s: tuple[tuple[str, float], ...]
    by_year_s: tuple[tuple[int, float], ...]
    nights: int
    kept: Kept
    first_night: date | None
    last_night: date | None
    targets: tuple[ObjectNote, ...]
    pictures: tuple[GalleryItem, ...]
    picture_count: int
    page: str | None


@plain_record
class EquipmentContext:
    """Rigs in the order in which the person wrote them."""

    frame: Frame
    rigs: tuple[RigNote, ...]


def pages(model: SiteModel) -> list[PagePlan]:
    return [PagePlan(EQUIPMENT, "equipment.html", "equipment", partial(_context, model))]


def _context(model: SiteModel) -> EquipmentContext:
    rigs = tuple(_note(model, number, r) for number, r in enumerate(model.facts.rigs, 1))
    return EquipmentContext(model.frame, rigs)


def _note(model: SiteModel, number: int, facts: RigFacts) -> RigNote:
    rig, whole = facts.rig, facts.integration
    optic, camera, focal = rig.optic, rig.camera, focal_length_mm(rig)
    pixels, pixel_um = (camera.pixels, camera.pixel_size_um) if camera else (None, None)
    scale = field = None
    if focal is not None and pixel_um is not None:
        scale = image_scale_arcsec_px(pixel_um, focal)
        if pixels is not None:
            wide, high = (angle_of_view_deg(n * pixel_um / 1000, focal) for n in pixels)
            field = wide, high
    pictures = gallery(facts.pictures, model)
    targets = {p.target.name: p.target for p in facts.pictures if p.target}
    return RigNote(
        name=rig.name,
        anchor=f"rig-{number}",
        optic=optic.name if optic else None,
        camera=camera.name if camera else None,
        # Of a camera that is no more than a name nobody said whether it sees colour.
        colour=camera.colour if camera and (pixels or pixel_um) else None,
        focal_length_mm=focal,
        aperture_mm=aperture_mm(rig),
        f_ratio=f_ratio(rig),
        focal_factor=rig.focal_factor,
        pixels=pixels,
        pixel_size_um=pixel_um,
        sensor_from_table=camera is not None and camera.sensor_from_table,
        image_scale_arcsec_px=scale,
        field_deg=field,
        mount=rig.mount,
        guiding=rig.guiding,
        notes=tuple(note for note in (rig.note, optic and optic.note, camera and camera.note) if note),
        total_s=whole.total_s,
        sessions_not_recorded=whole.sessions_not_recorded,
        by_filter_s=tuple(whole.by_filter_s.items()),
        by_year_s=tuple(whole.by_year_s.items()),
        nights=whole.nights,
        kept=facts.kept,
        first_night=whole.first_night,
        last_night=whole.last_night,
        targets=tuple(object_note(t, model) for t in targets.values()),
        pictures=pictures[:MOST_OF_A_RIG],
        picture_count=len(pictures),
        page=model.addresses.rigs.get(rig.name),
    )

"""A picture as a canvas of IIIF Presentation 3.0, with the objects in it as W3C Web Annotations where they lie."""

from __future__ import annotations

from typing import TYPE_CHECKING

from noctuary.charts.overlay import MarkedObject, Overlay, outline_px
from noctuary.facts.picture import PictureFacts
from noctuary.pages.exports.iiif_words import FOLDER, Plain, entries, image, language_map, page, rights
from noctuary.pages.picture_view import PictureView
from noctuary.pages.site_model import SiteModel

if TYPE_CHECKING:
    from noctuary.sky.placement import Placement

#: Thumbnails are at least so wide, in pixels.
THUMBNAIL_PX = 480


def canvas(model: SiteModel, facts: PictureFacts, shown: PictureView) -> Plain:
    """The canvas of a picture, as large as its full JPEG, which is painted on it; annotations are added when asked.

    Tiles, where a picture has them, are those of the IIIF Image API 3.0 at level 0, so they are its image service.
    """
    archive, picture, site = model.facts.archive, facts.picture, model.facts.archive.address
    here = f"{site}{FOLDER}/canvases/{picture.id}"
    day = picture.finished.exact
    body = image(archive, shown.full)
    if shown.tiles is not None:
        body["service"] = [{"id": f"{site}{shown.tiles.folder}", "type": "ImageService3", "profile": "level0"}]
    painting = {"id": f"{here}/painting/1", "type": "Annotation", "motivation": "painting", "body": body}
    return {
        "id": here,
        "type": "Canvas",
        "label": language_map(picture.title, archive.language),
        "metadata": _metadata(facts),
        **rights(archive, picture.credit),
        **({"navDate": f"{day}T00:00:00Z"} if day else {}),
        **page(archive, shown.page, picture.title),
        "thumbnail": [image(archive, shown.about(THUMBNAIL_PX))],
        "height": shown.full.height,
        "width": shown.full.width,
        "items": [{"id": f"{here}/painting", "type": "AnnotationPage", "items": [{**painting, "target": here}]}],
    }


def with_objects(plain: Plain, overlay: Overlay) -> Plain:
    """A canvas with its objects: a box around each that has an outline, else the point where it lies.

    A canvas begins at the picture's outer corner, half a pixel beyond the middle of its first pixel.
    """
    from noctuary.sky.placement import from_plain, scaled

    here = plain["id"]
    placement = scaled(from_plain(overlay.plain), plain["width"], plain["height"])
    annotations: list[Plain] = []
    for thing in overlay.marked:
        selector = _selector(placement, thing)
        if selector is not None:
            annotations.append(
                {
                    "id": f"{here}/objects/{len(annotations) + 1}",
                    "type": "Annotation",
                    "motivation": "tagging",
                    "body": {"type": "TextualBody", "value": thing.name, "format": "text/plain"},
                    "target": {"type": "SpecificResource", "source": here, "selector": selector},
                }
            )
    if not annotations:
        return plain
    return {**plain, "annotations": [{"id": f"{here}/objects", "type": "AnnotationPage", "items": annotations}]}


def _selector(placement: Placement, thing: MarkedObject) -> Plain | None:
    """Where an object lies on its canvas; ``None`` for one that is not on it."""
    wide, high = placement.width_px, placement.height_px
    around = () if thing.is_star else outline_px(placement, thing)
    if around:
        left, right = (_within(f(x for x, _ in around) + 0.5, wide) for f in (min, max))
        top, low = (_within(f(y for _, y in around) + 0.5, high) for f in (min, max))
        if right - left < 1 or low - top < 1:
            return None
        box = ",".join(f"{n:.0f}" for n in (left, top, right - left, low - top))
        media_fragments = "http://www.w3.org/TR/media-frags/"
        return {"type": "FragmentSelector", "conformsTo": media_fragments, "value": f"xywh={box}"}
    x, y = placement.pixel(thing.ra_deg, thing.dec_deg)
    if not placement.contains(x, y):
        return None
    return {"type": "PointSelector", "x": round(float(x) + 0.5, 1), "y": round(float(y) + 0.5, 1)}


def _within(coordinate: float, size: int) -> int:
    return round(min(max(coordinate, 0.0), size))


def _metadata(facts: PictureFacts) -> list[Plain]:
    """What the picture's page says first, with its unit; what is not known is left out."""
    whole, placement = facts.integration, facts.placement
    rigs = [s.session.rig for s in facts.sessions if s.session.rig] or [r for r in (facts.picture.rig,) if r]
    optics = dict.fromkeys(r.optic.name for r in rigs if r.optic)
    cameras = dict.fromkeys(r.camera.name for r in rigs if r.camera)
    filters = dict.fromkeys(g.filter for s in facts.sessions for g in s.session.frames if g.filter)
    lines = [
        ("Finished", str(facts.picture.finished)),
        ("Objects", ", ".join(facts.object_names)),
        ("Integration", hours(whole.total_s)),
        ("Nights", str(whole.nights or "")),
        ("Optic", ", ".join(optics)),
        ("Camera", ", ".join(cameras)),
        ("Filters", ", ".join(filters)),
        ("Place", ", ".join(facts.places)),
    ]
    if placement is not None:
        wide, high, _ = placement.field_deg
        ra, dec = placement.centre
        lines += [
            ("Centre (ICRS)", f"{ra:.4f}° {dec:+.4f}°"),
            ("Field", f"{wide:.2f}° × {high:.2f}°"),
            ("Up, from north through east", f"{placement.position_angle_deg:.1f}°"),
        ]
    return entries(lines)


def hours(seconds: float | None) -> str | None:
    """An integration in hours, to a tenth of one; under an hour in minutes."""
    if seconds is None:
        return None
    return f"{seconds / 3600:.1f} h" if seconds >= 3600 else f"{seconds / 60:.0f} min"

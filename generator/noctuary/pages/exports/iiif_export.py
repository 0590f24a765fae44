"""Each target as an IIIF Presentation 3.0 manifest, and the archive as a collection of them.

Any viewer that knows the standard shows them: the target's pictures newest first, the objects on them. Everything in
them is known by its whole address, so there are none where the archive does not say where its site lies.
"""

from __future__ import annotations

import json
import posixpath
from collections.abc import Callable, Iterator, Sequence
from functools import partial

from noctuary.archive.records import Archive
from noctuary.charts.overlay import Overlay
from noctuary.facts.target import TargetFacts
from noctuary.pages.exports import iiif_words as words
from noctuary.pages.exports.export import Export
from noctuary.pages.exports.iiif_canvas import THUMBNAIL_PX, canvas, hours, with_objects
from noctuary.pages.object_summary import object_note
from noctuary.pages.picture_page import overlay_of
from noctuary.pages.picture_view import PictureView
from noctuary.pages.product import digest
from noctuary.pages.site_model import SiteModel
from noctuary.portable_name import portable
from noctuary.sky.constellation import constellation_name

Plain = words.Plain


def exports(model: SiteModel) -> Iterator[Export]:
    """A manifest for each target with a picture that can be shown, and their collection."""
    archive = model.facts.archive
    if archive.address is None:
        return
    listed = []
    for target in model.facts.targets:
        here = model.addresses.targets[target.identity]
        shown = [model.shown[p.picture.id] for p in target.pictures if p.picture.id in model.shown]
        if shown:
            listed.append(_listed(archive, here, target, shown[0]))
            path = listed[-1]["id"].removeprefix(archive.address)
            tell = partial(_manifest, model, target)
            made_of = partial(_made_of, tell)
            told_from = model.told_from.all_of(target.pictures, target.identity)
            yield Export(path, "IIIF manifest", here, made_of, tell, _with_objects, told_from)
    if listed:
        whole = _collection(archive, listed)
        yield Export(words.COLLECTION, "IIIF collection", None, partial(digest, whole), lambda: whole, _as_json)


def _made_of(tell: Callable[[], object]) -> str:
    return digest(tell())


def _listed(archive: Archive, page: str, target: TargetFacts, shown: PictureView) -> Plain:
    """A target's manifest as the collection lists it; ``page`` is the target's, ``shown`` its newest picture."""
    stem = posixpath.basename(page).removesuffix(".html")
    return {
        "id": f"{archive.address}{portable(f'{words.FOLDER}/targets/{stem}.json')}",
        "type": "Manifest",
        "label": words.language_map(target.name, archive.language),
        "thumbnail": [words.image(archive, shown.about(THUMBNAIL_PX))],
    }


def _manifest(model: SiteModel, target: TargetFacts) -> tuple[Plain, list[Overlay | None]]:
    """A target's manifest without the objects on its canvases, and for each canvas what can be drawn over it."""
    archive, here = model.facts.archive, model.addresses.targets[target.identity]
    pictures = [p for p in target.pictures if p.picture.id in model.shown]
    listed = _listed(archive, here, target, model.shown[pictures[0].picture.id])
    plain = {
        "@context": words.CONTEXT,
        **{name: listed[name] for name in ("id", "type", "label")},
        "summary": words.language_map(_summary(target, len(pictures)), words.OWN),
        "metadata": _metadata(model, target),
        **words.rights(archive),
        **words.page(archive, here, target.name),
        "partOf": [{"id": f"{archive.address}{words.COLLECTION}", "type": "Collection"}],
        "behavior": ["individuals"],
        "items": [canvas(model, p, model.shown[p.picture.id]) for p in pictures],
        "thumbnail": listed["thumbnail"],
    }
    return plain, [overlay_of(p, model.facts.names) for p in pictures]


def _summary(target: TargetFacts, count: int) -> str:
    """``nebula in Cepheus: 3 pictures, 2016–2026, 24.3 h``, as far as it is known."""
    known = target.object
    where = f"{known.kind} in {constellation_name(known.constellation)}" if known.constellation else known.kind
    years = sorted({p.picture.finished.year for p in target.pictures})
    span = "–".join(dict.fromkeys(str(year) for year in (years[0], years[-1]))) if years else None
    parts = ("1 picture" if count == 1 else f"{count} pictures", span, hours(target.integration.total_s))
    return f"{where[:1].upper()}{where[1:]}: {', '.join(part for part in parts if part)}"


def _metadata(model: SiteModel, target: TargetFacts) -> list[Plain]:
    whole, note = target.integration, object_note(target.object, model)
    lines = [
        ("Also", ", ".join(dict.fromkeys((*note.designations, *note.also)))),
        ("Kind", note.kind),
        ("Constellation", constellation_name(note.constellation or "")),
        ("Integration", hours(whole.total_s)),
        ("Nights", str(whole.nights or "")),
    ]
    if note.ra_deg is not None and note.dec_deg is not None:
        lines.append(("Position (ICRS)", f"{note.ra_deg:.4f}° {note.dec_deg:+.4f}°"))
    return words.entries(lines)


def _collection(archive: Archive, listed: Sequence[Plain]) -> Plain:
    return {
        "@context": words.CONTEXT,
        "id": f"{archive.address}{words.COLLECTION}",
        "type": "Collection",
        "label": words.language_map(archive.title, archive.language),
        **words.rights(archive),
        **words.page(archive, "", archive.title),
        "items": list(listed),
    }


def _with_objects(manifest: tuple[Plain, Sequence[Overlay | None]]) -> bytes:
    plain, overlays = manifest
    canvases = zip(plain["items"], overlays, strict=True)
    return _as_json({**plain, "items": [with_objects(c, over) if over else c for c, over in canvases]})


def _as_json(plain: Plain) -> bytes:
    return json.dumps(plain, ensure_ascii=False, indent=1).encode("utf-8", "replace") + b"\n"

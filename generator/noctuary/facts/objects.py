"""Names that a person wrote → objects of the sky, and the doubts about names that nothing knows."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from typing import TYPE_CHECKING

from noctuary.archive.records import Archive
from noctuary.diagnostic import Diagnostic, Mark, doubt

if TYPE_CHECKING:
    from noctuary.sky.catalogue import Catalogue, SkyObject


def catalogue_of(archive: Archive) -> Catalogue:
    """The catalogue with the archive's own objects on top."""
    from noctuary.sky.catalogue import Catalogue, OwnObject

    return Catalogue(
        OwnObject(
            name=own.name,
            ra_deg=own.ra_deg,
            dec_deg=own.dec_deg,
            kind=own.kind,
            size_arcmin=own.size_arcmin,
            also=own.also,
            note=own.note,
        )
        for own in archive.own_objects
    )


def unknown_object(written: str) -> SkyObject:
    """What a name that nothing knows means: an object under that name, without a place."""
    from noctuary.sky.no_fixed_place import kind_without_place
    from noctuary.sky.sky_object import unplaced_object

    return unplaced_object(" ".join(written.split()), kind_without_place(written) or "object")


def unknown_names(
    names: Iterable[tuple[str, Mark]], catalogue: Catalogue, known: Iterable[str], accepted: Iterable[str] = ()
) -> list[Diagnostic]:
    """A doubt for every written name that is not in ``known``, with what to write instead.

    ``accepted`` are the sidecars that answer the doubt in their ``accepted_doubts``.
    """
    understood, answered = set(known), set(accepted)
    return [
        doubt(mark, "unknown-object", f"no catalogue knows an object called “{written}”", _hint(written, catalogue))
        for written, mark in names
        if written not in understood and mark.file not in answered
    ]


def _hint(written: str, catalogue: Catalogue) -> str:
    """What to write for a name that nothing knows: a name near to it, or an entry of objects.yaml."""
    from noctuary.sky.no_fixed_place import kind_without_place

    name = _yaml_key(" ".join(written.split()))
    if kind := kind_without_place(written):
        return f"what has no fixed place is described in objects.yaml by the line   {name}: {{kind: {kind}}}"
    near = catalogue.nearest(written)
    if not near:
        line = f'{name}: {{coordinates: "05h41m00s -02d27m00s"}}'
        return f"check the spelling, or describe it in objects.yaml by a line such as   {line}"
    offered = ", ".join(near[:-1]) + (" or " if near[1:] else "") + near[-1]
    return f"write {offered}, or describe it in objects.yaml"


def _yaml_key(name: str) -> str:
    """A name as a key of a YAML mapping, in quotes where it needs them."""
    plain = re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9 /.()'+-]*[A-Za-z0-9)]", name) and re.search(r"[A-Za-z]", name)
    word = name.casefold() in ("yes", "no", "on", "off", "true", "false", "null", "y", "n")
    return name if plain and not word else json.dumps(name, ensure_ascii=False)

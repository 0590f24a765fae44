"""Names that a person wrote → objects of the sky, and the faults of names that nothing knows."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from noctuary.archive.records import Archive
from noctuary.diagnostic import Diagnostic, Mark, fault

if TYPE_CHECKING:
    from noctuary.sky.catalogue import Catalogue


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


def unknown_names(names: Iterable[tuple[str, Mark]], catalogue: Catalogue, known: Iterable[str]) -> list[Diagnostic]:
    """A fault for every written name that is not in ``known``, with the nearest that the catalogue has."""
    understood = set(known)
    found = []
    for written, mark in names:
        if written in understood:
            continue
        near = catalogue.nearest(written)
        hint = (
            "write " + ", ".join(near[:-1]) + (" or " if near[1:] else "") + near[-1]
            if near
            else "check the spelling"
        )
        found.append(
            fault(
                mark,
                "unknown-object",
                f"no catalogue knows an object called “{written}”",
                f"{hint}, or describe it in objects.yaml",
            )
        )
    return found

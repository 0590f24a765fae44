"""A mosaic: pictures that lie side by side in one, and what each of them gave to its piece of the sky."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from itertools import product

from noctuary.archive.records import Archive, Picture, Session
from noctuary.facts.depth import light_of_fields
from noctuary.facts.exposure import distinct, session_integration_s, total_of
from noctuary.plain_record import plain_record

Field = tuple[Session, ...]
"""The sessions that shine on one piece of the sky."""


@plain_record
class Panel:
    """One panel of a mosaic, by the id of its picture, and the seconds that it holds, ``None`` if not recorded."""

    picture_id: str
    total_s: float | None


def panels(archive: Archive, mosaic: Picture) -> tuple[Panel, ...]:
    """The panels of a picture as its record names them, those that the archive has; none if it is no mosaic."""
    recorded = [archive.pictures[name] for name in mosaic.panels if name in archive.pictures]
    return tuple(
        Panel(p.id, total_of(session_integration_s(s) for s in archive.sessions_of(p))) for p in recorded
    )  # fmt: skip


def fields(archive: Archive, picture: Picture, counts: Callable[[Session], bool]) -> tuple[Field, ...]:
    """The sessions of a picture that ``counts``, by the piece of sky that they were for.

    A mosaic has a field a panel; a picture that builds on one has the same, each with what it adds itself. Another
    picture has one field, none where no session counts.
    """
    found = _fields(archive, picture, frozenset())
    kept = tuple(tuple(s for s in distinct(field) if counts(s)) for field in found)
    return kept if any(kept) else ()


def _fields(archive: Archive, picture: Picture, above: frozenset[str]) -> list[Field]:
    """The fields of a picture; ``above`` are the ids of the pictures that it is a part of."""
    above = above | {picture.id}

    def parts(names: Iterable[str]) -> list[Picture]:
        return [archive.pictures[name] for name in names if name in archive.pictures and name not in above]

    own = [field for panel in parts(picture.panels) for field in _fields(archive, panel, above)]
    below = [_fields(archive, part, above) for part in parts(picture.builds_on)]
    return [tuple(s for field in stack for s in field) for stack in product(own or [picture.own_sessions], *below)]


def fields_of_several(of_pictures: Sequence[tuple[Field, ...]]) -> tuple[Field, ...]:
    """The fields of a target from those of its pictures.

    What no mosaic is made of adds to every field. Of several mosaics the deepest counts: every part of the sky has at
    least what its least field has.
    """
    mosaics = [fields for fields in of_pictures if len(fields) > 1]
    in_mosaics = {s.identity for fields in mosaics for field in fields for s in field}
    every = distinct(s for fields in of_pictures for field in fields for s in field)
    common = tuple(s for s in every if s.identity not in in_mosaics)
    if not mosaics:
        return (common,) if common else ()
    stacked = [tuple((*common, *field) for field in fields) for fields in mosaics]
    return max(stacked, key=lambda fields: light_of_fields(fields) or 0.0)

"""What an archive calls the objects of the sky: by the name that the person wrote, its spelling made even.

Which records belong together is the catalogue's to say (its name for an object is the object's identity); what the
object is called on every page is the person's.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import TYPE_CHECKING

from noctuary.archive.records import Archive, Picture
from noctuary.plain_record import plain_record
from noctuary.sky.designation import designation_of, name_key, plain_text, write_designation

if TYPE_CHECKING:
    from noctuary.sky.sky_object import SkyObject

#: By which designation an object is called that nobody wrote, the first that it has; any other but these comes after.
_FIRST = ("M", "NGC", "IC")
#: A list of another's objects: never what an object is called unless the person does so.
_NEVER = "C"


@plain_record
class ObjectNames:
    """``called``: the archive's name by the identity of each object that it names; ``meant``: every name of a record,
    as it was written → the object. ``settled``: the names of which objects.yaml says that they hold."""

    called: Mapping[str, str]
    meant: Mapping[str, SkyObject]
    settled: Mapping[str, str]

    def of(self, known: SkyObject) -> str:
        """What the archive calls an object; of one that it does not name, its :func:`usual_name`."""
        return self.called.get(known.name) or usual_name(known)

    def in_record(self, known: SkyObject, written: str) -> str:
        """What one record calls an object: as it is written there, unless objects.yaml says how it is called."""
        return self.settled.get(known.name) or made_even(written, known.name)

    def of_written(self, written: str) -> str:
        """What the archive calls the object that a record names so."""
        return self.of(self.meant[written])


def made_even(written: str, identity: str = "") -> str:
    """A name as a person wrote it, its spelling made even; ``identity`` is the object's name in the catalogue.

    >>> made_even("ngc7000"), made_even("messier 31"), made_even("the  Rosette"), made_even("sun", "Sun")
    ('NGC 7000', 'M 31', 'the Rosette', 'Sun')
    """
    found = designation_of(plain_text(written))
    if found is not None:
        return write_designation(*found)
    # The Sun, a star, an object of one's own: the catalogue's name is the very word, with its capitals.
    return identity if identity and name_key(written) == name_key(identity) else " ".join(written.split())


def usual_name(known: SkyObject) -> str:
    """The name by which people know an object that nobody named: by Messier, then NGC or IC, then otherwise.

    What is no object of a list (the Sun, a star) keeps the word for it.
    """
    catalogues: dict[str, str] = {}
    for name in (known.name, *known.also):
        if (found := _catalogue(name)) is not None:
            catalogues.setdefault(found, name)
    for catalogue in _FIRST:
        if catalogue in catalogues:
            return catalogues[catalogue]
    if _catalogue(known.name) != _NEVER:
        return known.name
    others = (name for catalogue, name in catalogues.items() if catalogue != _NEVER)
    return next(others, known.common_name or known.name)


def _catalogue(name: str) -> str | None:
    """The catalogue of a designation; Minkowski's planetary nebulae, "M 2-9", are not of Messier's."""
    found = designation_of(plain_text(name))
    if found is None:
        return None
    return "Minkowski" if found[0] == "M" and "-" in found[1] else found[0]


def well_known(known: SkyObject) -> bool:
    """Whether people speak of an object: it has a name in words, or a number of Messier's, of the NGC or of the IC.

    The long lists of nebulae and galaxies have thousands of which nobody does.
    """
    catalogue = _catalogue(usual_name(known))
    return known.common_name is not None or catalogue is None or catalogue in _FIRST


def common_name_beside(known: SkyObject, name: str) -> str | None:
    """The name in words that is printed beside the designation by which the archive calls it, if there is one."""
    return known.common_name if designation_of(plain_text(name)) is not None else None


def designations_beside(known: SkyObject, name: str) -> tuple[str, ...]:
    """The catalogues' designations of an object that are printed beside ``name``, by which the archive calls it."""
    mentioned = {name_key(name), *map(name_key, _words_and_number(name))}
    beside: dict[str, str] = {}
    for other in (usual_name(known), known.name):
        if designation_of(plain_text(other)) is not None and name_key(other) not in mentioned:
            beside[name_key(other)] = other
    return tuple(beside.values())


def _words_and_number(name: str) -> tuple[str, ...]:
    """The designation at the head of a name such as “M 31 Andromeda Galaxy”, if there is one."""
    words = name.split()
    return tuple(" ".join(words[:n]) for n in range(1, min(4, len(words))))


def object_names(archive: Archive, find: Callable[[str], SkyObject]) -> ObjectNames:
    """What an archive calls its objects: of records that differ the newest wins, the listed before the others.

    ``find`` tells the object that a written name means. An object that only objects.yaml names is
    called as it is there.
    """
    meant = {written: find(written) for written in _written(archive.pictures.values())}
    of_own = [(own, find(own.name)) for own in archive.own_objects]
    settled = {known.name: own.called for own, known in of_own if own.called is not None}
    called = dict(settled)
    unlisted = (p for p in archive.shown if not p.listed)
    for picture in (*archive.listed, *unlisted):
        for written in picture.objects:
            known = meant[written]
            called.setdefault(known.name, made_even(written, known.name))
    for own, known in of_own:
        called.setdefault(known.name, made_even(own.name, known.name))
    return ObjectNames(called, meant, settled)


def _written(pictures: Iterable[Picture]) -> Iterable[str]:
    for picture in pictures:
        yield from picture.objects
        yield from (session.target for session in picture.own_sessions if session.target)

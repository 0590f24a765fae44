"""What an upload has to do: the difference between the site and what the destination holds."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, field

from noctuary.publish.stages import Step, is_page, placeholder, stages
from noctuary.publish.upload.connection import PART, Connection, Folder, Standing, UploadError
from noctuary.publish.upload.headers import compressed, content_named
from noctuary.publish.upload.listing import NAME, Listing, Owner, State, States, name_digest, named
from noctuary.publish.upload.site_files import SiteFile, content_digest


@dataclass(frozen=True)
class Plan:
    """What is to be done, stage by stage, and what is known of the destination.

    ``before``: the states in which each file may be found while the upload is at work, by the digest of its name;
    ``after``: its one state when all is done. ``parts``: remains of files that were cut off.
    """

    stages: tuple[tuple[Step, ...], ...]
    send: tuple[SiteFile, ...]
    remove: tuple[str, ...]
    before: Mapping[str, States] = field(default_factory=dict)
    after: Mapping[str, States] = field(default_factory=dict)
    parts: tuple[str, ...] = ()

    @property
    def bytes(self) -> int:
        """How much is to be sent, before anything is compressed."""
        return sum(file.size for file in self.send)

    @property
    def idle(self) -> bool:
        return not self.send and not self.remove and not self.parts


class View:
    """What is at the destination, looked up folder by folder as far as it is asked for."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection
        self._folders: dict[str, Folder] = {}
        self._all: dict[str, Standing] | None = None
        self._asked_for_all = False
        self.parts: set[str] = set()

    def whole(self) -> dict[str, Standing] | None:
        """Everything, where the destination tells it at one question."""
        if not self._asked_for_all:
            self._asked_for_all = True
            self._all = self._connection.everything()
            self.parts.update(n for n in self._all or () if n.endswith(PART))
        return self._all

    def find(self, name: str) -> Standing | None:
        """A file at the destination, or ``None``."""
        if (whole := self.whole()) is not None:
            return whole.get(name)
        folder, _, base = name.rpartition("/")
        return self._look(folder).files.get(base)

    def walk(self) -> dict[str, Standing]:
        """Every file at the destination by its name."""
        if (whole := self.whole()) is not None:
            return whole
        files = {}
        waiting = [""]
        while waiting:
            folder = waiting.pop()
            listed = self._look(folder)
            prefix = f"{folder}/" if folder else ""
            files.update({f"{prefix}{base}": state for base, state in listed.files.items()})
            waiting.extend(f"{prefix}{base}" for base in listed.folders if not base.startswith("."))
        return files

    def _look(self, folder: str) -> Folder:
        if folder not in self._folders:
            above, _, base = folder.rpartition("/")
            # What is in a folder that is not there need not be asked.
            if folder and base not in self._look(above).folders:
                self._folders[folder] = Folder()
            else:
                listed = self._connection.look(folder)
                self._folders[folder] = listed
                prefix = f"{folder}/" if folder else ""
                self.parts.update(f"{prefix}{base}" for base in listed.files if base.endswith(PART))
        return self._folders[folder]


@dataclass(frozen=True)
class Settings:
    """How a plan is made. ``names``: names that an earlier upload remembered; ``replace``: write over foreign files.

    ``look``: compare the size of everything that is there even where nothing has changed.
    """

    title: str
    address: str | None
    keeps_encoding: bool = False
    names: Collection[str] = ()
    look: bool = False
    replace: bool = False
    verify: bool = False


def make_plan(
    site: Mapping[str, SiteFile],
    listing: Listing | None,
    connection: Connection,
    settings: Settings,
    progress: Callable[[int, int], None] = lambda done, total: None,
) -> Plan:
    """What is to be done so that the destination holds the site.

    Asks the destination only about what the listing leaves open. Raises :class:`UploadError` where files that no
    upload made are in the way.
    """
    view = View(connection)
    held = placeholder(settings.title)
    holding = State(content_digest(held), len(held))
    known = listing.files if listing else {}
    certain: dict[str, State] = {}
    absent: list[str] = []
    changed: list[str] = []
    in_the_way: list[str] = []
    known_states = {name: known.get(name_digest(name), ()) for name in site}
    same = all(len(s) == 1 and s[0] is not None and s[0].digest == site[n].digest for n, s in known_states.items())
    whole = view.whole() if settings.look or not same else None
    for name, file in site.items():
        states = known_states[name]
        only = states[0] if len(states) == 1 else None
        if only is not None and whole is not None:
            published = whole.get(name)
            if published is None or published.size != only.size:
                only = None
        if only is not None:
            if only.digest == file.digest:
                certain[name] = only
            else:
                changed.append(name)
            continue
        published = view.find(name)
        if published is None:
            absent.append(name)
        elif states:
            wanted = _stored(file, settings.keeps_encoding)
            if _is_there(published, wanted, states):
                certain[name] = wanted.state
            else:
                changed.append(name)
        elif _same_foreign(published, file, connection, settings):
            certain[name] = _stored(file, settings.keeps_encoding).state
        else:
            changed.append(name)
            in_the_way.append(name)
    if in_the_way and not settings.replace:
        raise _in_the_way(in_the_way)
    if settings.verify:
        for name in _damaged(certain, site, connection, progress):
            del certain[name]
            changed.append(name)
    gone = _gone(site, known, view, settings.names)
    steps = stages(absent, changed, gone, lambda name: site[name].read(), settings.address)
    to_send = [site[name] for name in sorted({*absent, *changed})]
    after = {name_digest(name): (state,) for name, state in certain.items()}
    before: dict[str, States] = dict(after)
    for file in to_send:
        digest = name_digest(file.name)
        state = _stored(file, settings.keeps_encoding).state
        after[digest] = (state,)
        maybe = known.get(digest, ()) if file.name in changed else (None,)
        before[digest] = _distinct([*maybe, holding if is_page(file.name) else None, state])
    for name in gone:
        digest = name_digest(name)
        before[digest] = _distinct([*known[digest], holding if is_page(name) else None, None])
    return Plan(steps, tuple(to_send), tuple(gone), before, after, tuple(sorted(view.parts)))


@dataclass(frozen=True, slots=True)
class _Stored:
    state: State
    md5: str


def _stored(file: SiteFile, keeps_encoding: bool) -> _Stored:
    """A file of the site as the destination would keep it; read only where that is not its size alone."""
    if not keeps_encoding:
        return _Stored(State(file.digest, file.size), "")
    data = file.read()
    packed = compressed(file.name, data) or data
    return _Stored(State(file.digest, len(packed)), hashlib.md5(packed, usedforsecurity=False).hexdigest())


def _is_there(published: Standing, wanted: _Stored, states: States) -> bool:
    """Whether the file at the destination is what is wanted, of all the states in which it may be."""
    if published.size != wanted.state.size or wanted.state.digest not in {s.digest for s in states if s is not None}:
        return False
    if published.etag and wanted.md5:
        return published.etag == wanted.md5
    return not any(s is not None and s.digest != wanted.state.digest and s.size == published.size for s in states)


def _same_foreign(published: Standing, file: SiteFile, connection: Connection, settings: Settings) -> bool:
    """Whether a file that no upload put there is the site's all the same, as after a copy by hand."""
    if settings.keeps_encoding and published.etag:
        wanted = _stored(file, settings.keeps_encoding)
        if published.etag == wanted.md5:
            return True
    if published.size != file.size:
        return False
    if content_named(file.name):
        return True
    data = connection.read(file.name)
    return data is not None and content_digest(data) == file.digest


def _in_the_way(names: list[str]) -> UploadError:
    shown = ", ".join(names[:3]) + (f" and {len(names) - 3} more" if names[3:] else "")
    return UploadError(
        f"files that no upload made are in the way there: {shown}",
        "move them away, or write over them with --replace",
    )


def _damaged(
    certain: Collection[str],
    site: Mapping[str, SiteFile],
    connection: Connection,
    progress: Callable[[int, int], None],
) -> list[str]:
    """Of the files that should be there those whose bytes are others: every one is read."""
    damaged = []
    done, total = 0, sum(site[name].size for name in certain)
    for name in certain:
        data = connection.read(name)
        if data is None or content_digest(data) != site[name].digest:
            damaged.append(name)
        done += site[name].size
        progress(done, total)
    return damaged


def _gone(site: Mapping[str, SiteFile], known: Mapping[str, States], view: View, names: Iterable[str]) -> list[str]:
    """Files of earlier uploads that the site has no more, by name."""
    lost = set(known) - {name_digest(name) for name in site}
    if not lost:
        return []
    remembered = named(names)
    gone = {digest: remembered[digest] for digest in lost if digest in remembered}
    if len(gone) < len(lost):
        # The copy of the listing that knows names is lost: they are found by what is there.
        gone |= {digest: name for digest, name in named(view.walk()).items() if digest in lost}
    return sorted(name for name in gone.values() if name != NAME)


def _distinct(states: Iterable[State | None]) -> States:
    return tuple(dict.fromkeys(states))


def owner_trouble(listing: Listing, owner: Owner, shown: str) -> UploadError | None:
    """Why the destination may not be written, where it holds another archive's site."""
    if listing.owner.same_as(owner):
        return None
    whose = f" (its address is {listing.owner.address})" if listing.owner.address else ""
    return UploadError(
        f"another archive's site stands at {shown}{whose}",
        f"choose another folder there; if it is this archive's all the same, delete {NAME} there",
    )

"""How a site changes on the disk: no state of it ever has a page that leads to nothing.

A new site, or a change of more than a tenth of its files, is assembled in a hidden folder beside the published one;
what has not changed is linked over from there. When every file is on the disk the two folders change places in one
step, and the old one is removed. A smaller change, an edit of words alone, and any change where two folders cannot
change places in one step, is put in place file by file, after a journal of it is on the disk (see
:mod:`noctuary.publish.journal`). Whatever happens before that exchange or that journal leaves the site as it was;
whatever happens after it leaves the new one, or one on the way there that the next build or preview finishes.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Collection, Container, Mapping
from contextlib import ExitStack, suppress
from pathlib import Path
from types import TracebackType

from noctuary.build_manifest import SiteStamp, preparing, site_files, site_stamp
from noctuary.errors import NoctuaryError
from noctuary.publish.build_lock import InUse, lock
from noctuary.publish.disk import FlushMeanwhile, exchange, flush, flush_folders, link_or_copy, remove
from noctuary.publish.journal import follow, forget, inside, journal, read_journal, write_journal
from noctuary.publish.stages import Step

# Lists what a build put into an output folder, so that the next one can tell its own files from
# somebody else's even when the cache is gone. It holds digests, not names: the address of an unlisted
# picture must not be read from it.
MADE = ".noctuary-made"


class CannotPublish(NoctuaryError):
    """The output folder cannot be used; says why and what to do."""

    rule = "publish"


class HalfWay(CannotPublish):
    """A change was cut off between two steps of its journal."""


def content_hash(data: bytes) -> str:
    return hashlib.blake2b(data, digest_size=16).hexdigest()


def files_on_disk(out: Path) -> dict[str, SiteStamp]:
    """Every file in an output folder with its stamp; raises :class:`CannotPublish`."""
    if not out.exists():
        return {}
    if not out.is_dir():
        raise CannotPublish(f"the output {out} is a file", "choose a folder with --out")
    try:
        return site_files(out, strict=True)
    except OSError as error:
        where = error.filename or out
        raise CannotPublish(f"{where} cannot be read: {error.strerror}", "see who may read it") from None


def foreign_files(out: Path, on_disk: Mapping[str, SiteStamp], known: Container[str]) -> list[str]:
    """Of the files in an output folder those that no build made, sorted; raises :class:`CannotPublish`.

    ``known``: files that are the last build's for certain.
    """
    if all(name in known for name in on_disk):
        return []
    try:
        made = set((out / MADE).read_text(encoding="ascii", errors="replace").split())
    except FileNotFoundError:
        made = set()
    except OSError as error:
        raise CannotPublish(
            f"the output folder {out} cannot be read: {error.strerror}", "check its permissions"
        ) from None
    return sorted(
        name
        for name, (size, _) in on_disk.items()
        if name != MADE and (_name_digest(name) not in made or size < 0)
    )


def _name_digest(name: str) -> str:
    return hashlib.blake2b(name.encode(errors="surrogateescape"), digest_size=12).hexdigest()


class Assembly:
    """A new site under construction in a hidden folder beside the published one.

    Use as a context manager: leaving it without :meth:`publish` removes what was prepared. Raises
    :class:`CannotPublish` where another build is at work or the folder cannot be written.
    """

    def __init__(self, out: Path) -> None:
        self.out = out
        self.folder = preparing(out)
        self._new = self.folder / "new"
        self._made: dict[str, SiteStamp] = {}
        self._written: list[str] = []
        self._kept: list[str] = []
        self._folders: set[str] = set()
        self._claim = ExitStack()
        self._meanwhile = FlushMeanwhile(self._new)

    def __enter__(self) -> Assembly:
        if os.path.ismount(self.out):
            raise CannotPublish(
                f"the output folder {self.out} is a whole drive", f"choose a folder on it: --out {self.out / 'site'}"
            )
        recover(self.out)
        try:
            self.out.parent.mkdir(parents=True, exist_ok=True)
            self.folder.mkdir(exist_ok=True)
            self._claim = _claim(self.folder)
            self._new.mkdir()
        except OSError as error:
            raise _unwritable(self.out, error) from None
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        # The site is complete by now, or its error is on its way up: what is left over goes with the next build.
        with suppress(OSError):
            if read_journal(self.folder) is None:
                remove(self._new)
                self._claim.close()
                remove(self.folder)
        self._claim.close()

    def write(self, name: str, data: bytes) -> None:
        """A file of the new site with this content."""
        target = self._place(name)
        self._room_for(name)
        with open(target, "xb") as file:  # noqa: PTH123
            file.write(data)
        self._meanwhile.wrote(len(data))
        self._made[name] = site_stamp(os.stat(target))  # noqa: PTH116
        self._written.append(name)

    def keep(self, name: str, stamp: SiteStamp) -> None:
        """A file of the published site as it is; ``stamp`` is what it lies there with."""
        self._place(name)
        self._made[name] = stamp
        self._kept.append(name)

    def publish(self, on_disk: Mapping[str, SiteStamp] | None = None) -> dict[str, SiteStamp]:
        """Puts the new site in the old one's place; returns what is now published.

        ``on_disk``: :func:`files_on_disk` of the old one, where that has been looked at.
        The list of its files is the old site's where that was kept: whoever keeps it knows that they are the same.
        Raises OSError while the published site is as it was, and :class:`HalfWay` when it is not any more.
        """
        if MADE not in self._made:
            self.write(MADE, "\n".join(sorted(map(_name_digest, self._made))).encode() + b"\n")
        self.out.parent.mkdir(parents=True, exist_ok=True)
        on_disk = files_on_disk(self.out) if on_disk is None else on_disk
        gone = [name for name in on_disk if name not in self._made]
        small = on_disk and 10 * (len(self._written) + len(gone)) < len(self._made)
        if not small and self._at_once(anew=not self.out.exists()):
            return self._made
        absent = [name for name in self._written if name not in on_disk]
        changed = [name for name in self._written if name in on_disk]
        return self._step_by_step(absent, changed, gone)

    def amend(self) -> dict[str, SiteStamp]:
        """Puts the files that were written in the places of their old versions, and leaves the rest of the site.

        Returns what was written; raises as :meth:`publish` does.
        """
        return self._step_by_step([], self._written, [])

    def _step_by_step(
        self, absent: Collection[str], changed: Collection[str], gone: Collection[str]
    ) -> dict[str, SiteStamp]:
        self._flush(self._written)
        steps = journal(absent, changed, gone, lambda name: (self._new / name).read_bytes())
        write_journal(self.folder, steps)
        _finish(steps, self.folder, self.out)
        return self._made

    def _at_once(self, *, anew: bool) -> bool:
        """The whole new site takes the old one's place in one step; whether this system can do that."""
        for name in self._kept:
            self._room_for(name)
            target = f"{self._new}/{name}"
            # Plain strings: with ten thousand files, paths would be half of the time.
            if not link_or_copy(f"{self.out}/{name}", target):
                self._made[name] = site_stamp(os.stat(target))  # noqa: PTH116
        self._flush(list(self._made))
        if anew:
            self._new.rename(self.out)
        elif not exchange(self._new, self.out):
            return False
        with suppress(OSError):  # the new site is in place, whatever the disk says now
            flush_folders([self.out.parent])
        return True

    def _flush(self, names: Collection[str]) -> None:
        self._meanwhile.wait()
        flush(self._new, names)

    def _place(self, name: str) -> str:
        if name in self._made:
            raise ValueError(f"two files of the site have one path: {name!r}")
        return f"{self._new}/{inside(name)}"

    def _room_for(self, name: str) -> None:
        above = name.rpartition("/")[0]
        if above not in self._folders:
            (self._new / above).mkdir(parents=True, exist_ok=True)
            self._folders.add(above)


def recover(out: Path) -> None:
    """Finishes or clears away what a build that was cut off left behind; raises OSError, :class:`CannotPublish`."""
    folder = preparing(out)
    if folder.is_symlink():
        remove(folder)  # the link, not what it leads to
        return
    if not folder.is_dir():
        return
    with _claim(folder):
        steps = read_journal(folder)
        if steps is not None and out.is_dir():
            _finish(steps, folder, out)
        forget(folder)
        remove(folder / "new")
    remove(folder)


def _finish(steps: list[list[Step]], folder: Path, out: Path) -> None:
    hint = "mend that; the next build brings the change to its end"
    try:
        follow(steps, folder, out)
    except OSError as error:
        where = f" ({error.filename})" if error.filename else ""
        raise HalfWay(f"{error.strerror or error}{where}", hint) from None
    except ValueError as error:
        raise HalfWay(str(error), hint) from None
    with suppress(OSError):  # following it once more does no harm
        forget(folder)


def _claim(folder: Path) -> ExitStack:
    """A lock on the hidden folder that goes with this process, however it ends."""
    held = ExitStack()
    try:
        held.enter_context(lock(folder / "lock"))
    except InUse:
        raise CannotPublish(
            f"another build is preparing {folder.name}", "wait until it has ended, or build into another --out"
        ) from None
    return held


def _unwritable(out: Path, error: OSError) -> CannotPublish:
    return CannotPublish(
        f"cannot write beside {out}: {error.strerror}", "check the permissions, or choose another --out"
    )

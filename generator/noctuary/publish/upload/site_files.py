"""The built site as an upload sees it: every file with its size and a digest of its bytes."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from noctuary.publish.replace_site import CannotPublish, files_on_disk, foreign_files
from noctuary.publish.upload.cache import keep_plain, read_plain
from noctuary.publish.upload.connection import UploadError

_HASHES = "hashes.json"


@dataclass(frozen=True, slots=True)
class SiteFile:
    """One file of the site. ``stamp`` (size, time) must still hold when it is read."""

    name: str
    path: Path
    size: int
    digest: str
    stamp: tuple[int, int]

    def read(self) -> bytes:
        """The bytes; raises :class:`UploadError` where the site has changed meanwhile."""
        try:
            data = self.path.read_bytes()
            self.check()
        except OSError as error:
            raise _rebuilt() from error
        return data

    def check(self) -> None:
        """Raises :class:`UploadError` where the site has changed since it was looked through."""
        try:
            status = self.path.stat()
        except OSError as error:
            raise _rebuilt() from error
        if (status.st_size, status.st_mtime_ns) != self.stamp:
            raise _rebuilt()


def _rebuilt() -> UploadError:
    return UploadError(
        "the site was built anew while it was being uploaded", "run upload again: it goes on with the new one"
    )


def site_files(archive: Path, out: Path) -> dict[str, SiteFile]:
    """Every file of the built site by its name, the build's own mark left out.

    Digests of files that lie as they did are taken from the cache. Raises :class:`UploadError` where there is no
    site, or the folder holds what no build made.
    """
    try:
        on_disk = files_on_disk(out)
        foreign = foreign_files(out, on_disk, ())
    except CannotPublish as error:
        raise UploadError(error.message, error.hint) from None
    names = sorted(name for name in on_disk if not _hidden(name))
    if not names:
        hint = "build it first: noctuary build, or say with --out where it lies"
        raise UploadError(f"there is no site in {out}", hint)
    if foreign := [name for name in foreign if not _hidden(name)]:
        more = f" and {len(foreign) - 1} more" if foreign[1:] else ""
        raise UploadError(
            f"the site in {out} holds files that no build made: {foreign[0]}{more}",
            "move them away, then build again",
        )
    known = _known(archive, out)
    files = {}
    for name in names:
        stamp = on_disk[name]
        entry = known.get(name)
        same = entry is not None and (entry[0], entry[1]) == stamp
        path = out / name
        digest = str(entry[2]) if same and entry is not None else _digest(path)
        files[name] = SiteFile(name, path, stamp[0], digest, stamp)
    plain = {name: [*file.stamp, file.digest] for name, file in files.items()}
    if plain != known:
        keep_plain(archive, _HASHES, {"out": str(out), "files": plain})
    return files


def _hidden(name: str) -> bool:
    return any(part.startswith(".") for part in name.split("/"))


def content_digest(data: bytes) -> str:
    """The digest by which two files are known to be equal."""
    return hashlib.blake2b(data, digest_size=16).hexdigest()


def _digest(path: Path) -> str:
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, lambda: hashlib.blake2b(digest_size=16)).hexdigest()
    except OSError as error:
        raise UploadError(f"{path} cannot be read: {error.strerror}", "see who may read it") from None


def _known(archive: Path, out: Path) -> Mapping[str, list[object]]:
    plain = read_plain(archive, _HASHES)
    files = plain.get("files") if plain.get("out") == str(out) else None
    if not isinstance(files, dict):
        return {}
    return {k: v for k, v in files.items() if isinstance(v, list) and len(v) == 3 and isinstance(v[2], str)}

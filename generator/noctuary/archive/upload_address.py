"""Where a site may be uploaded to: an address as a person writes it, taken apart.

``sftp://user@host:port/path``, ``s3://bucket/prefix``, ``webdavs://host/path``, ``ftps://host/path``,
``git+ssh://host/path#branch`` (or ``git+https``, ``git+file``), or a folder. An address never carries a password.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal
from urllib.parse import unquote, urlsplit

from noctuary.errors import NoctuaryError

Kind = Literal["sftp", "s3", "webdavs", "ftps", "git", "folder"]

_GIT = ("git+ssh", "git+https", "git+file")
SCHEMES = ("sftp", "s3", "webdavs", "ftps", *_GIT)
#: Addresses that would send a password, or the site, where anybody on the way can read or change it.
_OPEN = {
    "ftp": "ftps",
    "webdav": "webdavs",
    "dav": "webdavs",
    "http": "webdavs",
    "git": "git+ssh",
    "git+http": "git+https",
}
_SAME = {"https": "webdavs", "davs": "webdavs", "ftpes": "ftps", "ssh": "sftp", "scp": "sftp"}
#: A user name so long is a token that somebody pasted in its place.
_TOKEN_LENGTH = 20


class NotADestination(NoctuaryError, ValueError):
    """The text is no address to upload to. ``message`` and ``hint`` never repeat it: it may hold a secret."""

    rule = "upload-address"


@dataclass(frozen=True, slots=True)
class UploadAddress:
    """A destination. ``host`` is the bucket of an object store; ``path`` has no slash at either end of a prefix.

    ``path`` is a prefix for an object store, a folder elsewhere (relative to the login's own where it does not begin
    with ``/``), and for git the address that git itself understands.
    """

    kind: Kind
    path: str
    host: str = ""
    user: str | None = None
    port: int | None = None
    branch: str = ""

    @property
    def shown(self) -> str:
        """The address for the person's eyes, without a user's name."""
        if self.kind == "folder":
            return self.path
        if self.kind == "git":
            return f"branch {self.branch} of {re.sub(r'//[^/@]*@', '//', self.path)}"
        port = f":{self.port}" if self.port else ""
        return f"{self.kind}://{self.host}{port}/{self.path.lstrip('/')}"


def read_address(text: str) -> UploadAddress:
    """An address taken apart; raises :class:`NotADestination`."""
    text = text.strip()
    if not text or any(ord(c) < 32 for c in text):
        raise NotADestination("there is no address here", "write an address, or a folder")
    scheme, colon, _ = text.partition("://")
    if not colon and re.match(r"[^/\\]+@[^/\\]+:", text):
        raise NotADestination("this is neither an address nor a folder", "write sftp://user@host/path")
    if not colon:
        return UploadAddress("folder", text)
    scheme = scheme.lower()
    if scheme == "file":
        return UploadAddress("folder", unquote(urlsplit(text).path))
    if scheme not in SCHEMES:
        raise _unknown(scheme)
    try:
        parts = urlsplit(text)
        host, port, user = parts.hostname or "", parts.port, parts.username
    except ValueError:
        raise NotADestination("this is not an address", "write it such as sftp://user@host/path") from None
    if parts.password is not None or parts.query:
        raise NotADestination(
            "a password, or what looks like one, is written into this address",
            "take it out, and change it, for it has been written down; the README says where secrets belong",
            "upload-secret",
        )
    if user and (scheme == "s3" or (scheme == "git+https" and len(user) >= _TOKEN_LENGTH)):
        raise NotADestination(
            "what stands before @ looks like a key",
            "take it out, and change it, for it has been written down; the README says where secrets belong",
            "upload-secret",
        )
    if not host and scheme != "git+file":
        raise NotADestination("this address names no host", f"write {scheme}://host/path")
    user = unquote(user) if user else None
    if scheme in _GIT:
        return _git(scheme, text, parts.fragment)
    if parts.fragment:
        raise NotADestination("only a git address ends in #branch", "take out what follows #")
    path = unquote(parts.path)
    if any(part in {".", ".."} for part in path.split("/")):
        raise NotADestination("a path with dots in it", "write the whole path")
    if scheme == "s3":
        return UploadAddress("s3", path.strip("/"), host=host)
    if scheme == "sftp":
        # As usual: /path is the root's, /~/path is the home folder's.
        inside = path.removeprefix("/~/") if path.startswith("/~/") else path
        return UploadAddress("sftp", "." if path == "/~" else inside.rstrip("/") or "/", host, user, port)
    kind: Kind = "webdavs" if scheme == "webdavs" else "ftps"
    return UploadAddress(kind, path.strip("/"), host, user, port)


def _git(scheme: str, text: str, branch: str) -> UploadAddress:
    if not branch:
        raise NotADestination("this address names no branch", "add it at the end, such as #site")
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9._/-]*", branch) or ".." in branch or branch.endswith((".lock", "/")):
        raise NotADestination("no branch can have this name", "write a plain name, such as #site")
    url = text.partition("#")[0].removeprefix("git+")
    return UploadAddress("git", url, branch=branch, host=urlsplit(url).hostname or "")


def _unknown(scheme: str) -> NotADestination:
    if scheme in _OPEN:
        return NotADestination(
            f"{scheme[:20]}:// sends passwords and pages without encryption",
            f"write {_OPEN[scheme]}://, if the host offers it",
        )
    hint = f"write {_SAME[scheme]}://" if scheme in _SAME else f"known are {', '.join(SCHEMES)}, or a folder"
    return NotADestination(f"{scheme[:20]}:// is no kind of destination", hint)

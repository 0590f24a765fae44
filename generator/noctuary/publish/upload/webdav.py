"""Web space that is reached by WebDAV (RFC 4918) over TLS."""

from __future__ import annotations

import ssl
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any
from urllib.parse import quote, unquote, urlsplit
from xml.etree import ElementTree

import httpx

from noctuary.archive.upload_address import UploadAddress
from noctuary.publish.upload.connection import (
    BLOCK,
    PATIENCE_S,
    Body,
    Connection,
    Destination,
    Folder,
    Passing,
    Standing,
    UploadError,
    part_name,
)
from noctuary.publish.upload.credentials import no_password, password, trust

_DAV = "{DAV:}"
_QUESTION = (
    b'<?xml version="1.0" encoding="utf-8"?>\n'
    b'<propfind xmlns="DAV:"><prop><resourcetype/><getcontentlength/></prop></propfind>'
)
#: An answer that lists a folder is not read beyond this many bytes.
_LONGEST_ANSWER = 64_000_000


def destination(address: UploadAddress, archive: Path) -> Destination:
    """The web space at an address; raises :class:`UploadError`."""
    login = None
    if address.user:
        secret = password(address.user, address.host)
        if secret is None:
            raise no_password(address.user, address.host)
        login = httpx.BasicAuth(address.user, secret)
    host = f"[{address.host}]" if ":" in address.host else address.host
    base = f"https://{host}{f':{address.port}' if address.port else ''}/{quote(address.path)}"
    context = trust()
    return Destination(address.shown, lambda: DavConnection(base.rstrip("/"), login, context))


class DavConnection(Connection):
    """Files below a collection of a server. ``base``: its address without a slash at the end."""

    def __init__(self, base: str, login: httpx.BasicAuth | None, context: ssl.SSLContext) -> None:
        self._base = base
        self._made: set[str] = set()
        # A redirect would carry the password to another place.
        self._client = httpx.Client(
            auth=login, verify=context, timeout=PATIENCE_S, follow_redirects=False, trust_env=True
        )

    def read(self, name: str) -> bytes | None:
        answer = self._ask("GET", name, headers={"Accept-Encoding": "identity"})
        if answer.status_code in (404, 410):
            return None
        self._expect(answer, name, 200)
        return answer.content

    def write(self, body: Body) -> None:
        written = part_name(body.name) if body.whole else body.name
        if not self._put(body, written):
            self._make(body.name.rpartition("/")[0])
            if not self._put(body, written):
                raise UploadError(f"{body.name}: the server makes no folder for it", "make it there by hand")
        if body.whole:
            target = {"Destination": self._at(body.name), "Overwrite": "T"}
            self._expect(self._ask("MOVE", written, headers=target), body.name, 201, 204)

    def _put(self, body: Body, name: str) -> bool:
        """Whether the file could be written; it cannot where its folder is not there."""
        headers = {"Content-Type": body.content_type, "Content-Length": str(body.size)}
        with body.open() as source:
            answer = self._ask("PUT", name, headers=headers, content=_blocks(source))
        if answer.status_code in (404, 409):
            return False
        self._expect(answer, body.name, 200, 201, 204)
        return True

    def _make(self, folder: str) -> None:
        """A folder and those above it, the one that the address names too."""
        if folder in self._made:
            return
        answer = self._ask("MKCOL", folder, slash=True)
        if answer.status_code == 409 or (answer.status_code == 404 and not folder):
            if not folder:
                self._make_root()
            else:
                self._make(folder.rpartition("/")[0])
            answer = self._ask("MKCOL", folder, slash=True)
        # 405: it is there, or another connection was quicker.
        self._expect(answer, folder, 200, 201, 405)
        self._made.add(folder)

    def _make_root(self) -> None:
        parts = urlsplit(self._base)
        steps = [step for step in parts.path.split("/") if step]
        for number in range(1, len(steps)):
            self._send("MKCOL", f"{parts.scheme}://{parts.netloc}/{'/'.join(steps[:number])}/")

    def remove(self, name: str) -> None:
        self._expect(self._ask("DELETE", name), name, 200, 204, 404, 410)

    def remove_folder(self, name: str) -> None:
        # To delete a collection is to delete all that is in it, also what others have put there.
        listed = self.look(name)
        if not listed.files and not listed.folders:
            self._ask("DELETE", name, slash=True)

    def look(self, folder: str) -> Folder:
        answer = self._ask("PROPFIND", folder, headers={"Depth": "1"}, content=_QUESTION, slash=True)
        if answer.status_code in (404, 410):
            return Folder()
        self._expect(answer, folder, 207)
        return self._listed(folder, answer.content)

    def _listed(self, folder: str, answer: bytes) -> Folder:
        try:
            if len(answer) > _LONGEST_ANSWER or b"<!DOCTYPE" in answer or b"<!ENTITY" in answer:
                raise ElementTree.ParseError("not the answer of a WebDAV server")
            tree = ElementTree.fromstring(answer)
        except ElementTree.ParseError as error:
            raise UploadError(f"{self._base}: {error}", "see whether this is the address for WebDAV") from None
        own = unquote(urlsplit(self._at(folder)).path).strip("/")
        files: dict[str, Standing] = {}
        folders = set()
        for item in tree.iter(f"{_DAV}response"):
            path = unquote(urlsplit(item.findtext(f"{_DAV}href") or "").path).strip("/")
            if path == own or not path:
                continue
            base = path.rpartition("/")[2]
            if item.find(f".//{_DAV}collection") is not None:
                folders.add(base)
            else:
                files[base] = Standing(int(item.findtext(f".//{_DAV}getcontentlength") or 0))
        return Folder(files, frozenset(folders))

    def close(self) -> None:
        with suppress(Exception):
            self._client.close()

    def _at(self, name: str) -> str:
        return f"{self._base}/{quote(name)}" if name else self._base

    def _ask(self, method: str, name: str, *, slash: bool = False, **more: Any) -> httpx.Response:
        return self._send(method, self._at(name) + ("/" if slash else ""), **more)

    def _send(self, method: str, url: str, **more: Any) -> httpx.Response:
        with _troubles(self._base):
            return self._client.request(method, url, **more)

    def _expect(self, answer: httpx.Response, name: str, *wanted: int) -> None:
        status = answer.status_code
        if status in wanted:
            return
        about = f"{self._base}/{name}" if name else self._base
        message = f"{about}: the server says {status} {answer.reason_phrase}".rstrip()
        if status == 401:
            raise UploadError(
                f"{self._base}: user and password are refused", "see the user in the address, and the password kept"
            )
        if status == 403:
            raise UploadError(f"{message}: it may not be written there", "see which folder there is yours")
        if status in (413, 507):
            raise UploadError(f"there is no room left for {about} ({status})", "make room, then run upload again")
        if status >= 500 or status in (408, 423, 425, 429):
            raise Passing(message)
        raise UploadError(message, "see whether this is the address for WebDAV")


def _blocks(source: Any) -> Iterator[bytes]:
    while block := source.read(BLOCK):
        yield block


@contextmanager
def _troubles(base: str) -> Iterator[None]:
    """What goes wrong on the way to a server, raised as an error of ours."""
    try:
        yield
    except httpx.TimeoutException:
        raise Passing(f"no answer for {PATIENCE_S:.0f} s") from None
    except httpx.TransportError as error:
        cause: BaseException | None = error
        while cause is not None:
            if isinstance(cause, ssl.SSLCertVerificationError):
                raise UploadError(
                    f"{base}: its certificate is not to be trusted: {cause.verify_message}",
                    "see that this is the host's own address; SSL_CERT_FILE may name a certificate to trust",
                ) from None
            cause = cause.__cause__ or cause.__context__
        raise Passing(" ".join(str(error).split()) or type(error).__name__) from None

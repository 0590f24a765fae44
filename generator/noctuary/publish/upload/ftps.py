"""Web space that is reached by FTP over TLS (RFC 4217, explicit), commands and files alike."""

from __future__ import annotations

import ftplib
import io
import re
import socket
import ssl
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

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

_PORT = 21
#: Codes of RFC 959: no room (452, 552), not there or not allowed (550), the name not allowed (553).
_FULL = {"452", "552"}
_NO_SUCH = {"550", "553"}


def destination(address: UploadAddress, archive: Path) -> Destination:
    """The web space at an address; raises :class:`UploadError`."""
    if not address.user:
        raise UploadError("the address names no user", f"write ftps://USER@{address.host}/{address.path}")
    secret = password(address.user, address.host)
    if secret is None:
        raise no_password(address.user, address.host)
    context = trust()
    user = address.user

    def connect() -> FtpsConnection:
        return FtpsConnection(_logged_in(address, user, secret, context), address.path)

    return Destination(address.shown, connect, connections=3)


def _logged_in(address: UploadAddress, user: str, secret: str, context: ssl.SSLContext) -> _Session:
    ftp = _Session(context=context, timeout=PATIENCE_S, encoding="utf-8")
    try:
        ftp.connect(address.host, address.port or _PORT)
        ftp.auth()
        ftp.login(user, secret)
        ftp.prot_p()
        ftp.voidcmd("TYPE I")
    except ssl.SSLCertVerificationError as error:
        ftp.close()
        raise UploadError(
            f"{address.shown}: its certificate is not to be trusted: {error.verify_message}",
            "see that this is the host's own address; SSL_CERT_FILE may name a certificate to trust",
        ) from None
    except ftplib.error_perm as error:
        ftp.close()
        if str(error)[:3] == "530":
            hint = "see the user in the address, and the password kept"
            raise UploadError(f"{address.shown}: user and password are refused", hint) from None
        raise UploadError(f"{address.shown}: {_reason(error)}", "see whether the host offers FTP over TLS") from None
    except (ftplib.Error, OSError, EOFError) as error:
        ftp.close()
        raise Passing(_reason(error)) from None
    return ftp


class _Session(ftplib.FTP_TLS):
    """A session whose files travel in the TLS session of its commands, as many servers demand."""

    def ntransfercmd(self, cmd: str, rest: int | str | None = None) -> tuple[socket.socket, int | None]:
        wire, size = ftplib.FTP.ntransfercmd(self, cmd, rest)
        # Or each small file waits for the other side to acknowledge what came before the goodbye.
        wire.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        control = self.sock
        session = control.session if isinstance(control, ssl.SSLSocket) else None
        try:
            return self.context.wrap_socket(wire, server_hostname=self.host, session=session), size
        except BaseException:
            wire.close()
            raise

    def send(self, command: str, source: Callable[[int], bytes]) -> None:
        """Sends a file; raises what ftplib raises."""
        with self.transfercmd(command) as wire:
            while block := source(BLOCK):
                wire.sendall(block)
            _part(wire)
        self.voidresp()

    def receive(self, command: str, sink: Callable[[bytes], object]) -> None:
        """Receives a file or a list; raises what ftplib raises."""
        with self.transfercmd(command) as wire:
            while block := wire.recv(BLOCK):
                sink(block)
            _part(wire)
        self.voidresp()


def _part(wire: socket.socket) -> None:
    # Servers differ in whether they say goodbye too; that all has come is in the answer to the command.
    if isinstance(wire, ssl.SSLSocket):
        with suppress(OSError, ValueError):
            wire.unwrap()


class FtpsConnection(Connection):
    """Files below a folder of a server. ``root`` is counted from where a login begins."""

    def __init__(self, ftp: _Session, root: str) -> None:
        self._ftp, self._root = ftp, root
        self._made: set[str] = set()

    def read(self, name: str) -> bytes | None:
        into = io.BytesIO()
        with _troubles(name):
            try:
                self._ftp.receive(f"RETR {self._at(name)}", into.write)
            except ftplib.error_perm as error:
                if _code(error) in _NO_SUCH:
                    return None
                raise
        return into.getvalue()

    def write(self, body: Body) -> None:
        path = self._at(body.name)
        written = self._at(part_name(body.name)) if body.whole else path
        with _troubles(body.name):
            try:
                self._store(body, written)
            except ftplib.error_perm as error:
                if _code(error) not in _NO_SUCH or not self._make(path.rpartition("/")[0]):
                    raise
                self._store(body, written)
            if body.whole:
                self._rename(written, path)

    def _store(self, body: Body, path: str) -> None:
        with body.open() as source:
            self._ftp.send(f"STOR {path}", source.read)
        size = None
        with suppress(ftplib.error_perm):  # not every server tells sizes
            size = self._ftp.size(path)
        if size is not None and size != body.size:
            # A host whose room is used up may keep what fitted and say that all is well.
            raise UploadError(
                f"the server kept {size} of {body.size} bytes of {body.name}", "see whether there is room left there"
            )

    def _rename(self, part: str, path: str) -> None:
        try:
            self._ftp.rename(part, path)
        except ftplib.error_perm:
            # A server that renames onto nothing that is there: for a moment there is no such file.
            self._ftp.delete(path)
            self._ftp.rename(part, path)

    def _make(self, folder: str) -> bool:
        """Makes a folder and those above it; whether there was anything to make."""
        if not folder or folder in self._made:
            return False
        self._make(folder.rpartition("/")[0])
        with suppress(ftplib.error_perm):  # it is there; if not, what is written into it tells why
            self._ftp.mkd(folder)
        self._made.add(folder)
        return True

    def remove(self, name: str) -> None:
        with _troubles(name):
            try:
                self._ftp.delete(self._at(name))
            except ftplib.error_perm as error:
                if _code(error) not in _NO_SUCH or self._is_there(name):
                    raise

    def _is_there(self, name: str) -> bool:
        folder, _, base = name.rpartition("/")
        return base in self.look(folder).files

    def remove_folder(self, name: str) -> None:
        with _troubles(name), suppress(ftplib.error_perm):  # not empty, or gone
            self._ftp.rmd(self._at(name))

    def look(self, folder: str) -> Folder:
        path = self._at(folder)
        answer = io.BytesIO()
        with _troubles(folder):
            try:
                self._ftp.receive(f"MLSD {path}" if path else "MLSD", answer.write)
            except ftplib.error_perm as error:
                if _code(error) in {"500", "502", "504"}:
                    return self._look_slowly(path)
                return Folder()
        files: dict[str, Standing] = {}
        folders = set()
        for line in answer.getvalue().decode("utf-8", "replace").splitlines():
            facts, _, base = line.partition(" ")
            known = dict(f.lower().split("=", 1) for f in facts.split(";") if "=" in f)
            if known.get("type") == "dir":
                folders.add(base)
            elif known.get("type") not in ("cdir", "pdir") and base:
                files[base] = Standing(int(known.get("size", 0)))
        return Folder(files, frozenset(folders))

    def _look_slowly(self, path: str) -> Folder:
        """What is in a folder of a server older than RFC 3659: its names, and what has a size is a file."""
        files: dict[str, Standing] = {}
        folders = set()
        answer = io.BytesIO()
        try:
            self._ftp.receive(f"NLST {path}" if path else "NLST", answer.write)
        except ftplib.error_perm:
            return Folder()
        names = answer.getvalue().decode("utf-8", "replace").splitlines()
        for base in (re.split(r"[/\\]", name)[-1] for name in names):
            try:
                files[base] = Standing(self._ftp.size(f"{path}/{base}" if path else base) or 0)
            except ftplib.error_perm:
                folders.add(base)
        return Folder(files, frozenset(folders))

    def close(self) -> None:
        with suppress(Exception):
            self._ftp.close()

    def _at(self, name: str) -> str:
        return "/".join(part for part in (self._root, name) if part)


@contextmanager
def _troubles(name: str) -> Iterator[None]:
    """Raise what goes wrong with a file as an error of ours."""
    try:
        yield
    except ftplib.Error as error:
        code = _code(error)
        if code in _FULL:
            raise UploadError(
                f"there is no room left there for {name} ({code})", "make room, then run upload again"
            ) from None
        if isinstance(error, ftplib.error_perm):
            raise UploadError(f"{name}: {_reason(error)}", "see which folder there is yours") from None
        raise Passing(f"{name}: {_reason(error)}") from None
    except (OSError, EOFError) as error:
        raise Passing(f"{name}: {_reason(error)}") from None


def _code(error: Exception) -> str:
    return str(error)[:3]


def _reason(error: Exception) -> str:
    if isinstance(error, socket.gaierror):
        return "there is no host of this name, or no network"
    if isinstance(error, TimeoutError):
        return f"no answer for {PATIENCE_S:.0f} s"
    if isinstance(error, EOFError):
        return "the connection broke off"
    return " ".join(str(error).split())[:200] or type(error).__name__

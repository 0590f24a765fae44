"""Web space that is reached by SFTP: the file transfer of SSH (draft-ietf-secsh-filexfer-02).

Keys come from the agent and the home's ``.ssh``, hosts are known by ``known_hosts`` there, and what the person
wrote about a host in ``.ssh/config`` holds here too.
"""

from __future__ import annotations

import base64
import errno
import getpass
import hashlib
import io
import posixpath
import socket
import stat
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import paramiko

from noctuary.archive.upload_address import UploadAddress
from noctuary.files import write_whole
from noctuary.publish.upload.connection import (
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
from noctuary.publish.upload.credentials import kept_password, no_password, password

_SYSTEM_HOSTS = Path("/etc/ssh/ssh_known_hosts")
_KEEP_ALIVE_S = 15


def destination(address: UploadAddress, archive: Path) -> Destination:
    """The web space at an address."""
    login = _Login(address)
    return Destination(address.shown, lambda: SftpConnection(login.client(), address.path))


class _Login:
    """How to log in: what the person's SSH settings say of the host. Asks anything once for all connections."""

    def __init__(self, address: UploadAddress) -> None:
        self._ssh = Path.home() / ".ssh"
        settings = self._settings_of(address.host)
        self.host = str(settings.get("hostname", address.host))
        self.port = address.port or int(str(settings.get("port", 22)))
        self.user = address.user or str(settings.get("user", getpass.getuser()))
        self._keys = [str(Path(file).expanduser()) for file in settings.get("identityfile", ())]
        self._proxy = self._proxy_of(settings)
        self._turn = threading.Lock()
        self._password: str | None = None

    def _settings_of(self, host: str) -> dict[str, Any]:
        try:
            return dict(paramiko.SSHConfig.from_path(str(self._ssh / "config")).lookup(host))
        except (OSError, paramiko.ConfigParseError):
            return {}

    def _proxy_of(self, settings: dict[str, Any]) -> str | None:
        if jump := settings.get("proxyjump"):
            return f"ssh -W [{self.host}]:{self.port} {jump}"
        command = settings.get("proxycommand")
        return str(command) if command and command != "none" else None

    def client(self) -> paramiko.SSHClient:
        """A client that is logged in; raises Passing and UploadError."""
        # One after the other: a question about the host or a password is asked once.
        with self._turn:
            try:
                return self._connected(self._password)
            except (paramiko.AuthenticationException, paramiko.PasswordRequiredException):
                pass
            except paramiko.SSHException as error:
                if "No authentication methods" not in str(error):
                    raise _passing(error) from error
            given = kept_password(self.user, self.host) or password(self.user, self.host)
            if given is None:
                missing = no_password(self.user, self.host)
                raise UploadError(
                    f"no key opens {self.host} for {self.user}, and {missing.message}",
                    f"ssh-add the key that does (a key with a passphrase needs the agent), or {missing.hint}",
                )
            try:
                client = self._connected(given)
            except (paramiko.AuthenticationException, paramiko.PasswordRequiredException):
                raise UploadError(
                    f"{self.host} refuses {self.user}: neither a key nor the password opens it",
                    "see that sftp USER@HOST works by hand",
                ) from None
            except paramiko.SSHException as error:
                raise _passing(error) from error
            self._password = given
            return client

    def _connected(self, secret: str | None) -> paramiko.SSHClient:
        client = paramiko.SSHClient()
        with suppress(OSError):
            client.load_system_host_keys(str(_SYSTEM_HOSTS))
        with suppress(OSError):
            client.load_system_host_keys(str(self._ssh / "known_hosts"))
        client.set_missing_host_key_policy(_AskAboutHost(self._ssh / "known_hosts"))
        try:
            client.connect(
                self.host,
                self.port,
                self.user,
                password=secret,
                key_filename=self._keys or None,  # type: ignore[arg-type]
                timeout=PATIENCE_S,
                banner_timeout=PATIENCE_S,
                auth_timeout=PATIENCE_S,
                channel_timeout=PATIENCE_S,
                sock=paramiko.ProxyCommand(self._proxy) if self._proxy else None,
            )
        except paramiko.BadHostKeyException:
            client.close()
            raise UploadError(
                f"{self.host} shows another key than the one in known_hosts: it may be somebody else",
                f"ask the host; if it is true, ssh-keygen -R {self.host} forgets the old one",
            ) from None
        except (paramiko.SSHException, UploadError):
            client.close()
            raise
        except (OSError, EOFError) as error:
            client.close()
            raise Passing(_why(error)) from error
        transport = client.get_transport()
        if transport is not None:
            transport.set_keepalive(_KEEP_ALIVE_S)
        return client


class _AskAboutHost(paramiko.MissingHostKeyPolicy):
    """A host that nobody knows is accepted by a person who has seen its fingerprint, and by nobody else."""

    def __init__(self, known_hosts: Path) -> None:
        self._known_hosts = known_hosts

    def missing_host_key(self, client: paramiko.SSHClient, hostname: str, key: paramiko.PKey) -> None:
        shown = fingerprint(key)
        if not (sys.stdin.isatty() and sys.stderr.isatty()):
            raise UploadError(
                f"the host {hostname} is not known; its key is {key.get_name()} {shown}",
                "compare that with what the host says, then connect once by hand with sftp",
            )
        print(f"The host {hostname} is not known. Its key is {key.get_name()}\n{shown}", file=sys.stderr)
        print("Compare it with what the host says. Is it the same? (yes/no) ", end="", file=sys.stderr, flush=True)
        if sys.stdin.readline().strip().lower() != "yes":
            raise UploadError(f"the host {hostname} is not known", "find out its fingerprint, then run upload again")
        line = f"{hostname} {key.get_name()} {key.get_base64()}\n".encode()
        self._known_hosts.parent.mkdir(mode=0o700, exist_ok=True)
        before = self._known_hosts.read_bytes() if self._known_hosts.exists() else b""
        end = b"" if not before or before.endswith(b"\n") else b"\n"
        write_whole(self._known_hosts, before + end + line)


def fingerprint(key: paramiko.PKey) -> str:
    """A key's fingerprint as SSH shows it: ``SHA256:`` and base64 without padding."""
    digest = hashlib.sha256(key.asbytes()).digest()
    return f"SHA256:{base64.b64encode(digest).decode().rstrip('=')}"


class SftpConnection(Connection):
    """Files below a folder of a server."""

    def __init__(self, client: paramiko.SSHClient, root: str) -> None:
        self._client, self._root = client, root
        self._folders: set[str] = set()
        try:
            self._sftp = client.open_sftp()
            channel = self._sftp.get_channel()
            if channel is not None:
                channel.settimeout(PATIENCE_S)
        except (paramiko.SSHException, OSError, EOFError) as error:
            client.close()
            raise Passing(f"no file transfer: {_why(error)}") from error

    def read(self, name: str) -> bytes | None:
        into = io.BytesIO()
        with _troubles(name):
            try:
                self._sftp.getfo(self._at(name), into)
            except OSError as error:
                if error.errno == errno.ENOENT:
                    return None
                raise
        return into.getvalue()

    def write(self, body: Body) -> None:
        path = self._at(body.name)
        written = self._at(part_name(body.name)) if body.whole else path
        with _troubles(body.name):
            self._make(posixpath.dirname(path))
            with body.open() as source:
                self._sftp.putfo(source, written, body.size)  # type: ignore[arg-type]
            if body.whole:
                self._rename(written, path)

    def _rename(self, part: str, path: str) -> None:
        try:
            self._sftp.posix_rename(part, path)
        except OSError as error:
            if error.errno in (errno.ENOENT, errno.EACCES):
                raise
            # A server without that extension of OpenSSH's: for a moment there is no such file.
            with suppress(OSError):
                self._sftp.remove(path)
            self._sftp.rename(part, path)

    def _make(self, folder: str) -> None:
        if folder in self._folders or folder in ("", "/", "."):
            return
        try:
            mode = self._sftp.stat(folder).st_mode
            if mode is not None and not stat.S_ISDIR(mode):
                raise UploadError(f"{folder} is a file there, and not a folder", "move it away")
        except OSError as error:
            if error.errno != errno.ENOENT:
                raise
            self._make(posixpath.dirname(folder))
            try:
                self._sftp.mkdir(folder)
            except OSError:
                self._sftp.stat(folder)  # another connection was quicker, or this tells why not
        self._folders.add(folder)

    def remove(self, name: str) -> None:
        with _troubles(name):
            try:
                self._sftp.remove(self._at(name))
            except OSError as error:
                if error.errno != errno.ENOENT:
                    raise

    def remove_folder(self, name: str) -> None:
        with _troubles(name), suppress(OSError):  # not empty, or gone
            self._sftp.rmdir(self._at(name))

    def look(self, folder: str) -> Folder:
        files: dict[str, Standing] = {}
        folders = set()
        with _troubles(folder):
            try:
                entries = self._sftp.listdir_attr(self._at(folder))
            except OSError as error:
                if error.errno == errno.ENOENT:
                    return Folder()
                raise
        for entry in entries:
            if stat.S_ISDIR(entry.st_mode or 0):
                folders.add(entry.filename)
            else:
                files[entry.filename] = Standing(entry.st_size or 0)
        return Folder(files, frozenset(folders))

    def close(self) -> None:
        with suppress(Exception):
            self._client.close()

    def _at(self, name: str) -> str:
        return posixpath.join(self._root, name) if name else self._root


@contextmanager
def _troubles(name: str) -> Iterator[None]:
    """What goes wrong with a file, raised as an error of ours."""
    try:
        yield
    except (paramiko.SSHException, EOFError, TimeoutError, ConnectionError) as error:
        raise Passing(f"{name}: {_why(error)}") from error
    except OSError as error:
        if error.errno in (errno.EACCES, errno.EPERM):
            raise UploadError(
                f"{name} may not be written there: permission denied", "see which folder there is yours"
            ) from error
        if error.errno == errno.ENOENT:
            raise UploadError(f"{name}: the folder is not there any more", "run upload again") from error
        message = str(error)
        if "closed" in message.lower() or error.errno is not None:
            raise Passing(f"{name}: {_why(error)}") from error
        # All that the protocol says of a full disk is that it failed, or nothing until the size is looked at.
        raise UploadError(
            f"the server did not take the whole of {name}", "see whether there is room left there"
        ) from error


def _passing(error: Exception) -> Passing:
    return Passing(_why(error))


def _why(error: BaseException) -> str:
    if isinstance(error, socket.gaierror):
        return "there is no host of this name, or no network"
    if isinstance(error, TimeoutError):
        return f"no answer for {PATIENCE_S:.0f} s"
    if isinstance(error, OSError) and error.strerror:
        return error.strerror
    return " ".join(str(error).split()) or type(error).__name__

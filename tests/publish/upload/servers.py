"""Real servers on this machine's loopback, and a wire to them that can be cut."""

from __future__ import annotations

import getpass
import os
import shutil
import socket
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from functools import partial
from pathlib import Path
from typing import Any

import pytest


def needed(what: str, package: str) -> None:
    """Without the server these tests prove nothing: they fail where all must be tried, else stand aside."""
    if os.environ.get("CI"):
        pytest.fail(f"{what} is not installed: apt-get install {package}")
    pytest.skip(f"{what} is not installed: apt-get install {package}")


def free_port() -> int:
    """A port for a server that has to be told one: below those that systems hand out by themselves, and each process
    looks at others first, so that nobody else takes it before the server does."""
    for port in range(20_000 + 37 * os.getpid() % 11_000, 32_000):
        with suppress(OSError), socket.socket() as probe:
            probe.bind(("127.0.0.1", port))
            return port
    raise OSError("no port is free")


def wait_for(port: int) -> None:
    for _ in range(1200):
        with suppress(OSError), socket.create_connection(("127.0.0.1", port), 1):
            return
        time.sleep(0.05)
    raise TimeoutError(f"nothing answers on port {port}")


@contextmanager
def running(command: list[str], port: int) -> Iterator[subprocess.Popen[bytes]]:
    nothing = subprocess.DEVNULL
    process = subprocess.Popen(command, stdin=nothing, stdout=nothing, stderr=nothing)
    try:
        wait_for(port)
        yield process
    finally:
        process.terminate()
        process.wait(60)


class SshServer:
    """OpenSSH's own sshd, with a host key and one user's key made for it."""

    def __init__(self, folder: Path) -> None:
        self.sshd = shutil.which("sshd") or "/usr/sbin/sshd"
        if not Path(self.sshd).exists():
            needed("sshd", "openssh-server")
        self.folder, self.port, self.user = folder, free_port(), getpass.getuser()
        self.home = folder / "home"
        (self.home / ".ssh").mkdir(parents=True, mode=0o700)
        for key in (folder / "host_key", self.home / ".ssh" / "id_ed25519"):
            subprocess.run(["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", str(key)], check=True)
        shutil.copy(self.home / ".ssh" / "id_ed25519.pub", folder / "authorized_keys")
        self.know()
        (folder / "sshd_config").write_text(
            f"Port {self.port}\nListenAddress 127.0.0.1\nHostKey {folder}/host_key\nPidFile {folder}/sshd.pid\n"
            f"AuthorizedKeysFile {folder}/authorized_keys\nStrictModes no\nUsePAM no\nPasswordAuthentication no\n"
            "KbdInteractiveAuthentication no\nSubsystem sftp internal-sftp\nMaxStartups 100\nMaxSessions 20\n",
            encoding="utf-8",
        )
        Path("/run/sshd").mkdir(exist_ok=True) if os.getuid() == 0 else None

    def know(self, port: int | None = None) -> None:
        """The host becomes known under a port."""
        _, kind, key, *_ = ("", *(self.folder / "host_key.pub").read_text().split())
        with (self.home / ".ssh" / "known_hosts").open("a", encoding="utf-8") as file:
            file.write(f"[127.0.0.1]:{port or self.port} {kind} {key}\n")

    @contextmanager
    def running(self) -> Iterator[SshServer]:
        command = [self.sshd, "-D", "-e", "-f", str(self.folder / "sshd_config")]
        with running(command, self.port):
            yield self


class Wire:
    """A wire to a port of this machine that can be cut, or made slow, while a server goes on.

    ``lives``: how many bytes from here each of the next connections may carry before it is cut; of the first
    ``silent`` of them nothing is heard at all. ``large``: how many connections are cut that carry more than
    ``LARGE`` bytes from here, whichever they are.
    """

    LARGE = 20_000

    def __init__(self, to: int) -> None:
        self._to = to
        self.lives: list[int] = []
        self._unheard: list[socket.socket] = []
        self.cuts = 0
        self.silent = 0
        self.large = 0
        self._turn = threading.Lock()
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._listener.getsockname()[1])
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self) -> None:
        while True:
            try:
                near, _ = self._listener.accept()
                if self.silent:
                    self.silent -= 1
                    self._unheard.append(near)
                    continue
                far = socket.create_connection(("127.0.0.1", self._to))
            except OSError:
                return
            life = self.lives.pop(0) if self.lives else None
            threading.Thread(target=self._carry, args=(near, far, partial(self._cut, life)), daemon=True).start()
            threading.Thread(target=self._carry, args=(far, near, lambda carried: False), daemon=True).start()

    def _cut(self, life: int | None, carried: int) -> bool:
        with self._turn:
            large = carried > self.LARGE and self.large > 0
            if not large and (life is None or carried <= life):
                return False
            self.large -= large
            self.cuts += 1
            return True

    def _carry(self, source: socket.socket, target: socket.socket, cut: Callable[[int], bool]) -> None:
        carried = 0
        with suppress(OSError):
            while data := source.recv(16384):
                carried += len(data)
                if cut(carried):
                    break
                target.sendall(data)
        for end in (source, target):
            with suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
            end.close()

    def close(self) -> None:
        self._listener.close()


class Gate:
    """Stands before a web application: counts what is asked of it and answers in its place with faults.

    ``faults``: (method, status) of the requests that fail next, in order for each method; ``decide`` may give a
    status for any request.
    """

    def __init__(self, app: Any) -> None:
        self._app = app
        self.asked: list[str] = []
        self.faults: list[tuple[str, int]] = []
        self.decide: Callable[[str], int | None] | None = None
        self._turn = threading.Lock()

    def __call__(self, environ: dict[str, Any], start_response: Any) -> Any:
        method = environ["REQUEST_METHOD"]
        with self._turn:
            self.asked.append(f"{method} {environ.get('PATH_INFO', '')}")
            fault = next((f for f in self.faults if f[0] == method), None)
            if fault is not None:
                self.faults.remove(fault)
            elif self.decide is not None and (status := self.decide(method)) is not None:
                fault = method, status
        if fault is None:
            return self._app(environ, start_response)
        # What was sent must be taken all the same, or the client never gets to read the answer.
        length = int(environ.get("CONTENT_LENGTH") or 0)
        environ["wsgi.input"].read(length)
        start_response(f"{fault[1]} Fault", [("Content-Type", "text/plain"), ("Content-Length", "0")])
        return [b""]


class ObjectStore:
    """A server that speaks S3. ``bucket``: the one that a test made last."""

    def __init__(self) -> None:
        self.bucket = ""
        from moto.moto_server.werkzeug_app import DomainDispatcherApplication, create_backend_app
        from werkzeug.serving import make_server

        self.gate = Gate(DomainDispatcherApplication(create_backend_app))
        self._server = make_server("127.0.0.1", 0, self.gate, threaded=True)
        self.port = int(self._server.server_port)
        threading.Thread(target=self._server.serve_forever, daemon=True).start()

    def close(self) -> None:
        self._server.shutdown()


class Certified:
    """A certificate of 127.0.0.1 and the authority behind it, made for one run. ``authority``: the file to trust."""

    def __init__(self, folder: Path) -> None:
        import trustme

        authority = trustme.CA()
        issued = authority.issue_cert("127.0.0.1", "localhost")
        self.authority, self.certificate, self.key = folder / "authority.pem", folder / "cert.pem", folder / "key.pem"
        authority.cert_pem.write_to_path(str(self.authority))
        self.certificate.write_bytes(b"".join(part.bytes() for part in issued.cert_chain_pems))
        issued.private_key_pem.write_to_path(str(self.key))


USER, PASSWORD = "ilse", "s3cr3t pass word"


class DavServer:
    """A WebDAV server over TLS, with one user and a folder."""

    def __init__(self, folder: Path) -> None:
        from cheroot.ssl.builtin import BuiltinSSLAdapter
        from cheroot.wsgi import Server
        from wsgidav.wsgidav_app import WsgiDAVApp

        self.files = folder / "files"
        self.files.mkdir()
        self.certified = Certified(folder)
        app = WsgiDAVApp(
            {
                "provider_mapping": {"/": str(self.files)},
                "simple_dc": {"user_mapping": {"*": {USER: {"password": PASSWORD}}}},
                "http_authenticator": {"accept_basic": True, "accept_digest": False, "default_to_digest": False},
                "logging": {"enable": False},
                "verbose": 0,
            }
        )
        self.gate = Gate(app)
        self._server = Server(("127.0.0.1", 0), self.gate, numthreads=12)
        self._server.ssl_adapter = BuiltinSSLAdapter(str(self.certified.certificate), str(self.certified.key))
        self._server.prepare()
        self.port = int(self._server.bind_addr[1])
        threading.Thread(target=self._server.serve, daemon=True).start()

    def close(self) -> None:
        self._server.stop()


class FtpsServer:
    """An FTP server that takes neither commands nor files without TLS, with one user and a folder.

    ``refusals``: answers to the next commands that store a file, in place of storing it. ``new``: knows MLSD.
    """

    def __init__(self, folder: Path, *, new: bool = True) -> None:
        from pyftpdlib.authorizers import DummyAuthorizer
        from pyftpdlib.handlers import TLS_FTPHandler
        from pyftpdlib.servers import ThreadedFTPServer

        self.files = folder / "files"
        self.files.mkdir()
        self.certified = Certified(folder)
        self.refusals: list[str] = []
        both = folder / "both.pem"
        both.write_bytes(self.certified.key.read_bytes() + self.certified.certificate.read_bytes())
        authorizer = DummyAuthorizer()
        authorizer.add_user(USER, PASSWORD, str(self.files), perm="elradfmwMT")
        server = self

        class Handler(TLS_FTPHandler):
            def ftp_STOR(self, file: str, mode: str = "w") -> Any:
                if server.refusals:
                    self.respond(server.refusals.pop(0))
                    return None
                return super().ftp_STOR(file, mode)

        Handler.authorizer = authorizer
        Handler.auth_failed_timeout = 0.1  # it would let who has the wrong password wait for three seconds
        Handler.certfile = str(both)
        Handler.tls_control_required = True
        Handler.tls_data_required = True
        if not new:
            Handler.proto_cmds = {k: v for k, v in Handler.proto_cmds.items() if k != "MLSD"}
        self._server = ThreadedFTPServer(("127.0.0.1", 0), Handler)
        self.port = int(self._server.socket.getsockname()[1])
        threading.Thread(target=self._server.serve_forever, daemon=True).start()

    def close(self) -> None:
        self._server.close_all()

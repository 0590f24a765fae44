"""Web space by SFTP, at OpenSSH's own server."""

import os
import shutil
import subprocess

import pytest

pytest.importorskip("paramiko")

from noctuary.archive.upload_address import read_address
from noctuary.publish.upload import sftp
from noctuary.publish.upload.connection import UploadError
from noctuary.publish.upload.git_branch import upload_branch
from noctuary.publish.upload.upload import Choices

from tests.publish.upload.every_kind import *  # noqa: F403
from tests.publish.upload.servers import SshServer, Wire
from tests.publish.upload.tiny_site import archived, built, dead_links, lying, tiny_site, uploaded
from tests.publish.upload.web_space import step, test_the_servers_folder_holds_the_files_as_they_are  # noqa: F401

#: Connections by SSH take twice as long as those to all other servers.
pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    with SshServer(tmp_path_factory.mktemp("ssh")).running() as running:
        yield running


@pytest.fixture(autouse=True)
def at_home(server, monkeypatch):
    monkeypatch.setenv("HOME", str(server.home))
    monkeypatch.delenv("SSH_AUTH_SOCK", raising=False)
    monkeypatch.delenv("NOCTUARY_UPLOAD_PASSWORD", raising=False)


@pytest.fixture
def space(tmp_path):
    """A folder of the server that is not there yet."""
    return tmp_path / "web" / "site"


def at(server, space, port=None):
    return sftp.destination(read_address(f"sftp://{server.user}@127.0.0.1:{port or server.port}{space}"), space)


@pytest.fixture
def to(server, space):
    return at(server, space)


def test_a_cut_wire_is_mended(tmp_path, server, space):
    """Each of six connections ends in the middle of something; the upload comes through all the same."""
    wire = Wire(server.port)
    server.know(wire.port)
    wire.lives = [9_000, 30_000, 60_000, 5_000, 90_000, 50_000]
    files = tiny_site(["rosette", "veil", "andromeda", "m13"])
    try:
        uploaded(tmp_path / "archive", files, at(server, space, wire.port))
    finally:
        wire.close()
    assert wire.cuts >= 2
    assert lying(at(server, space).connect()) == files


def test_a_server_that_goes_away_is_one_line_after_a_few_tries(tmp_path, server, space):
    wire = Wire(server.port)
    server.know(wire.port)
    waits: list[float] = []
    wire.lives = [40_000] + [0] * 50
    try:
        with pytest.raises(UploadError) as told:
            uploaded(tmp_path / "archive", tiny_site(), at(server, space, wire.port), sleep=waits.append)
    finally:
        wire.close()
    assert "again and again" in told.value.message
    assert "\n" not in told.value.message
    assert 4 <= len(waits) <= 20
    there = at(server, space)
    assert dead_links(lying(there.connect())) == []
    uploaded(tmp_path / "archive", tiny_site(), there)
    assert lying(there.connect()) == tiny_site()


def test_an_unknown_host_shows_its_fingerprint_and_is_never_accepted_unseen(tmp_path, server, to, monkeypatch):
    known = server.home / ".ssh" / "known_hosts"
    before = known.read_bytes()
    told = subprocess.run(
        ["ssh-keygen", "-lf", str(server.folder / "host_key.pub")], capture_output=True, text=True, check=True
    )
    fingerprint = told.stdout.split()[1]
    known.write_bytes(b"")
    try:
        with pytest.raises(UploadError) as refused:
            uploaded(tmp_path / "archive", tiny_site(), to)
        assert fingerprint in refused.value.message
        assert known.read_bytes() == b""
        _at_a_terminal(monkeypatch, "no\n")
        with pytest.raises(UploadError):
            to.connect()
        assert known.read_bytes() == b""
        said = _at_a_terminal(monkeypatch, "yes\n")
        to.connect().close()
        assert fingerprint in "".join(said)
        # It is known from now on, to OpenSSH too.
        monkeypatch.undo()
        assert subprocess.run(["ssh-keygen", "-F", f"[127.0.0.1]:{server.port}", "-f", str(known)]).returncode == 0
        assert server.folder.joinpath("host_key.pub").read_text().split()[1] in known.read_text()
    finally:
        known.write_bytes(before)


def _at_a_terminal(monkeypatch, answer):
    said = []

    class Terminal:
        def isatty(self):
            return True

        def readline(self):
            return answer

        def write(self, text):
            said.append(text)

        def flush(self):
            pass

    monkeypatch.setattr("sys.stdin", Terminal())
    monkeypatch.setattr("sys.stderr", Terminal())
    return said


def test_another_host_key_than_the_known_one_is_refused(tmp_path, server, to):
    known = server.home / ".ssh" / "known_hosts"
    before = known.read_bytes()
    subprocess.run(["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", str(tmp_path / "other")], check=True)
    kind, key, *_ = (tmp_path / "other.pub").read_text().split()
    known.write_text(f"[127.0.0.1]:{server.port} {kind} {key}\n")
    try:
        with pytest.raises(UploadError, match="another key"):
            uploaded(tmp_path / "archive", tiny_site(), to)
    finally:
        known.write_bytes(before)


def test_a_key_from_the_agent_opens_what_no_file_does(tmp_path, server, to, monkeypatch):
    key = server.home / ".ssh" / "id_ed25519"
    hidden = tmp_path / "key"
    agent = subprocess.run(["ssh-agent", "-s"], capture_output=True, text=True, check=True).stdout
    values = dict(part.split("=", 1) for part in agent.replace("\n", " ").split("; ") if "=" in part)
    environment = {**os.environ, "SSH_AUTH_SOCK": values["SSH_AUTH_SOCK"]}
    shutil.move(key, hidden)
    try:
        subprocess.run(["ssh-add", "-q", str(hidden)], env=environment, check=True, capture_output=True)
        with pytest.raises(UploadError, match="no key opens"):
            to.connect()
        monkeypatch.setenv("SSH_AUTH_SOCK", values["SSH_AUTH_SOCK"])
        to.connect().close()
    finally:
        shutil.move(hidden, key)
        os.kill(int(next(v for k, v in values.items() if k.strip().endswith("SSH_AGENT_PID"))), 15)


def test_what_ssh_config_says_of_a_host_holds(tmp_path, server, space):
    config = server.home / ".ssh" / "config"
    config.write_text(f"Host webspace\n  HostName 127.0.0.1\n  Port {server.port}\n  User {server.user}\n")
    try:
        to = sftp.destination(read_address(f"sftp://webspace{space}"), tmp_path)
        files = tiny_site(["veil"])
        uploaded(tmp_path / "archive", files, to)
        assert lying(to.connect()) == files
    finally:
        config.unlink()


def test_a_folder_that_may_not_be_written_is_one_line_at_once(tmp_path, server):
    waits: list[float] = []
    to = sftp.destination(read_address(f"sftp://{server.user}@127.0.0.1:{server.port}/proc/site"), tmp_path)
    with pytest.raises(UploadError) as told:
        uploaded(tmp_path / "archive", tiny_site(), to, sleep=waits.append)
    assert waits == []
    assert "\n" not in told.value.message


def test_a_full_disk_is_one_line_and_the_next_upload_goes_on(tmp_path, server):
    small = tmp_path / "small"
    small.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=300k", "tmpfs", str(small)]
    if subprocess.run(mount, capture_output=True, check=False).returncode != 0:
        pytest.skip("a small disk cannot be mounted here")
    try:
        to = at(server, small / "site")
        with pytest.raises(UploadError) as told:
            uploaded(tmp_path / "archive", tiny_site([f"p{n}" for n in range(9)]), to)
        assert "room" in told.value.hint
        assert "\n" not in f"{told.value.message}{told.value.hint}"
        assert dead_links(lying(to.connect())) == []
        subprocess.run(["mount", "-o", "remount,size=4m", str(small)], check=True)
        files = tiny_site([f"p{n}" for n in range(9)])
        uploaded(tmp_path / "archive", files, to)
        assert lying(to.connect()) == files
    finally:
        subprocess.run(["umount", str(small)], check=False)


def test_a_branch_is_reached_by_ssh(tmp_path, server, monkeypatch):
    bare = tmp_path / "host.git"
    subprocess.run(["git", "init", "-q", "--bare", str(bare)], check=True)
    files = f"-i {server.home}/.ssh/id_ed25519 -o UserKnownHostsFile={server.home}/.ssh/known_hosts"
    monkeypatch.setenv("GIT_SSH_COMMAND", f"ssh -F none {files} -o BatchMode=yes")
    address = read_address(f"git+ssh://{server.user}@127.0.0.1:{server.port}{bare}#site")
    for site in (tiny_site(), tiny_site(["veil"])):
        upload_branch(archived(tmp_path / "archive"), built(tmp_path / "archive", site), address, Choices())
        names = subprocess.run(
            ["git", "-C", str(bare), "ls-tree", "-r", "--name-only", "site"], capture_output=True, check=True
        ).stdout.decode()
        assert {n for n in names.split("\n") if n and not n.startswith(".")} == set(site)

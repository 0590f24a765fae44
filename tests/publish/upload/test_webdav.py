"""Web space by WebDAV, at a server with TLS."""

import logging
import subprocess
import sys
from contextlib import suppress

import pytest

pytest.importorskip("httpx")
pytest.importorskip("wsgidav")
pytest.importorskip("trustme")

from noctuary.archive.upload_address import read_address
from noctuary.publish.upload import webdav
from noctuary.publish.upload.connection import UploadError

from tests.publish.upload.every_kind import *  # noqa: F403
from tests.publish.upload.servers import PASSWORD, USER, DavServer, Wire
from tests.publish.upload.tiny_site import dead_links, lying, tiny_site, uploaded
from tests.publish.upload.web_space import *  # noqa: F403


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    logging.getLogger("wsgidav").setLevel(logging.CRITICAL)
    running = DavServer(tmp_path_factory.mktemp("dav"))
    yield running
    running.close()


@pytest.fixture(autouse=True)
def trusted(server, monkeypatch):
    monkeypatch.setenv("SSL_CERT_FILE", str(server.certified.authority))
    monkeypatch.delenv("REQUESTS_CA_BUNDLE", raising=False)
    monkeypatch.setenv("NOCTUARY_UPLOAD_PASSWORD", PASSWORD)
    yield
    server.gate.faults.clear()


def at(server, space, port=None, user=USER):
    path = space.relative_to(server.files).as_posix()
    address = read_address(f"webdavs://{user}@127.0.0.1:{port or server.port}/{path}")
    return webdav.destination(address, space)


@pytest.fixture
def to(server, space):
    return at(server, space)


def test_a_certificate_that_nobody_vouches_for_is_refused(tmp_path, server, space, monkeypatch):
    monkeypatch.delenv("SSL_CERT_FILE")
    server.gate.asked.clear()
    waits: list[float] = []
    with pytest.raises(UploadError, match="certificate") as told:
        uploaded(tmp_path / "archive", tiny_site(), at(server, space), sleep=waits.append)
    assert (server.gate.asked, waits) == ([], []), "nothing was sent there, the password neither"
    assert "SSL_CERT_FILE" in told.value.hint
    monkeypatch.setenv("REQUESTS_CA_BUNDLE", str(server.certified.authority))
    uploaded(tmp_path / "archive", tiny_site(), at(server, space))


def test_a_wrong_password_is_one_line_that_does_not_hold_it(tmp_path, server, space, monkeypatch, capfd):
    monkeypatch.setenv("NOCTUARY_UPLOAD_PASSWORD", "wr0ng word")
    with pytest.raises(UploadError, match="refused") as told:
        uploaded(tmp_path / "archive", tiny_site(), at(server, space))
    shown = "".join(capfd.readouterr()) + told.value.message + told.value.hint
    assert "wr0ng" not in shown


@pytest.fixture
def keyring():
    """The library, with the ring that it had put back: it finds one once, and asks no variable again."""
    library = pytest.importorskip("keyring")
    before = library.get_keyring()
    yield library
    library.set_keyring(before)


def test_no_password_says_where_it_belongs(server, space, keyring, monkeypatch):
    from keyring.backends.null import Keyring

    monkeypatch.delenv("NOCTUARY_UPLOAD_PASSWORD")
    keyring.set_keyring(Keyring())
    with pytest.raises(UploadError) as told:
        at(server, space)
    assert f"keyring set noctuary {USER}@127.0.0.1" in told.value.hint
    assert "NOCTUARY_UPLOAD_PASSWORD" in told.value.hint


def test_a_password_comes_from_the_keyring(tmp_path, server, space, keyring, monkeypatch):
    from keyring.backend import KeyringBackend

    class Ring(KeyringBackend):
        priority = 1

        def get_password(self, service, username):
            return PASSWORD if (service, username) == ("noctuary", f"{USER}@127.0.0.1") else None

        def set_password(self, service, username, password): ...

        def delete_password(self, service, username): ...

    monkeypatch.delenv("NOCTUARY_UPLOAD_PASSWORD")
    keyring.set_keyring(Ring())
    uploaded(tmp_path / "archive", tiny_site(["veil"]), at(server, space))
    assert lying(at_once(server, space, monkeypatch).connect()) == tiny_site(["veil"])


def at_once(server, space, monkeypatch):
    monkeypatch.setenv("NOCTUARY_UPLOAD_PASSWORD", PASSWORD)
    return at(server, space)


def test_the_password_is_written_nowhere(tmp_path, server, space, to, capfd):
    uploaded(tmp_path / "archive", tiny_site(), to)
    kept = b"".join(p.read_bytes() for p in (tmp_path / "archive" / ".noctuary").rglob("*") if p.is_file())
    kept += (space / ".noctuary-upload.json").read_bytes() + "".join(capfd.readouterr()).encode()
    assert PASSWORD.encode() not in kept
    assert USER.encode() not in kept


def test_answers_that_ask_to_come_again_are_met_with_patience(tmp_path, server, to):
    server.gate.faults = [("GET", 503), ("PUT", 500), ("PUT", 423), ("MOVE", 502), ("PROPFIND", 500), ("MKCOL", 503)]
    waits: list[float] = []
    files = tiny_site()
    uploaded(tmp_path / "archive", files, to, sleep=waits.append)
    assert server.gate.faults == []
    # A server that is busy may close a connection that it kept, which is one try more.
    assert 6 <= len(waits) <= 10
    assert lying(to.connect()) == files


def test_a_server_that_only_fails_is_one_line(tmp_path, server, to):
    server.gate.faults = [("PUT", 500)] * 500
    waits: list[float] = []
    with pytest.raises(UploadError, match="again and again") as told:
        uploaded(tmp_path / "archive", tiny_site(), to, sleep=waits.append)
    assert "\n" not in told.value.message
    assert len(waits) < 40


@pytest.mark.parametrize(("status", "said"), [(507, "room"), (403, "may not be written"), (413, "room")])
def test_what_will_not_get_better_is_told_at_once(tmp_path, server, to, status, said):
    server.gate.faults = [("PUT", status)]
    waits: list[float] = []
    with pytest.raises(UploadError, match=said) as told:
        uploaded(tmp_path / "archive", tiny_site(), to, sleep=waits.append)
    assert waits == []
    assert "\n" not in f"{told.value.message}{told.value.hint}"


@pytest.mark.slow
def test_a_disk_that_is_full_in_the_middle_leaves_links_that_hold(tmp_path, server, to):
    server.gate.faults = []
    files = tiny_site()
    for number in range(3, 40, 6):
        puts = 0

        def full(method, puts_left=number):
            nonlocal puts
            puts += method == "PUT"
            return 507 if puts > puts_left and method == "PUT" else None

        server.gate.decide = full
        with suppress(UploadError):
            uploaded(tmp_path / "archive", files, to)
        server.gate.decide = None
        assert dead_links(lying(to.connect())) == []
    uploaded(tmp_path / "archive", files, to)
    assert lying(to.connect()) == files


@pytest.mark.slow
def test_a_cut_wire_and_one_that_says_nothing(tmp_path, server, space, monkeypatch):
    monkeypatch.setattr(webdav, "PATIENCE_S", 3.0)
    wire = Wire(server.port)
    wire.lives = [30_000, 60_000, 20_000, 90_000]
    wire.silent = 1
    files = tiny_site()
    try:
        uploaded(tmp_path / "archive", files, at(server, space, wire.port))
    finally:
        wire.close()
    assert wire.cuts >= 2
    assert lying(at(server, space).connect()) == files


def test_a_folder_that_holds_somebody_elses_file_is_not_deleted_with_ours(tmp_path, to, space):
    uploaded(tmp_path / "archive", tiny_site(), to)
    tiles = next((space / "images").glob("andromeda-tiles*"))
    (tiles / "mine.txt").write_text("mine", encoding="utf-8")
    uploaded(tmp_path / "archive", tiny_site(["veil"]), to)
    assert (tiles / "mine.txt").read_text() == "mine"
    assert list(tiles.iterdir()) == [tiles / "mine.txt"]


def test_what_is_missing_is_named_with_the_line_that_installs_it(monkeypatch, tmp_path):
    """As in an environment without the library: in a process of its own, where it cannot be imported."""
    code = (
        "import sys; sys.modules['httpx'] = None\n"
        "from pathlib import Path\n"
        "from noctuary.archive.upload_address import read_address\n"
        "from noctuary.publish.upload.connection import UploadError\n"
        "from noctuary.publish.upload.destinations import destination_at\n"
        "try:\n    destination_at(read_address('webdavs://me@example.org/x'), Path('.'))\n"
        "except UploadError as error:\n    print(error.message, error.hint)\n"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert "pip install 'noctuary[webdav]'" in told

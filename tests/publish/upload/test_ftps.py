"""Web space by FTP over TLS, at a server that takes nothing without."""

import logging

import pytest

pytest.importorskip("pyftpdlib")
pytest.importorskip("trustme")

from noctuary.archive.upload_address import read_address
from noctuary.publish.upload import ftps
from noctuary.publish.upload.connection import UploadError

from tests.publish.upload.every_kind import *  # noqa: F403
from tests.publish.upload.servers import PASSWORD, USER, FtpsServer, Wire
from tests.publish.upload.tiny_site import dead_links, lying, tiny_site, uploaded
from tests.publish.upload.web_space import *  # noqa: F403


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    logging.getLogger("pyftpdlib").setLevel(logging.CRITICAL)
    running = FtpsServer(tmp_path_factory.mktemp("ftps"))
    yield running
    running.close()


@pytest.fixture(autouse=True)
def trusted(server, monkeypatch):
    monkeypatch.setenv("SSL_CERT_FILE", str(server.certified.authority))
    monkeypatch.setenv("NOCTUARY_UPLOAD_PASSWORD", PASSWORD)
    yield
    server.refusals.clear()


def at(server, space, port=None):
    path = space.relative_to(server.files).as_posix()
    return ftps.destination(read_address(f"ftps://{USER}@127.0.0.1:{port or server.port}/{path}"), space)


@pytest.fixture
def to(server, space):
    return at(server, space)


def test_a_certificate_that_nobody_vouches_for_is_refused(tmp_path, server, space, monkeypatch):
    monkeypatch.delenv("SSL_CERT_FILE")
    monkeypatch.delenv("REQUESTS_CA_BUNDLE", raising=False)
    waits: list[float] = []
    with pytest.raises(UploadError, match="certificate"):
        uploaded(tmp_path / "archive", tiny_site(), at(server, space), sleep=waits.append)
    assert waits == []
    assert not space.exists()


def test_a_wrong_password_is_one_line_that_does_not_hold_it(tmp_path, server, space, monkeypatch, capfd):
    monkeypatch.setenv("NOCTUARY_UPLOAD_PASSWORD", "wr0ng word")
    with pytest.raises(UploadError, match="refused") as told:
        uploaded(tmp_path / "archive", tiny_site(), at(server, space))
    assert "wr0ng" not in "".join(capfd.readouterr()) + told.value.message + told.value.hint


def test_answers_that_ask_to_come_again_are_met_with_patience(tmp_path, server, to):
    server.refusals = ["450 Busy.", "451 Local error.", "426 Connection closed."]
    waits: list[float] = []
    files = tiny_site()
    uploaded(tmp_path / "archive", files, to, sleep=waits.append)
    assert len(waits) == 3
    assert lying(to.connect()) == files


def test_a_server_that_only_fails_is_one_line(tmp_path, server, to):
    server.refusals = ["451 Local error."] * 500
    waits: list[float] = []
    with pytest.raises(UploadError, match="again and again") as told:
        uploaded(tmp_path / "archive", tiny_site(), to, sleep=waits.append)
    assert "\n" not in told.value.message
    assert len(waits) < 40


@pytest.mark.parametrize(
    ("answer", "said"), [("552 Over quota.", "room"), ("452 No space.", "room"), ("532 No account.", "532")]
)
def test_what_will_not_get_better_is_told_at_once(tmp_path, server, to, answer, said):
    server.refusals = [answer]
    waits: list[float] = []
    with pytest.raises(UploadError, match=said):
        uploaded(tmp_path / "archive", tiny_site(), to, sleep=waits.append)
    assert waits == []


def test_a_cut_wire_is_mended(tmp_path, server, space):
    wire = Wire(server.port)
    wire.lives = [4_000, 6_000, 3_000, 5_000]
    files = tiny_site()
    try:
        uploaded(tmp_path / "archive", files, at(server, space, wire.port))
    finally:
        wire.close()
    assert wire.cuts >= 1
    there = lying(at(server, space).connect())
    assert dead_links(there) == []
    assert there == files


def test_a_server_older_than_lists_for_machines_will_do(tmp_path, tmp_path_factory, monkeypatch):
    old = FtpsServer(tmp_path_factory.mktemp("old"), new=False)
    monkeypatch.setenv("SSL_CERT_FILE", str(old.certified.authority))
    try:
        to = at(old, old.files / "site")
        uploaded(tmp_path / "archive", tiny_site(), to)
        files = tiny_site(["veil", "m13"])
        uploaded(tmp_path / "another computer's archive", files, to)
        assert lying(to.connect()) == files
    finally:
        old.close()

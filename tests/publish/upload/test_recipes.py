"""Every recipe of the page on going online, from its line in archive.yaml to a site at a real server."""

import logging
import re
import shutil
import subprocess
from pathlib import Path

import pytest

for library in ("paramiko", "boto3", "moto", "httpx", "wsgidav", "pyftpdlib", "trustme"):
    pytest.importorskip(library)

import boto3
from noctuary.archive.starter import begin
from noctuary.archive.upload_address import read_address
from noctuary.cli import run
from noctuary.publish.upload.destinations import destination_at

from tests.publish.upload.servers import PASSWORD, USER, DavServer, FtpsServer, ObjectStore, SshServer
from tests.publish.upload.tiny_site import dead_links, lying

pytestmark = pytest.mark.slow

ROOT = Path(__file__).resolve().parents[3]
PAGE = (ROOT / "docs" / "online.md").read_text(encoding="utf-8")
RECIPES = re.findall(r"(?m)^    upload: (.+)$", PAGE)


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    folder = tmp_path_factory.mktemp("built") / "my-nights"
    begin(folder)
    assert run(["build", str(folder)]) == 0
    return folder


@pytest.fixture
def archive(built, tmp_path):
    return Path(shutil.copytree(built, tmp_path / "my-nights"))


def upload(archive, line, *options):
    file = archive / "archive.yaml"
    text = re.sub("(?m)^upload:.*\n", "", file.read_text(encoding="utf-8"))
    file.write_text(f"{text}\nupload: {line}\n", encoding="utf-8")
    assert run(["upload", str(archive), *options]) == 0


def site(folder):
    found = {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}
    return {name: data for name, data in found.items() if not name.startswith(".")}


def recipe(kind):
    found = [line for line in RECIPES if line.strip("{").startswith(kind)]
    assert len(found) == 1, RECIPES
    return found[0]


def test_the_page_has_every_kind_and_the_short_table_the_same_addresses():
    assert len(RECIPES) == 6
    short = (ROOT / "README.md").read_text(encoding="utf-8")
    for line in RECIPES[:5]:
        assert f"`upload: {line}`" in short
        read_address(line)


def test_web_space_by_sftp(archive, tmp_path, monkeypatch):
    with SshServer(tmp_path / "ssh").running() as server:
        monkeypatch.setenv("HOME", str(server.home))
        monkeypatch.delenv("SSH_AUTH_SOCK", raising=False)
        config = f"Host web.example.org\n  HostName 127.0.0.1\n  Port {server.port}\n  User {server.user}\n"
        (server.home / ".ssh" / "config").write_text(config, encoding="utf-8")
        line = recipe("sftp").replace("ilse@", f"{server.user}@").replace("/htdocs", f"{tmp_path}/htdocs")
        upload(archive, line)
        assert site(tmp_path / "htdocs" / "nights") == site(archive / "site")


def test_an_object_store(archive, tmp_path, monkeypatch):
    logging.getLogger("werkzeug").setLevel(logging.ERROR)
    store = ObjectStore()
    monkeypatch.setenv("AWS_ENDPOINT_URL", f"http://127.0.0.1:{store.port}")
    monkeypatch.setenv("AWS_ACCESS_KEY_ID", "AKIDEXAMPLE")
    monkeypatch.setenv("AWS_SECRET_ACCESS_KEY", "example")
    line = recipe("s3")
    boto3.client("s3", region_name="us-east-1").create_bucket(Bucket=read_address(line).host)
    upload(archive, line)
    there = lying(destination_at(read_address(line), archive).connect())
    store.close()
    assert there == site(archive / "site")
    assert dead_links(there) == []


@pytest.mark.parametrize("kind", ["webdavs", "ftps"])
def test_web_space_with_a_password(archive, tmp_path, monkeypatch, kind):
    (tmp_path / "server").mkdir()
    logging.getLogger("pyftpdlib").setLevel(logging.CRITICAL)
    server = (DavServer if kind == "webdavs" else FtpsServer)(tmp_path / "server")
    monkeypatch.setenv("SSL_CERT_FILE", str(server.certified.authority))
    monkeypatch.setenv("NOCTUARY_UPLOAD_PASSWORD", PASSWORD)
    line = recipe(kind)
    assert f"//{USER}@" in line
    path = read_address(line).path
    upload(archive, re.sub(r"@[\w.]+", f"@127.0.0.1:{server.port}", line))
    server.close()
    assert site(server.files / path) == site(archive / "site")


def test_a_branch_of_a_git_host(archive, tmp_path):
    bare = tmp_path / "nights.git"
    subprocess.run(["git", "init", "-q", "--bare", str(bare)], check=True)
    line = re.sub(r"^git\+ssh://.*(?=#)", f"git+file://{bare}", recipe("git"))
    upload(archive, line)
    clone = tmp_path / "clone"
    subprocess.run(["git", "clone", "-q", "-b", read_address(line).branch, str(bare), str(clone)], check=True)
    shutil.rmtree(clone / ".git")
    assert site(clone) == site(archive / "site")


def test_a_stick(archive, tmp_path):
    (tmp_path / "STICK").mkdir()
    upload(archive, recipe("web:").replace("/media/ilse/STICK", f"{tmp_path}/STICK"), "--to", "stick")
    assert site(tmp_path / "STICK" / "nights") == site(archive / "site")

"""A bucket of an object store, at a server that speaks S3."""

import gzip
import logging
from functools import cache
from itertools import count

import pytest

boto3 = pytest.importorskip("boto3")
pytest.importorskip("moto")

from botocore.loaders import JSONFileLoader
from noctuary.archive.upload_address import read_address
from noctuary.publish.upload import object_store
from noctuary.publish.upload.connection import Destination, UploadError

from tests.publish.upload.every_kind import *  # noqa: F403
from tests.publish.upload.servers import ObjectStore, Wire
from tests.publish.upload.tiny_site import Killed, Tally, counted, dead_links, lying, tiny_site, uploaded

_NUMBERS = count()
SECRET = "s3cr3tkey0123456789"


@pytest.fixture(scope="module")
def store():
    logging.getLogger("werkzeug").setLevel(logging.ERROR)
    running = ObjectStore()
    yield running
    running.close()


@pytest.fixture(scope="module", autouse=True)
def read_once():
    """What the library knows of S3, a megabyte of JSON, is read once here, and not for each destination anew."""
    kept = cache(JSONFileLoader().load_file)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(JSONFileLoader, "load_file", lambda _, path: kept(path))
        yield


@pytest.fixture(autouse=True)
def keys(store, tmp_path, monkeypatch):
    for name in ("AWS_PROFILE", "AWS_SESSION_TOKEN", "AWS_REGION", "AWS_DEFAULT_REGION"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("AWS_EC2_METADATA_DISABLED", "true")
    monkeypatch.setenv("AWS_ACCESS_KEY_ID", "AKIDEXAMPLE")
    monkeypatch.setenv("AWS_SECRET_ACCESS_KEY", SECRET)
    monkeypatch.setenv("AWS_ENDPOINT_URL", f"http://127.0.0.1:{store.port}")


@pytest.fixture
def bucket(store, keys):
    """A client, and a bucket of its own for each test."""
    client = boto3.client("s3", region_name="us-east-1")
    store.bucket = f"nights-{next(_NUMBERS)}"
    client.create_bucket(Bucket=store.bucket)
    yield client
    store.gate.faults.clear()


@pytest.fixture(params=[9, 17, 25])
def step(request):
    return request.param


def at(store, tmp_path, prefix="site"):
    return object_store.destination(read_address(f"s3://{store.bucket}/{prefix}"), tmp_path)


@pytest.fixture
def to(store, bucket, tmp_path):
    return at(store, tmp_path)


def test_objects_say_what_they_are_and_how_long_they_may_be_kept(tmp_path, store, bucket, to):
    files = tiny_site()
    uploaded(tmp_path / "archive", files, to)

    def about(name):
        return bucket.head_object(Bucket=store.bucket, Key=f"site/{name}")

    page = about("index.html")
    assert page["ContentType"] == "text/html; charset=utf-8"
    assert page["CacheControl"] == "public, max-age=300"
    assert page["ContentEncoding"] == "gzip"
    picture = about(next(name for name in files if name.endswith(".jpg") and "tiles" not in name))
    assert picture["ContentType"] == "image/jpeg"
    assert "max-age=31536000" in picture["CacheControl"]
    assert "ContentEncoding" not in picture
    assert about("feed.xml")["ContentType"] == "application/atom+xml"
    body = bucket.get_object(Bucket=store.bucket, Key="site/index.html")["Body"].read()
    assert body != files["index.html"]
    assert gzip.decompress(body) == files["index.html"]


@pytest.mark.slow
def test_a_thousand_unchanged_files_cost_one_request(tmp_path, store, bucket, to):
    files = {f"data/pictures/{number}.json": b"%d" % number for number in range(1000)}
    files["index.html"] = b"<!DOCTYPE html><title>front</title>"
    uploaded(tmp_path / "archive", files, to)
    store.gate.asked.clear()
    uploaded(tmp_path / "archive", files, to)
    assert len(store.gate.asked) <= 2


def test_a_bucket_without_a_prefix_holds_the_site_at_its_root(tmp_path, store, bucket):
    files = tiny_site(["veil"])
    to = at(store, tmp_path, "")
    uploaded(tmp_path / "archive", files, to, address=f"s3://{store.bucket}")
    assert lying(to.connect()) == files
    assert bucket.head_object(Bucket=store.bucket, Key="index.html")


def test_answers_that_ask_to_come_again_are_met_with_patience(tmp_path, store, bucket, to):
    store.gate.faults = [("GET", 503), ("PUT", 500), ("PUT", 503), ("PUT", 429), ("PUT", 500), ("GET", 500)]
    waits: list[float] = []
    files = tiny_site()
    uploaded(tmp_path / "archive", files, to, sleep=waits.append)
    assert store.gate.faults == []
    assert len(waits) == 6
    assert lying(to.connect()) == files


def test_a_store_that_only_fails_is_one_line(tmp_path, store, bucket, to):
    store.gate.faults = [("PUT", 500)] * 500
    waits: list[float] = []
    with pytest.raises(UploadError, match="again and again") as told:
        uploaded(tmp_path / "archive", tiny_site(), to, sleep=waits.append)
    assert "\n" not in told.value.message
    assert len(waits) < 60


def test_a_full_store_is_one_line_at_once(tmp_path, store, bucket, to):
    store.gate.faults = [("PUT", 507)]
    waits: list[float] = []
    with pytest.raises(UploadError, match="room"):
        uploaded(tmp_path / "archive", tiny_site(), to, sleep=waits.append)
    assert waits == []


@pytest.mark.slow
def test_a_cut_wire_and_one_that_says_nothing(tmp_path, store, bucket, monkeypatch):
    wire = Wire(store.port)
    monkeypatch.setenv("AWS_ENDPOINT_URL", f"http://127.0.0.1:{wire.port}")
    monkeypatch.setattr(object_store, "PATIENCE_S", 3.0)
    # The server takes one request a connection, and which comes first is chance; only pictures are large.
    wire.large = 2
    wire.silent = 1
    to = at(store, tmp_path)
    files = tiny_site()
    try:
        uploaded(tmp_path / "archive", files, to)
    finally:
        wire.close()
    assert wire.cuts == 2
    monkeypatch.setenv("AWS_ENDPOINT_URL", f"http://127.0.0.1:{store.port}")
    assert lying(at(store, tmp_path).connect()) == files


def test_keys_come_from_the_shared_files_and_are_never_shown(tmp_path, store, bucket, monkeypatch, capfd):
    monkeypatch.delenv("AWS_ACCESS_KEY_ID")
    monkeypatch.delenv("AWS_SECRET_ACCESS_KEY")
    with pytest.raises(UploadError, match="keys") as told:
        uploaded(tmp_path / "archive", tiny_site(), at(store, tmp_path))
    assert ".aws/credentials" in told.value.hint
    (tmp_path / ".aws").mkdir()
    (tmp_path / ".aws" / "credentials").write_text(
        f"[default]\naws_access_key_id = AKIDEXAMPLE\naws_secret_access_key = {SECRET}\n", encoding="utf-8"
    )
    to = at(store, tmp_path)
    uploaded(tmp_path / "archive", tiny_site(), to)
    shown = "".join(capfd.readouterr())
    kept = b"".join(p.read_bytes() for p in (tmp_path / "archive" / ".noctuary").rglob("*") if p.is_file())
    listing = to.connect().read(".noctuary-upload.json")
    assert SECRET not in shown
    assert SECRET.encode() not in kept + listing


def test_a_bucket_that_is_not_there_is_one_line(tmp_path, store, bucket):
    to = object_store.destination(read_address("s3://another-bucket/site"), tmp_path)
    with pytest.raises(UploadError, match="no such bucket"):
        uploaded(tmp_path / "archive", tiny_site(), to)


def test_what_was_interrupted_is_not_sent_again_where_the_store_knows_it(tmp_path, store, bucket, to):
    """Compressed pages of one size are told apart by the store's own digests."""
    archive = tmp_path / "archive"
    uploaded(archive, tiny_site(), to)
    files = tiny_site(title="Too skies")
    # Over one connection: what others have in hand when it is cut off is broken off as well, or not.
    alone = Destination(to.shown, to.connect, 1, to.keeps_encoding, to.look)
    with pytest.raises(Killed):
        uploaded(archive, files, counted(alone, Tally(5)))
    assert dead_links(lying(to.connect())) == []
    tally = Tally()
    uploaded(archive, files, counted(to, tally))
    assert len(tally.written()) == len([n for n in files if n.endswith(".html")]) - 4
    assert lying(to.connect()) == files

"""A bucket of an object store that speaks the S3 protocol.

Keys come from where such stores keep them: the environment, the shared files in the home's ``.aws``, the role of the
machine. ``AWS_ENDPOINT_URL`` names a store that only speaks the protocol. Objects appear whole or not at all, and the
store keeps with each what it is, how long it may be kept, and that it is compressed.
"""

from __future__ import annotations

import base64
import gzip
import hashlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import boto3
from botocore.config import Config
from botocore.exceptions import (
    BotoCoreError,
    ClientError,
    ConnectionError,
    HTTPClientError,
    NoCredentialsError,
    NoRegionError,
    PartialCredentialsError,
    ProfileNotFound,
)

from noctuary.archive.upload_address import UploadAddress
from noctuary.publish.upload.connection import (
    PATIENCE_S,
    Body,
    Connection,
    Destination,
    Folder,
    Passing,
    Standing,
    UploadError,
)
from noctuary.publish.upload.credentials import certificates

_CONNECTIONS = 8
_ABSENT = {"NoSuchKey", "404", "NotFound"}
_PASSES = {"SlowDown", "InternalError", "ServiceUnavailable", "RequestTimeout", "RequestTimeTooSkewed", "BadDigest",
           "Throttling", "ThrottlingException", "OperationAborted"}  # fmt: skip
_FULL = ("quota", "storagefull", "insufficientstorage", "toolarge")
_LOGIN = {"AccessDenied", "AllAccessDisabled", "403", "Forbidden", "InvalidAccessKeyId", "SignatureDoesNotMatch",
          "ExpiredToken", "InvalidToken", "AccountProblem"}  # fmt: skip


def destination(address: UploadAddress, archive: Path) -> Destination:
    """The bucket at an address; raises :class:`UploadError`."""
    client = _client(address)
    return Destination(
        address.shown, lambda: BucketConnection(client, address.host, address.path), _CONNECTIONS, keeps_encoding=True
    )


def _client(address: UploadAddress) -> Any:
    settings = Config(
        connect_timeout=PATIENCE_S,
        read_timeout=PATIENCE_S,
        max_pool_connections=_CONNECTIONS,
        # What is tried again, and how often, is decided in one place for every kind of destination.
        retries={"total_max_attempts": 1},
        # Stores that only speak the protocol know the MD5 that is sent with each object, and not all the newer sums.
        request_checksum_calculation="when_required",
        response_checksum_validation="when_required",
    )
    with _troubles(address.host, ""):
        try:
            return boto3.session.Session().client("s3", config=settings, verify=certificates())
        except NoRegionError:
            return boto3.session.Session(region_name="us-east-1").client(
                "s3", config=settings, verify=certificates()
            )


class BucketConnection(Connection):
    """Objects below a prefix of a bucket."""

    def __init__(self, client: Any, bucket: str, prefix: str) -> None:
        self._client, self._bucket = client, bucket
        self._prefix = f"{prefix}/" if prefix else ""

    def read(self, name: str) -> bytes | None:
        with _troubles(self._bucket, name):
            try:
                answer = self._client.get_object(Bucket=self._bucket, Key=self._prefix + name)
            except ClientError as error:
                if _code(error) in _ABSENT:
                    return None
                raise
            data: bytes = answer["Body"].read()
        if answer.get("ContentEncoding") != "gzip":
            return data
        try:
            return gzip.decompress(data)
        except (OSError, EOFError):
            return data  # damaged there, so not what it should be

    def write(self, body: Body) -> None:
        more = {"CacheControl": body.cache_control, "ContentEncoding": body.encoding}
        with _troubles(self._bucket, body.name), body.open() as source:
            md5 = hashlib.md5(usedforsecurity=False)
            with Body(body.name, body.size, body.data, body.path).open() as again:
                while block := again.read(1 << 20):
                    md5.update(block)
            self._client.put_object(
                Bucket=self._bucket,
                Key=self._prefix + body.name,
                Body=source,
                ContentLength=body.size,
                ContentMD5=base64.b64encode(md5.digest()).decode(),
                ContentType=body.content_type,
                **{key: value for key, value in more.items() if value},
            )

    def remove(self, name: str) -> None:
        with _troubles(self._bucket, name):
            self._client.delete_object(Bucket=self._bucket, Key=self._prefix + name)

    def remove_folder(self, name: str) -> None:
        """There are none: a folder is what the names of objects have in common."""

    def look(self, folder: str) -> Folder:
        prefix = f"{self._prefix}{folder}/" if folder else self._prefix
        files: dict[str, Standing] = {}
        folders: set[str] = set()
        for page in self._pages(Prefix=prefix, Delimiter="/"):
            files.update(_standing(page, prefix))
            folders.update(p["Prefix"][len(prefix) : -1] for p in page.get("CommonPrefixes", ()))
        return Folder(files, frozenset(folders))

    def everything(self) -> dict[str, Standing]:
        files: dict[str, Standing] = {}
        for page in self._pages(Prefix=self._prefix):
            files.update(_standing(page, self._prefix))
        return files

    def _pages(self, **asked: str) -> Iterator[dict[str, Any]]:
        with _troubles(self._bucket, ""):
            yield from self._client.get_paginator("list_objects_v2").paginate(Bucket=self._bucket, **asked)

    def close(self) -> None:
        return None


def _standing(page: dict[str, Any], prefix: str) -> Iterator[tuple[str, Standing]]:
    for item in page.get("Contents", ()):
        etag = str(item.get("ETag", "")).strip('"').lower()
        # An object that was sent in parts, or is encrypted with the store's key, has no MD5 for its tag.
        known = etag if len(etag) == 32 and set(etag) <= set("0123456789abcdef") else ""
        yield str(item["Key"])[len(prefix) :], Standing(int(item["Size"]), known)


@contextmanager
def _troubles(bucket: str, name: str) -> Iterator[None]:
    """What goes wrong with a store, raised as an error of ours."""
    about = f"{bucket}/{name}" if name else f"the bucket {bucket}"
    try:
        yield
    except (NoCredentialsError, PartialCredentialsError, ProfileNotFound):
        raise UploadError(
            "no keys for the object store were found",
            "give AWS_ACCESS_KEY_ID and AWS_SECRET_ACCESS_KEY in the environment, or in the home's .aws/credentials",
        ) from None
    except ClientError as error:
        raise _refusal(error, about) from None
    except (ConnectionError, HTTPClientError) as error:
        raise Passing(f"{about}: {_short(error)}") from None
    except BotoCoreError as error:
        raise UploadError(f"{about}: {_short(error)}", "see the address, and AWS_ENDPOINT_URL") from None


def _refusal(error: ClientError, about: str) -> Passing | UploadError:
    code = _code(error)
    status = int(error.response.get("ResponseMetadata", {}).get("HTTPStatusCode", 0))
    if any(word in code.lower() for word in _FULL) or status == 507:
        return UploadError(f"there is no room left for {about} ({code})", "make room, then run upload again")
    if code in _PASSES or status >= 500 or status == 429:
        return Passing(f"{about}: {code}")
    if code == "NoSuchBucket":
        return UploadError(f"{about}: there is no such bucket", "make it first, or correct the address")
    if code in _LOGIN:
        return UploadError(f"{about}: the store refuses these keys ({code})", "see what they may do in this bucket")
    return UploadError(f"{about}: {code}", "see the address, and AWS_ENDPOINT_URL")


def _code(error: ClientError) -> str:
    return str(error.response.get("Error", {}).get("Code", "an error without a name"))


def _short(error: Exception) -> str:
    return " ".join(str(error).split())[:200]

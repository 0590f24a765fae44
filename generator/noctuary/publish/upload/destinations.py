"""The kinds of destination, and what one needs that is not installed."""

from __future__ import annotations

from importlib import import_module
from pathlib import Path

from noctuary.archive.upload_address import UploadAddress
from noctuary.publish.upload.connection import Destination, UploadError

#: Kind of address → its module here, and the extra that brings what it needs.
KINDS = {
    "folder": ("folder", ""),
    "sftp": ("sftp", "sftp"),
    "s3": ("object_store", "s3"),
    "webdavs": ("webdav", "webdav"),
    "ftps": ("ftps", ""),
}


def destination_at(address: UploadAddress, archive: Path) -> Destination:
    """How to reach an address; raises :class:`UploadError`."""
    name, extra = KINDS[address.kind]
    try:
        module = import_module(f"noctuary.publish.upload.{name}")
    except ImportError as error:
        if not extra:
            raise
        raise UploadError(
            f"{address.kind} needs {error.name or 'a library'}, which is not installed",
            f"pip install 'noctuary[{extra}]'",
        ) from None
    destination: Destination = module.destination(address, archive)
    return destination

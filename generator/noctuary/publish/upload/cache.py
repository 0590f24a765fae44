"""What uploads keep in the archive's cache; it may be deleted at any time."""

from __future__ import annotations

from pathlib import Path

import orjson

from noctuary.build_manifest import FOLDER, sealed, unsealed
from noctuary.files import write_whole

#: Below the cache's own folder.
UPLOADS = "upload"
_ARCHIVE = "archive.json"


def read_plain(archive: Path, name: str) -> dict[str, object]:
    """What an earlier run kept under this name; empty where there is nothing sound."""
    try:
        plain = orjson.loads(unsealed((archive / FOLDER / UPLOADS / name).read_bytes()))
    except (OSError, ValueError):
        return {}
    return plain if isinstance(plain, dict) else {}


def keep_plain(archive: Path, name: str, plain: object) -> None:
    """Keeps plain data under a name; what cannot be kept only costs time."""
    if led_away(archive):
        return
    try:
        write_whole(archive / FOLDER / UPLOADS / name, sealed(orjson.dumps(plain, option=orjson.OPT_SORT_KEYS)))
    except (OSError, TypeError):
        return


def keeps_any(archive: Path) -> bool:
    """Whether an upload has kept anything."""
    return (archive / FOLDER / UPLOADS).is_dir()


def led_away(archive: Path) -> bool:
    """Whether the cache is a link: nothing is written through it."""
    return (archive / FOLDER).is_symlink() or (archive / FOLDER / UPLOADS).is_symlink()


def archive_key(archive: Path) -> str | None:
    """The key that was drawn for the archive at its first upload."""
    key = read_plain(archive, _ARCHIVE).get("key")
    return key if isinstance(key, str) else None


def uploaded_address(archive: Path) -> str | None:
    """The address of the site when it was last uploaded; ``None`` where that is not known, or it had none."""
    address = read_plain(archive, _ARCHIVE).get("address")
    return address if isinstance(address, str) else None


def remember_archive(archive: Path, key: str, address: str | None) -> None:
    """Keeps the archive's key, and the address under which it is on the web."""
    if (archive_key(archive), uploaded_address(archive)) != (key, address):
        keep_plain(archive, _ARCHIVE, {"key": key, "address": address})

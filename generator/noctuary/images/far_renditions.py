"""Renditions made where the archive's files are not: a picture goes there as bytes, its renditions come back so."""

from __future__ import annotations

import hashlib
import tempfile
from pathlib import Path

from noctuary import __version__
from noctuary.files import write_whole
from noctuary.images import rendition_cache as keep
from noctuary.images.decoded import PictureFault
from noctuary.images.make_renditions import Outcome, make_renditions

#: A fault, or the names and bytes of what was made.
Parcel = PictureFault | dict[str, bytes]


def made_by() -> str:
    """The version of the program and a digest of what makes pictures: two that agree make the same files."""
    digest = hashlib.sha256()
    for path in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(path.read_bytes())
    return f"{__version__} {digest.hexdigest()[:16]}"


def make_far_away(name: str, content: bytes, source_hash: str, largest: int | None) -> Parcel:
    """The renditions of a picture called ``name`` as files to take home, or the fault that it has."""
    with tempfile.TemporaryDirectory(prefix="noctuary-") as folder:
        path, cache = Path(folder) / name, Path(folder) / "renditions"
        path.write_bytes(content)
        outcome = make_renditions(path, cache, source_hash, largest)
        if isinstance(outcome, PictureFault):
            return outcome
        return {file.name: file.read_bytes() for file in cache.iterdir()}


def take_home(parcel: Parcel, folder: Path, source_hash: str, path: Path, largest: int | None) -> Outcome:
    """Puts what came back into the cache, its entry last; raises OSError where that cannot be written."""
    if isinstance(parcel, PictureFault):
        return parcel
    for name in sorted(parcel, key=lambda n: n.endswith(".json")):
        write_whole(folder / Path(name).name, parcel[name])
    kept = keep.recall(folder, keep.key(source_hash, path, largest))
    if kept is None:
        raise OSError(5, "what came back from the cluster is not whole", str(path))
    return kept

"""Archives as folders: the one way to write them, and what lies in them afterwards."""

from __future__ import annotations

import io
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from tests.builders.program import REPOSITORY

SIDE_BY_SIDE = (".jpg", ".png", ".tif", ".fits")


def write(path: Path, content: str | bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content.encode() if isinstance(content, str) else content)


def written(folder: Path, texts: Mapping[str, str | bytes], size: tuple[int, int] = (60, 40)) -> Path:
    """An archive of these files, with a small picture of its own beside each sidecar that has none."""
    for name, text in texts.items():
        write(folder / name, text)
    sidecars = [name for name in texts if name.startswith("pictures/") and name.endswith(".yaml")]
    for seed, name in enumerate(sidecars):
        if not any(name.removesuffix(".yaml") + ending in texts for ending in SIDE_BY_SIDE):
            write((folder / name).with_suffix(".jpg"), jpeg(seed, size))
    return folder


def jpeg(seed: int, size: tuple[int, int]) -> bytes:
    """A small field of a few stars; another one for every seed."""
    import numpy as np
    from PIL import Image

    chance = np.random.default_rng(seed)
    width, height = size
    pixels = chance.integers(8, 24, (height, width, 3)).astype(np.uint8)
    for _ in range(12):
        x, y = int(chance.integers(1, width - 1)), int(chance.integers(1, height - 1))
        pixels[y - 1 : y + 2, x - 1 : x + 2] = chance.integers(120, 255, 3)
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "JPEG", quality=90)
    return out.getvalue()


def set_plainly(archive: Path) -> None:
    """A theme of the archive's own with pages of one line: setting them properly would be most of the time."""
    line = "{{ here }} {{ shown.title if shown is defined }} {{ description if description is defined }}\n"
    for template in (REPOSITORY / "themes/umbra/templates").glob("*.html"):
        if "{% extends" not in template.read_text():
            continue  # what other templates are written with
        write(archive / "theme/templates" / template.name, line)


def bytes_below(folder: Path) -> dict[str, bytes]:
    """Every file below a folder with its content, hidden ones too."""
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def states_below(folder: Path) -> Mapping[str, tuple[Any, ...]]:
    """Every file and folder with what a write to it would change: inode, size and times."""
    found = {}
    for path in [folder, *sorted(folder.rglob("*"))]:
        status = path.lstat()
        found[str(path)] = (status.st_ino, status.st_size, status.st_mtime_ns, status.st_ctime_ns)
    return found

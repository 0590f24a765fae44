"""Sound pictures and sidecars with bits turned, pieces cut out, doubled and swapped: findings, and nothing else.

A longer run: ``NOCTUARY_MUTATIONS=20000 python -m pytest tests/faults/test_mutations.py``.
"""

from __future__ import annotations

import io
import os
import random
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import Any

import numpy as np
import pytest
import tifffile
from astropy.io import fits
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from noctuary.build import build, examine
from noctuary.diagnostic import Diagnostic
from noctuary.images.decode import quick_check
from noctuary.images.decoded import PictureFault
from noctuary.images.make_renditions import make_renditions
from noctuary.images.recipe import PictureFile
from noctuary.images.rendition_cache import source_hash
from PIL import Image

from tests.builders.folders import bytes_below, jpeg, set_plainly, write
from tests.builders.many_pictures import sidecar, write_archive

pytestmark = pytest.mark.slow

MUTATIONS = int(os.environ.get("NOCTUARY_MUTATIONS", "300"))
SECONDS = 10


def _png(mode: str) -> bytes:
    pixels = np.random.default_rng(5).integers(0, 256, (24, 36, 3)).astype(np.uint8)
    out = io.BytesIO()
    Image.fromarray(pixels).convert(mode).save(out, "PNG")
    return out.getvalue()


def _jpeg(mode: str, **options: Any) -> bytes:
    pixels = np.random.default_rng(6).integers(0, 256, (40, 60, 3)).astype(np.uint8)
    out = io.BytesIO()
    Image.fromarray(pixels).convert(mode).save(out, "JPEG", **options)
    return out.getvalue()


def _tiff(array: np.ndarray, **options: Any) -> bytes:
    out = io.BytesIO()
    tifffile.imwrite(out, array, **options)
    return out.getvalue()


def _fits(array: np.ndarray) -> bytes:
    out = io.BytesIO()
    fits.PrimaryHDU(array).writeto(out)
    return out.getvalue()


_DEEP = np.random.default_rng(8).integers(0, 65536, (20, 30, 3)).astype(np.uint16)
SOURCES: list[tuple[str, Callable[[], bytes]]] = [
    ("a.jpg", lambda: jpeg(1, (60, 40))),
    ("a.jpg", lambda: _jpeg("RGB", progressive=True)),
    ("a.jpg", lambda: _jpeg("CMYK")),
    ("a.png", lambda: _png("P")),
    ("a.png", lambda: _png("RGBA")),
    ("a.png", lambda: _png("1")),
    ("a.tif", lambda: _tiff(_DEEP, photometric="rgb")),
    ("a.tif", lambda: _tiff(_DEEP, photometric="rgb", compression="zlib")),
    ("a.fits", lambda: _fits(np.linspace(0, 1, 600, dtype=np.float32).reshape(20, 30))),
]


def mutated(data: bytes, chance: random.Random) -> bytes:
    """The data with one to eight things done to it."""
    spoilt = bytearray(data)
    for _ in range(chance.choice((1, 1, 2, 4, 8))):
        if not spoilt:
            break
        at = chance.randrange(len(spoilt))
        # What is near the beginning decides how the rest is read.
        if chance.random() < 0.5:
            at = min(at, chance.randrange(256))
        piece = spoilt[at : at + chance.randrange(1, 40)]
        what = chance.randrange(7)
        if what <= 2:
            spoilt[at] ^= 1 << chance.randrange(8)
        elif what == 3:
            spoilt[at] = chance.choice((0, 1, 0x7F, 0x80, 0xFF))
        elif what == 4:
            del spoilt[at : at + len(piece)]
        elif what == 5:
            spoilt[at:at] = piece * chance.choice((1, 3))
        else:
            del spoilt[at:]
    return bytes(spoilt)


@contextmanager
def _no_longer_than(seconds: int) -> Iterator[None]:
    """A hang is a failure, and no longer than this."""

    def out_of_time(number: int, frame: FrameType | None) -> None:
        raise AssertionError(f"no answer after {seconds} s")

    before = signal.signal(signal.SIGALRM, out_of_time)
    signal.alarm(seconds)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def test_mutated_pictures(tmp_path: Path) -> None:
    chance = random.Random(1846)
    sources = [(name, make()) for name, make in SOURCES]
    right = wrong = 0
    for number in range(MUTATIONS * 3 // 5):
        name, data = sources[number % len(sources)]
        path = tmp_path / name
        path.write_bytes(mutated(data, chance))
        with _no_longer_than(SECONDS):
            try:
                width, height, _ = quick_check(path)
                assert width > 0
                assert height > 0
            except PictureFault as fault:
                told = fault.message and fault.hint
                if not told:
                    raise
            outcome = make_renditions(path, tmp_path / "cache", source_hash(path))
        if isinstance(outcome, PictureFile):
            right += 1
            assert outcome.full.file.is_file()
        else:
            wrong += 1
            assert outcome.message
            assert outcome.hint
    # Both ends of the scale were met, or the mutations say nothing.
    assert right
    assert wrong


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    archive = write_archive(tmp_path_factory.mktemp("mutations") / "archive", 2)
    set_plainly(archive)
    assert build(archive).built
    return archive


def _told(archive: Path) -> list[Diagnostic]:
    with _no_longer_than(SECONDS):
        return examine(archive).findings


def test_mutated_records(built: Path) -> None:
    """Sidecars and the archive's other records; where they have faults a build changes nothing."""
    chance = random.Random(1859)
    before = bytes_below(built / "site")
    names = ["pictures/field-00000.yaml"] * 4 + ["equipment.yaml", "places.yaml", "archive.yaml", "pages/about.md"]
    faulty = 0
    for number in range(MUTATIONS * 2 // 5):
        path = built / names[number % len(names)]
        sound = path.read_bytes()
        path.write_bytes(mutated(sound, chance))
        try:
            findings = _told(built)
            assert all(f.message for f in findings)
            if any(f.level == "fault" for f in findings):
                faulty += 1
                if faulty % 20 == 1:
                    with _no_longer_than(SECONDS):
                        assert not build(built).built
                    assert bytes_below(built / "site") == before
        finally:
            path.write_bytes(sound)
    assert faulty
    assert bytes_below(built / "site") == before


@settings(max_examples=max(20, MUTATIONS // 20), deadline=None,
          suppress_health_check=[HealthCheck.function_scoped_fixture])  # fmt: skip
@given(st.data())
def test_sidecars_with_words_of_any_kind(built: Path, data: st.DataObject) -> None:
    """A value of a sound sidecar is replaced by any text at all."""
    lines = sidecar(0, 2).splitlines()
    at = data.draw(st.integers(0, len(lines) - 1))
    key = lines[at].partition(":")[0]
    lines[at] = f"{key}: {data.draw(st.text(max_size=40))}"
    path = built / "pictures/field-00000.yaml"
    sound = path.read_bytes()
    try:
        write(path, "\n".join(lines).encode("utf-8", "surrogatepass"))
        assert all(f.message for f in _told(built))
    finally:
        path.write_bytes(sound)

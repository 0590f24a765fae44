"""The tiles of a large picture on the site: described, named after what they are, and made once."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from noctuary.build import build
from noctuary.images.tiles import tiles
from PIL import Image

from tests.made_archive import write_archive

LARGE = (3600, 2400)


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = write_archive(tmp_path_factory.mktemp("tiles") / "archive", 2)
    picture = sorted((folder / "pictures").glob("*.jpg"))[0]
    Image.linear_gradient("L").resize(LARGE).convert("RGB").save(picture, quality=90)
    assert build(folder).built
    return folder


def folders(archive: Path) -> list[Path]:
    return sorted((archive / "site" / "images").glob("*-tiles.*"))


def test_the_site_has_every_tile_and_their_information(archive: Path) -> None:
    (folder,) = folders(archive)
    there = {p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()}
    assert there == {t.request for t in tiles(*LARGE)} | {"info.json"}
    told = json.loads((folder / "info.json").read_text())
    assert told["id"] == f"https://example.org/images/{folder.name}"
    assert (told["width"], told["height"]) == LARGE


def test_tiles_carry_title_and_author_and_no_more_than_the_picture(archive: Path) -> None:
    (folder,) = folders(archive)
    data = (folder / "full/max/0/default.jpg").read_bytes()
    assert b"A. Person" in data
    assert b"Spatial" not in data, "a part of the picture does not lie where the whole does"


def test_nothing_is_made_again_and_new_words_get_new_addresses(archive: Path) -> None:
    assert build(archive).written == 0
    (before,) = folders(archive)
    cache = next((archive / ".noctuary" / "renditions").glob("*-tiles.pack"))
    cut = cache.stat().st_mtime_ns
    sidecar = archive / "pictures" / f"{before.name.partition('-tiles')[0]}.yaml"
    text = sidecar.read_text(encoding="utf-8")
    sidecar.write_text(text + "credit: Somebody else\n", encoding="utf-8")
    assert build(archive).built
    (after,) = folders(archive)
    assert after.name != before.name
    assert b"Somebody else" in (after / "full/max/0/default.jpg").read_bytes()
    assert cache.stat().st_mtime_ns == cut, "no tile was encoded again"
    sidecar.write_text(text, encoding="utf-8")
    build(archive)
    assert folders(archive) == [before]


def test_a_lost_cache_is_made_again(archive: Path) -> None:
    (folder,) = folders(archive)
    tile = folder / "full/max/0/default.jpg"
    whole = tile.read_bytes()
    tile.unlink()
    next((archive / ".noctuary" / "renditions").glob("*-tiles.pack")).write_bytes(b"")
    assert build(archive).built
    assert tile.read_bytes() == whole

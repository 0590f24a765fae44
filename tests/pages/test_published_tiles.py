"""The tiles of a large picture on the site: described, named after what they are, and made once."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from noctuary.build import build
from noctuary.images.tiles import tiles
from PIL import Image

from tests.builders.many_pictures import write_archive

pytestmark = pytest.mark.slow

LARGE = (6600, 4200)


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


def test_tiles_carry_the_author_and_no_more_than_the_picture(archive: Path) -> None:
    (folder,) = folders(archive)
    data = (folder / "full/max/0/default.jpg").read_bytes()
    assert b"A. Person" in data
    assert b"Spatial" not in data, "a part of the picture does not lie where the whole does"


def test_new_words_change_tiles_and_neither_encode_them_again_nor_move_them(archive: Path) -> None:
    assert build(archive).written == 0
    (before,) = folders(archive)
    cache = next((archive / ".noctuary" / "renditions").glob("*-tiles.pack"))
    cut = cache.stat().st_mtime_ns
    sidecar = archive / "pictures" / f"{before.name.partition('-tiles')[0]}.yaml"
    text = sidecar.read_text(encoding="utf-8")
    sidecar.write_text(text + "credit: Somebody else\n", encoding="utf-8")
    assert build(archive).built
    (after,) = folders(archive)
    assert after == before
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


def test_an_edited_title_moves_no_picture_and_changes_only_the_full_one(archive: Path) -> None:
    def pictures() -> dict[str, bytes]:
        images = archive / "site" / "images"
        return {p.relative_to(images).as_posix(): p.read_bytes() for p in images.rglob("*") if p.is_file()}

    before = pictures()
    for sidecar in sorted((archive / "pictures").glob("*.yaml")):
        text = sidecar.read_text(encoding="utf-8")
        sidecar.write_text(re.sub("(?m)^title:.*", "title: A name nobody thought of", text), encoding="utf-8")
    assert build(archive).built
    after = pictures()
    assert before.keys() == after.keys()
    widest: dict[str, tuple[int, str]] = {}
    for name in after:
        if (found := re.fullmatch(r"(.+)-(\d+)\.[0-9a-f]{12}\.jpg", name)) is not None:
            widest[found[1]] = max(widest.get(found[1], (0, "")), (int(found[2]), name))
    changed = {name for name in after if after[name] != before[name]}
    assert changed == {name for _, name in widest.values()}
    for name in changed:
        assert b"A name nobody thought of" in after[name]


def test_a_bound_on_what_is_published_takes_the_full_size_and_the_tiles_away(archive: Path) -> None:
    written = archive / "archive.yaml"
    text = written.read_text(encoding="utf-8")
    written.write_text(text + "publish_size: 2048 px\n", encoding="utf-8")
    assert build(archive).built
    assert folders(archive) == []
    sides = [max(Image.open(p).size) for p in (archive / "site").rglob("*.jpg")]
    assert max(sides) == 2048
    written.write_text(text, encoding="utf-8")
    assert build(archive).built
    assert len(folders(archive)) == 1

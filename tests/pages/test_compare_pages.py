"""Pages that compare two pictures of a target: which there are, and what they say when they cannot be laid."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from noctuary.build import build
from PIL import Image

from tests.builders.folders import written
from tests.images.test_warp import header

EQUIPMENT = """\
cameras: {camera: {pixels: [600, 400], pixel_size: 4 um, colour: mono}}
optics: {refractor: {focal_length: 400 mm, aperture: 80 mm}, lens: {focal_length: 50 mm, f_ratio: 4}}
rigs: {short refractor: {optic: refractor, camera: camera}, lens: {optic: lens, camera: camera}}
"""
PLACES = "home: {latitude: 51, longitude: -3, time_zone: UTC, sky_brightness: 20.5}\n"


def one_target(folder: Path, pictures: dict[str, tuple[str, str]]) -> Path:
    """An archive of one target; ``pictures``: the date of each and what its sidecar says of its place."""
    texts = {
        "archive.yaml": "title: Nights\nauthor: A. Person\n",
        "equipment.yaml": EQUIPMENT,
        "places.yaml": PLACES,
    }
    for name, (finished, placement) in pictures.items():
        texts[f"pictures/{name}.yaml"] = (
            f"title: Number {name}\nobjects: [NGC 7000]\nfinished: {finished}\nrig: short refractor\nplace: home\n"
            f"sessions:\n  - {{night: {finished}, frames: [{{exposure: 60 s, kept: {30 + len(name)}}}]}}\n{placement}"
        )
    return written(folder, texts, (600, 400))


def placed(centre: str, scale: float = 2.1, angle: float = 0.0, mirrored: bool = False) -> str:
    parity = "yes" if mirrored else "no"
    said = f"centre: '{centre}', image_scale: {scale}, position_angle: {angle}, mirrored: {parity}"
    return f"placement: {{{said}}}\n"


HERE, AWAY = "20h58m48s +44d20m00s", "20h40m00s +40d00m00s"


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("compared")
    pictures = {
        "a": ("2021-08-01", placed(HERE)),
        "b": ("2022-08-01", placed(HERE, 1.5, 90, mirrored=True)),
        "c": ("2023-08-01", ""),
        "d": ("2024-08-01", placed(AWAY)),
        "e": ("2025-08-01", "placement: {header: wide.txt, rows: top}\n"),
    }
    one_target(folder / "archive", pictures)
    cards = header("ZEA", 312, 40, 600, 25, (600, 400)).to_header()
    cards["NAXIS"], cards["NAXIS1"], cards["NAXIS2"] = 2, 600, 400
    (folder / "archive/pictures/wide.txt").write_text(cards.tostring(sep="\n"))
    # Another wide picture, so that the two share a hundred degrees of sky.
    lens = header("TAN", 318, 44, 400, 0, (600, 400)).to_header()
    lens["NAXIS"], lens["NAXIS1"], lens["NAXIS2"] = 2, 600, 400
    (folder / "archive/pictures/lens.txt").write_text(lens.tostring(sep="\n"))
    sidecar = (folder / "archive/pictures/e.yaml").read_text()
    (folder / "archive/pictures/f.yaml").write_text(
        sidecar.replace("wide.txt", "lens.txt").replace("Number e", "Number f").replace("2025-08-01", "2026-08-01")
    )
    Image.open(folder / "archive/pictures/e.jpg").save(folder / "archive/pictures/f.jpg")
    outcome = build(folder / "archive", folder / "site", workers=1)
    assert outcome.built, outcome.findings
    return folder / "site"


def page(site: Path, older: str, newer: str) -> str:
    return re.sub(r"\s+", " ", (site / f"compare/ngc-7000--{older}--{newer}.html").read_text())


def test_every_pair_has_its_page_and_leads_to_every_other(site):
    names = "abcdef"
    there = {p.name for p in (site / "compare").iterdir()}
    assert there == {f"ngc-7000--{a}--{b}.html" for i, a in enumerate(names) for b in names[i + 1 :]}
    links = re.findall(r'href="(ngc-7000--[^"]+)"', page(site, "b", "d"))
    assert set(links) == {f"ngc-7000--{a}--d.html" for a in "abc"} | {f"ngc-7000--b--{b}.html" for b in "cdef"}


def test_turned_and_mirrored_pictures_are_laid(site):
    said = page(site, "a", "b")
    assert "mirrored against the older" in said
    assert "1.40 times as fine" in said
    matrix = re.search(r'data-matrix="([^"]+)" data-base="newer"', said)
    assert matrix is not None
    a, b, _, d, e, *_ = map(float, matrix[1].split())
    # From the older (2.1") to the newer (1.5"): 1.4 times larger, turned by a quarter, and turned over.
    assert np.hypot(a, d) == pytest.approx(1.4, rel=1e-3)
    assert a * e - b * d == pytest.approx(-1.96, rel=1e-3)


def test_an_unplaced_picture_stands_beside_and_says_so(site):
    said = page(site, "b", "c")
    assert "They are side by side: no position on the sky is recorded for Number c." in said
    assert "data-matrix" not in said
    assert "laying.js" not in said


def test_pictures_of_different_skies_stand_beside_and_say_so(site):
    said = page(site, "b", "d")
    assert "share too little sky" in said
    assert "data-matrix" not in said


def test_where_a_matrix_misses_a_picture_is_drawn_again(site):
    said = page(site, "e", "f")
    assert "drawn again on the other’s sky" in said
    assert 'data-matrix="1.0 0.0 0.0 0.0 1.0 0.0 0.0 0.0 1.0"' in said
    found = re.search(r'data-src="\.\./(images/[^"]+\.webp)"', said)
    assert found is not None
    with Image.open(site / found[1]) as drawn:
        assert drawn.mode == "RGBA"
        assert b"A. Person" in (site / found[1]).read_bytes()
    # Only that pair needed one: of the others with the wide picture one matrix is good enough.
    assert len(list((site / "images").glob("*-on-*.webp"))) == said.count("data-src=")


def test_pages_lead_to_where_pictures_are_laid(site):
    picture = re.sub(r"\s+", " ", (site / "pictures/a.html").read_text())
    assert 'Compared with <a href="../compare/ngc-7000--a--f.html">Number f</a>' in picture
    target = (site / "targets/ngc-7000.html").read_text()
    assert "../compare/ngc-7000--a--b.html" in target
    assert ">compare<" in target
    assert ">side by side<" in target
    assert "../cards/ngc-7000.html" in target


def test_the_next_build_draws_nothing_again(site):
    def drawn() -> dict[Path, int]:
        return {p: p.stat().st_mtime_ns for p in (site / "images").glob("*-on-*")}

    before = drawn()
    assert before
    archive = site.parent / "archive"
    sidecar = archive / "pictures/a.yaml"
    sidecar.write_text(sidecar.read_text().replace("Number a", "Number one"))
    assert build(archive, site, workers=1).built
    assert drawn() == before


@pytest.mark.slow
def test_of_many_pictures_each_meets_its_neighbours_the_first_and_the_newest(tmp_path):
    one_target(tmp_path / "archive", {f"p{i:02}": (f"{i + 2005}-08-01", "") for i in range(18)})
    assert build(tmp_path / "archive", tmp_path / "site", workers=1).built
    there = {p.stem.split("--", 1)[1] for p in (tmp_path / "site/compare").iterdir()}
    assert len(there) == 17 + 16 + 16 - 1
    assert {"p03--p04", "p00--p09", "p09--p17"} <= there
    assert "p03--p09" not in there

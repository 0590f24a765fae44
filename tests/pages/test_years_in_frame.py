"""The head of a target's page: which of its pictures are in one frame, and what stays where no script runs."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from noctuary.build import build
from PIL import Image

from tests.pages.test_compare_pages import AWAY, HERE, one_target, placed

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("years") / "archive"
    one_target(
        folder,
        {
            "a": ("2021-08-01", placed(HERE, 4.0)),
            "b": ("2022-08-01", placed(HERE, 1.5, 90, mirrored=True)),
            "c": ("2023-08-01", ""),
            "d": ("2024-08-01", placed(AWAY)),
            "e": ("2025-08-01", placed(HERE)),
        },
    )
    outcome = build(folder, workers=1)
    assert outcome.built, outcome.findings
    return folder


def page(archive: Path) -> str:
    return (archive / "site/targets/ngc-7000.html").read_text()


def test_the_placed_pictures_that_share_its_sky_are_in_the_frame_of_the_newest(archive: Path) -> None:
    files = re.findall(r'data-file="\.\./(images/(\w)-in-e-[^"]+)"', page(archive))
    assert [picture for _, picture in files] == ["a", "b", "e"]
    for file, _ in files:
        with Image.open(archive / "site" / file) as drawn:
            assert drawn.size == (600, 400)


def test_a_picture_that_fills_the_frame_has_no_outline_and_a_smaller_one_has(archive: Path) -> None:
    lines = re.findall(r"<li[^>]* data-file=[^>]*>", page(archive))
    assert ["data-outline" in line for line in lines] == [False, True, False]


def test_without_a_script_the_oldest_is_beside_the_newest_and_both_are_whole(archive: Path) -> None:
    said = page(archive)
    stage = re.search(r'(?s)<div class="frame-stage">\s*<picture>.*?<img[^>]* src="\.\./images/(\w)-in-e', said)
    oldest = re.search(r'<noscript><img[^>]* src="\.\./images/(\w)-[^"]*" width="600" height="400"', said)
    assert stage is not None
    assert oldest is not None
    assert (stage[1], oldest[1]) == ("e", "a")


def test_an_edited_title_draws_nothing_again(archive: Path) -> None:
    sidecar = archive / "pictures/b.yaml"
    sidecar.write_text(sidecar.read_text().replace("Number b", "Another name"))
    outcome = build(archive, workers=1)
    assert not [name for name, _ in outcome.reasons if "-in-" in name]
    assert "Another name" in page(archive)


def test_an_unlisted_picture_is_not_in_it(archive: Path) -> None:
    sidecar = archive / "pictures/b.yaml"
    before = sidecar.read_text()
    sidecar.write_text(before + "listed: no\n")
    try:
        assert build(archive, workers=1).built
        assert re.findall(r"(\w)-in-e", page(archive)).count("b") == 0
        assert not list((archive / "site/images").glob("b-in-*"))
    finally:
        sidecar.write_text(before)


def test_two_pictures_of_other_skies_make_no_frame(tmp_path: Path) -> None:
    one_target(tmp_path / "a", {"a": ("2021-08-01", placed(HERE)), "d": ("2024-08-01", placed(AWAY))})
    assert build(tmp_path / "a", workers=1).built
    assert "years-frame" not in page(tmp_path / "a")


def test_a_shared_link_to_the_target_shows_its_oldest_and_newest_halves(archive: Path) -> None:
    settings = archive / "archive.yaml"
    before = settings.read_text()
    settings.write_text(before + "address: https://nights.example.org/\n")
    try:
        assert build(archive, workers=1).built
        assert 'content="https://nights.example.org/share/targets/ngc-7000.jpg"' in page(archive)
        with Image.open(archive / "site/share/targets/ngc-7000.jpg") as card:
            assert card.size == (1200, 630)
    finally:
        settings.write_text(before)

"""What ``place`` answers where it cannot place a picture: what may be wrong, and what to write."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from noctuary.facts.almanac import Almanac
from noctuary.facts.archive_facts import archive_facts
from noctuary.plate_solve import Search, find_place
from noctuary.sky.solve import Refusal
from PIL import Image

from tests.builders.records import archive, picture, rig, session

RANDOM = np.random.default_rng(5)


def starfield(file: Path, count: int, size: tuple[int, int]) -> None:
    """Round stars of 3 pixels over a dark sky, nowhere in particular."""
    sky = RANDOM.normal(20, 1, (size[1], size[0]))
    y, x = np.mgrid[0 : size[1], 0 : size[0]]
    for cx, cy, light in RANDOM.uniform((10, 10, 60), (size[0] - 10, size[1] - 10, 230), (count, 3)):
        sky += light * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / (2 * 1.3**2))
    file.parent.mkdir(exist_ok=True)
    Image.fromarray(np.clip(sky, 0, 255).astype(np.uint8)).save(file)


@pytest.fixture(scope="module")
def table(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Stars around NGC 2238, none of which the pictures show."""
    file = tmp_path_factory.mktemp("table") / "stars.csv"
    places = RANDOM.uniform((96.5, 3.5, 6), (99.5, 6.5, 12), (300, 3))
    file.write_text("ra,dec,mag\n" + "".join(f"{a:.5f},{d:.5f},{m:.2f}\n" for a, d, m in places), encoding="utf-8")
    return file


def refused(folder: Path, table: Path, size: tuple[int, int], count: int = 40, **more: Any) -> Refusal:
    """The refusal of a picture of that size from a sensor of 6248 × 4176 behind 480 mm."""
    camera = more.pop("rig", rig())
    written = picture("rosette", (session(rig=camera),), **({"resampling": None} | more))
    starfield(folder / written.file, count, size)
    whole = archive(written)
    facts = archive_facts(whole, Almanac(whole), {"rosette": size}, {}).pictures["rosette"]
    answer = find_place(folder, facts, table)
    found = answer.found if isinstance(answer, Search) else answer
    assert isinstance(found, Refusal)
    return found


def test_a_refusal_names_the_resampling_where_nobody_wrote_it(tmp_path: Path, table: Path) -> None:
    # 312 × 209 has the proportions of 6248 × 4176, 300 × 300 has not: 300 / 4176 = 0.07184.
    assert "if it is a crop, write resampling: 1" in refused(tmp_path, table, (312, 209)).hint
    assert "at least 0.07184" in refused(tmp_path, table, (300, 300)).hint
    assert "resampling" not in refused(tmp_path, table, (312, 209), resampling=0.05).hint


def test_no_other_scale_would_help_a_picture_of_few_stars(tmp_path: Path, table: Path) -> None:
    few = refused(tmp_path, table, (312, 209), count=3)
    assert "stars" in few.reason
    assert "resampling" not in few.hint


def test_without_a_scale_it_says_what_to_write(tmp_path: Path, table: Path) -> None:
    assert "write pixels:" in refused(tmp_path, table, (312, 209), rig=rig(pixels=None)).hint
    assert "pixel_size:" in refused(tmp_path, table, (312, 209), rig=rig(pixel_size=None)).hint
    assert "write resampling:" in refused(tmp_path, table, (312, 209), panels=("a", "b")).hint

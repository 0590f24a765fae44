"""A card as it came out of the camera, and what a night on it costs: kinds, changes of target, questions."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from noctuary.archive.gather.gather_report import GatherReport
from noctuary.archive.gather.gathering import Surroundings, gather
from noctuary.archive.read import read_archive
from noctuary.cli import noctuary
from noctuary.gather_surroundings import CatalogueOfTargets, PreviewsOfFrames
from numpy.random import default_rng
from numpy.typing import NDArray
from PIL import Image

from tests.builders.folders import written
from tests.builders.frames_of_a_night import ARCHIVE, run, write_fits, write_jpeg
from tests.sky import simulated_sky
from tests.sky.drawn_picture import drawn

EVENING = datetime(2025, 12, 18, 20, 15)
SIZE = (1200, 800)
SCALE = 3.91 / 135 * 206.265 * 6000 / SIZE[0]  # ″ a pixel of the preview: pixel size / focal length, and made smaller


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    return written(tmp_path / "archive", ARCHIVE)


class Card:
    """A card that is filled frame after frame, by a camera whose numbers run on."""

    def __init__(self, folder: Path, begin: datetime = EVENING) -> None:
        self.folder, self.clock, self.number = folder / "DCIM/100ABCDE", begin, 0

    def shoot(self, count: int, exposure: float, *, iso: int = 1600, pixels: object = None, **more: object) -> Card:
        for _ in range(count):
            name = self.folder / f"IMG_{self.number:04}.JPG"
            write_jpeg(name, self.clock, exposure=exposure, iso=iso, pixels=pixels, **more)  # type: ignore[arg-type]
            self.clock += timedelta(seconds=exposure + 3)
            self.number += 1
        return self

    def wait(self, minutes: float) -> Card:
        self.clock += timedelta(minutes=minutes)
        return self


def gathered(archive: Path, cards: Path, *, views: bool = False, **more: Any) -> GatherReport:
    known = read_archive(archive).archive
    seen = PreviewsOfFrames() if views else None
    around = Surroundings(CatalogueOfTargets(known), seen, datetime(2026, 6, 1, tzinfo=UTC))
    return gather([cards], archive=known, archive_folder=archive, around=around, **more)


def drafts(archive: Path) -> dict[str, str]:
    return {p.stem: p.read_text() for p in sorted((archive / "gathered").glob("*.yaml"))}


def even(level: float, scatter: float, seed: int = 1) -> NDArray[np.uint8]:
    return np.clip(default_rng(seed).normal(level, scatter, SIZE[::-1]), 0, 255).astype(np.uint8)


def sky(ra: float, dec: float, seed: int) -> NDArray[np.uint8]:
    rng = default_rng(seed)
    return drawn(rng, simulated_sky.field(rng, SCALE, *SIZE, place=(ra, dec)))


@pytest.mark.slow
def test_an_unsorted_card_of_three_targets(archive: Path, tmp_path: Path) -> None:
    """32 lights of M 42, M 45 and M 31, drawn from the star table with astropy's WCS, and all three calibrations."""
    card = Card(tmp_path / "card")
    card.shoot(12, 60, pixels=sky(83.8, -5.4, 3)).wait(11).shoot(10, 60, pixels=sky(56.75, 24.1, 4)).wait(14)
    card.shoot(10, 60, pixels=sky(10.7, 41.3, 5)).wait(5).shoot(8, 60, pixels=even(3, 2))
    card.wait(300).shoot(15, 0.02, iso=100, pixels=even(120, 4)).shoot(20, 1 / 4000, pixels=even(3, 2))
    report = gathered(archive, tmp_path / "card", views=True, place="meadow")
    assert report.kinds == {"light": 32, "dark": 8, "flat": 15, "bias": 20}
    texts = drafts(archive)
    assert sorted(texts) == ["m-31", "m-42", "m-45"]
    for name, text in texts.items():
        assert "darks: 8\n" in text
        assert "flats: 15\n" in text
        assert "bias: 20\n" in text
        assert f"What they show: {name}-preview.jpg" in text
        with Image.open(archive / "gathered" / f"{name}-preview.jpg") as preview:
            assert max(preview.size) <= 640
            assert not preview.getexif()
    assert all(s.questions <= 3 for s in report.sidecars)
    assert "objects: [M 42]   # by the stars of a preview it is" in texts["m-42"]
    again = gathered(archive, tmp_path / "card", views=True, place="meadow")
    assert {s.outcome for s in again.sidecars} == {"unchanged"}


@pytest.mark.slow
def test_a_sky_that_is_none_and_a_wrong_rig_name_nothing(archive: Path, tmp_path: Path) -> None:
    rng = default_rng(11)
    true = simulated_sky.field(rng, SCALE, *SIZE, place=(83.8, -5.4))
    strewn = replace(true, x=rng.uniform(0, SIZE[0], len(true.x)), y=rng.uniform(0, SIZE[1], len(true.y)))
    narrower = simulated_sky.field(rng, SCALE / 3, *SIZE, place=(83.8, -5.4))
    card = Card(tmp_path / "card").shoot(5, 60, pixels=drawn(rng, strewn)).wait(12)
    card.shoot(5, 60, pixels=drawn(rng, narrower))
    report = gathered(archive, tmp_path / "card", views=True, place="meadow")
    assert [s.target.name for s in report.sessions] == [None, None]
    assert report.kinds == {"light": 10}


def test_without_previews_exposure_and_hour_tell(archive: Path, tmp_path: Path) -> None:
    card = Card(tmp_path / "card").shoot(10, 60).wait(12).shoot(10, 60).wait(12).shoot(10, 60)
    card.wait(700).shoot(9, 60).shoot(15, 0.02, iso=100).shoot(20, 1 / 4000)  # at 9 in the morning
    report = gathered(archive, tmp_path / "card", place="meadow")
    assert report.kinds == {"light": 30, "dark": 9, "flat": 15, "bias": 20}
    assert sorted(drafts(archive)) == ["2025-12-18-2015", "2025-12-18-2037", "2025-12-18-2100"]
    assert all(s.questions <= 3 for s in report.sidecars)
    assert sum("another target?" in note for note in report.notes) == 2


def test_what_may_be_the_last_target_is_asked_about_once(archive: Path, tmp_path: Path) -> None:
    Card(tmp_path / "card").shoot(10, 60).wait(12).shoot(8, 60)
    report = gathered(archive, tmp_path / "card", place="meadow")
    texts = drafts(archive)
    assert sum("if they are darks" in text for text in texts.values()) == 1
    assert all(s.questions <= 3 for s in report.sidecars)


def test_the_sun_is_no_flat(archive: Path, tmp_path: Path) -> None:
    for number in range(5):
        at = datetime(2025, 6, 21, 9, 30, number * 10)
        write_jpeg(tmp_path / f"card/Sun/IMG_{number}.JPG", at, exposure=0.001, iso=100)
    report = gathered(archive, tmp_path / "card", place="meadow")
    assert report.kinds == {"light": 5}


def test_another_exposure_for_good_is_a_change_and_a_bracket_is_none(archive: Path, tmp_path: Path) -> None:
    card = Card(tmp_path / "card").shoot(2, 5).shoot(10, 60).shoot(10, 30)
    gathered(archive, tmp_path / "card", place="meadow")
    assert len(drafts(archive)) == 2
    card = Card(tmp_path / "other", EVENING + timedelta(days=1))
    for _ in range(4):
        card.shoot(4, 60).shoot(4, 10)
    gathered(archive, tmp_path / "other", place="meadow")
    assert len(drafts(archive)) == 3


def test_runs_that_their_person_calls_alike_are_one(archive: Path, tmp_path: Path) -> None:
    Card(tmp_path / "card").shoot(10, 60).wait(12).shoot(10, 60).wait(400).shoot(5, 1 / 4000)
    gathered(archive, tmp_path / "card", place="meadow")
    for path in (archive / "gathered").glob("*.yaml"):
        path.write_text(path.read_text().replace("# ? objects: [M 42]", "objects: [M 42]"))
    report = gathered(archive, tmp_path / "card", place="meadow")
    assert [(s.path.stem, s.sessions) for s in report.sidecars] == [("2025-12-18-2015", 2)]
    assert drafts(archive)["2025-12-18-2015"].count("- night:") == 2
    assert any("2025-12-18-2037.yaml is not needed" in note for note in report.notes)


FINE = {"XPIXSZ": 3.8, "FOCALLEN": 910.0, "GAIN": 139, "IMAGETYP": "LIGHT"}


def test_an_alternating_night_costs_no_more(archive: Path, tmp_path: Path) -> None:
    number = 0
    for turn in range(5):
        for target in ("M 37", "M 36", "M 38"):
            for at in run(EVENING + timedelta(minutes=12 * number), 2, 60, 5):
                moment = f"{at + timedelta(seconds=turn):%Y-%m-%dT%H:%M:%S}"
                name = tmp_path / f"card/{number}-{at:%H%M%S}.fits"
                write_fits(name, OBJECT=target, EXPTIME=60.0, FILTER="LRGB"[turn % 4], DATE__OBS=moment, **FINE)
            number += 1
    report = gathered(archive, tmp_path / "card")
    assert len(report.sessions) == 15
    # When it was finished and how many are kept, for each; where it was, once.
    assert sorted(s.questions for s in report.sidecars) == [2, 2, 3]
    assert sum("# ? place:" in text for text in drafts(archive).values()) == 1


def test_an_answer_in_one_draft_settles_the_night(archive: Path, tmp_path: Path) -> None:
    for number, target in enumerate(("M 37", "M 36")):
        for at in run(EVENING + timedelta(hours=number), 3, 60, 5):
            name = tmp_path / f"card/{at:%H%M%S}.fits"
            write_fits(name, OBJECT=target, EXPTIME=60.0, DATE__OBS=f"{at:%Y-%m-%dT%H:%M:%S}", **FINE)
    gathered(archive, tmp_path / "card")
    asked = next(p for p in (archive / "gathered").glob("*.yaml") if "# ? place" in p.read_text())
    asked.write_text(asked.read_text().replace("# ? place: meadow", "place: meadow"))
    gathered(archive, tmp_path / "card")
    for text in drafts(archive).values():
        assert "\nplace: meadow" in text
        assert 'start: "21:15"' in text or 'start: "22:15"' in text


NEW = {"INSTRUME": "Deep One", "XPIXSZ": 2.4, "FOCALLEN": 530.0, "FOCRATIO": 5.0, "TELESCOP": "Comet hunter",
       "NAXIS1": 5496, "NAXIS2": 3672, "BAYERPAT": "RGGB"}  # fmt: skip


def test_new_equipment_is_merged(archive: Path, tmp_path: Path) -> None:
    before = "# what I have\n" + ARCHIVE["equipment.yaml"].replace("rigs:\n", "# and how it goes together\nrigs:\n")
    (archive / "equipment.yaml").write_text(before)
    for at in run(EVENING, 3, 60, 5):
        moment = f"{at:%Y-%m-%dT%H:%M:%S}"
        path = tmp_path / f"card/{at:%H%M%S}.fits"
        write_fits(path, OBJECT="M 37", EXPTIME=60.0, DATE__OBS=moment, **NEW)
    report = gathered(archive, tmp_path / "card", place="meadow", equipment=True)
    assert report.equipment == ("Comet hunter with Deep One",)
    after = (archive / "equipment.yaml").read_text()
    waiting = iter(after.splitlines())
    assert all(any(line == other for other in waiting) for line in before.splitlines())
    known = read_archive(archive).archive
    assert known is not None
    rig = known.rigs["Comet hunter with Deep One"]
    assert rig.camera is not None
    assert rig.optic is not None
    assert (rig.camera.pixels, rig.camera.pixel_size_um, rig.optic.focal_length_mm) == ((5496, 3672), 2.4, 530.0)
    assert "\nrig: Comet hunter with Deep One\n" in drafts(archive)["m-37"]
    assert gathered(archive, tmp_path / "card", place="meadow", equipment=True).equipment == ()
    assert (archive / "equipment.yaml").read_text() == after


def test_a_known_camera_needs_its_name_alone(archive: Path, tmp_path: Path) -> None:
    # The preview of a raw has 160 × 120 pixels; the sensor is in the table of cameras.
    folder = tmp_path / "card/M 31/lights"
    for number in range(3):
        at = EVENING + timedelta(minutes=2 * number)
        write_jpeg(folder / f"{number}.JPG", at, camera="Canon EOS 6D", focal=200.0, maker="Canon", sensor=(160, 120))
    gathered(archive, tmp_path / "card", place="meadow", equipment=True)
    known = read_archive(archive).archive
    assert known is not None
    camera = known.cameras["Canon EOS 6D"]
    assert camera.sensor_from_table
    assert camera.pixels == (5472, 3648)
    assert "160" not in (archive / "equipment.yaml").read_text()


def test_what_the_command_prints(archive: Path, tmp_path: Path) -> None:
    card = Card(tmp_path / "card").shoot(6, 60).wait(300).shoot(50, 1 / 4000)
    for number in range(12):
        odd = card.folder / f"ODD_{number}.JPG"
        odd.write_bytes(b"no picture")
    listed = [str(tmp_path / "card"), "--archive", str(archive), "--place", "meadow", "--clock-shift", "-00:15"]
    result = CliRunner().invoke(noctuary, ["gather", *listed])
    assert result.exit_code == 0
    lines = result.output.splitlines()
    assert "50 bias frames, 6 lights" in lines
    assert sum("ODD_" in line for line in lines) == 3
    assert "skipped 9 more for the same reason" in lines
    assert 'start: "20:00"' in drafts(archive)["2025-12-18-2000"]
    wrong = CliRunner().invoke(noctuary, ["gather", str(tmp_path), "--clock-shift", "1h"])
    assert wrong.exit_code == 2
    assert "with its sign" in wrong.output

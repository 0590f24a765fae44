"""Cards and folders as people have them: copies, rejects, lists, wrong clocks, other names, no sorting."""

from __future__ import annotations

import shutil
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from noctuary.archive.gather.fits_coordinates import site_of
from noctuary.archive.gather.gather_report import GatherReport
from noctuary.archive.gather.gathering import Surroundings, gather
from noctuary.archive.read import read_archive
from noctuary.gather_surroundings import CatalogueOfTargets

from tests.builders.folders import written
from tests.builders.frames_of_a_night import ARCHIVE, run, write_fits, write_jpeg

SETUP = {"XPIXSZ": 3.8, "FOCALLEN": 910.0, "GAIN": 139, "CCD__TEMP": -10.0, "IMAGETYP": "LIGHT"}
EVENING = datetime(2025, 1, 20, 19, 0)


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    return written(tmp_path / "archive", ARCHIVE)


def shoot(folder: Path, begin: datetime, count: int, exposure: float = 120.0, **more: object) -> list[Path]:
    named = str(more.pop("named", f"light_{begin:%d%H%M}"))
    return [
        write_fits(
            folder / f"{named}_{number:03}.fits", EXPTIME=exposure, DATE__OBS=f"{at:%Y-%m-%dT%H:%M:%S}",
            **({"OBJECT": "M 37", "FILTER": "L"} | SETUP | more),
        )
        for number, at in enumerate(run(begin, count, exposure, 5))
    ]  # fmt: skip


def gathered(archive: Path, cards: Path, **more: Any) -> GatherReport:
    known = read_archive(archive).archive
    around = Surroundings(CatalogueOfTargets(known), more.pop("views", None), datetime(2026, 6, 1, tzinfo=UTC))
    options = {"place": "meadow"} | more
    return gather([cards], archive=known, archive_folder=archive, around=around, **options)


def draft(archive: Path, name: str) -> str:
    return (archive / "gathered" / f"{name}.yaml").read_text()


def test_copies_of_an_exposure_count_once(archive: Path, tmp_path: Path) -> None:
    cards = tmp_path / "cards"
    lights = shoot(cards / "lights", EVENING, 10)
    for light in lights[:8]:
        for copied in (
            cards / "process" / f"pp_{light.name}", cards / "process" / f"r_pp_{light.name}",
            cards / "lights" / f"{light.name}.fz", cards / "backup" / light.name,
        ):  # fmt: skip
            copied.parent.mkdir(exist_ok=True)
            shutil.copy(light, copied)
    report = gathered(archive, cards)
    assert report.kinds == {"light": 10}
    assert any("32 copies left out" in note for note in report.notes)
    assert "# ? kept: 8   # 8 of the 10 have calibrated or registered copies" in draft(archive, "m-37")


def test_short_exposures_within_one_second_are_no_copies(archive: Path, tmp_path: Path) -> None:
    # A camera's clock has whole seconds, and bias frames follow each other three a second.
    for number in range(9):
        at = EVENING + timedelta(seconds=number // 3)
        write_jpeg(tmp_path / f"cards/bias/B_{number:03}.JPG", at, exposure=0.001)
    assert gathered(archive, tmp_path / "cards").kinds == {"bias": 9}


@pytest.mark.parametrize("where", ["rejected/{}", "bad/{}", "BAD_{}"])
def test_rejects_are_asked_about(archive: Path, tmp_path: Path, where: str) -> None:
    cards = tmp_path / "cards"
    for light in shoot(cards, EVENING, 10)[:3]:
        moved = cards / where.format(light.name)
        moved.parent.mkdir(exist_ok=True)
        light.rename(moved)
    gathered(archive, cards)
    text = draft(archive, "m-37")
    assert "taken: 10" in text
    assert "# ? kept: 7   # 3 of the 10 are among the rejects" in text


def test_a_list_speaks_for_the_target_that_it_names(archive: Path, tmp_path: Path) -> None:
    cards = tmp_path / "cards"
    mine = shoot(cards, EVENING, 10)
    shoot(cards, EVENING + timedelta(hours=1), 8, OBJECT="M 1")
    listed = tmp_path / "kept.txt"
    listed.write_text("\n".join(p.name for p in mine[:7]))
    gathered(archive, cards, kept=listed)
    assert "\n        kept: 7\n" in draft(archive, "m-37")
    assert "# ? kept: 8 " in draft(archive, "m-1")
    assert "kept: 0" not in draft(archive, "m-1")


def test_a_list_of_rejects(archive: Path, tmp_path: Path) -> None:
    cards = tmp_path / "cards"
    mine = shoot(cards, EVENING, 10)
    shoot(cards, EVENING + timedelta(hours=1), 8, OBJECT="M 1")
    listed = tmp_path / "rejects.txt"
    listed.write_text("\n".join([*(p.name for p in mine[:3]), "no_such_frame.fits"]))
    report = gathered(archive, cards, rejected=listed)
    assert "\n        kept: 7\n" in draft(archive, "m-37")
    assert "# ? kept: 8 " in draft(archive, "m-1")
    assert any("rejected subs are none of these lights (no_such_frame.fits)" in n for n in report.notes)


@pytest.mark.parametrize(
    ("cards", "reason"),
    [
        ({"DATE__OBS": "9999-12-31T23:59:59"}, "a day to come"),
        ({"DATE__OBS": "1899-12-30T00:00:00"}, "before there were such cameras"),
        ({"DATE__OBS": "2031-01-01T00:00:00"}, "a day to come"),
    ],
)
def test_dates_that_cannot_be(archive: Path, tmp_path: Path, cards: dict[str, object], reason: str) -> None:
    shoot(tmp_path / "cards", EVENING, 2)
    write_fits(tmp_path / "cards" / "odd.fits", **({"OBJECT": "M 37", "EXPTIME": 60.0} | SETUP | cards))
    report = gathered(archive, tmp_path / "cards")
    assert [(Path(p).name, reason in why) for p, why in report.unreadable] == [("odd.fits", True)]
    assert [s.frames for s in report.sessions] == [2]


def test_values_that_cannot_be_are_left_out_with_a_line(archive: Path, tmp_path: Path) -> None:
    shoot(tmp_path / "cards", EVENING, 3, exposure=120000.0, RA=400.0, DEC=-95.0, SITELAT=951.2, SITELONG=7.0)
    report = gathered(archive, tmp_path / "cards")
    assert "120000" not in draft(archive, "m-37")
    assert "# ? exposure: 60 s" in draft(archive, "m-37")
    for said in ("an exposure of 120000 s", "RA 400.0 and DEC -95.0", "a site that is not on the Earth"):
        assert any(said in note and "left out" in note for note in report.notes), said
    assert not any("951" in note for note in report.notes)


def test_one_object_by_all_its_names_is_one_target(archive: Path, tmp_path: Path) -> None:
    names = ["m31", "M 31", "Andromeda Galaxy", "Messier 31", "NGC 224", "M31", "M31 LRGB", "M_31-Ha", "M31 (OIII)"]
    for number, name in enumerate(names):
        shoot(tmp_path / "cards", EVENING + timedelta(minutes=10 * number), 3, OBJECT=name)
    report = gathered(archive, tmp_path / "cards")
    assert [(s.path.name, s.sessions) for s in report.sidecars] == [("m-31.yaml", 1)]
    assert "\nobjects: [M 31]\n" in draft(archive, "m-31")
    # Another card, another evening, another name: the same draft.
    shoot(tmp_path / "more", EVENING + timedelta(days=1), 3, OBJECT="the Andromeda Galaxy")
    again = gathered(archive, tmp_path / "more")
    assert [(s.path.name, s.outcome) for s in again.sidecars] == [("m-31.yaml", "extended")]
    assert again.findings == ()


def test_panels_of_a_mosaic(archive: Path, tmp_path: Path) -> None:
    for number, name in enumerate(["M 31 Panel 1", "M31_P2", "M 31 panel 1"]):
        shoot(tmp_path / "cards", EVENING + timedelta(minutes=10 * number), 3, OBJECT=name)
    report = gathered(archive, tmp_path / "cards")
    assert sorted(s.path.name for s in report.sidecars) == ["m-31-panel-1.yaml", "m-31-panel-2.yaml"]
    assert "objects: [M 31]" in draft(archive, "m-31-panel-2")
    assert 'title: "M 31, panel 2"' in draft(archive, "m-31-panel-2").replace("'", '"')
    assert {s.outcome for s in gathered(archive, tmp_path / "cards").sidecars} == {"unchanged"}


def test_panels_by_where_the_telescope_pointed(archive: Path, tmp_path: Path) -> None:
    # The rig "fine" sees 0.84° × 1.1°; the panels lie 0.7° apart, dithered by some arcseconds.
    for turn in range(4):
        for panel in range(2):
            at = EVENING + timedelta(minutes=20 * turn + 10 * panel)
            ra = 10.68 + 0.93 * panel + 0.002 * turn
            shoot(tmp_path / "cards", at, 2, OBJECT="M 31", RA=ra, DEC=41.27)
    report = gathered(archive, tmp_path / "cards")
    assert sorted(s.path.name for s in report.sidecars) == ["m-31-panel-1.yaml", "m-31-panel-2.yaml"]
    # Dithering is no mosaic.
    for number in range(6):
        at = EVENING + timedelta(days=1, minutes=5 * number)
        shoot(tmp_path / "dithered", at, 1, OBJECT="M 33", RA=23.46 + 0.01 * (number % 3), DEC=30.66)
    assert [s.path.name for s in gathered(archive, tmp_path / "dithered").sidecars] == ["m-33.yaml"]


def test_pointing_names_the_nearest_object(archive: Path, tmp_path: Path) -> None:
    # M 33 and NGC 7331 as the NGC/IC data place them, and back to the first; no header names an object.
    places = [("01 33 51", "+30 39 40"), ("22 37 04", "+34 24 57"), ("01 33 53", "+30 39 30")]
    for number, (ra, dec) in enumerate(places):
        at = EVENING + timedelta(minutes=12 * number)
        shoot(tmp_path / "cards", at, 4, OBJECT="", OBJCTRA=ra, OBJCTDEC=dec)
    report = gathered(archive, tmp_path / "cards")
    assert sorted((s.path.name, s.sessions) for s in report.sidecars) == [("m-33.yaml", 2), ("ngc-7331.yaml", 1)]
    assert "# ? objects: [M 33]   # the headers point 0′ from it; what is in the picture?" in draft(archive, "m-33")
    assert any("a slew of" in note for note in report.notes)


def test_universal_time_stays_so_until_a_place_is_known(archive: Path, tmp_path: Path) -> None:
    shoot(tmp_path / "cards", EVENING, 5)
    gathered(archive, tmp_path / "cards", place=None)
    text = draft(archive, "m-37")
    assert "# 19:00 to 19:11 universal time" in text
    assert "start:" not in text
    gathered(archive, tmp_path / "cards", place="meadow")
    text = draft(archive, "m-37")
    assert "\nplace: meadow" in text
    assert '    start: "20:00"\n    end: "20:11"\n    frames:' in text
    assert "universal" not in text


def test_a_night_that_passes_noon_of_universal_time_is_one(archive: Path, tmp_path: Path) -> None:
    # From 22:00 to 04:00 in Hawaii, 08:00 to 14:00 UT: one night, with a site in the header the right one.
    for hour in range(6):
        shoot(tmp_path / "a", datetime(2025, 1, 20, 8 + hour, 0), 20)
        shoot(tmp_path / "b", datetime(2025, 1, 20, 8 + hour, 0), 20, SITELAT=19.8, SITELONG=-155.5)
    for cards in ("a", "b"):
        report = gathered(archive, tmp_path / cards, place=None)
        assert [(s.night, s.frames) for s in report.sessions] == [(date(2025, 1, 19), 120)]


def test_local_time_alone_is_read(archive: Path, tmp_path: Path) -> None:
    for number in range(3):
        at = EVENING + timedelta(minutes=3 * number)
        local = f"{at:%Y-%m-%dT%H:%M:%S}"
        write_fits(tmp_path / f"cards/{number}.fits", OBJECT="M 37", EXPTIME=120.0, DATE__LOC=local, **SETUP)
    report = gathered(archive, tmp_path / "cards")
    assert report.unreadable == ()
    assert 'start: "19:00"' in draft(archive, "m-37")


@pytest.mark.parametrize(("shift", "start"), [(timedelta(hours=1), "21:00"), (timedelta(seconds=-200), "19:56")])
def test_a_clock_that_was_wrong(archive: Path, tmp_path: Path, shift: timedelta, start: str) -> None:
    shoot(tmp_path / "cards", EVENING, 3)
    gathered(archive, tmp_path / "cards", clock_shift=shift)
    assert f'start: "{start}"' in draft(archive, "m-37")


def test_a_clock_that_was_never_set_is_put_right(archive: Path, tmp_path: Path) -> None:
    for number in range(3):
        write_jpeg(tmp_path / f"cards/M 42/lights/{number}.JPG", datetime(1980, 1, 1, 0, number))
    assert "--clock-shift" in gathered(archive, tmp_path / "cards").unreadable[0][1]
    report = gathered(archive, tmp_path / "cards", clock_shift=datetime(2025, 1, 20, 21, 0) - datetime(1980, 1, 1))
    assert [s.frames for s in report.sessions] == [3]


def test_seconds_are_no_south() -> None:
    site, wrong = site_of({"SITELAT": "48d12m30s", "SITELONG": "16d22m00s"})
    assert site == pytest.approx((48.208333, 16.366667), abs=1e-6)
    assert wrong is None
    assert site_of({"SITELAT": "48d12m30s S", "SITELONG": "16d22m00s W"})[0] == pytest.approx(
        (-48.208333, -16.366667), abs=1e-6
    )


def test_a_site_in_degrees_minutes_and_seconds(archive: Path, tmp_path: Path) -> None:
    shoot(tmp_path / "cards", EVENING, 3, SITELAT="51d12m30s", SITELONG="7d36m00s")
    gathered(archive, tmp_path / "cards", place=None)
    assert "\nplace: meadow\n" in draft(archive, "m-37")


def test_the_totals_of_a_finished_stack(archive: Path, tmp_path: Path) -> None:
    for name, filter_, count in (("ha", "Ha", 40), ("oiii", "OIII", 25)):
        write_fits(
            tmp_path / f"cards/stack_{name}.fits", OBJECT="NGC 7000", FILTER=filter_, EXPTIME=300.0, STACKCNT=count,
            LIVETIME=300.0 * count, DATE__OBS="2025-07-12T22:10:00", XPIXSZ=3.8, FOCALLEN=910.0, GAIN=100,
        )  # fmt: skip
    report = gathered(archive, tmp_path / "cards")
    text = draft(archive, "ngc-7000")
    groups = [(g.filter, g.kept, g.exposure_s) for g in report.sessions[0].groups]
    assert groups == [("Ha", 40, 300), ("OIII", 25, 300)]
    assert "taken" not in text
    assert "start" not in text
    # With the subs among the frames the stack counts no exposures.
    shoot(tmp_path / "cards", datetime(2025, 7, 12, 22, 10), 45, 300.0, OBJECT="NGC 7000", FILTER="Ha")
    again = gather([tmp_path / "cards"], archive=None, archive_folder=tmp_path / "other")
    assert [s.frames for s in again.sessions] == [45]
    text = (tmp_path / "other/gathered/ngc-7000.yaml").read_text()
    assert "# ? kept: 40   # a stack of 40 is among the frames" in text


def test_the_folder_of_the_frames_means_all_but_the_rejects(archive: Path, tmp_path: Path) -> None:
    cards = tmp_path / "cards"
    shoot(cards, EVENING, 6)
    shoot(cards / "rejected", EVENING + timedelta(minutes=30), 2)
    shoot(cards, EVENING + timedelta(hours=1), 4, FILTER="R")
    shoot(cards / "darks", EVENING + timedelta(hours=9), 3, IMAGETYP="DARK")
    assert not any("none of these lights" in note for note in gathered(archive, cards, kept=cards).notes)
    text = draft(archive, "m-37")
    assert "taken: 8\n        kept: 6\n" in text
    assert "taken: 4\n        kept: 4\n" in text

"""A simulated night of three targets and three cameras comes out as the right sidecars."""

from __future__ import annotations

import os
import re
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from noctuary.archive.gather.gather_report import GatherReport
from noctuary.archive.gather.gathering import gather
from noctuary.archive.read import read_archive
from noctuary.archive.records import Session
from noctuary.build import build, examine

from tests.builders.folders import written
from tests.builders.frames_of_a_night import ARCHIVE, fits_bytes, run, write_fits, write_jpeg

FINE = {
    "INSTRUME": "third camera",
    "XPIXSZ": 3.8,
    "FOCALLEN": 910.0,
    "XBINNING": 1,
    "GAIN": 139,
    "CCD__TEMP": -9.8,
    "SET__TEMP": -10.0,
}
WIDE = {"CAMERA": "another", "PIXSIZE1": 3.76, "BAYERPAT": "RGGB", "FOCALLEN": 384, "GAIN": 100, "CCDTEMP": -10.1}


def utc(moment: datetime) -> str:
    return f"{moment:%Y-%m-%dT%H:%M:%S}.250"


def lay_out_the_night(cards: Path) -> None:
    """25 October 2025 in Europe/Berlin, where the clocks went back from 03:00 to 02:00 (IANA time zone database)."""
    # M 33, interrupted by cloud for 86 minutes; the last frame ends within the hour that came twice.
    start = datetime(2025, 10, 25, 18, 40)
    for number, at in enumerate(run(start, 60, 120, 5) + run(start + timedelta(minutes=211), 60, 120, 5)):
        write_fits(
            cards / f"one/frame_{number:04}.fits", OBJECT="M 33", IMAGETYP="Light Frame", EXPTIME=120.0, FILTER="Lum",
            SITELAT=51.21, SITELONG=7.58, DATE__OBS=utc(at), **FINE,
        )  # fmt: skip
    # NGC 7000 all night with a colour camera, other spellings of the same keywords.
    for number, at in enumerate(run(datetime(2025, 10, 25, 19, 2, 3), 200, 180, 4)):
        write_fits(
            cards / f"two/{number:04}.fit", OBJNAME="NGC 7000", FRAME="Light", EXPOSURE=180.0, DATE__BEG=utc(at),
            SITELAT="+51 12 36", SITELONG="7 34 48", **WIDE,
        )  # fmt: skip
    # A camera on a tripod's card: local time without an offset, kinds and target by the folders' names.
    for number, at in enumerate(run(datetime(2025, 10, 25, 20, 15), 900, 20, 4)):
        write_jpeg(cards / f"card/IC 1396/lights/IMG_{number:04}.JPG", at, exposure=20.0)
    # Darks at dawn for all three, flats for one.
    for number, at in enumerate(run(datetime(2025, 10, 26, 5, 0), 50, 120, 1)):
        write_fits(
            cards / f"one/dark_{number:04}.fits", IMAGETYP="Dark Frame", EXPTIME=120.0, DATE__OBS=utc(at), **FINE
        )
    for number, at in enumerate(run(datetime(2025, 10, 26, 5, 10), 40, 180, 1)):
        write_fits(cards / f"two/d{number:04}.fit", FRAME="DARK", EXPOSURE=180.0, DATE__BEG=utc(at), **WIDE)
    for number, at in enumerate(run(datetime(2025, 10, 26, 8, 0), 100, 20, 4)):
        write_jpeg(cards / f"card/Darks 20s/IMG_{number + 2000:04}.JPG", at, exposure=20.0)
    for number, at in enumerate(run(datetime(2025, 10, 26, 6, 0), 70, 2, 1)):
        write_fits(
            cards / f"one/flat_{number:04}.fits", IMAGETYP="FLAT", EXPTIME=1.5, FILTER="L", DATE__OBS=utc(at), **FINE
        )
    # Twenty damaged files: empty, cut within the header or the pixels, not what they are called.
    whole = fits_bytes(OBJECT="M 33", IMAGETYP="Light Frame", EXPTIME=120.0, DATE__OBS=utc(start), **FINE)
    for number in range(10):
        (cards / f"one/damaged_{number}.fits").write_bytes(whole[: number * 300])
    for number in range(5):
        (cards / f"one/torn_{number}.fits").write_bytes(whole[: 2880 + 200 * (number + 1)])
    for number in range(5):
        (cards / f"card/IC 1396/lights/BROKEN_{number}.JPG").write_bytes(
            b"\xff\xd8\xff\xe1" + os.urandom(40 * number)
        )


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path, GatherReport]:
    folder = tmp_path_factory.mktemp("night")
    archive, cards = written(folder / "archive", ARCHIVE), folder / "cards"
    lay_out_the_night(cards)
    assert sum(p.is_file() for p in cards.rglob("*")) == 1500
    told: list[tuple[int, int]] = []
    report = gather(
        [cards], archive=read_archive(archive).archive, archive_folder=archive,
        progress=lambda done, total: told.append((done, total)),
    )  # fmt: skip
    assert told[-1] == (1500, 1500)
    return archive, cards, report


def answered(text: str) -> str:
    """A draft after its person answered every question with what it suggests."""
    text = re.sub(r"# \? alt:.*", "alt: A picture.", text)
    return re.sub(r"(?m)^( *)# \? ((?:[a-z_]+|\w+):)", r"\1\2", text)


def sessions_after_answers(archive: Path, report: GatherReport) -> dict[str, tuple[Session, ...]]:
    from PIL import Image

    (archive / "pictures").mkdir(exist_ok=True)
    for sidecar in report.sidecars:
        (archive / "pictures" / sidecar.path.name).write_text(answered(sidecar.path.read_text()))
        Image.new("RGB", (60, 40)).save(archive / "pictures" / f"{sidecar.path.stem}.png")
    reading = read_archive(archive)
    assert [str(f) for f in examine(archive).findings if f.level == "fault"] == []
    assert reading.archive is not None
    return {p.target: p.own_sessions for p in reading.archive.pictures.values()}


def test_frames_are_sorted_and_damaged_ones_listed(night: tuple[Path, Path, GatherReport]) -> None:
    _, _, report = night
    assert report.kinds == {"light": 1220, "dark": 190, "flat": 70}
    assert len(report.unreadable) == 20
    assert all("damaged" in p or "torn" in p or "BROKEN" in p for p, _ in report.unreadable)
    assert not report.failed


def test_the_pause_is_told(night: tuple[Path, Path, GatherReport]) -> None:
    _, _, report = night
    assert [t for t in report.notes if "pause" in t] == ["2025-10-25: pause of 86 min on M 33, 22:44–00:11"]


def test_sidecars_say_what_happened(night: tuple[Path, Path, GatherReport]) -> None:
    archive, _, report = night
    assert sorted(s.path.name for s in report.sidecars) == ["ic-1396.yaml", "m-33.yaml", "ngc-7000.yaml"]
    assert {s.outcome for s in report.sidecars} == {"drafted"}
    sessions = sessions_after_answers(archive, report)

    (m33,) = sessions["M 33"]
    assert (m33.night, m33.rig.name, m33.place.name) == (date(2025, 10, 25), "fine", "meadow")
    assert m33.start is not None
    assert m33.end is not None
    assert f"{m33.start:%H:%M %z}" == "20:40 +0200"
    # Clocks showed 02:15 twice; the frames ended in summer time.
    assert f"{m33.end:%d %H:%M %z}" == "26 02:16 +0200"
    assert '"02:16+02:00"' in next(s.path for s in report.sidecars if "m-33" in s.path.name).read_text()
    (group,) = m33.frames
    assert (group.exposure_s, group.taken, group.filter, group.gain) == (120.0, 120, "Lum", 139.0)
    assert group.sensor_temperature_c == -10.0
    assert m33.calibration is not None
    assert (m33.calibration.darks, m33.calibration.dark_exposure_s, m33.calibration.flats) == (50, 120.0, 70)

    (north_america,) = sessions["NGC 7000"]
    assert north_america.rig.name == "wide"
    assert north_america.start is not None
    assert north_america.end is not None
    assert f"{north_america.start:%H:%M %z}" == "21:02 +0200"
    assert f"{north_america.end:%H:%M %z}" == "06:16 +0100"
    assert north_america.calibration is not None
    assert (north_america.calibration.darks, north_america.calibration.flats) == (40, None)

    (ic1396,) = sessions["IC 1396"]
    assert (ic1396.rig.name, ic1396.place.name) == ("lens", "meadow")
    assert ic1396.start is not None
    assert ic1396.end is not None
    assert f"{ic1396.start:%H:%M %z}" == "20:15 +0200"
    # 900 frames of 24 s are six hours on a camera whose clock stays in summer time: 02:15 there, and still 02:15.
    assert f"{ic1396.end:%H:%M %z}" == "02:15 +0200"
    assert (ic1396.frames[0].iso, ic1396.frames[0].taken, ic1396.frames[0].exposure_s) == (800.0, 900, 20.0)
    assert ic1396.calibration is not None
    assert ic1396.calibration.darks == 100


@pytest.mark.slow
def test_a_build_takes_what_was_gathered(night: tuple[Path, Path, GatherReport]) -> None:
    archive, _, report = night
    sessions_after_answers(archive, report)
    outcome = build(archive, workers=1)
    assert [str(f) for f in outcome.findings if f.level == "fault"] == []
    assert outcome.built
    page = (archive / "site" / "nights" / "2025-10-25.html").read_text(encoding="utf-8")
    for target in ("M 33", "NGC 7000", "IC 1396"):
        assert target in page


def test_nothing_of_the_observer_is_written(night: tuple[Path, Path, GatherReport]) -> None:
    _, _, report = night
    for sidecar in report.sidecars:
        text = sidecar.path.read_text()
        for secret in ("51.2", "7.58", "7 34 48", "51 12", "SERIAL"):
            assert secret not in text


def test_a_second_run_adds_nothing(night: tuple[Path, Path, GatherReport]) -> None:
    archive, cards, report = night
    for picture in (archive / "pictures").glob("*"):
        picture.unlink()
    before = {s.path: s.path.read_bytes() for s in report.sidecars}
    again = gather([cards], archive=read_archive(archive).archive, archive_folder=archive)
    assert {s.outcome for s in again.sidecars} == {"unchanged"}
    assert {p: p.read_bytes() for p in before} == before
    # Once the drafts lie beside their pictures, they are compared with, not drafted anew.
    sessions_after_answers(archive, report)
    for path in before:
        path.unlink()
    moved = {p: p.read_bytes() for p in (archive / "pictures").glob("*.yaml")}
    third = gather([cards], archive=read_archive(archive).archive, archive_folder=archive)
    assert {s.outcome for s in third.sidecars} == {"compared"}
    assert third.findings == ()
    assert {p: p.read_bytes() for p in (archive / "pictures").glob("*.yaml")} == moved
    assert not list((archive / "gathered").iterdir())

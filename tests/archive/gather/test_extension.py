"""Sidecars that a person wrote are added to, never changed."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import pytest
from noctuary.archive.gather.gather_report import GatherReport
from noctuary.archive.gather.gathering import gather
from noctuary.archive.read import read_archive

from tests.builders.folders import written
from tests.builders.frames_of_a_night import ARCHIVE, run, write_fits, write_jpeg

SETUP = {"XPIXSZ": 3.8, "FOCALLEN": 910.0, "GAIN": 139, "CCD__TEMP": -10.0, "IMAGETYP": "LIGHT"}

WRITTEN = """\
# The second winter; do not sort these keys.
title:   'A quiet   cluster'   # single quotes on purpose
objects: [ "M 37" ,  NGC 2099 ]
finished: 2025-03-01
rig: fine
place: meadow
sessions:
    - night: 2025-01-18   # cold
      start: 19:40
      end: "21:00"
      frames:
        - {filter: L,   exposure: 2 min, taken: 30, kept: 28, gain: 139, sensor_temperature: -9 °C}   # the good ones
        # a remark between the groups
      note: >
        Dew from nine,
        heater on.
# a last word
"""


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    return written(tmp_path / "archive", ARCHIVE)


def shoot(cards: Path, begin: datetime, count: int, exposure: float = 120.0, **more: object) -> None:
    for number, at in enumerate(run(begin, count, exposure, 5)):
        write_fits(
            cards / f"{begin:%d%H%M}_{number:03}.fits", EXPTIME=exposure, DATE__OBS=f"{at:%Y-%m-%dT%H:%M:%S}",
            **({"OBJECT": "M 37", "FILTER": "L"} | SETUP | more),
        )  # fmt: skip


def extend(archive: Path, cards: Path, sidecar: Path, **more: str | Path) -> GatherReport:
    return gather(
        [cards], archive=read_archive(archive).archive, archive_folder=archive, sidecar=sidecar,
        **({"place": "meadow"} | more),  # type: ignore[arg-type]
    )  # fmt: skip


def lines_kept(old: str, new: str) -> bool:
    """Whether every old line is still there, to the byte and in order."""
    waiting = iter(new.split("\n"))
    return all(any(line == other for other in waiting) for line in old.split("\n"))


def test_a_new_night_is_added_and_every_old_line_stays(archive: Path, tmp_path: Path) -> None:
    sidecar = archive / "pictures" / "m37.yaml"
    sidecar.parent.mkdir()
    sidecar.write_text(WRITTEN)
    shoot(tmp_path / "cards", datetime(2025, 1, 20, 19, 0), 20)
    report = extend(archive, tmp_path / "cards", sidecar)
    text = sidecar.read_text()
    assert [s.outcome for s in report.sidecars] == ["extended"]
    assert report.findings == ()
    assert lines_kept(WRITTEN, text)
    added = text[text.index("    - night: 2025-01-20") : text.index("# a last word")]
    assert 'start: "20:00"' in added
    assert "taken: 20" in added
    assert "rig" not in added
    extend(archive, tmp_path / "cards", sidecar)
    assert sidecar.read_text() == text


def test_a_disagreement_is_a_doubt_on_its_line(archive: Path, tmp_path: Path) -> None:
    sidecar = archive / "pictures" / "m37.yaml"
    sidecar.parent.mkdir()
    sidecar.write_text(WRITTEN)
    shoot(tmp_path / "cards", datetime(2025, 1, 18, 18, 40), 35)
    report = extend(archive, tmp_path / "cards", sidecar)
    assert sidecar.read_text() == WRITTEN
    assert [s.outcome for s in report.sidecars] == ["unchanged"]
    told = {(f.mark.file, f.mark.line, f.level): f.message for f in report.findings}
    # 35 frames of 125 s from 18:40 UTC end at 20:53 local time, within five minutes … of 21:00 they are not.
    assert told == {
        ("pictures/m37.yaml", 10, "doubt"): "end says 21:00, the frames say 20:53",
        ("pictures/m37.yaml", 12, "doubt"): "taken says 30, the frames say 35",
    }


def test_a_near_twin_that_agrees_is_quiet(archive: Path, tmp_path: Path) -> None:
    sidecar = archive / "pictures" / "m37.yaml"
    sidecar.parent.mkdir()
    sidecar.write_text(WRITTEN.replace("taken: 30", "taken: 35").replace("21:00", "20:55"))
    before = sidecar.read_text()
    shoot(tmp_path / "cards", datetime(2025, 1, 18, 18, 40), 35, FILTER="Lum")
    assert extend(archive, tmp_path / "cards", sidecar).findings == ()
    assert sidecar.read_text() == before


def test_a_new_filter_joins_the_session(archive: Path, tmp_path: Path) -> None:
    sidecar = archive / "pictures" / "m37.yaml"
    sidecar.parent.mkdir()
    sidecar.write_text(WRITTEN)
    shoot(tmp_path / "cards", datetime(2025, 1, 18, 18, 45), 10, FILTER="R", exposure=60.0)
    extend(archive, tmp_path / "cards", sidecar)
    text = sidecar.read_text()
    assert lines_kept(WRITTEN, text)
    assert text.index("the good ones") < text.index("exposure: 60 s") < text.index("note: >")
    assert text.count("night:") == 1


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
@pytest.mark.parametrize(
    "sessions",
    [
        'sessions: [{night: 2025-01-18, start: "19:40", end: "20:55", frames: [{exposure: 120 s, kept: 3}]}]\n',
        "sessions: []\n",
        "sessions:\n",
        "tags: [a]\n",
        "sessions:\n- night: 2025-01-18\n  frames:\n  - exposure: 120 s\n    kept: 3",
    ],
)
def test_every_layout_can_be_extended(archive: Path, tmp_path: Path, sessions: str, newline: str) -> None:
    sidecar = archive / "pictures" / "m37.yaml"
    sidecar.parent.mkdir()
    old = ("title: T # t\nobjects: [M 37]\nfinished: 2025-03-01\nrig: fine\nplace: meadow\n" + sessions).replace(
        "\n", newline
    )
    sidecar.write_bytes(old.encode())
    shoot(tmp_path / "cards", datetime(2025, 1, 20, 19, 0), 4)
    (tmp_path / "kept.txt").write_text("\n".join(p.name for p in sorted((tmp_path / "cards").iterdir())[:3]))
    report = extend(archive, tmp_path / "cards", sidecar, kept=tmp_path / "kept.txt")
    assert [s.outcome for s in report.sidecars] == ["extended"], report.findings
    text = sidecar.read_bytes().decode()
    assert newline == "\n" or "\n" not in text.replace("\r\n", "")
    (archive / "pictures" / "m37.png").write_bytes(b"")
    reading = read_archive(archive)
    assert reading.archive is not None
    nights = [s.night.isoformat() for s in reading.archive.pictures["m37"].own_sessions]
    assert nights[-1] == "2025-01-20"
    assert reading.archive.pictures["m37"].own_sessions[-1].frames[0].kept == 3
    extend(archive, tmp_path / "cards", sidecar, kept=tmp_path / "kept.txt")
    assert sidecar.read_bytes().decode() == text


def test_survivors_answer_the_question_of_an_earlier_draft(archive: Path, tmp_path: Path) -> None:
    cards = tmp_path / "cards"
    shoot(cards, datetime(2025, 1, 20, 19, 0), 12)
    gather([cards], archive=read_archive(archive).archive, archive_folder=archive, place="meadow")
    draft = archive / "gathered" / "m-37.yaml"
    assert "# ? kept: 12" in draft.read_text()
    kept = tmp_path / "survivors"
    kept.mkdir()
    for frame in sorted(cards.iterdir())[:9]:
        (kept / f"c_{frame.stem}_r.tif").write_bytes(b"")
    gather([cards], archive=read_archive(archive).archive, archive_folder=archive, place="meadow", kept=kept)
    assert "        kept: 9\n" in draft.read_text()
    assert "? kept" not in draft.read_text()
    # What stands there now is not overwritten.
    (kept / f"c_{sorted(cards.iterdir())[0].stem}_r.tif").unlink()
    report = gather([cards], archive=read_archive(archive).archive, archive_folder=archive, place="meadow", kept=kept)
    assert "        kept: 9\n" in draft.read_text()
    assert [f.message for f in report.findings] == ["kept says 9, the frames say 8"]


def test_another_target_does_not_slip_in(archive: Path, tmp_path: Path) -> None:
    sidecar = archive / "pictures" / "m37.yaml"
    sidecar.parent.mkdir()
    sidecar.write_text(WRITTEN)
    shoot(tmp_path / "cards", datetime(2025, 1, 20, 19, 0), 5)
    shoot(tmp_path / "cards", datetime(2025, 1, 20, 20, 0), 5, OBJECT="M 1")
    report = extend(archive, tmp_path / "cards", sidecar)
    assert any("M 1" in t and "left out" in t for t in report.notes)
    assert sidecar.read_text().count("night:") == 2
    nothing = extend(archive, tmp_path / "cards", archive / "pictures" / "new.yaml")
    assert [f.rule for f in nothing.findings] == ["gather-targets"]
    assert not (archive / "pictures" / "new.yaml").exists()


def test_a_target_taken_up_again_is_a_session_of_its_own(archive: Path, tmp_path: Path) -> None:
    cards = tmp_path / "cards"
    shoot(cards, datetime(2025, 1, 20, 19, 0, 10), 10)
    shoot(cards, datetime(2025, 1, 20, 19, 20, 58), 10, OBJECT="M 36")
    shoot(cards, datetime(2025, 1, 20, 19, 42, 0), 10)
    report = gather([cards], archive=read_archive(archive).archive, archive_folder=archive, place="meadow")
    spans = sorted((s.start, s.end, s.target.name) for s in report.sessions)
    assert [t for *_, t in spans] == ["M 37", "M 36", "M 37"]
    assert len([t for t in report.notes if "change of target" in t]) == 2
    # Rounded to the minute they would overlap; written to the second they do not.
    written = (archive / "gathered" / "m-37.yaml").read_text() + (archive / "gathered" / "m-36.yaml").read_text()
    assert 'start: "20:20:58"' in written
    assert 'end: "20:20:55"' in written


@pytest.mark.parametrize(
    ("broken", "rule"),
    [
        (b"title: [\n", "yaml"),
        (b"- a\n- b\n", "wrong-shape"),
        (b"\xff\xfe\x00", "encoding"),
        (b"{a: 1}", "not-extended"),
    ],
)
def test_a_broken_sidecar_is_a_fault_and_stays(archive: Path, tmp_path: Path, broken: bytes, rule: str) -> None:
    sidecar = archive / "x.yaml"
    sidecar.write_bytes(broken)
    shoot(tmp_path / "cards", datetime(2025, 1, 20, 19, 0), 2)
    report = extend(archive, tmp_path / "cards", sidecar)
    assert [f.rule for f in report.findings if f.level == "fault"] == [rule]
    assert sidecar.read_bytes() == broken


def test_wrong_names_are_faults_with_the_nearest(archive: Path, tmp_path: Path) -> None:
    report = extend(archive, tmp_path, archive / "x.yaml", place="medow", rig="fien", time_zone="Europe/Berlyn")
    assert [f.rule for f in report.findings] == ["unknown-place", "unknown-rig", "unknown-time-zone"]
    assert all("did you mean" in f.hint for f in report.findings)


def test_a_site_far_from_the_named_place_is_a_doubt_without_its_position(archive: Path, tmp_path: Path) -> None:
    shoot(tmp_path / "cards", datetime(2025, 1, 20, 19, 0), 2, SITELAT=-33.4321, SITELONG=-70.1234)
    report = extend(archive, tmp_path / "cards", archive / "x.yaml")
    (finding,) = report.findings
    assert finding.level == "doubt"
    assert "meadow" in finding.message
    assert "33" not in str(finding)
    assert "33.4" not in (archive / "x.yaml").read_text()


def test_missing_equipment_is_drafted_in_comments_that_read(archive: Path, tmp_path: Path) -> None:
    shoot(
        tmp_path / "cards", datetime(2025, 1, 20, 19, 0), 2, XPIXSZ=9.0, XBINNING=2, FOCALLEN=2032.0, FOCRATIO=10.0,
        NAXIS1=1600, NAXIS2=1200, INSTRUME="Deep One: 45", TELESCOP='8" mirror',
    )  # fmt: skip
    extend(archive, tmp_path / "cards", archive / "gathered" / "x.yaml")
    text = (archive / "gathered" / "x.yaml").read_text()
    block = text[text.index("# cameras:") :]
    plain = "\n".join(line.removeprefix("# ") for line in block.splitlines())
    (archive / "equipment.yaml").write_text(plain)
    reading = read_archive(archive)
    assert [f for f in reading.findings if f.mark.file == "equipment.yaml"] == []
    assert reading.archive is not None
    (rig,) = reading.archive.rigs.values()
    assert (rig.camera.pixels, rig.camera.pixel_size_um, rig.optic.focal_length_mm) == ((3200, 2400), 4.5, 2032.0)
    assert rig.optic.aperture_mm == pytest.approx(203.2)
    # Now that the archive knows the rig, the open question is answered by the next run.
    extend(archive, tmp_path / "cards", archive / "gathered" / "x.yaml")
    assert "\nrig: " in (archive / "gathered" / "x.yaml").read_text()


def test_darks_that_do_not_fit_are_asked_about(archive: Path, tmp_path: Path) -> None:
    # Common practice: 60 s darks for 60 s lights.
    shoot(tmp_path / "cards", datetime(2025, 1, 20, 19, 0), 5, exposure=60.0)
    shoot(tmp_path / "cards", datetime(2025, 1, 21, 5, 0), 7, exposure=30.0, IMAGETYP="DARK")
    extend(archive, tmp_path / "cards", archive / "gathered" / "x.yaml")
    text = (archive / "gathered" / "x.yaml").read_text()
    assert "# ? 7 darks are exposed 30 s, the lights 60 s: were they used?" in text
    assert "\n      darks:" not in text


def test_camera_clocks(archive: Path, tmp_path: Path) -> None:
    shown = datetime(2025, 1, 20, 23, 0)
    for number in range(3):
        write_jpeg(
            tmp_path / "cards/M 42/lights" / f"a{number}.jpg", shown + timedelta(minutes=number), offset="+03:00"
        )
    extend(archive, tmp_path / "cards", archive / "a.yaml")
    assert 'start: "21:00"' in (archive / "a.yaml").read_text()
    for number in range(3):
        write_jpeg(tmp_path / "more/M 42/lights" / f"a{number}.jpg", shown + timedelta(minutes=number))
    extend(archive, tmp_path / "more", archive / "b.yaml", time_zone="UTC")
    assert 'start: "00:00"' in (archive / "b.yaml").read_text()
    extend(archive, tmp_path / "more", archive / "c.yaml")
    assert 'start: "23:00"' in (archive / "c.yaml").read_text()


def test_the_sun_is_shot_by_day(archive: Path, tmp_path: Path) -> None:
    shoot(tmp_path / "cards", datetime(2025, 6, 21, 7, 30), 20, exposure=0.002, OBJECT="Sun")
    extend(archive, tmp_path / "cards", archive / "a.yaml")
    text = (archive / "a.yaml").read_text()
    assert "night: 2025-06-21" in text
    assert 'start: "2025-06-21 09:30"' in text
    assert "exposure: 0.002 s" in text


def test_hostile_text_in_headers_stays_text(archive: Path, tmp_path: Path) -> None:
    name = "x: [y] # z 'q' \"p\" \\ {{7*7}} <script>"
    shoot(tmp_path / "cards", datetime(2025, 1, 20, 19, 0), 3, OBJECT=name, FILTER="L: {a}", INSTRUME="- &a !!b")
    extend(archive, tmp_path / "cards", archive / "pictures" / "x.yaml", rig="fine")
    (archive / "pictures" / "x.png").write_bytes(b"")
    text = (archive / "pictures" / "x.yaml").read_text()
    (archive / "pictures" / "x.yaml").write_text(text.replace("# ? ", ""))
    found = read_archive(archive).archive
    assert found is not None
    assert found.pictures["x"].objects == (name,)
    assert found.pictures["x"].own_sessions[0].frames[0].filter == "L: {a}"


def test_masters_are_left_out_and_two_cameras_keep_their_darks(archive: Path, tmp_path: Path) -> None:
    cards = tmp_path / "cards"
    shoot(cards / "a", datetime(2025, 1, 20, 19, 0), 5, INSTRUME="third eye")
    shoot(cards / "a", datetime(2025, 1, 21, 5, 0), 8, INSTRUME="third eye", IMAGETYP="DARK", OBJECT="")
    shoot(cards / "b", datetime(2025, 1, 20, 19, 0), 5, INSTRUME="other", XPIXSZ=3.76, FOCALLEN=384.0, FILTER="")
    shoot(
        cards / "b",
        datetime(2025, 1, 21, 5, 0),
        4,
        INSTRUME="other",
        XPIXSZ=3.76,
        FOCALLEN=384.0,
        IMAGETYP="DARK",
        FILTER="",
    )
    shoot(cards / "c", datetime(2025, 1, 21, 6, 0), 1, INSTRUME="third eye", IMAGETYP="Master Dark")
    report = gather([cards], archive=read_archive(archive).archive, archive_folder=archive, place="meadow")
    assert {s.kit.rig: s.calibration.darks for s in report.sessions} == {"fine": 8, "wide": 4}
    assert sorted(s.path.name for s in report.sidecars) == ["m-37-fine.yaml", "m-37-wide.yaml"]
    assert report.kinds["combined"] == 1
    # One card alone, later: it finds its own draft again.
    again = gather([cards / "a"], archive=read_archive(archive).archive, archive_folder=archive, place="meadow")
    assert [(s.path.name, s.outcome) for s in again.sidecars] == [("m-37-fine.yaml", "unchanged")]


@pytest.mark.parametrize("indent", ["", "    "])
def test_times_and_a_new_filter_find_their_own_places(archive: Path, tmp_path: Path, indent: str) -> None:
    sidecar = archive / "pictures" / "m37.yaml"
    sidecar.parent.mkdir()
    old = (
        "\ufefftitle: T\nobjects: [M 37]\nfinished: 2025-03-01\nrig: fine\nplace: meadow\nsessions:\n"
        + indent + "- night: 2025-01-18\n"
        + indent + "  frames:\n" + indent + "  - exposure: 120 s\n" + indent + "    kept: 3\n"
        + indent + "    filter: L\n"
    )  # fmt: skip
    sidecar.write_bytes(old.encode())
    shoot(tmp_path / "cards", datetime(2025, 1, 18, 18, 40), 5)
    shoot(tmp_path / "cards", datetime(2025, 1, 18, 18, 55), 6, FILTER="R")
    shoot(tmp_path / "cards", datetime(2025, 1, 22, 18, 55), 7)
    (tmp_path / "kept.txt").write_text("")
    # No --place: the sidecar knows it.
    report = gather(
        [tmp_path / "cards"], archive=read_archive(archive).archive, archive_folder=archive, sidecar=sidecar,
        kept=tmp_path / "kept.txt",
    )  # fmt: skip
    assert report.findings == ()  # a list that names none of these frames says nothing of them
    text = sidecar.read_bytes().decode()
    assert lines_kept(old, text)
    sidecar.write_text(text.replace("# ? ", ""))
    (archive / "pictures" / "m37.png").write_bytes(b"")
    found = read_archive(archive).archive
    assert found is not None
    first, second = found.pictures["m37"].own_sessions
    assert [(g.filter, g.taken) for g in first.frames] == [("L", 5), ("R", 6)]
    assert first.start is not None
    assert f"{first.start:%H:%M}" == "19:40"
    assert (second.night.day, second.frames[0].taken) == (22, 7)


def test_another_rig_makes_another_session(archive: Path, tmp_path: Path) -> None:
    sidecar = archive / "pictures" / "m37.yaml"
    sidecar.parent.mkdir()
    sidecar.write_text(WRITTEN)
    shoot(
        tmp_path / "cards", datetime(2025, 1, 18, 18, 40), 20, XPIXSZ=3.76, FOCALLEN=384.0, FILTER="", BAYERPAT="RGGB"
    )
    report = extend(archive, tmp_path / "cards", sidecar)
    assert report.findings == ()
    assert lines_kept(WRITTEN, sidecar.read_text())
    assert "      rig: wide\n" in sidecar.read_text()


def test_aliases_that_explode_are_refused(archive: Path, tmp_path: Path) -> None:
    sidecar = archive / "x.yaml"
    rows = ["a0: &a0 [x, x]", *(f"a{n}: &a{n} [*a{n - 1}, *a{n - 1}, *a{n - 1}]" for n in range(1, 30))]
    sidecar.write_text("\n".join(rows))
    shoot(tmp_path / "cards", datetime(2025, 1, 20, 19, 0), 2)
    assert [f.rule for f in extend(archive, tmp_path / "cards", sidecar).findings] == ["too-large"]

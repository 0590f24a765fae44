"""A sound archive → records, with everything in its unit and every default in place."""

from __future__ import annotations

import subprocess
import sys
from datetime import UTC, date
from pathlib import Path
from typing import Any

import pytest
from noctuary.archive.parse_file import ParsedFile, parsed_type
from noctuary.archive.partial_date import PartialDate
from noctuary.archive.read import Reading, read_archive, read_file
from noctuary.archive.records import Archive, HeaderPlacement, WrittenPlacement
from noctuary.typed_values import from_bytes, to_bytes

from tests.builders.sound import SIDECAR, O, S, sound_archive


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return sound_archive(tmp_path / "archive")


def sound(folder: Path) -> Archive:
    reading = read_archive(folder)
    assert [str(f) for f in reading.findings] == []
    assert reading.archive is not None
    return reading.archive


def rewrite(folder: Path, name: str, old: str, new: str) -> None:
    text = (folder / name).read_text(encoding="utf-8")
    assert old in text
    (folder / name).write_text(text.replace(old, new), encoding="utf-8")


def test_a_picture_with_its_sessions(folder: Path) -> None:
    archive = sound(folder)
    picture = archive.pictures["rosette-2025"]
    assert (picture.file, picture.sidecar) == ("pictures/rosette-2025.jpg", S)
    assert picture.target == "NGC 2238"
    assert picture.finished == PartialDate(2025, 2, 9)
    assert (picture.listed, picture.draft, picture.resampling) == (True, False, None)
    assert picture.placement == WrittenPlacement(98.0, 4.95, 2.1, 12.4, False)
    assert picture.marks.at("sessions", 0, "frames", 1, "exposure") == (S, 12, 19)
    (session,) = picture.own_sessions
    assert session.identity == ("rosette-2025", 0)
    assert session.rig.camera.pixels == (4656, 3520)
    assert session.start is not None
    assert session.end is not None
    assert f"{session.start.astimezone(UTC):%Y-%m-%d %H:%M}" == "2025-01-18 19:40"
    assert (session.end - session.start).total_seconds() == 4.25 * 3600
    first, second = session.frames
    assert (first.exposure_s, first.kept, first.taken, first.gain, first.binning) == (180, 55, 62, 100, 1)
    assert (second.exposure_s, second.kept, second.taken, second.filter) == (90, 20, 20, None)
    assert session.calibration is not None
    assert (session.calibration.darks, session.calibration.flats, session.calibration.dark_gain) == (30, None, 100)
    assert session.mark == (S, 7, 5)


def test_the_rest_of_the_archive(folder: Path) -> None:
    archive = sound(folder)
    assert (archive.title, archive.address, archive.horizon_deg) == ("Winter work", "https://example.org/", 25)
    assert (archive.language, archive.licence) == ("en", "All rights reserved")
    assert archive.reference_rig is archive.rigs["short refractor"]
    assert [o.name for o in archive.own_objects] == ["Garden Comet", "Small Cloud"]
    assert archive.own_objects[0].ra_deg is None
    assert archive.own_objects[1].ra_deg == pytest.approx(85.25)
    (night,) = archive.nights
    assert (night.night, night.place, night.temperature_c, night.prose) == (
        date(2025, 1, 18), "home", -2, "Cold and still.\n"
    )  # fmt: skip
    assert archive.exhibits[0].pictures == (("rosette-2025", "the better one"), ("rosette-2024", None))
    assert archive.pages[0].title == "About"


def test_every_file_that_counts_is_listed(folder: Path) -> None:
    for name in (
        ".hidden.yaml",
        "site/index.html",
        "site/x.yaml",
        ".noctuary/a.yaml",
        "pictures/.DS/x.jpg",
        "README.txt",
    ):
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_bytes(b"\xff: [")
    reading = read_archive(folder)
    assert reading.findings == ()
    assert list(reading.files) == sorted([
        "archive.yaml", "equipment.yaml", "places.yaml", "objects.yaml", S, "pictures/rosette-2025.jpg", O,
        "pictures/older/rosette-2024.png", "nights/2025-01-18.md", "exhibits/winter.yaml", "pages/about.md",
    ])  # fmt: skip


def test_names_of_objects_come_from_faulty_sidecars_too(folder: Path) -> None:
    rewrite(folder, S, "180 s", "180 mm")
    names = read_archive(folder).object_names
    assert [name for name, mark in names if mark.file == S] == ["NGC 2238", "NGC 2244"]
    assert ("NGC 2244", (S, 2, 21)) in names


def test_a_lens_by_its_f_ratio(folder: Path) -> None:
    rewrite(folder, "equipment.yaml", "aperture: 80 mm", "f_ratio: f/6")
    assert sound(folder).optics["small refractor"].aperture_mm == pytest.approx(80)


@pytest.mark.parametrize("ratio", ["6.29", "5.72"])
def test_aperture_and_f_ratio_that_agree_within_five_per_cent(folder: Path, ratio: str) -> None:
    rewrite(folder, "equipment.yaml", "aperture: 80 mm", f"aperture: 80 mm, f_ratio: {ratio}")
    sound(folder)


def test_a_header_beside_the_sidecar_is_no_picture(folder: Path) -> None:
    tail = SIDECAR[SIDECAR.index("placement") : SIDECAR.index("tags")]
    for name, written in (
        ("solved.fits", "solved.fits"),
        ("rosette-2025.fits", "{header: rosette-2025.fits, rows: top}"),
    ):
        (folder / S).write_text(SIDECAR.replace(tail, f"placement: {written}\n"), encoding="utf-8")
        (folder / "pictures" / name).write_bytes(b"SIMPLE")
        reading = read_archive(folder)
        assert reading.findings == ()
        assert reading.archive is not None
        header = HeaderPlacement(f"pictures/{name}", "top" if "top" in written else "bottom")
        assert reading.archive.pictures["rosette-2025"].placement == header
        assert f"pictures/{name}" in reading.files
        (folder / "pictures" / name).unlink()


def test_a_fits_picture_may_be_its_own_header(folder: Path) -> None:
    (folder / "pictures/rosette-2025.jpg").rename(folder / "pictures/rosette-2025.fits")
    tail = SIDECAR[SIDECAR.index("placement") : SIDECAR.index("tags")]
    rewrite(folder, S, tail, "placement: rosette-2025.fits\n")
    assert sound(folder).pictures["rosette-2025"].file == "pictures/rosette-2025.fits"


def test_what_builds_on_another(folder: Path) -> None:
    rewrite(folder, S, "listed: yes", "builds_on: [rosette-2024]\nreplaces: rosette-2024\nformer_ids: [rosette-old]")
    archive = sound(folder)
    picture = archive.pictures["rosette-2025"]
    assert [s.identity for s in archive.sessions_of(picture)] == [("rosette-2024", 0), ("rosette-2025", 0)]
    assert picture.former_ids == ("rosette-old",)


def test_a_former_id_is_no_name_to_write(folder: Path) -> None:
    rewrite(folder, S, "listed: yes", "former_ids: [rosette-old]")
    rewrite(folder, "exhibits/winter.yaml", "rosette-2024", "rosette-old")
    (found,) = read_archive(folder).findings
    assert (found.rule, found.hint) == ("unknown-picture", "write rosette-2025")


def test_hostile_text_stays_text(folder: Path) -> None:
    hostile = """<script>alert("1")</script> {{7*7}} %s {0} \\x00 \u202ertl"""
    rewrite(folder, S, "The Rosette, second winter", "'" + hostile + "'")
    assert sound(folder).pictures["rosette-2025"].title == hostile
    rewrite(folder, S, "title:", "'{hint} {0} %s <b>':")
    missing, unknown = read_archive(folder).findings
    assert (missing.rule, unknown.rule) == ("missing-key", "unknown-key")
    assert "{hint} {0} %s <b>" in unknown.message


def test_a_faulty_rig_is_told_once(folder: Path) -> None:
    rewrite(folder, "equipment.yaml", "aperture: 80 mm", "aperture: 80 s")
    reading = read_archive(folder)
    assert [f.rule for f in reading.findings] == ["wrong-unit"]
    assert reading.archive is not None
    assert (reading.archive.rigs, reading.archive.pictures) == ({}, {})


def test_the_nearest_name_is_offered(folder: Path) -> None:
    rewrite(folder, S, "rig: short refractor", "rig: short refractr")
    (found,) = read_archive(folder).findings
    assert found.hint == "did you mean short refractor?"


def test_names_are_looked_up_beside_other_faults_of_the_record(folder: Path) -> None:
    """All faults of a record at once: one slip does not hide the next until it is mended."""
    rewrite(folder, S, "rig: short refractor", "rig: short refractr\ntag: [winter]\nbuilds_on: [nowhere]")
    rewrite(folder, S, "exposure: 180 s", "exposure: 180 mm")
    rewrite(folder, S, "night: 2025-01-18", "night: 2025-01-18\n    place: somewhere")
    found = {f.rule: f for f in read_archive(folder).findings}
    assert set(found) == {"unknown-rig", "unknown-key", "unknown-picture", "wrong-unit", "unknown-place"}
    assert all(f.level == "fault" for f in found.values())
    lines = (folder / S).read_text(encoding="utf-8").split("\n")
    assert "short refractr" in lines[found["unknown-rig"].mark.line - 1]
    assert "somewhere" in lines[found["unknown-place"].mark.line - 1]


@pytest.mark.parametrize("slip", ["plce: home", "place: [home]"])
def test_what_a_slip_leaves_out_is_not_doubted_besides(folder: Path, slip: str) -> None:
    rewrite(folder, S, "place: home", slip)
    (found,) = read_archive(folder).findings
    assert found.rule in {"unknown-key", "wrong-shape"}


def test_many_sidecars(folder: Path) -> None:
    for number in range(300):
        (folder / f"pictures/field-{number}.yaml").write_text(SIDECAR, encoding="utf-8")
        (folder / f"pictures/field-{number}.jpg").write_bytes(b"")
    assert len(sound(folder).pictures) == 302


class Kept:
    """What a build keeps from one run to the next."""

    def __init__(self) -> None:
        self.kept: dict[tuple[str, bytes], ParsedFile[Any]] = {}

    def unread(self, name: str) -> ParsedFile[Any] | None:
        return None

    def get(self, name: str, content: bytes) -> ParsedFile[Any] | None:
        return self.kept.get((name, content))

    def put(self, name: str, content: bytes, parsed: ParsedFile[Any]) -> None:
        self.kept[name, content] = from_bytes(to_bytes(parsed), parsed_type(name))
        assert self.kept[name, content] == parsed


def test_a_kept_file_reads_the_same(folder: Path) -> None:
    rewrite(folder, O, "180 s", "180 mm")
    kept = Kept()
    first: Reading = read_archive(folder, cache=kept)
    assert read_archive(folder, cache=kept) == first == read_archive(folder)
    assert read_file(folder, S, kept) == read_file(folder, S)
    rewrite(folder, O, "180 mm", "180 s")
    assert read_archive(folder, cache=kept).findings == ()


def test_what_is_kept_is_read_without_the_models(folder: Path, tmp_path: Path) -> None:
    kept = Kept()
    read_archive(folder, cache=kept)
    store = tmp_path / "kept"
    store.write_bytes(to_bytes([(name, content, to_bytes(parsed)) for (name, content), parsed in kept.kept.items()]))
    program = f"""
import sys
from pathlib import Path
from noctuary.archive.parse_file import parsed_type
from noctuary.archive.read import read_archive
from noctuary.typed_values import from_bytes
class Kept:
    kept = from_bytes(Path({str(store)!r}).read_bytes(), list[tuple[str, bytes, bytes]])
    kept = {{(name, content): parsed for name, content, parsed in kept}}
    def unread(self, name): return None
    def get(self, name, content): return from_bytes(self.kept[name, content], parsed_type(name))
    def put(self, name, content, parsed): raise AssertionError(name)
assert len(read_archive(Path({str(folder)!r}), cache=Kept()).archive.pictures) == 2
assert not [name for name in ("pydantic", "numpy", "astropy", "PIL") if name in sys.modules]
"""
    subprocess.run([sys.executable, "-c", program], check=True)

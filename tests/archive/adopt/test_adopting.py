"""The command on small archives: what is taken in, what stays as it is, what is asked and how answers come back."""

from __future__ import annotations

from datetime import date
from io import BytesIO

import numpy as np
import pytest
import yaml
from noctuary.adopt_command import Proposals
from noctuary.archive.adopt.draft_record import Sources
from noctuary.archive.adopt.evidence import Evidence
from noctuary.archive.adopt.matching import equipped
from noctuary.archive.read import read_archive
from noctuary.build import examine
from noctuary.cli import run
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

ARCHIVE = "title: Old nights\nauthor: A. Person\n"
EQUIPMENT = """# My things
cameras:
  Reflex 5: {pixels: [6000, 4000], pixel_size: 3.9 um}   # bought used
optics:
  old lens: {focal_length: 135 mm, f_ratio: 2.8}
rigs:
  lens on a tripod: {optic: old lens, camera: Reflex 5}
"""
PLACES = "garden: {latitude: 50 deg, longitude: 10 deg, time_zone: Europe/Berlin}\n"


def picture(number: int, camera: str | None = None, focal: int | None = None) -> bytes:
    stream = BytesIO()
    exif = Image.Exif()
    if camera:
        exif[272] = camera
        tags = {33434: IFDRational(120, 1), 36867: "2019:08:03 23:10:00", 34855: 800}
        exif.get_ifd(0x8769).update(tags | ({37386: IFDRational(focal, 1)} if focal else {}))
    Image.fromarray(np.full((4, 6), number, np.uint8)).save(stream, "JPEG", exif=exif)
    return stream.getvalue()


@pytest.fixture
def archive(tmp_path):
    folder = tmp_path / "archive"
    (folder / "pictures").mkdir(parents=True)
    for name, text in (("archive.yaml", ARCHIVE), ("equipment.yaml", EQUIPMENT), ("places.yaml", PLACES)):
        (folder / name).write_text(text, encoding="utf-8")
    return folder


def put(folder, name, content):
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)
    return path


def content(folder):
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file() and ".noctuary" not in path.parts}


def test_check_says_the_one_line_to_run_and_it_settles_the_doubt(archive, capsys):
    put(archive, "pictures/2019/M31_final.jpg", picture(1))
    assert run(["check", str(archive)]) == 0
    assert "pictures/2019/M31_final.jpg:1:1: doubt [picture-without-sidecar]" in (said := capsys.readouterr().err)
    assert "noctuary adopt" in said
    run(["check", str(archive)])
    proposed = capsys.readouterr().out
    before = content(archive)
    assert run(["adopt", str(archive)]) == 0
    assert {path: b for path, b in content(archive).items() if path in before} == before
    written = (archive / "pictures/2019/m31-final.yaml").read_text(encoding="utf-8")
    assert "".join(f"    {line}\n" for line in written.splitlines()) in proposed
    assert f"To write it: noctuary adopt {archive}" in proposed
    found = examine(archive)
    assert [f.rule for f in found.findings] in ([], ["no-alt"])
    assert found.archive.pictures["m31-final"].file == "pictures/2019/M31_final.jpg"


def test_pictures_without_records_are_one_doubt_a_folder_and_the_first_are_proposed(archive, capsys):
    for number in range(30):
        put(archive, f"pictures/2019/M{number + 1}.jpg", picture(number))
    put(archive, "pictures/2020/M99.jpg", picture(99))
    assert run(["check", str(archive)]) == 0
    told = capsys.readouterr()
    doubts = [line for line in told.err.splitlines() if "picture-without-sidecar" in line]
    assert len(doubts) == 2
    assert "pictures/2019:1:1: doubt" in doubts[0]
    assert "30 pictures here have no record: M1.jpg, M10.jpg, M11.jpg and 27 more" in doubts[0]
    assert told.out.count("would say:") == 3
    assert "To write all 31: noctuary adopt" in told.out


def test_preview_proposes_once_as_long_as_the_same_pictures_wait(archive, capsys):
    put(archive, "pictures/M31.jpg", picture(1))
    proposals = Proposals(archive)
    for _ in range(2):
        proposals.tell(read_archive(archive).findings)
    assert capsys.readouterr().out.count("pictures/m31.yaml would say:") == 1
    put(archive, "pictures/M33.jpg", picture(2))
    proposals.tell(read_archive(archive).findings)
    assert "pictures/m33.yaml would say:" in capsys.readouterr().out


def test_a_rig_of_the_archive_is_known_by_camera_and_focal_length(archive):
    put(archive, "pictures/a.jpg", picture(1, "Reflex 5", 135))
    put(archive, "pictures/b.jpg", picture(2, "Reflex 5", 300))
    put(archive, "pictures/c.jpg", picture(3, "Reflex 5"))
    assert run(["adopt", str(archive)]) == 0
    rigs = {p.stem: yaml.safe_load(p.read_text(encoding="utf-8")).get("rig") for p in archive.rglob("*.yaml")
            if p.parent.name == "pictures"}  # fmt: skip
    assert rigs == {"a": "lens on a tripod", "b": None, "c": None}


@pytest.mark.parametrize(
    ("camera", "optic", "ratio", "rig"),
    [
        ("Reflex 5", None, 2.8, "lens on a tripod"),
        ("Maker Reflex 5", None, None, "lens on a tripod"),
        ("Reflex 5 Mark II", None, None, None),
        ("Reflex 5", None, 4.0, None),
        ("Reflex 5", "Zoom 70-200mm f/2.8", 2.8, None),
        (None, None, 2.8, None),
    ],
)
def test_a_rig_is_stated_only_where_nothing_speaks_against_it(archive, camera, optic, ratio, rig):
    said = Evidence("its EXIF", camera=camera, optic=optic, f_ratio=ratio, focal_length_mm=135, pixel_size_um=3.9)
    nothing = Evidence("its name")
    found = equipped(Sources("a.jpg", said, nothing, nothing), read_archive(archive).archive)
    assert found.rig == rig


def test_a_file_that_is_not_there_is_wrong_usage(archive):
    assert run(["adopt", str(archive), str(archive / "nowhere")]) == 2


def test_dry_run_writes_nothing_and_shows_the_records(archive, tmp_path, capsys):
    photos = put(tmp_path, "photos/2019/M42.jpg", picture(1)).parent.parent
    before = content(archive)
    assert run(["adopt", str(archive), str(photos), "--dry-run"]) == 0
    assert content(archive) == before
    out = capsys.readouterr().out
    assert "--- pictures/2019/m42.yaml" in out
    assert "# objects: M 42   # from the file's name" in out


def test_pictures_come_in_by_copy_under_ids_that_no_two_share(archive, tmp_path):
    for year in (2018, 2019):
        put(tmp_path, f"photos/{year}/Final.JPG", picture(year - 2000))
    put(tmp_path, "photos/again/Final copy.jpg", picture(18))  # the bytes of 2018's
    put(tmp_path, "photos/notes.txt", b"no picture")
    put(tmp_path, "photos/2019/broken.jpg", b"\xff\xd8\xff" + b"x" * 40)
    assert run(["adopt", str(archive), str(tmp_path / "photos")]) == 0
    names = sorted(p.relative_to(archive / "pictures").as_posix() for p in archive.rglob("*.jpg"))
    assert names == ["2018/final.jpg", "2019/broken.jpg", "2019/final-2019.jpg"]
    assert (tmp_path / "photos/2018/Final.JPG").exists()


def test_links_leave_pictures_where_they_are(archive, tmp_path):
    put(tmp_path, "photos/2019/M42.jpg", picture(1))
    assert run(["adopt", str(archive), str(tmp_path / "photos"), "--link"]) == 0
    there, here = tmp_path / "photos/2019/M42.jpg", archive / "pictures/2019/m42.jpg"
    assert here.samefile(there)
    assert not here.is_symlink()
    assert not [f for f in examine(archive).findings if f.level == "fault"]
    before = content(archive)
    assert run(["adopt", str(archive), str(tmp_path / "photos"), "--link"]) == 0
    assert content(archive) == before


def test_where_no_link_can_be_made_a_copy_is_and_a_line_says_so(archive, tmp_path, capsys, monkeypatch):
    def refuse(self, target):
        raise OSError(18, "Invalid cross-device link")

    monkeypatch.setattr("pathlib.Path.hardlink_to", refuse)
    put(tmp_path, "photos/2019/M42.jpg", picture(1))
    assert run(["adopt", str(archive), str(tmp_path / "photos"), "--link"]) == 0
    assert "was copied, for it cannot be linked here: Invalid cross-device link" in capsys.readouterr().err
    assert (archive / "pictures/2019/m42.jpg").read_bytes() == picture(1)


def answered(archive, **answers):
    path = archive / "questions.yaml"
    lines = []
    key = ""
    for line in path.read_text(encoding="utf-8").splitlines():
        if line.startswith("  key: "):
            key = line.removeprefix("  key: ")
        lines.append(f"  answer: {answers[key]}" if line == "  answer:" and key in answers else line)
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def test_a_new_rig_is_added_and_every_other_line_stays(archive):
    put(archive, "pictures/a.jpg", picture(1, "Reflex 9", 300))
    assert run(["adopt", str(archive)]) == 0
    answered(archive, rig="long lens", place="Garden")
    assert run(["adopt", str(archive)]) == 0
    text = (archive / "equipment.yaml").read_text(encoding="utf-8")
    assert [line for line in text.splitlines() if line in EQUIPMENT.splitlines()] == EQUIPMENT.splitlines()
    value = yaml.safe_load(text)
    assert value["rigs"]["long lens"] == {"optic": "300 mm", "camera": "Reflex 9"}
    picture_of = examine(archive).archive.pictures["a"]
    assert (picture_of.rig.name, picture_of.place.name) == ("long lens", "garden")
    # A picture that comes later is settled by the answer that is there.
    put(archive, "pictures/b.jpg", picture(2, "Reflex 9", 300))
    assert run(["adopt", str(archive)]) == 0
    assert examine(archive).archive.pictures["b"].rig.name == "long lens"


def test_answers_that_mean_nothing_are_told_and_change_nothing(archive, capsys):
    put(archive, "pictures/m31.jpg", picture(1))
    assert run(["adopt", str(archive)]) == 0
    answered(archive, place="the gardn", objects="perhaps", finished="soon", rig="lens on a tripd")
    before = content(archive)
    assert run(["adopt", str(archive)]) == 0
    after = content(archive)
    assert {p: b for p, b in after.items() if p.name != "questions.yaml"} == {
        p: b for p, b in before.items() if p.name != "questions.yaml"
    }
    said = capsys.readouterr().err
    assert "no place is called “the gardn”; did you mean garden?" in said
    assert "neither yes nor no" in said
    assert "did you mean lens on a tripod?" in said
    assert "questions.yaml, finished" in said


def test_a_picture_of_no_known_year_waits_as_a_draft_until_it_is_answered(archive):
    put(archive, "pictures/misc/m31.jpg", picture(1))
    assert run(["adopt", str(archive)]) == 0
    found = examine(archive)
    assert not [f for f in found.findings if f.level == "fault"]
    assert not found.archive.shown
    answered(archive, finished="2009")
    assert run(["adopt", str(archive)]) == 0
    assert str(examine(archive).archive.shown[0].finished) == "2009"


def test_a_damaged_list_of_answers_stops_before_anything_is_written(archive, capsys):
    put(archive, "pictures/m31.jpg", picture(1))
    (archive / "questions.yaml").write_text("- key: [\n", encoding="utf-8")
    before = content(archive)
    assert run(["adopt", str(archive)]) == 1
    assert "questions.yaml:2:1" in capsys.readouterr().err
    assert content(archive) == before


def test_versions_of_one_target_and_season_are_proposed_and_not_decided(archive):
    put(archive, "pictures/2019-08-10 m31.jpg", picture(1))
    put(archive, "pictures/2019-08-20 m31 v2.jpg", picture(2))
    put(archive, "pictures/2020-08-20 m31.jpg", picture(3))
    assert run(["adopt", str(archive)]) == 0
    newer = (archive / "pictures/2019-08-20-m31-v2.yaml").read_text(encoding="utf-8")
    assert "# replaces: 2019-08-10-m31   #" in newer
    assert "replaces" not in (archive / "pictures/2020-08-20-m31.yaml").read_text(encoding="utf-8")
    assert examine(archive).archive.pictures["2019-08-20-m31-v2"].replaces is None


def test_questions_are_printed_without_drafting(archive, capsys):
    put(archive, "pictures/m31.jpg", picture(1))
    assert run(["adopt", str(archive)]) == 0
    put(archive, "pictures/m42.jpg", picture(2))
    capsys.readouterr()
    assert run(["adopt", str(archive), "--questions"]) == 0
    assert "1. " in capsys.readouterr().out
    assert not (archive / "pictures/m42.yaml").exists()


def test_begin_leaves_a_text_that_explains_the_folder(tmp_path):
    assert run(["begin", str(tmp_path / "new")]) == 0
    text = (tmp_path / "new" / "README.txt").read_text(encoding="utf-8")
    assert all(word in text for word in ("noctuary", "sessions", "finished", "equipment.yaml"))


def test_xisf_and_heif_come_in_as_pictures_that_are_shown(archive, tmp_path):
    xisf = pytest.importorskip("xisf")
    heif = pytest.importorskip("pillow_heif")
    photos = tmp_path / "photos" / "2021"
    photos.mkdir(parents=True)
    samples = np.linspace(0, 1, 24 * 36, dtype=np.float32).reshape(24, 36, 1)
    keywords = {"OBJECT": "'M 31'", "EXPTIME": "120", "STACKCNT": "42", "DATE-OBS": "'2021-09-04T22:10:00'"}
    metadata = {"FITSKeywords": {key: [{"value": value, "comment": ""}] for key, value in keywords.items()}}
    xisf.XISF.write(str(photos / "a.xisf"), samples, image_metadata=metadata)
    heif.register_heif_opener()
    exif = Image.Exif()
    exif[271], exif[272] = "Maker", "Maker 7"
    exif.get_ifd(0x8769).update({33434: 180.0, 36867: "2021:09:04 23:10:00", 42033: "SERIAL-4711"})
    exif.get_ifd(0x8825).update({1: "N", 2: (50.0, 7.0, 31.0), 3: "E", 4: (10.0, 0.0, 0.0)})
    Image.fromarray(np.full((64, 64, 3), 90, np.uint8)).save(photos / "b.heic", exif=exif)
    (photos / "broken.xisf").write_bytes((photos / "a.xisf").read_bytes()[:300])
    assert run(["adopt", str(archive), str(photos)]) == 0
    found = examine(archive)
    assert not [f for f in found.findings if f.level == "fault"]
    assert {p.file for p in found.archive.pictures.values()} == {"pictures/a.xisf", "pictures/b.heic"}
    picture_of = found.archive.pictures["a"]
    assert (picture_of.objects, picture_of.own_sessions[0].frames[0].kept) == (("M 31",), 42)
    assert found.archive.pictures["b"].own_sessions[0].night == date(2021, 9, 4)
    before = content(archive)
    assert run(["adopt", str(archive), str(photos)]) == 0
    assert content(archive) == before
    assert run(["build", str(archive), "--out", str(tmp_path / "site")]) == 0
    published = b"".join(path.read_bytes() for path in (tmp_path / "site").rglob("*") if path.is_file())
    assert b"b.heic" not in published
    assert b"4711" not in published
    for file in (tmp_path / "site").rglob("*.jpg"):
        assert not Image.open(file).getexif().get_ifd(0x8825)

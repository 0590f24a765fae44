"""The commands as a person types them."""

import json
import shutil
from pathlib import Path

import click
import pytest
from noctuary.cli import noctuary
from PIL import Image

from tests.builders.program import run, typed

ROOT = Path(__file__).parent.parent


@pytest.fixture(scope="module")
def begun(tmp_path_factory):
    folder = tmp_path_factory.mktemp("begun") / "my-nights"
    done = run("begin", folder)
    assert done.returncode == 0, done.stderr
    return folder


@pytest.fixture
def archive(begun, tmp_path):
    return Path(shutil.copytree(begun, tmp_path / "nights"))


@pytest.mark.parametrize("name", noctuary.commands)
def test_every_command_has_help_and_an_example(name):
    command = noctuary.commands[name]
    assert command.help
    assert f"Example: noctuary {name}" in " ".join(command.help.split())
    for option in command.params:
        if isinstance(option, click.Option):
            assert option.help, option.name


def test_what_begin_wrote_has_no_finding(begun):
    done = typed("check", begun)
    assert (done.returncode, done.stderr) == (0, "")
    summary, *notes = done.stdout.splitlines()
    assert summary == "0 faults, 0 doubts"
    assert len(notes) == 1
    assert "no address" in notes[0]


def test_begin_refuses_a_folder_in_use(begun):
    done = typed("begin", begun)
    assert done.returncode == 2
    assert "empty" in done.stderr


def test_check_tells_every_slip_where_it_stands(archive):
    sidecar = next((archive / "pictures").glob("*.yaml"))
    text = sidecar.read_text(encoding="utf-8").replace("finished:", "finishd:").replace("kept:", "ketp:")
    sidecar.write_text(text, encoding="utf-8")
    done = typed("check", archive, "--format", "json")
    assert done.returncode == 1
    findings = json.loads(done.stdout)["findings"]
    lines = text.splitlines()
    for finding in findings:
        assert set(finding) == {"file", "line", "column", "level", "rule", "message", "hint"}
        assert finding["file"] == f"pictures/{sidecar.name}"
    at = {f["line"] for f in findings if f["rule"] == "unknown-key"}
    assert at == {n for n, line in enumerate(lines, 1) if "finishd" in line or "ketp" in line}
    told = typed("check", archive).stderr.splitlines()
    assert told[0].startswith(f"pictures/{sidecar.name}:{findings[0]['line']}:{findings[0]['column']}: fault [")


def test_a_folder_that_is_no_archive_is_a_fault(tmp_path):
    for command in ("check", "build"):
        done = typed(command, tmp_path)
        assert done.returncode == 1
        assert "archive.yaml:1:1: fault [missing-archive]" in done.stderr
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "arguments", [("bild",), ("build", "--aut", "x"), ("facts",), ("preview", "--port", "nine"), ("place", ".")]
)
def test_wrong_usage_is_status_two(arguments):
    done = typed(*arguments)
    assert done.returncode == 2
    assert "Traceback" not in done.stderr


def test_the_archive_is_the_current_folder_when_left_out(archive, monkeypatch):
    monkeypatch.chdir(archive)
    done = run("build")
    assert done.returncode == 0, done.stderr
    assert (archive / "site" / "index.html").is_file()


def test_facts_of_a_picture_have_the_promised_shape(archive):
    done = typed("facts", archive, "sample-field", "--format", "json")
    assert done.returncode == 0, done.stderr
    facts = json.loads(done.stdout)
    assert set(facts) >= {
        "picture", "title", "pixels", "integration", "optics", "objects", "placement", "in_field", "sessions",
        "light_m2_h", "depth_mag", "depth_sessions_without_sky",
    }  # fmt: skip
    assert set(facts["integration"]) >= {
        "total_s", "by_filter_s", "kept", "taken", "kept_share", "nights", "first_night", "last_night",
    }  # fmt: skip
    assert set(facts["optics"]) >= {
        "rig", "focal_length_mm", "aperture_mm", "f_ratio", "image_scale_arcsec_px", "field_width_deg",
        "field_height_deg", "field_diagonal_deg", "sampling_px", "diffraction_limit_arcsec",
    }  # fmt: skip
    assert set(facts["objects"][0]) >= {
        "name", "ra_deg", "dec_deg", "galactic_l_deg", "galactic_b_deg", "constellation", "kind", "magnitude",
        "size_arcmin", "also",
    }  # fmt: skip
    assert set(facts["sessions"][0]) >= {
        "night", "place", "rig", "start_utc", "end_utc", "integration_s", "shutter_open_share", "target", "moon",
        "sun", "dark_share",
    }  # fmt: skip
    whole = json.loads(typed("facts", archive, "--format", "json").stdout)
    assert set(whole) >= {"pictures", "targets", "total_s", "nights", "by_year_s"}
    assert set(whole["targets"][0]) >= {"name", "pictures", "total_s", "by_filter_s", "by_year_s", "nights"}
    assert whole["total_s"] == facts["integration"]["total_s"]


def test_facts_as_a_table_say_the_same(archive):
    done = typed("facts", archive, "sample-field")
    assert done.returncode == 0
    assert "M 31" in done.stdout
    wrong = typed("facts", archive, "sample-feild")
    assert wrong.returncode == 2
    assert "sample-field" in wrong.stderr


@pytest.mark.slow
def test_place_refuses_a_picture_without_a_sky(archive):
    sidecar = archive / "pictures" / "sample-field.yaml"
    before = sidecar.read_bytes()
    Image.new("RGB", (1600, 1068), (20, 20, 20)).save(archive / "pictures" / "sample-field.jpg")
    done = typed("place", archive, "sample-field")
    assert done.returncode == 1
    assert "no placement" in done.stderr
    assert sidecar.read_bytes() == before


@pytest.mark.slow
def test_stars_measures_a_picture_and_tells_one_that_is_none(tmp_path):
    done = typed("stars", ROOT / "content_demo" / "pictures" / "m13-2024.jpg")
    assert done.returncode == 0, done.stderr
    assert "stars." in done.stdout
    (tmp_path / "x.jpg").write_bytes(b"no picture")
    done = typed("stars", tmp_path / "x.jpg")
    assert done.returncode == 1
    assert "Traceback" not in done.stderr

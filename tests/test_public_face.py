"""The package as a library: its examples run, and using it changes nothing in the process."""

import doctest
import gc
import importlib
import logging
import subprocess
import sys
import warnings
from pathlib import Path

import noctuary
import pytest

ROOT = Path(__file__).parent.parent
DEMO = ROOT / "content_demo"


@pytest.mark.slow
def test_the_examples_run(monkeypatch):
    monkeypatch.chdir(ROOT)
    outcome = doctest.testmod(noctuary)
    assert outcome.attempted >= 8
    assert outcome.failed == 0


@pytest.mark.parametrize("name", ["text", "sexagesimal", "pages.addresses", "geometry"])
def test_examples_of_the_ground_floor_run(name):
    module = importlib.import_module(f"noctuary.{name}")
    assert doctest.testmod(module).failed == 0


def test_every_function_is_public_and_documented():
    for name in noctuary.__all__:
        assert getattr(noctuary, name).__doc__, name


def settings_of_the_process() -> tuple:
    from PIL import Image

    levels = {name: logging.getLogger(name).level for name in ("", "tifffile", "exifread", "astropy")}
    return gc.isenabled(), gc.get_threshold(), Image.MAX_IMAGE_PIXELS, levels, list(warnings.filters)


@pytest.mark.slow
def test_using_it_changes_nothing_in_the_process(tmp_path, capfd):
    noctuary.derive_facts(DEMO)  # what a first use imports may add filters of its own
    before = settings_of_the_process()
    noctuary.check_archive(DEMO)
    outcome = noctuary.build_site(DEMO, tmp_path / "site", workers=1)
    assert outcome.built
    assert settings_of_the_process() == before
    assert capfd.readouterr() == ("", "")


def test_faults_are_raised_with_all_of_them(tmp_path):
    (tmp_path / "archive.yaml").write_text("title: T\nauthour: A\n", encoding="utf-8")
    with pytest.raises(noctuary.ArchiveHasFaults) as caught:
        noctuary.derive_facts(tmp_path)
    assert {d.rule for d in caught.value.diagnostics if d.level == "fault"} >= {"unknown-key"}
    assert "authour" in str(caught.value)


def test_importing_it_loads_nothing_heavy():
    code = "import sys, noctuary; print(*{name.split('.')[0] for name in sys.modules})"
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)
    assert not {"astropy", "numpy", "PIL", "pydantic", "jinja2", "yaml", "click"} & set(loaded.stdout.split())


def test_it_says_that_it_is_typed():
    assert (ROOT / "generator" / "noctuary" / "py.typed").exists()

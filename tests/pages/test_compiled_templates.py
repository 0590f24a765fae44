"""Compiled templates are kept for the program's own themes alone, and only while they are of the same source."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from jinja2 import Environment, FileSystemLoader
from noctuary.pages.compiled_templates import CompiledTemplates

from tests.builders.folders import write


def environment(home: Path, folder: Path) -> Environment:
    kept = CompiledTemplates(home)
    return Environment(loader=FileSystemLoader(folder), bytecode_cache=kept, auto_reload=False, autoescape=True)


@pytest.fixture(autouse=True)
def _as_installed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "dont_write_bytecode", False)


def test_one_of_ours_is_compiled_once_and_again_when_it_has_changed(tmp_path: Path) -> None:
    home = tmp_path / "themes"
    write(home / "umbra/templates/a.html", "one {{ x }}")
    assert environment(home, home / "umbra/templates").get_template("a.html").render(x=1) == "one 1"
    kept = list((home / "umbra/templates/__pycache__").iterdir())
    assert len(kept) == 1
    before = kept[0].stat().st_mtime_ns
    assert environment(home, home / "umbra/templates").get_template("a.html").render(x=2) == "one 2"
    assert kept[0].stat().st_mtime_ns == before
    write(home / "umbra/templates/a.html", "other {{ x }}")
    assert environment(home, home / "umbra/templates").get_template("a.html").render(x=3) == "other 3"
    write(kept[0], b"nothing that was compiled")
    assert environment(home, home / "umbra/templates").get_template("a.html").render(x=4) == "other 4"


def test_beside_a_template_of_somebody_elses_nothing_is_kept_or_loaded(tmp_path: Path) -> None:
    home, theirs = tmp_path / "themes", tmp_path / "archive/theme/templates"
    write(home / "a.html", "ours")
    write(theirs / "a.html", "ours")
    environment(home, home).get_template("a.html")
    for file in (home / "__pycache__").iterdir():
        write(theirs / "__pycache__" / file.name, file.read_bytes().replace(b"ours", b"evil"))
        file.unlink()
    before = {file: file.read_bytes() for file in (theirs / "__pycache__").iterdir()}
    assert environment(home, theirs).get_template("a.html").render() == "ours"
    assert {file: file.read_bytes() for file in (theirs / "__pycache__").iterdir()} == before

"""The README says what the code does: its reference is made from it, its example archive is read by it."""

import re
import textwrap
from pathlib import Path

import pytest
from noctuary.archive.read import read_archive
from noctuary.archive.starter import begin
from noctuary.reference import with_reference

README = Path(__file__).parent.parent / "README.md"


@pytest.mark.parametrize("part", ["keys", "commands", "rules", "templates"])
def test_the_reference_is_what_the_code_says(part):
    text = (README.parent / "docs" / f"{part}.md").read_text(encoding="utf-8")
    assert "<!-- end of" in text
    assert text == with_reference(text), "run: python -m noctuary.reference"


def test_the_first_record_is_read_without_a_fault(tmp_path):
    folder = tmp_path / "nights"
    begin(folder)
    text = README.read_text(encoding="utf-8")
    short = re.search(r"^       title: The Rosette\n(?:       .*\n)+", text, re.M)
    more = re.search(r"^       objects: .*\n(?:       .*\n)+", text, re.M)
    assert short is not None
    assert more is not None
    sample = next((folder / "pictures").glob("*.jpg"))
    (folder / "pictures" / "rosette.jpg").write_bytes(sample.read_bytes())
    for written in (short[0], short[0] + more[0]):
        (folder / "pictures" / "rosette.yaml").write_text(textwrap.dedent(written), encoding="utf-8")
        reading = read_archive(folder)
        assert [str(f) for f in reading.findings] == []
        assert reading.archive is not None
        assert "rosette" in reading.archive.pictures
    assert reading.archive.pictures["rosette"].own_sessions[0].frames[0].kept == 185


PAGES = ["README.md", "DEVELOPERS.md", *sorted(f"docs/{page.name}" for page in README.parent.glob("docs/*.md"))]


@pytest.mark.parametrize("name", PAGES)
def test_every_path_that_a_page_names_exists(name):
    page = README.parent / name
    for link in re.findall(r"\]\(([^)#:]+)\)", page.read_text(encoding="utf-8")):
        assert (page.parent / link).exists(), link

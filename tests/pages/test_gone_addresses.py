"""A picture that was published and is gone is told of until its address leads on, or is let go."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from noctuary.build import build, examine
from noctuary.diagnostic import Diagnostic

from tests.builders.clean_build import as_built
from tests.builders.folders import bytes_below, jpeg
from tests.builders.many_pictures import write_archive

OLD, NEW = "field-00001", "the-second-field"


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = write_archive(tmp_path_factory.mktemp("gone") / "archive")
    assert build(folder, workers=1).built
    return folder


@pytest.fixture
def archive(built: Path) -> Path:
    return as_built(built)


def told(archive: Path) -> list[Diagnostic]:
    """What ``check`` says of addresses; ``build`` and the build after it must say the same."""
    checked = [f for f in examine(archive).findings if f.rule == "address-gone"]
    for _ in range(2):
        outcome = build(archive, workers=1)
        assert outcome.built, outcome.findings
        assert [f for f in outcome.findings if f.rule == "address-gone"] == checked
    return checked


def rename(archive: Path) -> Path:
    for ending in ("jpg", "yaml"):
        (archive / f"pictures/{OLD}.{ending}").rename(archive / f"pictures/{NEW}.{ending}")
    return archive / f"pictures/{NEW}.yaml"


def test_nothing_is_said_while_every_address_stands(archive):
    assert told(archive) == []


def test_a_renamed_picture_is_recognised_and_the_line_to_write_keeps_the_address(archive):
    sidecar = rename(archive)
    (found,) = told(archive)
    assert (found.level, found.mark.file) == ("doubt", f"pictures/{NEW}.yaml")
    assert f"“{NEW}”" in found.hint
    line = f"former_ids: [{OLD}]"
    assert line in found.hint
    sidecar.write_text(sidecar.read_text() + line + "\n")
    assert told(archive) == []
    assert (archive / f"site/pictures/{OLD}.html").is_file()


def test_every_former_id_stays_in_the_line(archive):
    sidecar = rename(archive)
    sidecar.write_text(sidecar.read_text() + "former_ids: [older]\n")
    (found,) = told(archive)
    assert f"former_ids: [older, {OLD}]" in found.hint
    assert found.mark.line == len(sidecar.read_text().splitlines())


def test_a_former_id_that_is_struck_out_is_gone_too(archive):
    sidecar = archive / f"pictures/{OLD}.yaml"
    text = sidecar.read_text()
    sidecar.write_text(text + "former_ids: [older]\n")
    assert told(archive) == []
    sidecar.write_text(text)
    (found,) = told(archive)
    assert "pictures/older.html" in found.message
    assert "former_ids: [older]" in found.hint


def test_a_deleted_picture_may_be_let_go(archive):
    for ending in ("jpg", "yaml"):
        (archive / f"pictures/{OLD}.{ending}").unlink()
    (found,) = told(archive)
    assert found.mark.file == "archive.yaml"
    assert f"gone: [{OLD}]" in found.hint
    settings = archive / "archive.yaml"
    settings.write_text(settings.read_text() + f"gone: [{OLD}]\n")
    assert told(archive) == []


def test_a_renamed_picture_that_was_worked_on_is_not_taken_for_another(archive):
    rename(archive)
    (archive / f"pictures/{NEW}.jpg").write_bytes(jpeg(99, (60, 40)))
    (found,) = told(archive)
    assert NEW not in found.hint
    assert f"former_ids: [{OLD}]" in found.hint


def test_a_picture_that_becomes_a_draft_loses_its_page(archive):
    sidecar = archive / f"pictures/{OLD}.yaml"
    sidecar.write_text(sidecar.read_text() + "draft: yes\n")
    (found,) = told(archive)
    assert found.mark[:2] == (f"pictures/{OLD}.yaml", len(sidecar.read_text().splitlines()))
    assert "listed: no" in found.hint
    text = sidecar.read_text()
    sidecar.write_text(text + "accepted_doubts: {address-gone: nobody has seen it}\n")
    assert told(archive) == []
    sidecar.write_text(text.replace("draft: yes", "listed: no"))
    assert told(archive) == []


def test_a_record_that_cannot_be_read_is_not_gone(archive):
    (archive / f"pictures/{OLD}.yaml").write_text("title: [\n")
    assert "address-gone" not in {f.rule for f in examine(archive).findings}


def test_without_the_cache_nothing_is_known_and_nothing_said(archive):
    rename(archive)
    shutil.rmtree(archive / ".noctuary")
    assert told(archive) == []


# ------------------------------------------------------------------------------------ the page at the old address


def page(archive: Path, name: str = OLD) -> str:
    return (archive / f"site/pictures/{name}.html").read_text(encoding="utf-8")


def let_go(archive: Path, *names: str) -> None:
    """Deletes a picture and lets it go, and other names with it."""
    for ending in ("jpg", "yaml"):
        (archive / f"pictures/{OLD}.{ending}").unlink()
    settings = archive / "archive.yaml"
    settings.write_text(settings.read_text() + f"gone: [{', '.join((OLD, *names))}]\n")


def lead_to(html: str) -> set[str]:
    """Where the text of a page leads, its masthead and its foot left out."""
    return set(re.findall(r'href="([^"]+)"', html[html.index("<main") : html.index("</main>")]))


def test_a_page_at_the_old_address_says_that_the_picture_is_gone_and_leads_on(archive: Path) -> None:
    let_go(archive, "never-was")
    assert build(archive, workers=1).built
    for name, words in ((OLD, "field%2000001"), ("never-was", "never%20was")):
        html = page(archive, name)
        assert "This picture is gone" in html
        assert "Field number 1" not in html  # what it was may be why it is gone
        assert lead_to(html) - {"#main"} == {"field-00002.html", "../index.html", f"../index.html#words={words}"}
        assert '<meta name="robots" content="noindex">' in html
        assert "og:" not in html


def test_no_other_file_of_the_site_leads_to_it(archive: Path) -> None:
    let_go(archive)
    assert build(archive, workers=1).built
    for path, data in bytes_below(archive / "site").items():
        if not path.endswith((".jpg", ".webp", ".woff2", ".fits")) and not path.endswith(f"{OLD}.html"):
            assert OLD.encode() not in data, path


def test_a_picture_that_comes_back_has_its_own_page_again(archive: Path) -> None:
    kept = {file: (archive / file).read_bytes()
            for file in (f"pictures/{OLD}.jpg", f"pictures/{OLD}.yaml", "archive.yaml")}  # fmt: skip
    before = bytes_below(archive / "site")
    let_go(archive)
    assert build(archive, workers=1).built
    for file, data in kept.items():
        (archive / file).write_bytes(data)
    assert build(archive, workers=1).built
    assert bytes_below(archive / "site") == before


def test_another_address_of_the_site_is_told_with_what_it_breaks(archive: Path) -> None:
    written = archive / "archive.yaml"
    before = written.read_text(encoding="utf-8")
    written.write_text(before.replace("https://example.org/", "https://elsewhere.example/astro/"), encoding="utf-8")
    checked = [f for f in examine(archive).findings if f.rule == "address-changed"]
    assert [f.level for f in checked] == ["doubt"]
    assert "https://example.org/" in checked[0].message
    assert "https://elsewhere.example/astro/" in checked[0].message
    assert "QR codes" in checked[0].hint
    assert [f for f in build(archive, workers=1).findings if f.rule == "address-changed"] == checked
    written.write_text(before, encoding="utf-8")
    build(archive, workers=1)
    assert not [f for f in examine(archive).findings if f.rule == "address-changed"]

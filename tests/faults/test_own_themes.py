"""Themes of somebody's own: a mistake is a fault with its file and line, and none reaches out of the archive."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from noctuary.build import build, examine
from noctuary.outcome import Outcome
from noctuary.pages.theme import themes_home

from tests.builders.folders import bytes_below
from tests.builders.many_pictures import write_archive

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    archive = write_archive(tmp_path_factory.mktemp("themes") / "archive", 1)
    assert build(archive, workers=1).built
    return archive


@pytest.fixture
def archive(built: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(built, tmp_path / "archive"))


def put(archive: Path, name: str, text: str | bytes) -> Path:
    path = archive / "theme" / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def told(outcome: Outcome) -> list[str]:
    return [str(f) for f in outcome.findings if f.mark.file.startswith("theme")]


FREE = "templates/equipment.html"
MISTAKES: list[tuple[str, str | bytes, int, str]] = [
    (FREE, "\n{% if %}\n", 2, "template"),
    (FREE, "\n\n{{ one + }}\n", 3, "template"),
    (FREE, "{% for x in y %}", 1, "template"),
    (FREE, "\n{% nonsense %}", 2, "template"),
    (FREE, "\n{{ x|no_such_filter }}", 2, "template"),
    (FREE, "\n{% include 'no-such.html' %}", 2, "template"),
    (FREE, "\n{% extends 'no-such.html' %}", 2, "template"),
    (FREE, "\n{% from 'parts.html' import no_such %}{{ no_such(1) }}", 2, "template"),
    (FREE, "\n{{ no_such_name }}", 2, "template"),
    (FREE, "\n{{ here.no_such.attribute }}", 2, "template"),
    (FREE, "\n{{ 1 / 0 }}", 2, "template"),
    (FREE, "\n{{ 'a' + 1 }}", 2, "template"),
    (FREE, "\n{{ here() }}", 2, "template"),
    (FREE, "\n{{ here|duration }}", 2, "template"),
    (FREE, "\n{% include 'equipment.html' %}", 2, "template"),
    (FREE, "\n{% macro m() %}{{ m() }}{% endmacro %}{{ m() }}", 2, "template"),
    (FREE, b"\n\xff\xfe", 2, "encoding"),
    (FREE, "\n{{ ''.__class__.__mro__[1].__subclasses__() }}", 2, "template"),
    (FREE, "\n{{ self.__init__.__globals__ }}", 2, "template"),
    (FREE, "\n{{ cycler.__init__.__globals__.os.system('touch evil') }}", 2, "template"),
    (FREE, "\n{{ '{0.__class__.__init__}'.format(here) }}", 2, "template"),
    (FREE, "\n{{ range(10 ** 9)|length }}", 2, "template"),
    ("theme.yaml", "name: x\n  bad: [\n", 2, "yaml-syntax"),
    ("theme.yaml", "- one\n- two\n", 1, "wrong-shape"),
    ("theme.yaml", "name: x\nstylesheets: 5\n", 2, "wrong-shape"),
    ("theme.yaml", "name: x\nstylesheets: styles/umbra.css\n", 2, "wrong-shape"),
    ("theme.yaml", "name: x\nstylesheets: [[a]]\n", 2, "wrong-shape"),
    ("theme.yaml", "name: x\nstylesheets: [styles/no-such.css]\n", 2, "theme-file"),
    ("theme.yaml", "name: x\nicon: ../../secret.svg\n", 2, "theme-file"),
    ("theme.yaml", "name: x\ncard: black\n", 2, "wrong-shape"),
    ("theme.yaml", "name: x\ncard: {ink: blackish}\n", 2, "wrong-word"),
    ("theme.yaml", "name: x\ncard: {face: fonts/no-such.woff2}\n", 2, "theme-file"),
    ("theme.yaml", "name: x\nborrows: [everything]\n", 2, "wrong-word"),
    ("theme.yaml", "name: x\nsytlesheets: []\n", 2, "unknown-key"),
    ("languages/en.po", '\nmsgid "Targets"\nmsgstr "%(x)s"\n', 2, "template"),
    ("languages/en.po", '\nmsgid "Targets"\nmsgstr "%(\n', 2, "template"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "text", "line", "rule"), MISTAKES)
def test_a_mistake_is_a_fault_where_it_is(archive: Path, name: str, text: str | bytes, line: int, rule: str) -> None:
    before = bytes_below(archive / "site")
    put(archive, name, text)
    outcome = build(archive, workers=1)
    faults = [f for f in outcome.findings if f.level == "fault"]
    assert not outcome.built
    assert faults
    assert faults[0].mark.file == f"theme/{name}"
    assert (faults[0].rule == rule) or rule == "yaml-syntax", faults
    assert abs(faults[0].mark.line - line) <= (1 if rule == "yaml-syntax" else 0), faults
    assert bytes_below(archive / "site") == before
    assert not Path("evil").exists()


def test_what_a_template_may_not_reach(archive: Path, tmp_path: Path) -> None:
    """Another folder's file by any spelling of its name; a path's methods; the theme folder as a link."""
    (tmp_path / "secret.html").write_text("a secret")
    up = "../../../secret.html"
    for spelling in (up, str(tmp_path / "secret.html"), up.replace("/", "\\"), f"./{up}"):
        put(archive, FREE, f"{{% include {spelling!r} ignore missing %}}{{{{ here }}}}")
        outcome = build(archive, workers=1)
        assert "a secret" not in "".join(p.read_text() for p in (archive / "site").rglob("equipment*.html"))
        assert outcome.built or told(outcome)


@pytest.mark.parametrize(
    "link", ["templates/free.html", "styles/umbra.css", "images/own.svg", "fonts", "extra.css", ""]
)
def test_a_link_that_leads_out_is_a_fault(archive: Path, tmp_path: Path, link: str) -> None:
    outside = tmp_path / "outside"
    outside.mkdir()
    (outside / "secret.txt").write_text("a secret")
    target = outside if link in ("fonts", "") else outside / "secret.txt"
    path = archive / "theme" / link if link else archive / "theme"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.symlink_to(target)
    findings = examine(archive).faults
    assert [(f.mark.file, f.rule) for f in findings] == [(f"theme/{link}".rstrip("/"), "outside-archive")]
    assert not build(archive, workers=1).built
    assert b"a secret" not in b"".join(bytes_below(archive / "site").values())


def test_a_theme_outside_the_archive_is_a_fault(archive: Path, tmp_path: Path) -> None:
    shutil.copytree(themes_home() / "umbra", tmp_path / "umbra")
    text = (archive / "archive.yaml").read_text()
    for name in ("../umbra", str(tmp_path / "umbra")):
        (archive / "archive.yaml").write_text(f"{text}\ntheme: {name}\n")
        assert {f.rule for f in examine(archive).faults} <= {"unknown-theme", "outside-archive"}
        assert not build(archive, workers=1).built


def test_styles_of_ones_own_come_after_those_of_the_theme(archive: Path) -> None:
    before = (archive / "site" / "index.html").read_text()
    put(archive, "extra.css", "body { color: red }")
    outcome = build(archive, workers=1)
    assert outcome.built
    assert told(outcome) == []
    assert (archive / "site" / "theme" / "extra.css").read_text() == "body { color: red }"
    page = (archive / "site" / "index.html").read_text()
    assert "extra.css" not in before
    assert page.index("theme/styles/together.css") < page.index("theme/extra.css") < page.index("</head>")
    (archive / "theme" / "extra.css").unlink()
    assert build(archive, workers=1).built
    assert (archive / "site" / "index.html").read_text() == before


def test_a_template_of_ones_own_can_fill_one_block_of_umbras(archive: Path) -> None:
    before = (archive / "site" / "equipment.html").read_text()
    put(archive, "templates/base.html", '{% extends "umbra/base.html" %}{% block grounds %}{% endblock %}')
    outcome = build(archive, workers=1)
    assert outcome.built
    assert told(outcome) == []
    page = (archive / "site" / "equipment.html").read_text()
    assert 'class="grounds"' in before
    assert page == re.sub(r'<div class="grounds".*?</div>\n', "", before, flags=re.DOTALL)
    put(archive, "templates/base.html", '{% extends "umbra/no-such.html" %}')
    assert [f.rule for f in examine(archive).faults] == ["template"]


def test_files_that_nothing_asks_for_are_doubts(archive: Path) -> None:
    put(archive, "style.css", "body { color: red }")
    put(archive, "styles/umbra.css", "body { color: red }")
    put(archive, "images/lost.png", "")
    put(archive, "images/asked.svg", "<svg xmlns='http://www.w3.org/2000/svg'/>")
    put(archive, "extra.css", "body { background: url(images/asked.svg) }")
    put(archive, "fonts/OFL.txt", "a licence")
    put(archive, "images/aux.svg", "<svg xmlns='http://www.w3.org/2000/svg'/>")
    found = {(f.mark.file, f.level, f.rule) for f in examine(archive).findings if f.mark.file.startswith("theme")}
    assert found == {
        ("theme/style.css", "doubt", "theme-unused"),
        ("theme/styles/umbra.css", "doubt", "theme-replaces"),
        ("theme/images/lost.png", "doubt", "theme-unused"),
        ("theme/images/aux.svg", "doubt", "theme-unused"),
        ("theme/images/aux.svg", "doubt", "theme-name"),
    }


def test_a_whole_theme_of_the_archive_runs_in_the_sandbox(archive: Path) -> None:
    """The shipped templates do nothing that the sandbox refuses, so a copy of them makes the same pages."""
    before = {n: d for n, d in bytes_below(archive / "site").items() if n.endswith(".html")}
    for part in ("templates", "theme.yaml"):
        source = themes_home() / "umbra" / part
        target = archive / "theme" / part
        target.parent.mkdir(exist_ok=True)
        shutil.copytree(source, target) if source.is_dir() else shutil.copy(source, target)
    outcome = build(archive, workers=1)
    assert outcome.built, [str(f) for f in outcome.findings]
    assert {n: d for n, d in bytes_below(archive / "site").items() if n.endswith(".html")} == before

"""The second theme: everything about looks lies in a theme, down to which scripts there are."""

import re
from functools import cache
from pathlib import Path

import pytest
import yaml
from noctuary.pages.render import Renderer
from noctuary.pages.theme import published_files, theme_folders, themes_home

from tests.builders.one_of_everything import set_pages

FOLDERS = theme_folders("folio", Path("no-archive-here"))


@cache
def rendered() -> dict[str, str]:
    renderer = Renderer(FOLDERS, "en")
    return {page.path: renderer.render(page) for page in set_pages() if page.path.endswith(".html")}


def test_a_page_runs_the_scripts_of_ground_and_search_and_no_others():
    for path, html in rendered().items():
        running = re.findall(r'<script src="(?:\.\./)*theme/scripts/([^"]+)"', html)
        assert running == ["ground.js", "umbra.js"] + ["not_found.js"] * (path == "404.html"), path


def test_the_search_and_its_words_are_on_the_front_page_and_every_other_leads_there():
    for path, html in rendered().items():
        assert ('id="find"' in html) == (path == "index.html"), path
        assert "index.html#words=" in html or 'http-equiv="refresh"' in html, path
    asked = re.findall(r'data-(?:script|engine)="(theme/scripts/search[^"]*)"', rendered()["index.html"])
    assert len(asked) == 2
    assert set(asked) <= set(published_files(FOLDERS))


def test_its_front_page_says_what_happened_last():
    front = rendered()["index.html"]
    assert "Last out:" in front
    assert re.search(r'New in <a href="years/2025\.html">2025</a>', front)


def test_its_styles_weigh_less_than_28_kb_and_are_all_that_its_pages_ask_for():
    published = published_files(FOLDERS)
    styles = {path: file for path, file in published.items() if path.endswith(".css")}
    assert sum(map(len, styles.values())) < 28_000
    for path, html in rendered().items():
        asked = re.findall(r'rel="stylesheet" href="([^"]+)"', html)
        assert {address.rpartition("../")[2] for address in asked} == set(styles), path


def test_what_it_does_not_borrow_is_not_published():
    published = published_files(FOLDERS)
    scripts = {path.removeprefix("theme/scripts/") for path in published if path.startswith("theme/scripts/")}
    assert scripts == {"ground.js", "umbra.js", "search.js", "search_engine.js", "not_found.js"}
    assert {path for path in published if path.endswith(".woff2")}
    assert "theme/fonts/OFL.txt" in published  # a face goes nowhere without its licence


def test_whatever_a_page_asks_of_the_theme_is_published():
    published = published_files(FOLDERS)
    for path, html in rendered().items():
        for asked in re.findall(r'(?:href|src)="(?:\.\./)*(theme/[^"]+)"', html):
            assert asked in published, path
    for file in (f for path, f in published.items() if path.endswith(".css")):
        for asked in re.findall(r"url\(\.\./([^)]+)\)", file.decode("utf-8")):
            assert f"theme/{asked}" in published


def test_a_theme_that_borrows_nothing_by_name_is_helped_out_with_everything(tmp_path):
    (tmp_path / "styles").mkdir()
    (tmp_path / "styles" / "own.css").write_text("body { color: red }", encoding="utf-8")
    helped = published_files((tmp_path, themes_home() / "umbra"))
    assert "theme/styles/own.css" in helped
    assert "theme/scripts/umbra.js" in helped
    (tmp_path / "theme.yaml").write_text(yaml.safe_dump({"borrows": ["fonts"]}), encoding="utf-8")
    alone = published_files((tmp_path, themes_home() / "umbra"))
    assert {path.split("/")[1] for path in alone} == {"styles", "fonts"}


@pytest.mark.parametrize("name", ["index.html", "pictures/ring-two.html", "targets.html"])
def test_its_pages_say_what_umbra_s_say(name):
    html = rendered()[name]
    assert "To the content" in html
    assert html.count("<h1") == 1
    assert 'aria-current="page"' in html or name.startswith("pictures/")


def test_styles_that_every_page_asks_for_come_as_one_file_in_their_order(tmp_path):
    (tmp_path / "styles").mkdir()
    (tmp_path / "styles" / "b.css").write_text("body { color: red }", encoding="utf-8")
    (tmp_path / "styles" / "a.css").write_text("\ufeffbody { color: blue }", encoding="utf-8")
    (tmp_path / "styles" / "asked-for-later.css").write_text("p { margin: 0 }", encoding="utf-8")
    (tmp_path / "theme.yaml").write_text(
        yaml.safe_dump({"borrows": [], "stylesheets": ["styles/b.css", "styles/a.css"]}), encoding="utf-8"
    )
    published = published_files((tmp_path, themes_home() / "umbra"))
    assert published == {
        "theme/styles/asked-for-later.css": b"p { margin: 0 }",
        "theme/styles/together.css": b"body { color: red }\nbody { color: blue }",
    }

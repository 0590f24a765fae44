"""Folio's search and grounds, in a small archive that the program built with it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from noctuary.build import build

from tests.builders.many_pictures import write_archive
from tests.served_site import served

pytestmark = pytest.mark.browser

ALL = {f"field-{number:05d}" for number in range(6)}


@pytest.fixture(scope="module")
def folio(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The site of six pictures: the even ones by one rig, the odd ones by another; one more is let go."""
    archive = write_archive(tmp_path_factory.mktemp("folio") / "archive", 6)
    with (archive / "archive.yaml").open("a", encoding="utf-8") as settings:
        settings.write("theme: folio\ngone: [field-00004-draft]\n")
    result = build(archive, workers=1)
    assert result.built, result
    return archive / "site"


@pytest.fixture
def page(chromium: Any) -> Iterator[Any]:
    context = chromium.new_context(color_scheme="light")
    opened = context.new_page()
    complaints: list[str] = []
    opened.on("pageerror", lambda error: complaints.append(str(error)))
    opened.on("console", lambda said: said.type == "error" and complaints.append(said.text))
    yield opened
    context.close()
    assert [said for said in complaints if "404" not in said] == []


def found(page: Any) -> set[str]:
    page.wait_for_selector("#find output:not(:empty)")
    page.wait_for_selector("#results:not([aria-busy])", state="attached")
    links = page.locator("#results li:visible > a").evaluate_all("all => all.map(a => a.getAttribute('href'))")
    return {link.removeprefix("pictures/").removesuffix(".html") for link in links}


@pytest.mark.parametrize(
    ("words", "pictures"),
    [
        ("field number 3", {"field-00003"}),
        ("long reflector", {"field-00001", "field-00003", "field-00005"}),
        ("480 mm", {"field-00000", "field-00002", "field-00004"}),
        ("1985", ALL),
        ("zebra", set()),
    ],
)
def test_titles_rigs_and_years_are_found(page: Any, folio: Path, words: str, pictures: set[str]) -> None:
    page.goto((folio / "index.html").as_uri())
    page.fill("#find-words", words)
    assert found(page) == pictures


def test_a_designation_is_found_in_any_spelling_and_the_list_of_rigs_narrows_it(page: Any, folio: Path) -> None:
    page.goto((folio / "index.html").as_uri())
    # Field number 0 is of the first of the targets, NGC 40; number 3 of them comes to it again.
    page.fill("#find-words", "ngc40")
    same = found(page)
    assert "field-00000" in same
    assert same < ALL
    page.fill("#find-words", "NGC 40")
    assert found(page) == same
    page.click("[data-facet=rig]")
    page.wait_for_selector("#find-rig:visible")
    page.locator("#find-rig label", has_text="short refractor").click()
    page.wait_for_selector("#find output:has-text('1 of 6')")
    assert found(page) == {"field-00000"}
    page.locator("#find [type=reset]").click()
    page.wait_for_selector("#results[hidden]", state="attached")
    assert page.locator("#pictures li:visible").count() > 1


def test_a_lost_address_leads_into_the_search(page: Any, folio: Path) -> None:
    with served(folio) as address:
        page.goto(f"{address}/404.html")
        page.locator("#look-for-it").click()
        page.wait_for_selector("#find-words:focus")
        page.keyboard.type("number 5")
        assert found(page) == {"field-00005"}


def test_the_page_of_a_picture_let_go_leads_to_what_it_is_called(page: Any, folio: Path) -> None:
    page.goto((folio / "pictures/field-00004-draft.html").as_uri())
    page.get_by_role("link", name="Find: field 00004 draft").click()
    page.wait_for_selector("#find output:not(:empty)")
    assert page.input_value("#find-words") == "field 00004 draft"
    page.locator(".search-offers a").first.click()
    page.wait_for_selector("#results li:visible")


def test_the_ground_that_was_chosen_holds_on_every_page(page: Any, folio: Path) -> None:
    chosen = page.locator(".grounds [aria-pressed=true]")
    shade = "getComputedStyle(document.documentElement).backgroundColor"
    page.goto((folio / "index.html").as_uri())
    shades = {"Day": page.evaluate(shade)}
    assert chosen.all_inner_texts() == ["Day"], "the system prefers light"
    for ground in ("Night", "Red"):
        page.get_by_role("button", name=ground, exact=True).click()
        assert chosen.all_inner_texts() == [ground]
        shades[ground] = page.evaluate(shade)
        for path in ("nights.html", "pictures/field-00002.html", "index.html"):
            page.goto((folio / path).as_uri())
            assert chosen.all_inner_texts() == [ground], path
            assert page.evaluate(shade) == shades[ground], path
    assert len(set(shades.values())) == 3


@pytest.mark.parametrize(
    ("path", "word"), [("nights.html", "Integration"), ("targets.html", "Hours"), ("years.html", "Best month")]
)
def test_what_a_table_is_read_for_is_in_sight_on_a_phone(page: Any, folio: Path, path: str, word: str) -> None:
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto((folio / path).as_uri())
    head = page.locator("thead th", has_text=word).first
    box = head.bounding_box()
    assert box
    assert box["x"] + box["width"] <= 390 - 16

"""An open page follows what is saved without being loaded again, unless more than words and styles has changed."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from tests.builders.many_pictures import sidecar, write_archive
from tests.builders.program import REPOSITORY
from tests.builders.running_preview import FOLLOWS, Preview

pytestmark = [pytest.mark.slow, pytest.mark.browser]

WORDS = "The wind fell"


@pytest.fixture(scope="module")
def preview(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Preview]:
    running = Preview(write_archive(tmp_path_factory.mktemp("preview") / "archive", 2))
    yield running
    assert running.end() == 0


@pytest.fixture
def page(preview: Preview, chromium: Any) -> Iterator[Any]:
    """The page of the first picture, low and scrolled, with a mark that a new load takes away."""
    preview.save("pictures/field-00000.yaml", sidecar(0, 2))
    opened = chromium.new_page(viewport={"width": 390, "height": 500})
    wrong: list[str] = []
    opened.on("pageerror", lambda error: wrong.append(str(error)))
    opened.goto(f"http://127.0.0.1:{preview.port}/pictures/field-00000.html")
    shown(opened, WORDS)
    opened.wait_for_function(FOLLOWS)
    opened.evaluate("scrollTo(0, 400); window.mark = 'stays'")
    yield opened
    opened.close()
    assert wrong == []


def shown(page: Any, words: str) -> None:
    page.wait_for_function("words => document.body?.textContent.includes(words)", arg=words)


def save(preview: Preview, words: str) -> None:
    preview.save("pictures/field-00000.yaml", sidecar(0, 2).replace(WORDS, words))


def stayed(page: Any) -> bool:
    return bool(page.evaluate("window.mark === 'stays'"))


def test_edited_words_are_set_into_the_page_as_it_stands(preview: Preview, page: Any) -> None:
    page.evaluate("document.querySelector('button[data-ground=day]').click()")
    place = page.evaluate("document.querySelector('.picture img').getBoundingClientRect().top")
    save(preview, "Clouds came\n\n  > *in* [the evening](https://example.org/)\n\n  and")
    shown(page, "Clouds came")
    assert page.locator("main blockquote em").inner_text() == "in"
    assert stayed(page)
    assert page.locator("button[data-ground=day]").get_attribute("aria-pressed") == "true"
    assert page.evaluate("document.querySelector('.picture img').getBoundingClientRect().top") == place
    # The page holds what one that is loaded anew would hold.
    in_place = page.evaluate("document.querySelector('main').innerHTML")
    page.reload()
    assert page.evaluate("document.querySelector('main').innerHTML") == in_place
    assert WORDS not in in_place


def test_one_save_after_another_and_a_refused_one_between_them(preview: Preview, page: Any) -> None:
    for turn in range(3):
        save(preview, f"Turn {turn} came")
        shown(page, f"Turn {turn} came")
    preview.save("pictures/field-00000.yaml", sidecar(0, 2).replace("exposure: 180 s", "exposure: 180 mm"))
    page.wait_for_selector("#noctuary-faults")
    save(preview, "Turn 4 came")
    page.wait_for_selector("#noctuary-faults", state="detached")
    shown(page, "Turn 4 came")
    assert stayed(page)


def test_a_style_is_exchanged_and_a_script_wants_the_page_anew(preview: Preview, page: Any) -> None:
    year = next(path for path in (preview.archive / "site/years").glob("*.html") if "<details" in path.read_text())
    page.goto(f"http://127.0.0.1:{preview.port}/years/{year.name}")
    page.locator("details summary").first.click()
    style = "theme/extra.css"
    preview.save(style, "main { outline: 3px solid rgb(1, 2, 3); min-height: 2000px }\n")
    painted = "colour => getComputedStyle(document.querySelector('main')).outlineColor === colour"
    page.wait_for_function(painted, arg="rgb(1, 2, 3)")
    page.wait_for_function(FOLLOWS)
    page.evaluate("scrollTo(0, 400); window.mark = 'stays'")
    preview.save(style, "main { outline: 3px solid rgb(4, 5, 6); min-height: 2000px }\n")
    page.wait_for_function(painted, arg="rgb(4, 5, 6)")
    assert stayed(page)
    own = (REPOSITORY / "themes/umbra/scripts/umbra.js").read_text(encoding="utf-8") + "window.rewritten = true;\n"
    preview.save("theme/scripts/umbra.js", own)
    page.wait_for_function("() => window.rewritten")
    assert not stayed(page)
    page.wait_for_function("() => scrollY === 400 && document.querySelector('details').open")
